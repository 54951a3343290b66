//! One camera around one date: the days compared, and the days around them.

use std::cell::OnceCell;

use chrono::{Days, NaiveDate};

use super::window::{Tally, Windows};
use crate::measure::{Runs, runs_of_counts, runs_of_shares};
use crate::visits::{Kind, Season};

/// Runs are measured on the days compared and on this many before and after them, so that they are
/// known better than the compared days alone could tell.
const AROUND_DAYS: u64 = 63;

/// The days of one camera and kind.
pub(super) struct Around {
    earlier: Tally,
    pub before: Tally,
    pub after: Tally,
    later: Tally,
    pub clock_in_doubt: bool,
    share_runs: OnceCell<Runs>,
    visit_runs: OnceCell<Runs>,
}

impl Around {
    /// Counts one camera of the season.
    pub fn of(season: &Season, camera: usize, kind: Kind, windows: &Windows) -> Self {
        let one = Days::new(1);
        let far = Days::new(AROUND_DAYS);
        let as_on = windows.after.0;
        let tally = |from: NaiveDate, until: NaiveDate| {
            Tally::of(season, camera, kind, (from, until), as_on)
        };
        // Nothing is known of days before or after the season.
        let (first, last) = season.span().unwrap_or((windows.before.0, windows.after.1));
        Self {
            share_runs: OnceCell::new(),
            visit_runs: OnceCell::new(),
            earlier: tally(first.max(windows.before.0 - far), windows.before.0 - one),
            before: tally(windows.before.0, windows.before.1),
            after: tally(windows.after.0, windows.after.1),
            later: tally(windows.after.1 + one, last.min(windows.after.1 + far)),
            clock_in_doubt: season.cameras[camera]
                .clock_doubtful_between(windows.before.0, windows.after.1),
        }
    }

    /// What runs of days cost the share.
    pub fn share_runs(&self) -> Runs {
        let runs = || runs_of_shares(&self.stretches().map(|t| t.days.as_slice()));
        *self.share_runs.get_or_init(runs)
    }

    /// What runs of days cost visits at all hours.
    pub fn visit_runs(&self) -> Runs {
        let runs = || runs_of_counts(&self.stretches().map(|t| t.visits_per_night.as_slice()));
        *self.visit_runs.get_or_init(runs)
    }

    /// The fewer visits of the two sides.
    pub fn fewest_visits(&self) -> usize {
        self.before.side.visits.min(self.after.side.visits)
    }

    pub fn stretches(&self) -> [&Tally; 4] {
        [&self.earlier, &self.before, &self.after, &self.later]
    }
}
