//! Moving pictures by whole days, over the weekends on which clocks change.

use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};

use super::Look;
use super::light_model::{Shot, SunYear, best, right_offsets};
use crate::card::CameraTime;
use crate::clock::{Reading, to_local};
use crate::property::{ClockSetting, Property};

/// Midnight before the clocks change, if they change on this date.
pub(super) fn weekend_on(property: &Property, date: NaiveDate) -> Option<NaiveDateTime> {
    let noon_min = |d| noon_utc_min(property, d);
    let length = noon_min(date)? - noon_min(date - Days::new(1))?;
    (length != 1440).then(|| date.and_hms_opt(0, 0, 0))?
}

/// Noon of a date by a clock that is kept right, in minutes since 1970 in UTC.
pub(super) fn noon_utc_min(property: &Property, date: NaiveDate) -> Option<i64> {
    let shown = CameraTime::new(date.and_hms_opt(12, 0, 0)?);
    let kept = Reading::Kept(ClockSetting::Local);
    let noon = to_local(shown, kept, property.settings.time_zone);
    Some(noon.utc().timestamp() / 60)
}

/// The best number of whole days to move a stretch by.
pub(super) struct Date {
    pub days: i64,
    pub likelihood: f64,
    /// Days that fit nearly as well, around the best.
    pub range: (i64, i64),
    /// A date in another season that fits nearly as well.
    pub rival: Option<i64>,
}

/// Nearer dates have days of the same length.
const TELLING_DAYS: i64 = 20;

/// The number of days that explains the pictures best, if any number is far enough to tell.
pub(super) fn best_date(property: &Property, looks: &[Look], sun: &SunYear) -> Option<Date> {
    const STEP: i64 = 4;
    let middle = looks.get(looks.len() / 2)?.time.shown().date();
    // All pictures are moved alike: a clock that is wrong by days knows no daylight-time weekend.
    let minutes = |days: i64| {
        let there = noon_utc_min(property, middle + TimeDelta::days(days))?;
        Some((there - noon_utc_min(property, middle)?) as f64)
    };
    let likelihoods: Vec<(i64, f64)> = (-182 / STEP..=182 / STEP)
        .map(|n| n * STEP)
        .filter(|days| days.abs() >= TELLING_DAYS)
        .filter_map(|days| {
            let by = minutes(days)?;
            let moved = |l: &Look| Shot {
                minute: l.shot.minute + by,
                ..l.shot
            };
            let shots: Vec<Shot> = looks.iter().map(moved).collect();
            Some((days, best(&shots, sun, right_offsets()).0))
        })
        .collect();
    let best = likelihoods
        .iter()
        .copied()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let near = |d: &(i64, f64)| best.1 - d.1 < 3.0;
    let around: Vec<i64> = likelihoods
        .iter()
        .filter(|d| near(d) && (d.0 - best.0).abs() < 60)
        .map(|d| d.0)
        .collect();
    Some(Date {
        days: best.0,
        likelihood: best.1,
        range: (*around.first()?, *around.last()?),
        rival: likelihoods
            .iter()
            .find(|d| near(d) && (d.0 - best.0).abs() >= 60)
            .map(|d| d.0),
    })
}
