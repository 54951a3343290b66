//! `graylight shift PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;
use serde_json::json;

use crate::debrief::Debrief;
use crate::report;

/// Before and after each disturbance
#[derive(Args)]
pub struct Shift {
    /// The property's folder
    property: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Shift {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let debrief = super::debrief(&self.property)?;
        if self.json {
            let value = json!({ "shifts": report::shifts(&debrief) });
            super::say(serde_json::to_string_pretty(&value)?)?;
        } else {
            print(&debrief)?;
        }
        Ok(())
    }
}

/// Mature bucks at every camera, around every disturbance.
pub(super) fn print(debrief: &Debrief) -> Result<()> {
    if debrief.property.disturbances.is_empty() {
        super::say("No disturbance is logged in disturbances.csv.")?;
    }
    if !debrief.shifts.could_be_watched {
        super::say(
            "Whether something changed that is not logged cannot be told: no camera can be compared with another.",
        )?;
    }
    for change in &debrief.shifts.unlogged {
        super::say(format_args!(
            "Not logged: {} at {}, {} to {}, {:+.0} points against the other cameras",
            change.kind.word(),
            debrief.camera_name(Some(change.camera)),
            change.dates.0,
            change.dates.1,
            change.change * 100.0
        ))?;
    }
    for disturbance in &debrief.property.disturbances {
        super::say(format_args!(
            "{} ({}): {}, {} days before and after",
            disturbance.what,
            disturbance.start.date(),
            debrief.season.about.kind.them(),
            debrief.property.settings.shift_days
        ))?;
        for s in debrief
            .shifts
            .of(&disturbance.id, debrief.season.about.kind)
        {
            super::say(format_args!(
                "    {:7} {:20} {:>3} of {:<3} then {:>3} of {:<3} {}",
                s.role.word(),
                debrief.camera_name(Some(s.camera)),
                s.before.counted,
                s.before.visits,
                s.after.counted,
                s.after.visits,
                s.verdict.word()
            ))?;
        }
    }
    Ok(())
}
