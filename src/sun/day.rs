//! The sun's day at one place.

use std::collections::HashMap;

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use rayon::prelude::*;
use sunrise::{Coordinates, DawnType, SolarDay, SolarEvent};
use thiserror::Error;

use super::elevation_deg;
use crate::property::Position;

/// There is no sunrise or sunset on this date so near the pole.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error(
    "at latitude {latitude_deg} the sun does not both rise and set on {date}. Graylight counts by sunrise and sunset and cannot be used there in that season; check the latitude in property.toml and cameras.csv."
)]
pub struct NoSunrise {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// The local date.
    pub date: NaiveDate,
}

/// The events of one local date, as instants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunDay {
    /// Upper limb on the horizon in the morning: centre 50 arc minutes below it.
    pub sunrise: DateTime<Utc>,
    /// The same in the evening.
    pub sunset: DateTime<Utc>,
    /// The sun stays up: all of the date is daylight.
    pub never_sets: bool,
    /// Centre 6 degrees below the horizon in the morning; `None` where it never gets so low.
    pub civil_dawn: Option<DateTime<Utc>>,
    /// The same in the evening.
    pub civil_dusk: Option<DateTime<Utc>>,
}

impl SunDay {
    /// The events of the date whose local noon is nearest to the sun's noon at `place`.
    ///
    /// Measured against the NREL Solar Position Algorithm from 25 to 48 degrees north: at most 18 s
    /// apart, usually within 9 s; terrain and weather move the light by more than that.
    ///
    /// Where the sun does not set, the day lasts from midnight to midnight of the sun; where it does not
    /// rise, it begins and ends at the sun's noon.
    ///
    /// # Errors
    /// [`NoSunrise`] where the place is not on the globe.
    pub fn on(date: NaiveDate, place: Position) -> Result<Self, NoSunrise> {
        let missing = NoSunrise { latitude_deg: place.latitude_deg, date };
        let coordinates =
            Coordinates::new(place.latitude_deg, place.longitude_deg).ok_or(missing)?;
        let event = |event| refined(date, coordinates, event);
        let rise_and_set = event(SolarEvent::Sunrise).zip(event(SolarEvent::Sunset));
        let (sunrise, sunset) = match rise_and_set {
            Some(both) => both,
            None => polar(date, place).ok_or(missing)?,
        };
        Ok(Self {
            never_sets: rise_and_set.is_none() && sunset > sunrise,
            sunrise,
            sunset,
            civil_dawn: event(SolarEvent::Dawn(DawnType::Civil)),
            civil_dusk: event(SolarEvent::Dusk(DawnType::Civil)),
        })
    }

    /// Length of the day in minutes.
    pub fn length_min(&self) -> f64 {
        (self.sunset - self.sunrise).num_milliseconds() as f64 / 60_000.0
    }
}

/// Sunrise and sunset of polar day and night: the sun's midnights, or twice its noon.
fn polar(date: NaiveDate, place: Position) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let clock_noon = date.and_hms_opt(12, 0, 0)?.and_utc();
    let mean_noon = clock_noon.timestamp() as f64 / 60.0 - place.longitude_deg * 4.0;
    // The equation of time is never larger than 17 minutes.
    let heights = (-20..=20).map(|m| mean_noon + f64::from(m));
    let noon =
        heights.max_by(|a, b| elevation_deg(*a, place).total_cmp(&elevation_deg(*b, place)))?;
    let instant = |minute: f64| DateTime::from_timestamp((minute * 60.0) as i64, 0);
    const UPPER_LIMB_DEG: f64 = -0.8333;
    let half_day_min = if elevation_deg(noon, place) > UPPER_LIMB_DEG { 720.0 } else { 0.0 };
    instant(noon - half_day_min).zip(instant(noon + half_day_min))
}

/// General precession in longitude, degrees per Julian century (Capitaine, Wallace & Chapront
/// 2003, A&A 412:567, first term).
const PRECESSION_DEG_PER_CENTURY: f64 = 5_028.796_195 / 3600.0;
/// The sun's mean motion, degrees per day.
const SUN_DEG_PER_DAY: f64 = 0.985_647_36;
const J2000_UNIX_S: f64 = 946_728_000.0;
const DAY_S: f64 = 86_400.0;

/// An event from the `sunrise` crate, moved to the instant at which it happens.
///
/// The crate takes the sun's position at noon, and counts its longitude from the equinox of the
/// year 2000. Both make the sun's date slightly wrong, by the hours between noon and the event and
/// by the precession since 2000; the two together are below one day, so the event is interpolated
/// between this date and the next or last one.
fn refined(date: NaiveDate, place: Coordinates, event: SolarEvent) -> Option<DateTime<Utc>> {
    let on = |d: NaiveDate| SolarDay::new(place, d).event_time(event);
    let here = on(date)?;
    let noon_s =
        date.and_hms_opt(12, 0, 0)?.and_utc().timestamp() as f64 - place.lon() / 360.0 * DAY_S;
    let event_s = here.timestamp() as f64;
    let centuries = (event_s - J2000_UNIX_S) / DAY_S / 36_525.0;
    let late_days =
        (event_s - noon_s) / DAY_S + centuries * PRECESSION_DEG_PER_CENTURY / SUN_DEG_PER_DAY;
    let (neighbour, day) = if late_days > 0.0 {
        (date.checked_add_days(Days::new(1))?, TimeDelta::days(1))
    } else {
        (date.checked_sub_days(Days::new(1))?, TimeDelta::days(-1))
    };
    // At the edge of polar day or night the neighbour may have no such event.
    let Some(there) = on(neighbour) else {
        return Some(here);
    };
    let drift = (there - day) - here;
    let moved_ms = drift.num_milliseconds() as f64 * late_days.abs();
    Some(here + TimeDelta::milliseconds(moved_ms.round() as i64))
}

/// Sun days already worked out, by place and date.
#[derive(Default)]
pub struct SunTable {
    days: HashMap<(u64, u64, NaiveDate), SunDay>,
}

impl SunTable {
    /// The sun's days at some places on some dates, each worked out once.
    ///
    /// # Errors
    /// As [`SunDay::on`].
    pub fn of(wanted: impl Iterator<Item = (NaiveDate, Position)>) -> Result<Self, NoSunrise> {
        let places: HashMap<_, _> = wanted.map(|w| (key(w.0, w.1), w)).collect();
        let on = |(key, (date, place))| Ok((key, SunDay::on(date, place)?));
        let days = places.into_par_iter().map(on).collect::<Result<_, NoSunrise>>()?;
        Ok(Self { days })
    }

    /// The sun's day at a place: out of the table, or worked out.
    ///
    /// # Errors
    /// As [`SunDay::on`].
    pub fn get(&self, date: NaiveDate, place: Position) -> Result<SunDay, NoSunrise> {
        match self.days.get(&key(date, place)) {
            Some(day) => Ok(*day),
            None => SunDay::on(date, place),
        }
    }

    /// The same, kept for the next time.
    ///
    /// # Errors
    /// As [`SunDay::on`].
    pub fn day(&mut self, date: NaiveDate, place: Position) -> Result<SunDay, NoSunrise> {
        let key = key(date, place);
        if let Some(day) = self.days.get(&key) {
            return Ok(*day);
        }
        let day = SunDay::on(date, place)?;
        self.days.insert(key, day);
        Ok(day)
    }
}

fn key(date: NaiveDate, place: Position) -> (u64, u64, NaiveDate) {
    let (latitude, longitude) = (place.latitude_deg, place.longitude_deg);
    (latitude.to_bits(), longitude.to_bits(), date)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polar_day_and_night_have_their_length() {
        let place = Position::new(68.0, 25.0).unwrap();
        let on = |month, day| {
            let date = NaiveDate::from_ymd_opt(2025, month, day).unwrap();
            SunDay::on(date, place).unwrap()
        };
        assert!((on(6, 21).length_min() - 1440.0).abs() < 1.0);
        assert!(on(12, 21).length_min() < 1.0);
        // Noon at 25 degrees east is 20 minutes before 11 hours UTC, less the equation of time.
        let noon = on(12, 21).sunrise.format("%H:%M").to_string();
        assert!(("10:10".."10:25").contains(&noon.as_str()), "{noon}");
        for date in NaiveDate::from_ymd_opt(2025, 1, 1).unwrap().iter_days().take(365) {
            assert!(SunDay::on(date, place).is_ok(), "{date}");
        }
    }

    #[test]
    fn summer_nights_without_civil_dusk() {
        let place = Position::new(61.0, 10.0).unwrap();
        let june = NaiveDate::from_ymd_opt(2025, 6, 21).unwrap();
        let day = SunDay::on(june, place).unwrap();
        assert!(day.civil_dusk.is_none() && day.length_min() > 18.0 * 60.0);
    }
}
