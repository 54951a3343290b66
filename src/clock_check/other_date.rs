//! Whether a date that was set wrong explains what looks like a clock left alone over a daylight-time weekend.
//!
//! A clock that runs weeks ahead comes to the weekend before the country does: it is read as if it had been moved and
//! is an hour off until the true weekend, as one that was left alone is. What sets them apart is how long the days are,
//! which a camera's own thresholds hide in part.

use super::LightLook;
use super::light_model::{Shot, log_sum};
use crate::clock::{Reading, to_local};
use crate::property::{ClockSetting, Property};

/// How likely such a date is beforehand, all of those tried together (a guess, as for the faults of the hour).
const OTHER_DATE: f64 = 0.0005;
/// The days ahead or behind that are tried.
const TRIED_DAYS: [i32; 20] =
    [-70, -60, -50, -40, -35, -30, -25, -20, -15, -10, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70];

/// How likely the pictures of a stretch are under a date that was set wrong, and the likeliest days to add to it. `log`
/// says how likely shots are by a right clock.
pub(super) fn other_date(
    property: &Property,
    looks: &[LightLook],
    log: impl Fn(Vec<Shot>) -> f64,
) -> (f64, i32) {
    let tried = TRIED_DAYS.map(|days| log(moved(property, looks, days)));
    let prior = (OTHER_DATE / TRIED_DAYS.len() as f64).ln();
    let best = (0..tried.len()).max_by(|a, b| tried[*a].total_cmp(&tried[*b]));
    (log_sum(&tried) + prior, TRIED_DAYS[best.unwrap_or(0)])
}

/// The shots, were their dates moved and the clock kept as the wall's.
fn moved(property: &Property, looks: &[LightLook], days: i32) -> Vec<Shot> {
    let shot = |look: &LightLook| {
        let shown = look.corrected_time.plus_minutes(f64::from(days) * 1440.0);
        let kept = Reading::Kept(ClockSetting::Local);
        let read = to_local(shown, kept, property.settings.time_zone);
        Shot { minute: read.utc().timestamp() as f64 / 60.0, ..look.shot }
    };
    looks.iter().map(shot).collect()
}
