//! `graylight share PROPERTY --to FILE`

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result, ensure};
use clap::Args;

use crate::files::{self, Lasting};
use crate::report::{ShareOptions, one_page};

/// One page for others: no coordinates and no scale
#[derive(Args)]
pub struct Share {
    /// The property's folder
    property: PathBuf,
    /// The page to write
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// Letters in place of the names of the property, its cameras and its deer, and no photographs: cameras
    /// print names onto them
    #[arg(long)]
    no_names: bool,
    /// Leave out what is logged as a neighbour's
    #[arg(long)]
    no_neighbours: bool,
    /// Leave out the photographs
    #[arg(long)]
    no_photos: bool,
}

impl Share {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        ensure!(
            self.to
                .extension()
                .is_some_and(|e| e.eq_ignore_ascii_case("html")),
            "{} is not named like a page. Give a file that ends in .html.",
            self.to.display()
        );
        let debrief = super::debrief(&self.property)?;
        let page = one_page(
            debrief,
            ShareOptions {
                with_names: !self.no_names,
                with_neighbours: !self.no_neighbours,
                with_photos: !self.no_photos && !self.no_names,
            },
        );
        let write = |file: &mut std::fs::File| file.write_all(page.as_bytes());
        files::write_whole(&self.to, Lasting::Remade, write, || Ok(()))
            .with_context(|| format!("cannot write {}", self.to.display()))?;
        super::say(format_args!("The page for others: {}", self.to.display()))?;
        if !self.no_names {
            super::say("Names of places, cameras and deer are in it; --no-names leaves them out.")?;
        }
        Ok(())
    }
}
