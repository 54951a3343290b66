//! The ways in which people and batteries get a clock wrong, each as a reading of what it showed.

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime, Offset as _, TimeDelta, TimeZone};

use super::LightLook;
use super::fault::Fault;
use super::light_model::{Moves, STEP_MIN, all_steps};
use crate::card::CameraTime;
use crate::clock::{Reading, to_local};
use crate::property::{ClockSetting, Property};

/// A reading of a stretch of pictures other than the one in force.
#[derive(Debug, Clone)]
pub(super) struct Story {
    pub fault: Fault,
    /// Minutes to add to the clock where that is one number.
    pub shift_min: f64,
    /// How the clock is kept, where that is what is wrong.
    pub setting: Option<ClockSetting>,
    /// The moment from which it is so, by the camera's own clock.
    pub from: Option<NaiveDateTime>,
    /// Minutes a day, of a drift.
    pub drift_min_per_day: f64,
    /// Log of how likely such a thing is before looking at a picture.
    pub prior_log: f64,
    /// Whether it has no name but its number.
    pub is_any: bool,
    /// What it does to each picture, in steps of the grid.
    pub moves: Moves,
}

/// Log of how likely it is that a clock is right.
pub(super) const RIGHT_PRIOR_LOG: f64 = -0.03;

/// How likely each fault is before any picture is looked at (a guess, on the side of the healthy clock).
const KEPT_OTHERWISE: f64 = 0.006;
const ONE_HOUR: f64 = 0.015;
const HALF_DAY: f64 = 0.003;
const UTC: f64 = 0.002;
const OTHER_HOUR: f64 = 0.0005;
const DRIFTING: f64 = 0.001;
/// Any other offset, of those that are tried.
const ANY: f64 = 0.00006;
/// Offsets without a name are tried this many steps apart, and their neighbours when one of them wins.
pub(super) const ANY_STEP: i32 = 3;

/// Every story that a stretch of looks allows, the named ones first.
pub(super) fn stories(property: &Property, looks: &[LightLook]) -> Vec<Story> {
    let mut stories = kept_otherwise(property, looks);
    stories.extend(weekends(property, looks));
    for hours in [-1, 1] {
        stories.push(constant(Fault::Off, hours * 60, ONE_HOUR, looks));
    }
    for minutes in [-720, 720] {
        stories.push(constant(Fault::HalfDay, minutes, HALF_DAY / 2.0, looks));
    }
    for hours in [-3, -2, 2, 3] {
        stories.push(constant(Fault::Off, hours * 60, OTHER_HOUR, looks));
    }
    stories.extend(drifts(looks));
    stories.extend(any_offset(looks));
    stories.retain(|s| s.moves.iter().any(|m| m.abs() >= 2));
    stories
}

fn constant(fault: Fault, minutes: i32, prior: f64, looks: &[LightLook]) -> Story {
    Story {
        fault,
        shift_min: f64::from(minutes),
        setting: None,
        from: None,
        drift_min_per_day: 0.0,
        prior_log: prior.ln(),
        is_any: false,
        moves: vec![minutes / STEP_MIN; looks.len()],
    }
}

fn any_offset(looks: &[LightLook]) -> impl Iterator<Item = Story> {
    all_steps().filter(|o| o.abs() > 2 && o % ANY_STEP == 0).map(|o| any(o, looks))
}

/// An offset that has no name.
pub(super) fn any(steps: i32, looks: &[LightLook]) -> Story {
    Story { is_any: true, ..constant(Fault::Off, steps * STEP_MIN, ANY, looks) }
}

/// A clock that is kept in another way than `cameras.csv` says: never moved for daylight time, moved
/// although it says not, left on daylight time for good, or on UTC.
fn kept_otherwise(property: &Property, looks: &[LightLook]) -> Vec<Story> {
    let zone = property.settings.time_zone;
    let year = looks.last().map_or(2025, |l| l.time.shown().year());
    let summer = offsets_of(property, year).into_iter().max_by_key(|o| o.local_minus_utc());
    let utc = chrono::Utc.fix();
    let mut ways =
        vec![(ClockSetting::Standard, KEPT_OTHERWISE), (ClockSetting::Local, KEPT_OTHERWISE)];
    // Left on daylight time over one weekend is one hour off since then; over several, it is kept so.
    let several = weekends_within(property, looks).len() > 1;
    ways.extend(summer.filter(|_| several).map(|o| (ClockSetting::Offset(o), KEPT_OTHERWISE)));
    ways.push((ClockSetting::Offset(utc), UTC));
    let story = |(setting, prior): (ClockSetting, f64)| {
        let moves: Moves = looks
            .iter()
            .map(|l| {
                let read = to_local(l.corrected_time, Reading::Kept(setting), zone);
                let minutes = read.utc().timestamp() as f64 / 60.0 - l.shot.minute;
                (minutes / f64::from(STEP_MIN)).round() as i32
            })
            .collect();
        let fault = match setting {
            ClockSetting::Offset(o) if o == utc => Fault::Utc,
            _ => Fault::KeptOtherwise,
        };
        // A camera that writes its offset into its pictures has said how it is kept.
        (!looks.iter().any(|l| l.is_written)).then_some(Story {
            fault,
            shift_min: 0.0,
            setting: Some(setting),
            from: None,
            drift_min_per_day: 0.0,
            prior_log: prior.ln(),
            is_any: false,
            moves,
        })
    };
    ways.into_iter().filter_map(story).collect()
}

/// The zone's offsets in a year: one, or standard and daylight time.
fn offsets_of(property: &Property, year: i32) -> Vec<chrono::FixedOffset> {
    let at = |month| {
        let noon = NaiveDate::from_ymd_opt(year, month, 1)?.and_hms_opt(12, 0, 0)?;
        let zone = property.settings.time_zone;
        Some(zone.offset_from_utc_datetime(&noon).fix())
    };
    [1, 7].into_iter().filter_map(at).collect()
}

/// A clock that was left alone over one daylight-time weekend, or moved over it when it should not have
/// been.
fn weekends(property: &Property, looks: &[LightLook]) -> Vec<Story> {
    let found = weekends_within(property, looks);
    let count = found.len().max(1) as f64;
    let each = |from: &NaiveDateTime| {
        [-60, 60].map(|minutes| {
            let moved = |l: &LightLook| {
                if l.time.shown() >= *from { minutes / STEP_MIN } else { 0 }
            };
            Story {
                from: Some(*from),
                moves: looks.iter().map(moved).collect(),
                ..constant(Fault::NotReset, minutes, ONE_HOUR / count, looks)
            }
        })
    };
    found.iter().flat_map(each).collect()
}

/// The daylight-time weekends between the first look and the last.
fn weekends_within(property: &Property, looks: &[LightLook]) -> Vec<NaiveDateTime> {
    let (Some(first), Some(last)) = (looks.first(), looks.last()) else {
        return Vec::new();
    };
    let (first, last) = (first.time.shown().date(), last.time.shown().date());
    let days = (last - first).num_days().min(366 * 30);
    (0..=days).filter_map(|n| weekend_on(property, first + TimeDelta::days(n))).collect()
}

/// The moment at which the clocks change, if they change on this date.
pub(super) fn weekend_on(property: &Property, date: NaiveDate) -> Option<NaiveDateTime> {
    let noon_min = |d| noon_utc_min(property, d);
    let length = noon_min(date)? - noon_min(date.checked_sub_days(Days::new(1))?)?;
    (length != 1440).then(|| date.and_hms_opt(2, 0, 0))?
}

/// Noon of a date by a clock that is kept right, in minutes since 1970 in UTC.
pub(super) fn noon_utc_min(property: &Property, date: NaiveDate) -> Option<i64> {
    let shown = CameraTime::new(date.and_hms_opt(12, 0, 0)?);
    let kept = Reading::Kept(ClockSetting::Local);
    let noon = to_local(shown, kept, property.settings.time_zone);
    Some(noon.utc().timestamp() / 60)
}

/// A clock that was right at first and runs slow or fast.
fn drifts(looks: &[LightLook]) -> Vec<Story> {
    let Some(first) = looks.first() else {
        return Vec::new();
    };
    const PER_DAY_MIN: [f64; 8] = [-3.0, -2.0, -1.0, -0.6, 0.6, 1.0, 2.0, 3.0];
    let days = |l: &LightLook| (l.time.shown() - first.time.shown()).num_minutes() as f64 / 1440.0;
    let story = |per_day: f64| {
        let moved = |l: &LightLook| (per_day * days(l) / f64::from(STEP_MIN)).round() as i32;
        Story {
            drift_min_per_day: per_day,
            moves: looks.iter().map(moved).collect(),
            ..constant(Fault::Drift, 0, DRIFTING / 8.0, looks)
        }
    };
    PER_DAY_MIN.into_iter().map(story).collect()
}
