//! The time on the wall clock of the property.

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

use super::{Reading, to_local};
use crate::card::CameraTime;
use crate::property::ClockSetting;

/// The time on the wall clock of the property, and the instant it stands for, to the millisecond.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LocalTime {
    /// Milliseconds since 1970-01-01T00:00 UTC.
    utc_ms: i64,
    /// The wall clock's distance from UTC, seconds east.
    offset_s: i32,
}

impl LocalTime {
    /// The wall clock of `zone` at an instant.
    pub fn at(instant: DateTime<Utc>, zone: Tz) -> Self {
        let offset = zone.offset_from_utc_datetime(&instant.naive_utc()).fix();
        Self::new(instant.timestamp_millis(), offset.local_minus_utc())
    }

    /// From the milliseconds of UTC since 1970 and the seconds east of it, as tables hold them.
    pub fn new(utc_ms: i64, offset_s: i32) -> Self {
        Self { utc_ms, offset_s }
    }

    /// The moment at which the wall clock of `zone` shows these digits: the first of two, and in an hour
    /// that it leaps over the one after the leap.
    pub fn of_wall_clock(shown: NaiveDateTime, zone: Tz) -> Self {
        to_local(CameraTime::new(shown), Reading::Kept(ClockSetting::Local), zone)
    }

    /// The same digits of the wall clock so many days later, its distance from UTC kept.
    pub fn days_later(self, days: i64) -> Self {
        Self::new(self.utc_ms + days * DAY_MS, self.offset_s)
    }

    /// The instant.
    pub fn utc(self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.utc_ms).unwrap_or_default()
    }

    /// The instant in milliseconds since 1970.
    pub fn utc_ms(self) -> i64 {
        self.utc_ms
    }

    /// The wall clock's distance from UTC.
    pub fn offset(self) -> FixedOffset {
        FixedOffset::east_opt(self.offset_s).unwrap_or_else(|| Utc.fix())
    }

    /// The local date.
    pub fn date(self) -> NaiveDate {
        NaiveDate::from_epoch_days(self.day()).unwrap_or_default()
    }

    /// Days from 1970-01-01 to the local date.
    pub fn day(self) -> i32 {
        self.wall_clock_ms().div_euclid(DAY_MS) as i32
    }

    /// The digits of the wall clock.
    pub fn shown(self) -> NaiveDateTime {
        self.utc().naive_utc() + TimeDelta::seconds(i64::from(self.offset_s))
    }

    /// Minutes since local midnight by the digits of the wall clock, 0 to 1440.
    pub fn minute_of_day(self) -> f64 {
        (self.wall_clock_ms().rem_euclid(DAY_MS) / 1000) as f64 / 60.0
    }

    /// Minutes from another moment to this one; negative where this one is earlier.
    pub fn minutes_since(self, earlier: DateTime<Utc>) -> f64 {
        (self.utc_ms - earlier.timestamp_millis()) as f64 / 60_000.0
    }

    fn wall_clock_ms(self) -> i64 {
        self.utc_ms + i64::from(self.offset_s) * 1000
    }
}

const DAY_MS: i64 = 86_400_000;
