//! The time that a camera's own clock showed.

use std::fmt;

use chrono::{NaiveDateTime, TimeDelta};

/// What the camera's clock showed. It is neither local time nor UTC until the `clock` floor has
/// said what that clock is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct CameraTime(NaiveDateTime);

impl CameraTime {
    /// Wraps the digits as read.
    pub fn new(shown: NaiveDateTime) -> Self {
        Self(shown)
    }

    /// The digits as read.
    pub fn shown(self) -> NaiveDateTime {
        self.0
    }

    /// The same clock, put forward by some minutes (negative: put back).
    pub fn plus_minutes(self, minutes: f64) -> Self {
        let by = TimeDelta::milliseconds((minutes * 60_000.0).round() as i64);
        Self(self.0.checked_add_signed(by).unwrap_or(self.0))
    }
}

impl fmt::Display for CameraTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.format("%Y-%m-%d %H:%M:%S"))
    }
}
