//! One camera's days before against its days after, with the controls beside them.

use chrono::{Days, NaiveDate};

use super::enough::enough;
use super::window::{Side, Tally, Windows};
use super::{Role, Shift, Verdict};
use crate::measure::{
    Counts, DayCount, Estimate, Exposure, Runs, change, change_against, change_p_value,
    rate_p_value, rate_ratio, runs_of_counts, runs_of_shares,
};
use crate::property::Disturbance;
use crate::visits::{Camera, Kind, Season};

/// A side with fewer visits than this is never judged.
const FEWEST_VISITS: usize = 5;
/// The level of a verdict.
pub(super) const LEVEL: f64 = 0.05;
/// Runs are measured on the days compared and on this many before and after them, so that they are
/// known better than the compared days alone could tell.
const AROUND_DAYS: u64 = 63;

/// A camera's comparison, before its verdict.
pub(super) struct Comparison {
    before: Side,
    after: Side,
    share_change: Option<Estimate>,
    against: Option<Estimate>,
    rate_ratio: Option<Estimate>,
    all_hours_ratio: Option<Estimate>,
    runs: Runs,
    p_value: Option<f64>,
    rate_p_value: Option<f64>,
    judgeable: bool,
    here: (Counts, Counts),
    elsewhere: Option<(Counts, Counts)>,
}

impl Comparison {
    /// The change that is tested: against the controls where there are any. `None` where a side has
    /// too few visits.
    pub fn tested_change(&self) -> Option<f64> {
        let few = self.before.visits.min(self.after.visits) < FEWEST_VISITS;
        let tested = self.against.or(self.share_change)?;
        (!few).then_some(tested.value)
    }

    /// The p-value of a comparison with enough visits to be judged.
    pub fn p_value(&self) -> Option<f64> {
        self.p_value.filter(|_| self.judgeable)
    }

    pub fn into_shift(
        self,
        disturbance: &Disturbance,
        camera: usize,
        kind: Kind,
        role: Role,
    ) -> Shift {
        Shift {
            disturbance: disturbance.id.clone(),
            camera,
            kind,
            role,
            before: self.before,
            after: self.after,
            share_change: self.share_change,
            share_change_against_controls: self.against,
            rate_ratio: self.rate_ratio,
            all_hours_ratio: self.all_hours_ratio,
            runs: self.runs,
            p_value: self.p_value,
            p_adjusted: None,
            rate_p_value: self.rate_p_value,
            rate_p_adjusted: None,
            verdict: if self.judgeable {
                Verdict::NoClearChange
            } else {
                Verdict::TooFewVisits
            },
            pattern: None,
            enough: enough(self.here, self.elsewhere, self.runs.freedom),
            timing: None,
            onset: None,
            placebo: None,
        }
    }
}

/// One camera around one disturbance: the days compared, and the days around them.
struct Around {
    earlier: Tally,
    before: Tally,
    after: Tally,
    later: Tally,
}

impl Around {
    fn of(season: &Season, camera: &Camera, kind: Kind, windows: &Windows) -> Self {
        let one = Days::new(1);
        let far = Days::new(AROUND_DAYS);
        let as_on = windows.after.0;
        let tally =
            |from: NaiveDate, until: NaiveDate| Tally::of(camera, kind, (from, until), as_on);
        // Nothing is known of days before or after the season.
        let (first, last) = season.span().unwrap_or((windows.before.0, windows.after.1));
        Self {
            earlier: tally(first.max(windows.before.0 - far), windows.before.0 - one),
            before: tally(windows.before.0, windows.before.1),
            after: tally(windows.after.0, windows.after.1),
            later: tally(windows.after.1 + one, last.min(windows.after.1 + far)),
        }
    }

    fn stretches(&self) -> [&Tally; 4] {
        [&self.earlier, &self.before, &self.after, &self.later]
    }
}

/// Compares every camera of the season. A camera is set against all controls other than itself.
pub(super) fn cameras(
    season: &Season,
    windows: &Windows,
    kind: Kind,
    roles: &[Role],
) -> Vec<Comparison> {
    let around: Vec<Around> = season
        .cameras
        .iter()
        .map(|camera| Around::of(season, camera, kind, windows))
        .collect();
    let last_year = windows.a_year_earlier();
    (0..around.len())
        .map(|camera| {
            // The same camera in the same weeks of last year is a control too, if it worked then.
            let began = season.cameras[camera].effort.dates.first();
            let itself = last_year
                .filter(|windows| began.is_some_and(|date| *date < windows.before.1))
                .map(|windows| Around::of(season, &season.cameras[camera], kind, &windows))
                .filter(|a| a.before.side.visits.min(a.after.side.visits) >= FEWEST_VISITS);
            let controls: Vec<&Around> = (0..around.len())
                .filter(|&other| other != camera && roles[other] == Role::Control)
                .map(|other| &around[other])
                .chain(&itself)
                .collect();
            compare(&around[camera], &controls)
        })
        .collect()
}

fn compare(around: &Around, controls: &[&Around]) -> Comparison {
    let (before, after) = (&around.before, &around.after);
    let runs = runs_of_shares(&around.stretches().map(|t| t.days.as_slice()));
    let here = (
        before.counts().divided_by(runs.design_effect),
        after.counts().divided_by(runs.design_effect),
    );
    let elsewhere = pooled_shares(controls);
    let enough_visits = before.side.visits.min(after.side.visits) >= FEWEST_VISITS;
    let tagged = before.side.pictures.are_tagged() && after.side.pictures.are_tagged();
    let rates = |nightly| tagged.then(|| ratio(around, nightly)).flatten();
    Comparison {
        share_change: change(here.0, here.1, runs.freedom),
        against: elsewhere.and_then(|there| change_against(here, there, runs.freedom)),
        rate_ratio: rates(|t| &t.counted_per_night),
        all_hours_ratio: rates(|t| &t.visits_per_night),
        runs,
        p_value: change_p_value(here, elsewhere, runs.freedom),
        rate_p_value: tagged.then(|| left_p_value(around, controls)).flatten(),
        judgeable: enough_visits && could_be_clear(here, elsewhere, runs.freedom),
        here,
        elsewhere,
        before: before.side.clone(),
        after: after.side.clone(),
    }
}

/// Whether the largest change these visits could have shown would be told from chance.
fn could_be_clear(
    here: (Counts, Counts),
    elsewhere: Option<(Counts, Counts)>,
    freedom: f64,
) -> bool {
    let (before, after) = here;
    [0.0, after.trials].into_iter().any(|hits| {
        let extreme = Counts { hits, ..after };
        change_p_value((before, extreme), elsewhere, freedom).is_some_and(|p| p <= LEVEL)
    })
}

/// The controls' effective counts before and after: their visits are added day by day, so that
/// deer seen by several cameras on one day count as one day's luck.
fn pooled_shares(controls: &[&Around]) -> Option<(Counts, Counts)> {
    let mut stretches: [Vec<DayCount>; 4] = Default::default();
    for control in controls {
        for (sum, tally) in stretches.iter_mut().zip(control.stretches()) {
            sum.resize(sum.len().max(tally.days.len()), DayCount::default());
            for (sum, day) in sum.iter_mut().zip(&tally.days) {
                sum.hits += day.hits;
                sum.trials += day.trials;
            }
        }
    }
    let runs = runs_of_shares(&[&stretches[0], &stretches[1], &stretches[2], &stretches[3]]);
    let effective = |days: &[DayCount]| {
        Counts {
            hits: days.iter().map(|d| d.hits).sum(),
            trials: days.iter().map(|d| d.trials).sum(),
        }
        .divided_by(runs.design_effect)
    };
    let (before, after) = (effective(&stretches[1]), effective(&stretches[2]));
    (before.trials > 0.0 && after.trials > 0.0).then_some((before, after))
}

/// Effective events and effort before and after, and the degrees of freedom of their dispersion.
fn exposures(around: &Around, nightly: fn(&Tally) -> &Vec<f64>) -> (Exposure, Exposure, f64) {
    let runs = runs_of_counts(&around.stretches().map(|t| nightly(t).as_slice()));
    let exposure = |tally: &Tally| Exposure {
        events: nightly(tally).iter().sum::<f64>() / runs.design_effect,
        effort: nightly(tally).len() as f64,
    };
    (
        exposure(&around.before),
        exposure(&around.after),
        runs.freedom,
    )
}

fn ratio(around: &Around, nightly: fn(&Tally) -> &Vec<f64>) -> Option<Estimate> {
    let (before, after, freedom) = exposures(around, nightly);
    rate_ratio(before, after, freedom)
}

/// P-value of unchanged visits at all hours, against the controls where there are any.
fn left_p_value(around: &Around, controls: &[&Around]) -> Option<f64> {
    let nightly: fn(&Tally) -> &Vec<f64> = |t| &t.visits_per_night;
    let (before, after, freedom) = exposures(around, nightly);
    let add = |a: Exposure, b: Exposure| Exposure {
        events: a.events + b.events,
        effort: a.effort + b.effort,
    };
    let elsewhere = controls
        .iter()
        .map(|c| exposures(c, nightly))
        .map(|(before, after, _)| (before, after))
        .reduce(|a, b| (add(a.0, b.0), add(a.1, b.1)))
        .filter(|(before, after)| before.effort > 0.0 && after.effort > 0.0);
    rate_p_value((before, after), elsewhere, freedom)
}
