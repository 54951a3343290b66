//! A clock that fell back to a factory date, and one in a year that no other camera knows.

use chrono::{Datelike, NaiveDateTime, TimeDelta};

use super::date::noon_utc_min;
use super::fault::{Fault, Finding, Found};
use super::light_model::{Offset, Shot, SunYear, best, refine};
use super::order::Reset;
use super::{Look, minutes_between, shown_time};
use crate::card::Picture;
use crate::property::Property;

/// The run after a reset: the date from the pictures before and after it, the hour from the light.
pub(super) fn after_reset(
    property: &Property,
    camera: &str,
    reset: &Reset,
    looks: &[Look],
    sun: &SunYear,
) -> Option<Finding> {
    let times: Vec<NaiveDateTime> = reset
        .pictures
        .iter()
        .filter_map(|p| Some(shown_time(p)?.shown()))
        .collect();
    let (first, last) = (*times.first()?, *times.last()?);
    let found = Found {
        camera,
        looks,
        offset: Offset {
            minutes: 0.0,
            low: 0.0,
            high: 0.0,
        },
    };
    let earliest = reset.before.map(|b| minutes_between(first, b));
    let latest = reset.after.map(|a| minutes_between(last, a));
    let (shift, low, high) = match (earliest, latest) {
        (None, None) => {
            let evidence =
                "its dates cannot be, and no picture before or after says when it was".to_owned();
            let mut finding = found.finding(Fault::Reset, 0.0, evidence);
            (finding.from, finding.until, finding.pictures) = (first, last, times.len());
            finding.doubt = Some("point at a picture whose true time you know".to_owned());
            return Some(finding);
        }
        (Some(low), Some(high)) if high - low < 1440.0 => ((low + high) / 2.0, low, high),
        (low, high) => {
            // The light counts in real minutes, a correction in the digits of the clock, and
            // daylight time lies between them.
            let there = first + TimeDelta::minutes(low.or(high).unwrap_or(0.0) as i64);
            let days = (there.date() - first.date()).num_days();
            let real =
                noon_utc_min(property, there.date())? - noon_utc_min(property, first.date())?;
            let real_less_digits = (real - days * 1440) as f64;
            let bound = |b: Option<f64>| b.map(|b| b + real_less_digits);
            let (shift, low, high) = by_the_hour(looks, sun, bound(low), bound(high));
            let digits = |m: f64| m - real_less_digits;
            (digits(shift), digits(low), digits(high))
        }
    };
    let evidence = format!(
        "the clock shows {first} right after {}; its pictures number on without a break",
        reset
            .before
            .map_or("a good time".to_owned(), |b| b.to_string())
    );
    let mut finding = found.finding(Fault::Reset, shift.round(), evidence);
    (finding.from, finding.until, finding.pictures) = (first, last, times.len());
    (finding.low_min, finding.high_min) = (low, high);
    if high - low > 60.0 {
        finding.doubt = Some(
            "the hour follows from the light; the day is the first that the pictures before it allow".to_owned(),
        );
    }
    Some(finding)
}

/// The first day that fits the neighbours, at the hour that fits the light.
fn by_the_hour(
    looks: &[Look],
    sun: &SunYear,
    earliest: Option<f64>,
    latest: Option<f64>,
) -> (f64, f64, f64) {
    const DAY: f64 = 1440.0;
    let start = earliest.unwrap_or_else(|| latest.unwrap_or(0.0) - DAY);
    let end = latest.unwrap_or(start + DAY);
    let shots: Vec<Shot> = looks.iter().map(|l| l.shot).collect();
    // Offsets count from the reading as it is, which is the uncorrected clock.
    let steps = (end - start).min(DAY) / 5.0;
    let hours = (0..=steps as i32).map(|n| start + f64::from(n) * 5.0);
    let (_, near) = best(&shots, sun, hours);
    let fine = refine(&shots, sun, near, 60.0);
    (fine.minutes.clamp(start, end.max(start)), start, end)
}

/// A year that no other camera knows: the same dates in a year that they do know.
pub(super) fn wrong_year(
    camera: &str,
    pictures: &[&Picture],
    others: &[&Picture],
) -> Option<Finding> {
    const FEWEST: usize = 20;
    const NEAR_DAYS: i64 = 60;
    let dates = |pictures: &[&Picture]| {
        let mut dates: Vec<NaiveDateTime> = pictures
            .iter()
            .filter_map(|p| Some(p.time.as_ref().ok()?.time.shown()))
            .collect();
        dates.sort_unstable();
        dates
    };
    let (here, there) = (dates(pictures), dates(others));
    if there.len() < FEWEST {
        return None;
    }
    let (first, last) = (*here.first()?, *here.last()?);
    let fits = |from: NaiveDateTime, until: NaiveDateTime| {
        let (low, high) = (
            there[there.len() / 20],
            there[there.len() - 1 - there.len() / 20],
        );
        until > low - TimeDelta::days(NEAR_DAYS) && from < high + TimeDelta::days(NEAR_DAYS)
    };
    if fits(first, last) {
        return None;
    }
    let years = [-3, -2, -1, 1, 2, 3, 4, 5, 6];
    let (years, moved) = years.into_iter().find_map(|y| {
        let moved = |t: NaiveDateTime| t.with_year(t.year() + y);
        let (from, until) = (moved(first)?, moved(last)?);
        fits(from, until).then_some((y, from))
    })?;
    let shift_min = minutes_between(first, moved);
    Some(Finding {
        camera: camera.to_owned(),
        from: first,
        until: last,
        fault: Fault::WrongYear,
        shift_min,
        low_min: shift_min,
        high_min: shift_min,
        pictures: here.len(),
        evidence: format!(
            "no other camera has a picture near {} to {}; {years:+} years would put it beside them",
            first.date(),
            last.date()
        ),
        doubt: Some(
            "the light is the same every year, so only the other cameras speak for this".to_owned(),
        ),
        corrected: false,
    })
}
