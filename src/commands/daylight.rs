//! `graylight daylight PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::debrief::Debrief;
use crate::report;

/// Who moves in legal light, where and when
#[derive(Args)]
pub struct Daylight {
    /// The property's folder
    property: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Daylight {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        super::tell(&self.property, self.json, ("daylight", report::daylight), print)
    }
}

/// Mature bucks and all deer, for the property and every camera.
pub(super) fn print(debrief: &Debrief) -> Result<()> {
    let light = debrief.property.settings.share_light();
    super::say(format_args!("{}: visits in {light}", debrief.property.settings.name))?;
    let width =
        debrief.season.cameras.iter().map(|c| c.name.chars().count()).fold(18, usize::max).min(60);
    for kind in debrief.season.about.kinds() {
        super::say(format_args!("  {}", kind.plural()))?;
        for answer in debrief.daylight_now().filter(|a| a.kind == kind) {
            let name =
                answer.camera.map_or("whole property", |c| debrief.season.cameras[c].name.as_str());
            let is_tagged = answer.pictures.are_tagged();
            if answer.visits == 0 && !is_tagged {
                super::say(format_args!("    {name:width$}  not tagged"))?;
                continue;
            }
            super::say(format_args!(
                "    {name:width$}  {:>4} of {:<5} {}{}{}",
                answer.counted,
                answer.visits,
                super::percent(answer.share),
                match is_tagged {
                    true => String::new(),
                    false => format!(
                        "  {} of {} pictures without a tag",
                        answer.pictures.untagged, answer.pictures.all
                    ),
                },
                if answer.clock_in_doubt && answer.camera.is_some() {
                    "  clock in doubt"
                } else {
                    ""
                }
            ))?;
        }
    }
    super::say("Legal light is the property's own setting; check your local regulations.")?;
    Ok(())
}
