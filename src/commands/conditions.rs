//! `graylight conditions PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::debrief::Debrief;
use crate::outlook::Held;
use crate::report::{self, outlook_words};

/// Wind, weather and moon: what is believed of them, tested
#[derive(Args)]
pub struct Conditions {
    /// The property's folder
    property: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Conditions {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        super::tell(&self.property, self.json, ("conditions", report::conditions), print)
    }
}

fn print(debrief: &Debrief) -> Result<()> {
    let conditions = &debrief.outlook.conditions;
    super::say(format_args!(
        "{} of {} in {}: {}",
        debrief.property.settings.name,
        debrief.season.about.kind.them(),
        debrief.property.settings.share_light(),
        outlook_words::tally(conditions.all)
    ))?;
    for row in &conditions.rows {
        super::say(format_args!(
            "  {:40} {:20} {:20} {}",
            outlook_words::belief(row.belief),
            row.held.word(),
            outlook_words::ratio(outlook_words::belief_ratio(row)),
            match row.held {
                Held::NotShown => format!("could have been seen: {}", outlook_words::smallest(row)),
                Held::CannotBeTold => outlook_words::smallest(row),
                Held::More | Held::Fewer => outlook_words::step(row.belief).to_owned(),
            }
        ))?;
    }
    if let Some(why) = outlook_words::why_not(conditions) {
        super::say(why)?;
    }
    super::say(outlook_words::conditions(conditions))
}
