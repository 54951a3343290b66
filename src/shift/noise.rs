//! What runs of days cost: how much more the counts of a camera vary than independent visits would.

use chrono::{Days, NaiveDate};

use super::effects::Question;
use super::quiet;
use super::window::Windows;
use crate::measure::{
    DayCount, RUN_DAYS, Runs, lasting_runs_of_counts, lasting_runs_of_shares, runs_of_counts,
    runs_of_shares,
};
use crate::visits::{Kind, Season};

/// Runs are measured on the days compared and on this many before and after them, so that they are
/// known better than the compared days alone could tell.
const AROUND_DAYS: u64 = 63;

/// How far runs over weeks are followed at most, in days. Deer that stay are one event of the days compared, so it
/// is a little further than those reach, though not to the end of the shortest stretch, where nothing would be left
/// to compare. The parts are chosen by measurement (`tests/bench/error_rates.md`).
fn furthest(windows: &Windows, stretches: &[Span]) -> usize {
    const OF_DAYS: f64 = 1.3;
    const OF_STRETCH: f64 = 0.95;
    let lengths = stretches.iter().copied().map(days_in);
    let shortest = lengths.fold(f64::INFINITY, f64::min);
    let days = OF_DAYS * f64::from(windows.days());
    (days.min(OF_STRETCH * shortest).round() as usize).max(1)
}

/// What runs of days cost at a camera.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noise {
    /// Of the daylight share.
    pub share: Runs,
    /// Of visits in light, per night.
    pub light: Runs,
    /// Of visits at all hours, per night.
    pub visits: Runs,
}

/// One camera, or several that are looked at as one.
#[derive(Clone, Copy)]
pub(super) struct Watched<'a> {
    pub season: &'a Season,
    pub cameras: &'a [usize],
    pub kind: Kind,
}

impl Noise {
    /// Every visit stands for itself.
    pub const NONE: Self = Self { share: Runs::NONE, light: Runs::NONE, visits: Runs::NONE };

    /// Of what a question is about.
    pub fn on(&self, question: Question) -> Runs {
        match question {
            Question::LightVisits => self.light,
            Question::Share => self.share,
            Question::AllVisits => self.visits,
        }
    }

    /// Runs of some days, in stretches as long as those compared.
    pub fn of(watched: Watched, windows: &Windows) -> Self {
        let as_on = |c| quiet::as_on(watched.season, c, windows);
        Stretches::of(watched, &blocks(watched.season, windows), as_on).noise()
    }

    /// The same of every camera by itself.
    pub fn of_each(season: &Season, kind: Kind, windows: &Windows) -> Vec<Self> {
        each(season, kind, |watched| Self::of(watched, windows))
    }

    /// Runs over weeks, in all days before and all days after: where deer with habits of their own stay that
    /// long at one camera, no other tells of it.
    pub fn lasting(watched: Watched, windows: &Windows) -> Self {
        let around = around(watched.season, windows);
        let as_on = |c| quiet::as_on(watched.season, c, windows);
        let stretches = Stretches::of(watched, &around, as_on);
        stretches.lasting(furthest(windows, &around))
    }

    /// Runs over a whole record, in stretches of so many days.
    pub fn of_all(watched: Watched, days: u32) -> Self {
        let mut all = Stretches::default();
        if let Some((first, last)) = watched.season.span() {
            let starts = first.iter_days().step_by(days as usize);
            for start in starts.take_while(|start| *start <= last) {
                let end = (start + Days::new(u64::from(days) - 1)).min(last);
                all.take_in(watched, (start, end), |_| start);
            }
        }
        all.noise()
    }
}

/// Something of every camera by itself.
pub(super) fn each<T>(season: &Season, kind: Kind, of: impl Fn(Watched) -> T) -> Vec<T> {
    let one = |camera: usize| of(Watched { season, cameras: &[camera], kind });
    (0..season.cameras.len()).map(one).collect()
}

type Span = (NaiveDate, NaiveDate);

fn days_in((from, until): Span) -> f64 {
    (until - from).num_days() as f64 + 1.0
}

/// All days before and all days after, as far as runs are measured. Nothing is known of days outside the
/// season.
fn around(season: &Season, windows: &Windows) -> [Span; 2] {
    if windows.years_apart.is_some() {
        return [windows.before, windows.after];
    }
    let far = Days::new(AROUND_DAYS);
    let (first, last) = season.span().unwrap_or((windows.before.0, windows.after.1));
    let (start, end) = (windows.before.0 - far, windows.after.1 + far);
    [
        (first.max(start).min(windows.before.0), windows.before.1),
        (windows.after.0, last.min(end).max(windows.after.1)),
    ]
}

/// The same days in stretches as long as those compared, counted from the date between them.
fn blocks(season: &Season, windows: &Windows) -> Vec<Span> {
    let one = Days::new(1);
    let length = match windows.years_apart {
        Some(_) => SEASON_BLOCK_DAYS,
        None => (windows.after.1 - windows.after.0).num_days() as u64,
    };
    let length = Days::new(length);
    let [before, after] = around(season, windows);
    let mut blocks = Vec::new();
    let mut end = before.1;
    while end >= before.0 {
        let start = (end - length).max(before.0);
        blocks.push((start, end));
        end = start - one;
    }
    let mut start = after.0;
    while start <= after.1 {
        let end = (start + length).min(after.1);
        blocks.push((start, end));
        start = end + one;
    }
    blocks
}

/// Seasons are cut into stretches of so many days and one.
const SEASON_BLOCK_DAYS: u64 = 27;

/// Days in order, stretch by stretch.
#[derive(Default)]
struct Stretches {
    shares: Vec<Vec<DayCount>>,
    light: Vec<Vec<f64>>,
    visits: Vec<Vec<f64>>,
}

impl Stretches {
    fn of(watched: Watched, spans: &[Span], as_on: impl Fn(usize) -> NaiveDate) -> Self {
        let mut all = Self::default();
        for span in spans {
            all.take_in(watched, *span, &as_on);
        }
        all
    }

    fn take_in(&mut self, watched: Watched, span: Span, as_on: impl Fn(usize) -> NaiveDate) {
        let days = days(watched, span, as_on);
        let worked = || days.iter().filter(|d| d.worked).map(|d| d.count);
        self.light.push(worked().map(|d| d.hits).collect());
        self.visits.push(worked().map(|d| d.trials).collect());
        self.shares.push(days.iter().map(|d| d.count).collect());
    }

    fn noise(&self) -> Noise {
        Noise {
            share: runs_of_shares(&self.shares, RUN_DAYS),
            light: runs_of_counts(&self.light, RUN_DAYS),
            visits: runs_of_counts(&self.visits, RUN_DAYS),
        }
    }

    fn lasting(&self, furthest: usize) -> Noise {
        Noise {
            share: lasting_runs_of_shares(&self.shares, furthest),
            light: lasting_runs_of_counts(&self.light, furthest),
            visits: lasting_runs_of_counts(&self.visits, furthest),
        }
    }
}

/// One date of one camera, or of several.
#[derive(Clone, Copy, Default)]
pub(super) struct DaySeen {
    /// Visits that the share counts, and all.
    pub count: DayCount,
    /// Whether any of them worked.
    pub worked: bool,
}

/// The dates of a span, the cameras' counts added up day by day; of each as far as it hung where it did on the date
/// that `as_on` says of it.
pub(super) fn days(
    watched: Watched,
    span: Span,
    as_on: impl Fn(usize) -> NaiveDate,
) -> Vec<DaySeen> {
    let length = (span.1 - span.0).num_days().max(-1) + 1;
    let mut days = vec![DaySeen::default(); length as usize];
    for camera in watched.cameras {
        let seen = watched.season.days.between(*camera, watched.kind, span, as_on(*camera));
        for (day, seen) in days.iter_mut().zip(seen) {
            day.count.hits += f64::from(seen.seen.counted);
            day.count.trials += f64::from(seen.seen.visits);
            day.worked |= seen.worked;
        }
    }
    days
}
