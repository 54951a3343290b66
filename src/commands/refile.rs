//! `graylight refile PROPERTY WHAT --to CAMERA`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;
use serde_json::json;

use crate::property::Property;
use crate::pull::refile;

/// Move a card that was filed under the wrong camera, tags and all
#[derive(Args)]
pub struct Refile {
    /// The property's folder
    property: PathBuf,
    /// The pull, by the name on its receipt, or a folder of pictures such as cards/Oak/DCIM/101MEDIA
    what: String,
    /// The camera that took the pictures
    #[arg(long, value_name = "CAMERA")]
    to: String,
    /// Print what was moved as JSON
    #[arg(long)]
    json: bool,
}

impl Refile {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let property = Property::open(&self.property)?;
        let refiled = refile(&property, &self.what, &self.to)?;
        if self.json {
            return super::say_json(&json!({ "refile": refiled }));
        }
        super::say(format_args!(
            "{} files belong to {} now, and {} rows of tags.csv with them.",
            refiled.moved.len(),
            refiled.camera,
            refiled.tags
        ))
    }
}
