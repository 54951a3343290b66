//! `graylight years PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::debrief::Debrief;
use crate::report;

/// This season against earlier ones, over the same days of the year
#[derive(Args)]
pub struct Years {
    /// The property's folder
    property: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Years {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        super::tell(&self.property, self.json, ("years", report::years), print)
    }
}

/// Whom the seasons are about, at every camera.
fn print(debrief: &Debrief) -> Result<()> {
    let years = &debrief.shifts.years;
    let about = debrief.season.about.kind;
    if years.is_empty() {
        return super::say(
            "There is one season, so there is none to compare it with. Its days count from the day that [season] starts in property.toml names, 1 June unless set.",
        );
    }
    let mut with = None;
    for row in years.iter().filter(|r| r.shift.kind == about) {
        let s = &row.shift;
        if with != Some(row.with) {
            with = Some(row.with);
            super::say(format_args!(
                "{} against {}: {}, {} to {} on the days when a camera worked in both; visits in light, then the verdict on them and on the share",
                s.season.name(),
                row.with.name(),
                about.them(),
                s.after.from.format("%-d %B"),
                s.after.until.format("%-d %B"),
            ))?;
        }
        super::say(format_args!(
            "    {:20} {:>3} of {:<3} then {:>3} of {:<3} in {:>3} nights  {}; {}",
            s.camera.map_or("whole property", |c| debrief.camera_name(Some(c))),
            s.before.counted,
            s.before.visits,
            s.after.counted,
            s.after.visits,
            s.after.nights,
            s.light_verdict.word(),
            s.verdict.word()
        ))?;
    }
    super::say(
        "The whole property has no control: a year with more acorns or fewer deer would look the same.",
    )
}
