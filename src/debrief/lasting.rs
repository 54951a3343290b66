//! What deer that stay for weeks cost the ranges of one kind: learned from all cameras and seasons, since one record
//! holds too few of them to tell.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rayon::prelude::*;

use super::daylight::{Stretches, span};
use crate::measure::{LongRun, Runs, Usually, count_in_blocks, share_in_blocks};
use crate::visits::{DeerYear, Kind, Season};

/// See the module.
pub(super) struct Lasting {
    shares: Option<Usually>,
    counts: Option<Usually>,
}

impl Lasting {
    /// Of every kind; `logged` holds for every camera when something began or ended near it.
    pub fn of_all(season: &Season, logged: &[Vec<NaiveDate>]) -> BTreeMap<Kind, Self> {
        let of = |kind| (kind, Self::of(season, logged, kind));
        Kind::ALL.into_par_iter().map(of).collect()
    }

    fn of(season: &Season, logged: &[Vec<NaiveDate>], kind: Kind) -> Self {
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

    /// What runs cost the share of some days.
    pub fn on_share(&self, stretches: &Stretches) -> Runs {
        let days = stretches.shares();
        let (long, own) = (|| LongRun::of_shares(&days), || share_in_blocks(&days));
        runs(self.shares, stretches.cameras, long, own)
    }

    /// What runs cost their count per night.
    pub fn on_counts(&self, stretches: &Stretches) -> Runs {
        let days = stretches.counts();
        let (long, own) = (|| LongRun::of_counts(&days), || count_in_blocks(&days));
        runs(self.counts, stretches.cameras, long, own)
    }
}

/// By what is usual, together with `long`. Where too few records tell that, or several cameras hang together more than
/// each by itself, their `own` blocks of days decide.
fn runs(
    usually: Option<Usually>,
    cameras: usize,
    long: impl FnOnce() -> Option<LongRun>,
    own: impl FnOnce() -> Runs,
) -> Runs {
    match usually.map(|u| u.runs(long())) {
        Some(usual) if cameras == 1 => usual,
        Some(usual) => usual.or_worse(own()),
        None => own(),
    }
}
