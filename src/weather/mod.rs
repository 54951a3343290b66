//! The weather at any moment: every moment takes the last hour written down before it.

use chrono::{DateTime, TimeZone, Utc};
use chrono_tz::{OffsetComponents, Tz};

use crate::clock::LocalTime;
use crate::property::{Property, WeatherRow, WeatherTime};

/// The weather of a property, hour by hour, in order of time.
#[derive(Debug, Clone, Default)]
pub struct Weather {
    hours: Vec<Hour>,
    /// Whether the table tells of rain at all; then an hour that says nothing was dry.
    tells_of_rain: bool,
}

/// One row of the table, at an instant in seconds since 1970.
#[derive(Debug, Clone, Copy)]
struct Hour {
    at_s: i64,
    row: WeatherRow,
}

/// The air at a moment. What is not known of it is `None`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Air {
    /// Degrees Celsius.
    pub temperature_c: Option<f64>,
    /// The same a day before.
    pub temperature_day_before_c: Option<f64>,
    /// Where the wind comes from, degrees clockwise from north.
    pub wind_from_deg: Option<f64>,
    /// Kilometres an hour.
    pub wind_kmh: Option<f64>,
    /// Hectopascals.
    pub pressure_hpa: Option<f64>,
    /// The same six hours before.
    pub pressure_before_hpa: Option<f64>,
    /// Whether any rain fell in the last three hours.
    pub rain: Option<bool>,
}

/// An hour written down longer ago than this says nothing of a moment.
const HOLDS_S: i64 = 100 * 60;
const HOUR_S: i64 = 3600;
const RAIN_S: i64 = 3 * 3600;
const DAY_H: i64 = 24;
/// Over so many hours people watch the glass rise or fall.
const PRESSURE_H: i64 = 6;

impl Weather {
    /// The weather that a property's table holds.
    pub fn of(property: &Property) -> Self {
        let zone = property.settings.time_zone;
        let hour = |row: &WeatherRow| Hour { at_s: instant(row.time, zone).timestamp(), row: *row };
        let mut hours: Vec<Hour> = property.weather.iter().map(hour).collect();
        hours.sort_by_key(|h| h.at_s);
        let tells_of_rain = hours.iter().any(|h| fell(&h.row).is_some());
        Self { hours, tells_of_rain }
    }

    /// Whether there is any.
    pub fn is_empty(&self) -> bool {
        self.hours.is_empty()
    }

    /// First and last moment of it.
    pub fn span(&self) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
        let at = |h: &Hour| DateTime::from_timestamp(h.at_s, 0);
        at(self.hours.first()?).zip(at(self.hours.last()?))
    }

    /// The air at some moments, in their order.
    pub fn at(&self, moments: &[DateTime<Utc>]) -> Vec<Air> {
        moments.iter().map(|m| self.at_one(m.timestamp())).collect()
    }

    fn at_one(&self, at_s: i64) -> Air {
        let now = |value: Value| self.last(value, at_s, HOLDS_S);
        let before = |value: Value, hours: i64| self.last(value, at_s - hours * HOUR_S, HOLDS_S);
        let temperature_c = now(|r| r.temperature_c);
        let (wind_kmh, pressure_hpa) = (now(|r| r.wind_kmh), now(|r| r.pressure_hpa));
        let is_covered = temperature_c.or(wind_kmh).or(pressure_hpa).is_some();
        Air {
            temperature_c,
            temperature_day_before_c: before(|r| r.temperature_c, DAY_H),
            // A direction of an hour of calm that followed is none.
            wind_from_deg: now(|r| r.wind_from_deg).filter(|_| wind_kmh.is_none_or(|w| w > 0.0)),
            wind_kmh,
            pressure_hpa,
            pressure_before_hpa: before(|r| r.pressure_hpa, PRESSURE_H),
            rain: (self.tells_of_rain && is_covered)
                .then(|| self.last(fell, at_s, RAIN_S).is_some()),
        }
    }

    /// The last value that was written down at or before a moment, if it is no older than `holds_s`.
    fn last(&self, value: Value, at_s: i64, holds_s: i64) -> Option<f64> {
        let until = self.hours.partition_point(|h| h.at_s <= at_s);
        let recent = self.hours[..until].iter().rev();
        let mut recent = recent.take_while(|h| at_s - h.at_s <= holds_s);
        recent.find_map(|h| value(&h.row))
    }
}

type Value = fn(&WeatherRow) -> Option<f64>;

/// Rain that can be measured.
fn fell(row: &WeatherRow) -> Option<f64> {
    row.rain_mm.filter(|mm| *mm > 0.0)
}

fn instant(time: WeatherTime, zone: Tz) -> DateTime<Utc> {
    match time {
        WeatherTime::Utc(instant) => instant,
        WeatherTime::Local(shown) => LocalTime::of_wall_clock(shown, zone).utc(),
        WeatherTime::Standard(shown) => {
            let standard = zone.offset_from_utc_datetime(&shown).base_utc_offset();
            (shown - standard).and_utc()
        }
    }
}
