//! One camera's days before against its days after, with the controls beside them.

use super::window::{Side, Tally, Windows};
use super::{Role, Shift, Verdict};
use crate::measure::{
    Counts, DayCount, Estimate, Exposure, change, change_against, change_p_value, count_dispersion,
    design_effect, rate_ratio,
};
use crate::property::Disturbance;
use crate::visits::{Kind, Season};

/// A side with fewer visits than this is never judged.
const FEWEST_VISITS: usize = 5;
/// The level of a verdict.
pub(super) const LEVEL: f64 = 0.05;

/// A camera's comparison, before its verdict.
pub(super) struct Comparison {
    before: Side,
    after: Side,
    share_change: Option<Estimate>,
    against: Option<Estimate>,
    rate_ratio: Option<Estimate>,
    all_hours_ratio: Option<Estimate>,
    design_effect: f64,
    p_value: Option<f64>,
    judgeable: bool,
}

impl Comparison {
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
            design_effect: self.design_effect,
            p_value: self.p_value,
            p_adjusted: None,
            verdict: if self.judgeable {
                Verdict::NoClearChange
            } else {
                Verdict::TooFewVisits
            },
            pattern: None,
        }
    }
}

/// Compares every camera of the season. A camera is set against all controls other than itself.
pub(super) fn cameras(
    season: &Season,
    windows: &Windows,
    kind: Kind,
    roles: &[Role],
) -> Vec<Comparison> {
    let tallies: Vec<(Tally, Tally)> = season
        .cameras
        .iter()
        .map(|c| {
            (
                Tally::of(c, kind, windows.before),
                Tally::of(c, kind, windows.after),
            )
        })
        .collect();
    (0..tallies.len())
        .map(|camera| {
            let controls: Vec<&(Tally, Tally)> = (0..tallies.len())
                .filter(|&other| other != camera && roles[other] == Role::Control)
                .map(|other| &tallies[other])
                .collect();
            compare(&tallies[camera], pooled(&controls))
        })
        .collect()
}

fn compare((before, after): &(Tally, Tally), elsewhere: Option<(Counts, Counts)>) -> Comparison {
    let runs = design_effect(&[&before.days, &after.days]);
    let here = (
        before.counts().divided_by(runs),
        after.counts().divided_by(runs),
    );
    let enough = before.side.visits.min(after.side.visits) >= FEWEST_VISITS;
    Comparison {
        share_change: change(here.0, here.1),
        against: elsewhere.and_then(|there| change_against(here, there)),
        rate_ratio: ratio(&before.counted_per_night, &after.counted_per_night),
        all_hours_ratio: ratio(&before.visits_per_night, &after.visits_per_night),
        design_effect: runs,
        p_value: change_p_value(here, elsewhere),
        judgeable: enough && could_be_clear(here, elsewhere),
        before: before.side.clone(),
        after: after.side.clone(),
    }
}

/// Whether the largest change these visits could have shown would be told from chance.
fn could_be_clear(here: (Counts, Counts), elsewhere: Option<(Counts, Counts)>) -> bool {
    let (before, after) = here;
    [0.0, after.trials].into_iter().any(|hits| {
        let extreme = Counts { hits, ..after };
        change_p_value((before, extreme), elsewhere).is_some_and(|p| p <= LEVEL)
    })
}

/// The controls' effective counts before and after: their visits are added day by day, so that
/// deer seen by several cameras on one day count as one day's luck.
fn pooled(controls: &[&(Tally, Tally)]) -> Option<(Counts, Counts)> {
    let add = |side: fn(&(Tally, Tally)) -> &Tally| {
        let mut days: Vec<DayCount> = Vec::new();
        for tally in controls.iter().map(|c| side(c)) {
            days.resize(tally.days.len(), DayCount::default());
            for (sum, day) in days.iter_mut().zip(&tally.days) {
                sum.hits += day.hits;
                sum.trials += day.trials;
            }
        }
        days
    };
    let (before, after) = (add(|c| &c.0), add(|c| &c.1));
    let runs = design_effect(&[&before, &after]);
    let effective = |days: &[DayCount]| {
        Counts {
            hits: days.iter().map(|d| d.hits).sum(),
            trials: days.iter().map(|d| d.trials).sum(),
        }
        .divided_by(runs)
    };
    let (before, after) = (effective(&before), effective(&after));
    (before.trials > 0.0 && after.trials > 0.0).then_some((before, after))
}

fn ratio(before: &[f64], after: &[f64]) -> Option<Estimate> {
    let dispersion = count_dispersion(&[before, after]);
    let exposure = |counts: &[f64]| Exposure {
        events: counts.iter().sum::<f64>() / dispersion,
        effort: counts.len() as f64,
    };
    rate_ratio(exposure(before), exposure(after))
}
