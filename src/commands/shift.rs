//! `graylight shift PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::debrief::Debrief;
use crate::report;
use crate::shift::{Question, Side, Verdict};

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
        super::tell(&self.property, self.json, ("shifts", report::shifts), print)
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
            "Not logged: {} at {}, {} to {}, {}",
            change.kind.word(),
            debrief.camera_name(Some(change.camera)),
            change.dates.0,
            change.dates.1,
            report::against_others(change)
        ))?;
    }
    for disturbance in debrief.single_disturbances() {
        super::say(format_args!(
            "{} ({}): {}, {} days before and after; visits in light, then what can be said of them and of the share",
            disturbance.what,
            disturbance.start.date(),
            debrief.season.about.kind.them(),
            debrief.shifts.plan(&disturbance.id).map_or(0, |plan| plan.chosen.days)
        ))?;
        let about = debrief.season.about.kind;
        let together = debrief.shifts.together(&disturbance.id, about);
        let rows = debrief.shifts.of(&disturbance.id, about);
        let worked = |s: &&crate::shift::Shift| s.before.nights + s.after.nights > 0;
        for s in together.into_iter().chain(rows).filter(worked) {
            super::say(format_args!(
                "    {:7} {:20} {} then {} {}; {}",
                s.role.word(),
                s.camera.map_or("all near together", |c| debrief.camera_name(Some(c))),
                counts(&s.before),
                counts(&s.after),
                told(s, Question::LightVisits),
                told(s, Question::Share)
            ))?;
        }
    }
    for repeated in &debrief.shifts.repeated {
        super::say(format_args!(
            "{}, {} times: visits in light on that day and the two after {}; {}",
            repeated.what,
            repeated.times,
            repeated.ratio.map_or("–".to_owned(), |r| format!(
                "×{:.2} ({:.2}–{:.2})",
                r.value, r.low, r.high
            )),
            repeated.verdict.word()
        ))?;
    }
    Ok(())
}

/// Whether it changed, and which way.
fn told(shift: &crate::shift::Shift, question: Question) -> String {
    match shift.verdict_on(question) {
        Verdict::ClearDrop => "fell".to_owned(),
        Verdict::ClearRise => "rose".to_owned(),
        _ => shift.answer(question).to_string(),
    }
}

/// `  3 of 12 `; of what nobody has tagged nothing is counted.
fn counts(side: &Side) -> String {
    match side.visits == 0 && !side.pictures.are_tagged() {
        true => "not tagged".to_owned(),
        false => format!("{:>3} of {:<3}", side.counted, side.visits),
    }
}
