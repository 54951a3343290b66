//! `graylight check PROPERTY`

use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::Args;
use serde_json::json;

use crate::property::Property;
use crate::pull::check;

/// Read every picture again and compare it with what its pull remembers
#[derive(Args)]
pub struct Check {
    /// The property's folder
    property: PathBuf,
    /// Print what was found as JSON
    #[arg(long)]
    json: bool,
}

impl Check {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let property = Property::open(&self.property)?;
        let progress = super::progress("reading everything");
        let found = check(&property, &progress);
        progress.finish_and_clear();
        if self.json {
            super::say_json(&json!({ "check": found }))?;
        } else {
            super::say(&found)?;
        }
        let gone = found.rotten.len() + found.lost.len() + found.unread.len();
        if gone > 0 {
            bail!("{gone} files are not what the pulls brought; they are named above.");
        }
        Ok(())
    }
}
