//! One camera's days before against its days after, with the controls beside them.

use chrono::{Days, NaiveDate};

use super::controls;
use super::enough::enough;
use super::roles::Logged;
use super::window::{Side, Tally, Windows};
use super::{Role, Shift, Verdict};
use crate::measure::{
    Counts, Estimate, Exposure, Runs, change, change_against, change_p_value, rate_p_value,
    rate_ratio, runs_of_counts, runs_of_shares,
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
    rate_against: Option<f64>,
    judgeable: bool,
    here: (Counts, Counts),
    elsewhere: Option<(Counts, Counts)>,
    last_year: bool,
    clock_in_doubt: bool,
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
        self.p_value
            .filter(|_| self.judgeable && !self.clock_in_doubt)
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
            rate_against: self.rate_against,
            clock_in_doubt: self.clock_in_doubt,
            last_year: self.last_year,
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
pub(super) struct Around {
    earlier: Tally,
    pub before: Tally,
    pub after: Tally,
    later: Tally,
    clock_in_doubt: bool,
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
            clock_in_doubt: camera.clock_doubtful_between(windows.before.0, windows.after.1),
        }
    }

    pub fn stretches(&self) -> [&Tally; 4] {
        [&self.earlier, &self.before, &self.after, &self.later]
    }
}

/// Compares every camera of the season. A camera is set against all controls other than itself, and
/// against itself in the same weeks of last year.
pub(super) fn cameras(
    season: &Season,
    windows: &Windows,
    kind: Kind,
    roles: &[Role],
    log: &[Logged],
) -> Vec<Comparison> {
    let around: Vec<Around> = season
        .cameras
        .iter()
        .map(|camera| Around::of(season, camera, kind, windows))
        .collect();
    (0..around.len())
        .map(|camera| {
            let controls: Vec<&Around> = (0..around.len())
                .filter(|&other| other != camera && roles[other] == Role::Control)
                // A control whose clock is wrong would pass its error on to every camera.
                .filter(|&other| !around[other].clock_in_doubt)
                .map(|other| &around[other])
                .collect();
            let itself = last_year(season, camera, kind, windows, log);
            compare(&around[camera], &controls, itself.as_ref())
        })
        .collect()
}

/// The same camera in the same weeks of last year: only where it hung at the same place, had visits
/// on both sides, and nothing was logged near it then, so that what happens every year on one day is
/// not subtracted from itself.
fn last_year(
    season: &Season,
    camera: usize,
    kind: Kind,
    windows: &Windows,
    log: &[Logged],
) -> Option<Around> {
    let then = windows.a_year_earlier()?;
    let itself = &season.cameras[camera];
    let began = *itself.effort.dates.first()?;
    let logged = || {
        log.iter()
            .any(|l| l.touches(camera, then.before.0, then.after.1))
    };
    if began > then.before.1 || itself.moved_between(then.after.0, windows.after.0) || logged() {
        return None;
    }
    let around = Around::of(season, itself, kind, &then);
    let fewest = around.before.side.visits.min(around.after.side.visits);
    (fewest >= FEWEST_VISITS).then_some(around)
}

fn compare(around: &Around, others: &[&Around], last_year: Option<&Around>) -> Comparison {
    let (before, after) = (&around.before, &around.after);
    let runs = runs_of_shares(&around.stretches().map(|t| t.days.as_slice()));
    let here = (
        before.counts().divided_by(runs.design_effect),
        after.counts().divided_by(runs.design_effect),
    );
    let controls: Vec<&Around> = others.iter().copied().chain(last_year).collect();
    let elsewhere = controls::shares(&controls);
    let enough_visits = before.side.visits.min(after.side.visits) >= FEWEST_VISITS;
    let tagged = before.side.pictures.are_tagged() && after.side.pictures.are_tagged();
    let rates = |nightly| tagged.then(|| ratio(around, nightly)).flatten();
    let left = tagged.then(|| left(around, &controls)).flatten();
    Comparison {
        share_change: change(here.0, here.1, runs.freedom),
        against: elsewhere.and_then(|there| change_against(here, there, runs.freedom)),
        rate_ratio: rates(|t| &t.counted_per_night),
        all_hours_ratio: rates(|t| &t.visits_per_night),
        runs,
        p_value: change_p_value(here, elsewhere, runs.freedom),
        rate_p_value: left.map(|l| l.p_value),
        rate_against: left.map(|l| l.against),
        judgeable: enough_visits && could_be_clear(here, elsewhere, runs.freedom),
        here,
        elsewhere,
        last_year: last_year.is_some(),
        clock_in_doubt: around.clock_in_doubt,
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

/// What visits at all hours did.
#[derive(Clone, Copy)]
struct Left {
    p_value: f64,
    against: f64,
}

/// Whether visits at all hours changed, against the controls where there are any. `None` where even
/// all of them falling on one side could not be told from chance.
fn left(around: &Around, controls: &[&Around]) -> Option<Left> {
    let (before, after, freedom) = exposures(around, |t| &t.visits_per_night);
    let all = before.events + after.events;
    let with = |side: Exposure, events: f64| Exposure { events, ..side };
    let extremes = [
        (with(before, all), with(after, 0.0)),
        (with(before, 0.0), with(after, all)),
    ];
    let could_show = |sides| rate_p_value(sides, None, freedom).is_some_and(|p| p <= LEVEL);
    if !extremes.into_iter().any(could_show) {
        return None;
    }
    let elsewhere = controls::rates(controls);
    let log_rate = |side: Exposure| ((side.events + 0.5) / side.effort).ln();
    let log_ratio = |(before, after)| log_rate(after) - log_rate(before);
    Some(Left {
        p_value: rate_p_value((before, after), elsewhere, freedom)?,
        against: log_ratio((before, after)) - elsewhere.map_or(0.0, log_ratio),
    })
}
