//! When within the day visits come: minutes from sunset and sunrise, and the shape of the whole day.

use chrono::NaiveDate;
use rayon::prelude::*;

use super::quiet;
use super::window::Windows;
use crate::measure::{
    Density, Effect, Estimate, between_variance, block_interval, block_variance, critical, density,
    mean_effect, overlap_of, shift_between, uniform_scores,
};
use crate::sun::SUN_DAY_MIN;
use crate::visits::{Camera, Kind, Season, Visit};

/// How the hours of visits changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// Evening visits: minutes later after sunset than before the disturbance; negative is earlier.
    pub evening_min: Option<Estimate>,
    /// The same less that of the controls: lengthening nights move everybody's evening.
    pub evening_against_min: Option<Estimate>,
    /// Morning visits: minutes later after sunrise; negative is earlier.
    pub morning_min: Option<Estimate>,
    /// The same less that of the controls.
    pub morning_against_min: Option<Estimate>,
    /// Overlap of both days' activity curves in sun-anchored time, 0 to 1.
    pub overlap: Option<Estimate>,
    /// P-value of both sides having one pattern of the day, every visit taken as independent; `None`
    /// for fewer than ten visits on a side.
    pub pattern_p: Option<f64>,
}

/// A side with fewer visits than this has no usual minute to compare.
const FEWEST: usize = 5;
/// Fewer controls than this do not tell how cameras differ.
const FEWEST_CONTROLS: usize = 3;
const RESAMPLES: usize = 1000;
/// A variance needs fewer.
const RESAMPLES_OF_A_VARIANCE: usize = 150;
/// As in the plots of activity: about 50 minutes.
const KAPPA: f64 = 21.0;
/// Points along the day at which curves are compared.
const GRID: usize = 96;

/// Compares the days before and after at one camera, and with those at others. Intervals follow from `seed`.
pub(super) fn timing(
    season: &Season,
    camera: usize,
    others: &[usize],
    kind: Kind,
    windows: &Windows,
    seed: u64,
) -> Timing {
    let sides = [windows.before, windows.after];
    let daily = |camera: usize, minute: Minute| {
        let as_on = quiet::as_on(season, camera, windows);
        let camera = &season.cameras[camera];
        sides.map(|side| minutes_by_day(camera, kind, side, as_on, minute))
    };
    let shifted = |minute: Minute| {
        let own = shifted(&daily(camera, minute), seed);
        let theirs = others.par_iter().filter_map(|c| {
            let shifted = shifted(&daily(*c, minute), seed);
            shifted.map(|s| s.effect)
        });
        let theirs: Vec<Effect> = theirs.collect();
        (own.map(Shifted::estimate), own.and_then(|own| own.against(&theirs)))
    };
    let (evening_min, evening_against_min) =
        shifted(|v| (!v.is_morning()).then_some(-v.before_sunset_min));
    let (morning_min, morning_against_min) =
        shifted(|v| v.is_morning().then_some(v.after_sunrise_min));
    Timing {
        evening_min,
        evening_against_min,
        morning_min,
        morning_against_min,
        overlap: overlapping(daily(camera, |v| Some(v.sun_minute())), seed),
        pattern_p: pattern_p(daily(camera, |v| Some(v.sun_minute()))),
    }
}

/// The minute of a visit that is compared; `None` where it is of another half of the day.
type Minute = fn(&Visit) -> Option<f64>;

/// By how much visits came later.
#[derive(Clone, Copy)]
struct Shifted {
    effect: Effect,
    freedom: f64,
}

impl Shifted {
    fn estimate(self) -> Estimate {
        around(self.effect, self.freedom)
    }

    fn against(self, others: &[Effect]) -> Option<Estimate> {
        if others.len() < FEWEST_CONTROLS {
            return None;
        }
        let between = between_variance(&[others]);
        let mean = mean_effect(others.iter().copied(), between)?;
        let change = Effect {
            value: self.effect.value - mean.value,
            variance: self.effect.variance + between + mean.variance,
        };
        Some(around(change, self.freedom.min(others.len() as f64 - 1.0)))
    }
}

fn around(effect: Effect, freedom: f64) -> Estimate {
    let half = critical(freedom) * effect.variance.sqrt();
    Estimate { value: effect.value, low: effect.value - half, high: effect.value + half }
}

/// One list of minutes a day, for the days on which the camera hung where it did on `as_on`.
fn minutes_by_day(
    camera: &Camera,
    kind: Kind,
    (from, until): (NaiveDate, NaiveDate),
    as_on: NaiveDate,
    minute: Minute,
) -> Vec<Vec<f64>> {
    from.iter_days()
        .take_while(|d| *d <= until)
        .filter(|d| !camera.moved_between(*d, as_on))
        .map(|d| {
            let visits = camera.visits_between(kind, d, d);
            visits.iter().filter_map(minute).collect()
        })
        .collect()
}

fn shifted([before, after]: &[Vec<Vec<f64>>; 2], seed: u64) -> Option<Shifted> {
    let (all_before, all_after) = (before.concat(), after.concat());
    if all_before.len().min(all_after.len()) < FEWEST {
        return None;
    }
    let gather = |days: &[Vec<f64>], drawn: &[usize]| {
        thinned(drawn.iter().flat_map(|d| days[*d].iter().copied()).collect())
    };
    let drawn = |b: &[usize], a: &[usize]| shift_between(&gather(before, b), &gather(after, a));
    let (variance, freedom) =
        block_variance(before.len(), after.len(), drawn, RESAMPLES_OF_A_VARIANCE, seed)?;
    Some(Shifted {
        effect: Effect { value: shift_between(&all_before, &all_after)?, variance },
        freedom,
    })
}

/// At most fifty values that stand for all: evenly spaced quantiles. The shift compares every pair,
/// which for a thousand resamples of a busy camera is more work than it is worth.
fn thinned(mut values: Vec<f64>) -> Vec<f64> {
    const MOST: usize = 50;
    if values.len() <= MOST {
        return values;
    }
    values.sort_by(f64::total_cmp);
    (0..MOST).map(|i| values[(2 * i + 1) * values.len() / (2 * MOST)]).collect()
}

fn overlapping(sides: [Vec<Vec<f64>>; 2], seed: u64) -> Option<Estimate> {
    if sides.iter().any(|days| days.concat().len() < FEWEST) {
        return None;
    }
    // Each day's curve once; a resample only adds curves up.
    let [before, after] = sides.map(|days| -> Vec<Option<(Density, usize)>> {
        let curve = |m: &Vec<f64>| Some((density(m, SUN_DAY_MIN, KAPPA, GRID)?, m.len()));
        days.iter().map(curve).collect()
    });
    let together = |days: &[Option<(Density, usize)>], drawn: &[usize]| {
        let parts = drawn.iter().filter_map(|d| days[*d].as_ref());
        Density::together(parts.map(|(curve, n)| (curve, *n)))
    };
    let drawn =
        |b: &[usize], a: &[usize]| Some(overlap_of(&together(&before, b)?, &together(&after, a)?));
    let every = |days: &[Option<(Density, usize)>]| (0..days.len()).collect::<Vec<_>>();
    let value = drawn(&every(&before), &every(&after))?;
    let resampled = block_interval(before.len(), after.len(), drawn, RESAMPLES, seed)?;
    // Resampled patterns are lumpier and overlap less than the real ones: the interval is moved back
    // by that bias (Ridout & Linkie 2009, section 3.3).
    let bias = resampled.value - value;
    Some(Estimate {
        value,
        low: (resampled.low - bias).clamp(0.0, 1.0),
        high: (resampled.high - bias).clamp(0.0, 1.0),
    })
}

fn pattern_p(sides: [Vec<Vec<f64>>; 2]) -> Option<f64> {
    const FEWEST_FOR_TEST: usize = 10;
    let [before, after] = sides.map(|days| days.concat());
    let enough = before.len().min(after.len()) >= FEWEST_FOR_TEST;
    enough.then(|| uniform_scores(&before, &after, SUN_DAY_MIN)).flatten().map(|(_, p)| p)
}
