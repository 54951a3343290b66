//! `graylight receive PACKAGE --to PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use chrono_tz::Tz;
use clap::Args;

use crate::exchange::{ReceiveOptions, receive};
use crate::property::{Position, parse_place};

/// A camera-trap data package, whoever wrote it, as a new property
#[derive(Args)]
pub struct Receive {
    /// The package: a folder, its datapackage.json, or a ZIP archive
    package: PathBuf,
    /// The folder of the new property
    #[arg(long, value_name = "PROPERTY")]
    to: PathBuf,
    /// A table with the columns scientificName and who: what names of species mean (buck, doe, fawn, deer, other …)
    #[arg(long, value_name = "FILE")]
    words: Option<PathBuf>,
    /// The zone of the clock on the wall; found from the place where it is not given
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<Tz>,
    /// The middle of the property, for a package that tells no places
    #[arg(long, value_name = "PLACE", value_parser = place, allow_hyphen_values = true)]
    place: Option<Position>,
}

fn place(text: &str) -> Result<Position, String> {
    parse_place(text)
        .ok_or_else(|| "write it as 43.1,-90.7: latitude first, west and south negative".to_owned())
}

impl Receive {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let options = ReceiveOptions {
            words: self.words.clone(),
            time_zone: self.time_zone,
            position: self.place,
        };
        let received = receive(&self.package, &self.to, &options)?;
        super::say(received.account(&self.package).trim_end())?;
        super::say(format_args!(
            "The property: {}. The same account lies there as received.txt.",
            self.to.display()
        ))
    }
}
