//! One camera's days before against its days after, with the controls beside them.

use super::around::Around;
use super::controls::{Pool, Pools};
use super::enough::enough;
use super::roles::Logged;
use super::window::{Tally, Windows};
use super::{Role, Shift, Verdict};
use crate::measure::{
    Counts, Estimate, Exposure, Runs, change, change_against, change_p_value, rate_p_value,
    rate_ratio, runs_of_counts,
};
use crate::property::Disturbance;
use crate::visits::{Kind, Season};

/// A side with fewer visits than this is never judged.
const FEWEST_VISITS: usize = 5;
/// The level of a verdict.
pub(super) const LEVEL: f64 = 0.05;

/// A camera's comparison, before its verdict. What costs something is worked out when it is asked for:
/// most comparisons are of dates on which nothing happened.
pub(super) struct Comparison {
    around: Around,
    /// Effective counts before and after.
    here: (Counts, Counts),
    /// The same of the controls.
    elsewhere: Option<(Counts, Counts)>,
    /// The controls' visits at all hours.
    elsewhere_rates: Option<(Exposure, Exposure)>,
    last_year: bool,
}

impl Comparison {
    fn of(around: Around, controls: &Pool, last_year: bool) -> Self {
        let effect = around.share_runs().design_effect;
        let effective = |t: &Tally| t.counts().divided_by(effect);
        Self {
            here: (effective(&around.before), effective(&around.after)),
            elsewhere: controls.shares(),
            elsewhere_rates: controls.rates(),
            last_year,
            around,
        }
    }

    fn freedom(&self) -> f64 {
        self.around.share_runs().freedom
    }

    fn has_enough_visits(&self) -> bool {
        self.around.fewest_visits() >= FEWEST_VISITS
    }

    /// The change that is tested: against the controls where there are any. `None` where a side has
    /// too few visits.
    pub fn tested_change(&self) -> Option<f64> {
        let change = |(before, after): (Counts, Counts)| Some(after.share()? - before.share()?);
        let own = change(self.here)?;
        let theirs = self.elsewhere.and_then(change).unwrap_or(0.0);
        self.has_enough_visits().then_some(own - theirs)
    }

    /// Whether there is something to compare with.
    pub fn has_controls(&self) -> bool {
        self.elsewhere.is_some()
    }

    /// The p-value of a comparison that can be judged, if it is no larger than `most`.
    pub fn p_value_up_to(&self, most: f64) -> Option<f64> {
        // Without a control the season itself may have made the change.
        self.elsewhere?;
        if self.around.clock_in_doubt || !self.has_enough_visits() {
            return None;
        }
        let p = self.p_value().filter(|p| *p <= most)?;
        self.could_be_clear().then_some(p)
    }

    fn p_value(&self) -> Option<f64> {
        change_p_value(self.here, self.elsewhere, self.freedom())
    }

    /// Whether the largest change these visits could have shown would be told from chance.
    fn could_be_clear(&self) -> bool {
        let (before, after) = self.here;
        [0.0, after.trials].into_iter().any(|hits| {
            let extreme = Counts { hits, ..after };
            change_p_value((before, extreme), self.elsewhere, self.freedom())
                .is_some_and(|p| p <= LEVEL)
        })
    }

    fn against(&self) -> Option<Estimate> {
        change_against(self.here, self.elsewhere?, self.freedom())
    }

    fn are_tagged(&self) -> bool {
        let sides = [&self.around.before, &self.around.after];
        sides.iter().all(|t| t.side.pictures.are_tagged())
    }

    /// Effective events and effort before and after.
    fn exposures(&self, nightly: fn(&Tally) -> &Vec<f64>, runs: Runs) -> (Exposure, Exposure) {
        let exposure = |tally: &Tally| Exposure {
            events: nightly(tally).iter().sum::<f64>() / runs.design_effect,
            effort: nightly(tally).len() as f64,
        };
        (exposure(&self.around.before), exposure(&self.around.after))
    }

    fn counted_ratio(&self) -> Option<Estimate> {
        let nightly = self
            .around
            .stretches()
            .map(|t| t.counted_per_night.as_slice());
        let runs = runs_of_counts(&nightly);
        let (before, after) = self.exposures(|t| &t.counted_per_night, runs);
        rate_ratio(before, after, runs.freedom)
    }

    fn visits(&self) -> (Exposure, Exposure) {
        self.exposures(|t| &t.visits_per_night, self.around.visit_runs())
    }

    fn all_hours_ratio(&self) -> Option<Estimate> {
        let (before, after) = self.visits();
        rate_ratio(before, after, self.around.visit_runs().freedom)
    }

    /// Whether visits at all hours changed, against the controls. `None` where there are none, or where even
    /// all visits falling on one side could not be told from chance.
    fn left(&self) -> Option<Left> {
        let theirs = self.elsewhere_rates?;
        let freedom = self.around.visit_runs().freedom;
        let (before, after) = self.visits();
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
        let log_rate = |side: Exposure| ((side.events + 0.5) / side.effort).ln();
        let log_ratio = |(before, after)| log_rate(after) - log_rate(before);
        Some(Left {
            p_value: rate_p_value((before, after), Some(theirs), freedom)?,
            against: log_ratio((before, after)) - log_ratio(theirs),
        })
    }

    pub fn into_shift(
        self,
        disturbance: &Disturbance,
        camera: usize,
        kind: Kind,
        role: Role,
    ) -> Shift {
        let is_tagged = self.are_tagged();
        let left = is_tagged.then(|| self.left()).flatten();
        let is_judgeable = self.has_enough_visits() && self.could_be_clear();
        Shift {
            disturbance: disturbance.id.clone(),
            camera,
            kind,
            role,
            share_change: change(self.here.0, self.here.1, self.freedom()),
            share_change_against_controls: self.against(),
            rate_ratio: is_tagged.then(|| self.counted_ratio()).flatten(),
            all_hours_ratio: is_tagged.then(|| self.all_hours_ratio()).flatten(),
            runs: self.around.share_runs(),
            p_value: self.p_value(),
            p_adjusted: None,
            rate_p_value: left.map(|l| l.p_value),
            rate_p_adjusted: None,
            rate_against: left.map(|l| l.against),
            clock_in_doubt: self.around.clock_in_doubt,
            last_year: self.last_year,
            verdict: match (is_judgeable, self.elsewhere) {
                (false, _) => Verdict::TooFewVisits,
                (true, None) => Verdict::NoControl,
                (true, Some(_)) => Verdict::NoClearChange,
            },
            pattern: None,
            // Without a control nothing would have been told.
            enough: self
                .elsewhere
                .and_then(|there| enough(self.here, Some(there), self.freedom())),
            timing: None,
            onset: None,
            placebo: None,
            before: self.around.before.side,
            after: self.around.after.side,
        }
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
    let all = Compared::of(season, windows, kind, roles, log, true);
    all.each(|_, _| true).into_iter().flatten().collect()
}

/// The same for a date on which nothing needs to have happened: only the shares of cameras that are wanted
/// and have enough visits to be judged.
pub(super) fn shares(
    season: &Season,
    windows: &Windows,
    kind: Kind,
    roles: &[Role],
    log: &[Logged],
    wanted: impl Fn(usize) -> bool,
) -> Vec<Option<Comparison>> {
    let all = Compared::of(season, windows, kind, roles, log, false);
    all.each(|camera, around| wanted(camera) && around.fewest_visits() >= FEWEST_VISITS)
}

/// All cameras around one date, before they are set against each other.
struct Compared<'a> {
    season: &'a Season,
    windows: &'a Windows,
    kind: Kind,
    log: &'a [Logged<'a>],
    around: Vec<Around>,
    /// The place of each camera among the controls.
    place: Vec<Option<usize>>,
    pools: Pools,
    with_rates: bool,
}

impl<'a> Compared<'a> {
    fn of(
        season: &'a Season,
        windows: &'a Windows,
        kind: Kind,
        roles: &[Role],
        log: &'a [Logged<'a>],
        with_rates: bool,
    ) -> Self {
        let around: Vec<Around> = (0..season.cameras.len())
            .map(|camera| Around::of(season, camera, kind, windows))
            .collect();
        // A control whose clock is wrong would pass its error on to every camera.
        let is_control = |c: usize| roles[c] == Role::Control && !around[c].clock_in_doubt;
        let mut controls: Vec<&Around> = Vec::new();
        let mut place = vec![None; around.len()];
        for camera in (0..around.len()).filter(|c| is_control(*c)) {
            place[camera] = Some(controls.len());
            controls.push(&around[camera]);
        }
        Self {
            pools: Pools::of(&controls, with_rates),
            season,
            windows,
            kind,
            log,
            place,
            with_rates,
            around,
        }
    }

    /// Sets every camera that is wanted against its controls.
    fn each(self, wanted: impl Fn(usize, &Around) -> bool) -> Vec<Option<Comparison>> {
        let compare = |camera: usize, around: Around| {
            let itself = last_year(self.season, camera, self.kind, self.windows, self.log);
            let itself = itself.as_ref();
            let pool = self
                .pools
                .without(self.place[camera], itself, self.with_rates);
            Comparison::of(around, &pool, itself.is_some())
        };
        let around = self.around.into_iter().enumerate();
        around
            .map(|(camera, around)| wanted(camera, &around).then(|| compare(camera, around)))
            .collect()
    }
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
    let around = Around::of(season, camera, kind, &then);
    (around.fewest_visits() >= FEWEST_VISITS).then_some(around)
}

/// What visits at all hours did.
#[derive(Clone, Copy)]
struct Left {
    p_value: f64,
    against: f64,
}
