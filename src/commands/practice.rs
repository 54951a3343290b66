//! `graylight practice FOLDER`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::practice::{ClockFault, Options, Trouble, write};

/// Write a practice property: a made-up season with a known answer
#[derive(Args)]
pub struct Practice {
    /// A new or empty folder
    folder: PathBuf,
    /// Everything random follows from this number
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Length of the season, 2 to 52 weeks
    #[arg(long, default_value_t = 12)]
    weeks: u32,
    /// Seasons in a row, 1 to 6: with several, cameras come, go, move and turn
    #[arg(long, default_value_t = 1)]
    seasons: u32,
    /// Beside a single season the one before it, in which nothing happened
    #[arg(long)]
    with_last_season: bool,
    /// Weather, stands, sits and grounds too, some of which do something to the deer
    #[arg(long)]
    with_country: bool,
    /// Number of cameras, 2 to 12
    #[arg(long, default_value_t = 7)]
    cameras: usize,
    /// How busy the cameras are; 1 is an ordinary property
    #[arg(long, default_value_t = 1.0)]
    size: f64,
    /// Daylight share of mature bucks where nothing disturbs them
    #[arg(long, default_value_t = Options::default().share_before)]
    share_before: f64,
    /// The same at the touched camera after the disturbance
    #[arg(long, default_value_t = Options::default().share_after)]
    share_after: f64,
    /// What the disturbance multiplies their visits there by
    #[arg(long, default_value_t = 1.0)]
    rate_after: f64,
    /// What makes the season hard to read
    #[arg(long, value_enum, default_value_t = Trouble::None)]
    trouble: Trouble,
    /// What is wrong with the clock of the second camera
    #[arg(long, value_enum, default_value_t = ClockFault::None)]
    clock: ClockFault,
    /// Write sightings.csv in place of pictures
    #[arg(long)]
    no_pictures: bool,
}

impl Practice {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let options = Options {
            seed: self.seed,
            weeks: self.weeks,
            seasons: self.seasons,
            with_last_season: self.with_last_season,
            with_country: self.with_country,
            cameras: self.cameras,
            size: self.size,
            share_before: self.share_before,
            share_after: self.share_after,
            rate_after: self.rate_after,
            trouble: self.trouble,
            clock: self.clock,
            pictures: !self.no_pictures,
            ..Options::default()
        };
        let progress = super::progress("drawing pictures");
        let written = write(&self.folder, &options, &progress)?;
        progress.finish_and_clear();
        super::say(format_args!(
            "{} visits and triggers, {} files, in {}. The answer is in answer.json.",
            written.visits,
            written.files,
            self.folder.display()
        ))?;
        Ok(())
    }
}
