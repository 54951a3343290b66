//! How far a clock is off, from when the pictures turn from colour to grey.
//!
//! A camera changes over when the light falls under its own threshold, some minutes after sunset
//! and as many before sunrise. With the clock off by `offset`, a picture taken at clock time t is
//! grey with probability
//!
//! `p = e + (1 - 2e) / (1 + exp((sun(t + offset) + change_over) / s))`
//!
//! where `sun` is minutes inside daylight (negative outside it), `s` the spread of the change-over
//! and `e` the chance that one picture misleads. The offset and the change-over are estimated
//! together by likelihood on a grid; evening and morning pull the offset in opposite directions,
//! which is what tells it from the change-over. Intervals are where the posterior under a flat
//! offset has 95 % of its mass.

use std::sync::LazyLock;

use chrono::{Datelike, Days, NaiveDate};

use crate::property::Position;
use crate::sun::{NoSunrise, SunDay};

/// Spread of the change-over, minutes: clouds move it by some minutes.
const SPREAD_MIN: f64 = 4.0;
/// Chance that a picture misleads: fog, a white flash, headlights.
const MISLEADS: f64 = 0.02;
/// Change-over after sunset: mean and standard deviation over cameras, minutes (about civil dusk;
/// common trade practice).
const CHANGE_OVER_MIN: (f64, f64) = (24.0, 10.0);

/// A picture by when the clock, as it is read now, says it was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shot {
    /// Minutes since 1970-01-01T00:00 UTC.
    pub minute: f64,
    /// Grey, not in colour.
    pub grey: bool,
}

/// Sunrise and sunset at one place for every day of a year.
pub struct SunYear {
    /// Minutes after the start of the place's mean solar day.
    days: Vec<(f64, f64)>,
    /// Mean solar time less UTC, minutes.
    solar_min: f64,
}

const DAY_MIN: f64 = 1440.0;
const YEAR_DAYS: f64 = 365.2425;
/// 1 January 2001, from where days are counted into a year; any year does within a minute.
const YEAR_START_DAY: f64 = 11_323.0;

impl SunYear {
    /// Works out a year.
    ///
    /// # Errors
    /// Where the sun does not rise or set on some day.
    pub fn at(place: Position) -> Result<Self, NoSunrise> {
        let first = NaiveDate::from_ymd_opt(2001, 1, 1).unwrap_or_default();
        let solar_min = place.longitude_deg * 4.0;
        let days = (0..366)
            .map(|d| {
                let date = first + Days::new(d);
                let sun = SunDay::on(date, place)?;
                let start = f64::from(date.num_days_from_ce() - 719_163) * DAY_MIN - solar_min;
                let minutes =
                    |t: chrono::DateTime<chrono::Utc>| t.timestamp() as f64 / 60.0 - start;
                Ok((minutes(sun.sunrise), minutes(sun.sunset)))
            })
            .collect::<Result<_, NoSunrise>>()?;
        Ok(Self { days, solar_min })
    }

    /// Minutes inside daylight; negative outside it.
    pub fn inside_min(&self, minute: f64) -> f64 {
        let solar = minute + self.solar_min;
        let day = (solar / DAY_MIN).floor();
        let of_day = solar - day * DAY_MIN;
        let of_year = (day - YEAR_START_DAY).rem_euclid(YEAR_DAYS) as usize;
        let (rise, set) = self.days[of_year.min(self.days.len() - 1)];
        (of_day - rise).min(set - of_day)
    }
}

/// Log probabilities of a grey and of a coloured picture, by minutes inside the change-over, from
/// -[`TABLE_REACH_MIN`] on in steps of a quarter of a minute. Beyond its ends nothing changes.
static LOG_P: LazyLock<Vec<(f64, f64)>> = LazyLock::new(|| {
    (0..=(TABLE_REACH_MIN * 2.0 * TABLE_STEPS) as usize)
        .map(|n| {
            let inside = n as f64 / TABLE_STEPS - TABLE_REACH_MIN;
            let grey = 1.0 / (1.0 + (inside / SPREAD_MIN).exp());
            let p = MISLEADS + (1.0 - 2.0 * MISLEADS) * grey;
            (p.ln(), (1.0 - p).ln())
        })
        .collect()
});
const TABLE_REACH_MIN: f64 = 80.0;
const TABLE_STEPS: f64 = 4.0;

/// Log likelihood of shots, each moved by its own number of minutes.
fn log_likelihood(
    shots: &[Shot],
    sun: &SunYear,
    moved_min: impl Fn(&Shot) -> f64,
    change_over: f64,
) -> f64 {
    let inside: Vec<(f64, bool)> = shots
        .iter()
        .map(|s| (sun.inside_min(s.minute + moved_min(s)), s.grey))
        .collect();
    given(&inside, change_over)
}

/// The same of minutes inside daylight and greyness.
fn given(inside: &[(f64, bool)], change_over: f64) -> f64 {
    let table = &*LOG_P;
    let prior = ((change_over - CHANGE_OVER_MIN.0) / CHANGE_OVER_MIN.1).powi(2) / -2.0;
    let sum: f64 = inside
        .iter()
        .map(|(minutes, grey)| {
            let within = (minutes + change_over).clamp(-TABLE_REACH_MIN, TABLE_REACH_MIN);
            let (log_grey, log_colour) =
                table[((within + TABLE_REACH_MIN) * TABLE_STEPS).round() as usize];
            if *grey { log_grey } else { log_colour }
        })
        .sum();
    prior + sum
}

fn change_overs() -> impl Iterator<Item = f64> {
    (0..=16).map(|n| f64::from(n) * 4.0 - 6.0)
}

/// The best of some offsets, over all change-overs: `(log likelihood, offset)`.
pub fn best(shots: &[Shot], sun: &SunYear, offsets: impl Iterator<Item = f64>) -> (f64, f64) {
    offsets
        .map(|o| (profile(shots, sun, o), o))
        .fold(
            (f64::NEG_INFINITY, 0.0),
            |a, b| if b.0 > a.0 { b } else { a },
        )
}

fn profile(shots: &[Shot], sun: &SunYear, offset: f64) -> f64 {
    let inside: Vec<(f64, bool)> = shots
        .iter()
        .map(|s| (sun.inside_min(s.minute + offset), s.grey))
        .collect();
    change_overs()
        .map(|c| given(&inside, c))
        .fold(f64::NEG_INFINITY, f64::max)
}

/// The best of some offsets that all begin at one moment, the clock being right before it up to a
/// common offset: `(log likelihood, offset from then on)`.
pub fn best_from(
    shots: &[Shot],
    sun: &SunYear,
    from_minute: f64,
    offsets: impl Iterator<Item = f64>,
    common: impl Iterator<Item = f64> + Clone,
) -> (f64, f64) {
    let mut found = (f64::NEG_INFINITY, 0.0);
    for offset in offsets {
        for both in common.clone() {
            for change_over in change_overs() {
                let moved = |s: &Shot| both + if s.minute >= from_minute { offset } else { 0.0 };
                let l = log_likelihood(shots, sun, moved, change_over);
                if l > found.0 {
                    found = (l, offset);
                }
            }
        }
    }
    found
}

/// The best steady drift: `(log likelihood, offset at the start, offset at the end)`.
pub fn best_drift(shots: &[Shot], sun: &SunYear) -> (f64, f64, f64) {
    let (Some(first), Some(last)) = (shots.first(), shots.last()) else {
        return (f64::NEG_INFINITY, 0.0, 0.0);
    };
    let span = (last.minute - first.minute).max(1.0);
    let steps = || (-12..=12).map(|n| f64::from(n) * 10.0);
    let mut found = (f64::NEG_INFINITY, 0.0, 0.0);
    for start in (-3..=3).map(|n| f64::from(n) * 10.0) {
        for end in steps() {
            for change_over in change_overs().step_by(2) {
                let moved = |s: &Shot| start + (end - start) * (s.minute - first.minute) / span;
                let l = log_likelihood(shots, sun, moved, change_over);
                if l > found.0 {
                    found = (l, start, end);
                }
            }
        }
    }
    found
}

/// An offset with its 95 % interval, minutes to add to the clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// Likeliest.
    pub minutes: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Refines an offset near a first guess, within `reach_min` of it.
pub fn refine(shots: &[Shot], sun: &SunYear, near: f64, reach_min: f64) -> Offset {
    let steps = (2.0 * reach_min) as i64;
    let grid: Vec<f64> = (0..=steps).map(|n| near - reach_min + n as f64).collect();
    let logs: Vec<f64> = grid
        .iter()
        .map(|o| {
            let each: Vec<f64> = change_overs()
                .map(|c| log_likelihood(shots, sun, |_| *o, c))
                .collect();
            log_sum(&each)
        })
        .collect();
    let total = log_sum(&logs);
    let mass: Vec<f64> = logs.iter().map(|l| (l - total).exp()).collect();
    let at = |share: f64| {
        let mut sum = 0.0;
        mass.iter()
            .zip(&grid)
            .find(|(m, _)| {
                sum += **m;
                sum >= share
            })
            .map_or(near + reach_min, |(_, o)| *o)
    };
    Offset {
        minutes: at(0.5),
        low: at(0.025),
        high: at(0.975),
    }
}

fn log_sum(logs: &[f64]) -> f64 {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    most + logs.iter().map(|l| (l - most).exp()).sum::<f64>().ln()
}

/// Where shots fall best into two stretches with offsets of their own: the first shot of the second
/// stretch, and by how much the log likelihood gains over one stretch.
pub fn best_split(shots: &[Shot], sun: &SunYear) -> Option<(usize, f64)> {
    const FEWEST: usize = 8;
    let offsets: Vec<f64> = (-72..72).map(|n| f64::from(n) * 10.0).collect();
    let mut found: Option<(usize, f64)> = None;
    let one = best(shots, sun, offsets.iter().copied()).0;
    for change_over in change_overs().skip(3).step_by(2).take(6) {
        let before = running(shots, sun, &offsets, change_over, false);
        let after = running(shots, sun, &offsets, change_over, true);
        for cut in FEWEST..shots.len().saturating_sub(FEWEST) {
            let prior = ((change_over - CHANGE_OVER_MIN.0) / CHANGE_OVER_MIN.1).powi(2) / -2.0;
            let gain = prior + before[cut] + after[cut] - one;
            if found.is_none_or(|f| gain > f.1) {
                found = Some((cut, gain));
            }
        }
    }
    found
}

/// For every cut, the best log likelihood of the shots before it, or of those from it on.
fn running(
    shots: &[Shot],
    sun: &SunYear,
    offsets: &[f64],
    change_over: f64,
    from_end: bool,
) -> Vec<f64> {
    let none = log_likelihood(&[], sun, |_| 0.0, change_over);
    let mut best = vec![f64::NEG_INFINITY; shots.len() + 1];
    for offset in offsets {
        let mut sum = 0.0;
        for n in 0..=shots.len() {
            let (cut, next) = if from_end {
                (shots.len() - n, shots.len().wrapping_sub(n + 1))
            } else {
                (n, n)
            };
            best[cut] = best[cut].max(sum);
            if let Some(shot) = shots.get(next) {
                sum += log_likelihood(std::slice::from_ref(shot), sun, |_| *offset, change_over)
                    - none;
            }
        }
    }
    best
}

/// Offsets of a clock that is right as far as people set clocks.
pub(super) fn right_offsets() -> impl Iterator<Item = f64> + Clone {
    (-3..=3).map(|n| f64::from(n) * 5.0)
}
