//! The three lights of a day.

use chrono::TimeDelta;

use super::SunDay;
use crate::clock::LocalTime;
use crate::property::Settings;

/// The light at a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Light {
    /// Sunrise to sunset.
    Daylight,
    /// Legal light outside daylight.
    Gray,
    /// Outside legal light.
    Dark,
}

impl Light {
    /// The light at `time` on a sun day, by the property's own legal light. Both ends of daylight
    /// and of legal light belong to the brighter side.
    pub fn at(time: LocalTime, sun: &SunDay, settings: &Settings) -> Self {
        let minutes = |m: f64| TimeDelta::milliseconds((m * 60_000.0) as i64);
        let now = time.utc();
        if sun.never_sets || (sun.sunrise..=sun.sunset).contains(&now) {
            Self::Daylight
        } else if now >= sun.sunrise - minutes(settings.legal_before_sunrise_min)
            && now <= sun.sunset + minutes(settings.legal_after_sunset_min)
        {
            Self::Gray
        } else {
            Self::Dark
        }
    }

    /// Whether shooting would be lawful by the property's setting.
    pub fn is_legal(self) -> bool {
        self != Self::Dark
    }

    /// The word in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Daylight => "daylight",
            Self::Gray => "gray light",
            Self::Dark => "dark",
        }
    }
}
