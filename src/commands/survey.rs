//! `graylight survey PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::exchange::survey::{self, Survey as Counted, SurveyOptions};
use crate::measure::Estimate;

/// A season in a biologist's numbers: effort, events per 100 camera-nights, naive occupancy, overlap of daily patterns
#[derive(Args)]
pub struct Survey {
    /// The property's folder
    property: PathBuf,
    /// A new folder for the tables, with the detection matrix
    #[arg(long, value_name = "FOLDER")]
    to: Option<PathBuf>,
    /// The season, such as 2025-26; else the newest
    #[arg(long, value_name = "NAME")]
    season: Option<String>,
    /// Days of one occasion of the detection matrix
    #[arg(long, value_name = "DAYS", default_value_t = 7, allow_hyphen_values = true)]
    occasion_days: u32,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Survey {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let debrief = super::debrief(&self.property)?;
        let options = SurveyOptions {
            season: self.season.clone(),
            occasion_days: self.occasion_days,
            today: super::today(),
        };
        let counted = Counted::of(&debrief, &options)?;
        let written = match &self.to {
            Some(folder) => survey::write(&counted, folder)?,
            None => Vec::new(),
        };
        if self.json {
            return super::say_json(&survey::as_json(&counted));
        }
        print(&counted)?;
        match &self.to {
            Some(folder) => {
                super::say(format_args!("Written to {}: {}", folder.display(), written.join(", ")))
            }
            None => Ok(()),
        }
    }
}

fn print(survey: &Counted) -> Result<()> {
    let nights: usize = survey.sites.iter().map(|s| s.nights).sum();
    let lost: usize = survey.sites.iter().map(|s| s.nights_lost).sum();
    super::say(format_args!(
        "{}: {} sites, {nights} camera-nights, {lost} lost",
        survey.season.name(),
        survey.sites.len()
    ))?;
    let range = |e: Option<Estimate>| {
        e.map_or_else(
            || "too much is untagged".to_owned(),
            |e| format!("{:.1} ({:.1}–{:.1})", e.value, e.low, e.high),
        )
    };
    super::say("Events per 100 camera-nights, all sites together; sites at which it was seen:")?;
    for (rate, occupancy) in survey.rates.iter().filter(|r| r.site.is_none()).zip(&survey.occupancy)
    {
        super::say(format_args!(
            "  {:<14} {} of {} events; {} of {} sites",
            survey.species[rate.species].name,
            range(rate.per_100_nights),
            rate.events,
            occupancy.seen_at,
            occupancy.sites
        ))?;
    }
    if !survey.overlaps.is_empty() {
        super::say("Overlap of daily patterns, by the sun:")?;
    }
    for o in &survey.overlaps {
        super::say(format_args!(
            "  {} and {} ({} and {} events): {}",
            survey.species[o.species[0]].name,
            survey.species[o.species[1]].name,
            o.events[0],
            o.events[1],
            super::percent(o.estimate.told)
        ))?;
    }
    super::say(
        "Every event is taken as independent, and nothing is corrected for animals that were missed.",
    )
}
