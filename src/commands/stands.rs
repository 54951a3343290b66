//! `graylight stands PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::debrief::Debrief;
use crate::report::{self, outlook_words};

/// Where and when to sit, and what cannot be told
#[derive(Args)]
pub struct Stands {
    /// The property's folder
    property: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Stands {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        super::tell(&self.property, self.json, ("stands", report::stands), print)
    }
}

fn print(debrief: &Debrief) -> Result<()> {
    let rows = &debrief.outlook.stands;
    if rows.is_empty() {
        return super::say("No camera has worked yet, so there is nothing to tell.");
    }
    super::say(format_args!(
        "Visits of {} in {} to be expected in ten mornings or evenings, with their range",
        debrief.season.about.kind.them(),
        debrief.property.settings.share_light()
    ))?;
    let mut group = None;
    for row in rows {
        if group != Some((&row.part, row.half)) {
            group = Some((&row.part, row.half));
            super::say(format_args!("  {}, {}s", row.part, row.half.word()))?;
        }
        super::say(format_args!(
            "    {:20} {:16} {:>3} in {:<4} {}{}{}",
            row.stand,
            outlook_words::per_ten(row.per_ten),
            row.visits,
            row.outings,
            outlook_words::beside_best(row),
            match row.three_of_four_min {
                Some(_) => format!("; three of four came {}", outlook_words::three_of_four(row)),
                None => String::new(),
            },
            match row.left_out {
                0 => String::new(),
                n => format!("; {n} left out, the camera may have been dead or is not tagged"),
            }
        ))?;
    }
    if let Some(words) = outlook_words::unwatched(&debrief.outlook.unwatched) {
        super::say(words)?;
    }
    super::say(
        "Of stands that are too close to call none is better than another by these pictures. A morning lasts until the sun's noon. Hours and seasons come from your local regulations: check them. Wear a harness on every stand above the ground, and tell somebody where you sit.",
    )
}
