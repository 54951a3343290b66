//! What deer that stay for weeks cost the ranges of one kind: learned from all cameras and seasons, since one record
//! holds too few of them to tell.

use chrono::NaiveDate;

use super::daylight::{Stretches, span};
use crate::measure::{LongRun, Runs, Usually, count_in_blocks, share_in_blocks};
use crate::visits::{DeerYear, Kind, Season};

/// See the module.
pub(super) struct Lasting {
    shares: Option<Usually>,
    counts: Option<Usually>,
}

impl Lasting {
    /// `logged` holds for every camera when something began or ended near it.
    pub fn of(season: &Season, logged: &[Vec<NaiveDate>], kind: Kind) -> Self {
        let cameras = 0..season.cameras.len();
        let records: Vec<Stretches> = cameras
            .flat_map(|camera| season.years.iter().map(move |year| (camera, *year)))
            .map(|(camera, year): (usize, DeerYear)| {
                Stretches::of(season, logged, &[camera], kind, span(Some(year)))
            })
            .collect();
        let of = |run: fn(&Stretches) -> Option<LongRun>| -> Option<Usually> {
            Usually::of(&records.iter().filter_map(run).collect::<Vec<_>>())
        };
        Self {
            shares: of(|s| LongRun::of_shares(&s.shares())),
            counts: of(|s| LongRun::of_counts(&s.counts())),
        }
    }

    /// What runs cost a share. Where too few records tell what is usual, or several cameras hang together more than
    /// each by itself, its own blocks of days decide.
    pub fn on_share(&self, stretches: &Stretches) -> Runs {
        let days = stretches.shares();
        let own = share_in_blocks(&days);
        match self.shares {
            Some(usually) if stretches.cameras == 1 => usually.runs(LongRun::of_shares(&days)),
            Some(usually) => usually.runs(LongRun::of_shares(&days)).or_worse(own),
            None => own,
        }
    }

    /// The same of a count per night.
    pub fn on_counts(&self, stretches: &Stretches) -> Runs {
        let days = stretches.counts();
        let own = count_in_blocks(&days);
        match self.counts {
            Some(usually) if stretches.cameras == 1 => usually.runs(LongRun::of_counts(&days)),
            Some(usually) => usually.runs(LongRun::of_counts(&days)).or_worse(own),
            None => own,
        }
    }
}
