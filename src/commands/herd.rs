//! `graylight herd PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::report;

/// Who is there: different bucks, and does and fawns beside them
#[derive(Args)]
pub struct Herd {
    /// The property's folder
    property: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Herd {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        super::tell(&self.property, self.json, ("herd", report::herd), print)
    }
}

fn print(debrief: &Debrief) -> Result<()> {
    let Some(herd) = &debrief.outlook.herd else {
        return super::say("No camera has worked yet, so there is nothing to count.");
    };
    let range = |e: Option<Estimate>| {
        e.map_or_else(
            || "cannot be told".to_owned(),
            |e| format!("{:.1} ({:.1}–{:.1})", e.value, e.low, e.high),
        )
    };
    super::say(format_args!(
        "{} to {}, {} camera-days{}",
        herd.span.0,
        herd.span.1,
        herd.camera_days,
        if herd.is_named {
            ""
        } else {
            "; name the days of a survey as survey_from and survey_until under [herd] in property.toml"
        }
    ))?;
    super::say(format_args!(
        "  different bucks with a name   {} ({} of {} bucks in the pictures have one)",
        herd.different, herd.named_bucks, herd.bucks.animals
    ))?;
    super::say(format_args!("  bucks, those missed too       {}", range(herd.by_once_seen)))?;
    super::say(format_args!("  the same by two halves        {}", range(herd.by_halves)))?;
    super::say(format_args!("  does for each buck            {}", range(herd.does_per_buck)))?;
    super::say(format_args!("  fawns for each doe            {}", range(herd.fawns_per_doe)))?;
    super::say(format_args!("  does, by the camera survey    {}", range(herd.does_there)))?;
    super::say(format_args!("  fawns, by the same            {}", range(herd.fawns_there)))?;
    super::say(report::outlook_words::HERD_CAUTION)
}
