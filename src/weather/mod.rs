//! The weather at any moment: every moment takes the last hour written down before it.

use anyhow::Result;
use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use chrono_tz::{OffsetComponents, Tz};
use polars::prelude::*;

use crate::clock::LocalTime;
use crate::property::{Property, WeatherRow, WeatherTime};

/// The weather of a property, hour by hour, in order of time.
#[derive(Debug, Clone, Default)]
pub struct Weather {
    hours: DataFrame,
    /// Whether the table tells of rain at all; then an hour that says nothing was dry.
    tells_of_rain: bool,
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
const RAIN_S: i64 = 3 * 3600;
const DAY_H: i64 = 24;
/// Over so many hours people watch the glass rise or fall.
const PRESSURE_H: i64 = 6;

const TIME: &str = "time";
const TEMPERATURE: &str = "temperature_c";
const WIND_FROM: &str = "wind_from_deg";
const WIND: &str = "wind_kmh";
const PRESSURE: &str = "pressure_hpa";
const RAIN: &str = "rain_mm";

impl Weather {
    /// The weather that a property's table holds.
    ///
    /// # Errors
    /// When polars refuses the table.
    pub fn of(property: &Property) -> Result<Self> {
        let zone = property.settings.time_zone;
        let rows = &property.weather;
        let seconds = |r: &WeatherRow| instant(r.time, zone).timestamp();
        let column = |of: fn(&WeatherRow) -> Option<f64>| -> Vec<Option<f64>> {
            rows.iter().map(of).collect()
        };
        let hours = df!(
            TIME => rows.iter().map(seconds).collect::<Vec<i64>>(),
            TEMPERATURE => column(|r| r.temperature_c),
            WIND_FROM => column(|r| r.wind_from_deg),
            WIND => column(|r| r.wind_kmh),
            PRESSURE => column(|r| r.pressure_hpa),
            RAIN => column(|r| r.rain_mm),
        )?;
        let options = SortMultipleOptions::default().with_maintain_order(true);
        Ok(Self {
            hours: hours.sort([TIME], options)?,
            tells_of_rain: rows.iter().any(|r| r.rain_mm.is_some_and(|mm| mm > 0.0)),
        })
    }

    /// Whether there is any.
    pub fn is_empty(&self) -> bool {
        self.hours.height() == 0
    }

    /// First and last moment of it.
    pub fn span(&self) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
        let times = self.hours.column(TIME).ok()?.i64().ok()?;
        let at = |s: Option<i64>| DateTime::from_timestamp(s?, 0);
        at(times.first()).zip(at(times.last()))
    }

    /// The air at some moments, in their order.
    ///
    /// # Errors
    /// When polars refuses the join.
    pub fn at(&self, moments: &[DateTime<Utc>]) -> Result<Vec<Air>> {
        if self.is_empty() {
            return Ok(vec![Air::default(); moments.len()]);
        }
        let now = |column| self.last(column, moments, TimeDelta::zero(), HOLDS_S);
        let before = |column, h| self.last(column, moments, TimeDelta::hours(h), HOLDS_S);
        let temperature = now(TEMPERATURE)?;
        let day_before = before(TEMPERATURE, DAY_H)?;
        let (wind_from, wind) = (now(WIND_FROM)?, now(WIND)?);
        let (pressure, earlier) = (now(PRESSURE)?, before(PRESSURE, PRESSURE_H)?);
        let rain = self.rain(moments)?;
        let air = |i: usize| {
            let is_covered = temperature[i].or(wind[i]).or(pressure[i]).is_some();
            Air {
                temperature_c: temperature[i],
                temperature_day_before_c: day_before[i],
                // A direction of an hour of calm that followed is none.
                wind_from_deg: wind_from[i].filter(|_| wind[i].is_none_or(|w| w > 0.0)),
                wind_kmh: wind[i],
                pressure_hpa: pressure[i],
                pressure_before_hpa: earlier[i],
                rain: (self.tells_of_rain && is_covered).then_some(rain[i]),
            }
        };
        Ok((0..moments.len()).map(air).collect())
    }

    /// Whether it rained in the hours before each moment.
    fn rain(&self, moments: &[DateTime<Utc>]) -> Result<Vec<bool>> {
        let fell = self.hours.column(RAIN)?.f64()?.gt(0.0);
        let wet = self.hours.filter(&fell)?;
        let last = last_of(&wet, RAIN, moments, TimeDelta::zero(), RAIN_S)?;
        Ok(last.into_iter().map(|mm| mm.is_some()).collect())
    }

    /// The last value of a column at some moments less `earlier`, none older than `holds_s`.
    fn last(
        &self,
        column: &str,
        moments: &[DateTime<Utc>],
        earlier: TimeDelta,
        holds_s: i64,
    ) -> Result<Vec<Option<f64>>> {
        let known = self
            .hours
            .filter(&self.hours.column(column)?.is_not_null())?;
        last_of(&known, column, moments, earlier, holds_s)
    }
}

/// An as-of join of moments with the hours of a column.
fn last_of(
    hours: &DataFrame,
    column: &str,
    moments: &[DateTime<Utc>],
    earlier: TimeDelta,
    holds_s: i64,
) -> Result<Vec<Option<f64>>> {
    let seconds: Vec<i64> = moments.iter().map(|m| (*m - earlier).timestamp()).collect();
    let order: Vec<u32> = (0..moments.len() as u32).collect();
    let moments = df!(TIME => seconds, "order" => order)?.sort([TIME], Default::default())?;
    let hours = hours.select([TIME, column])?;
    let how = JoinType::AsOf(Box::new(AsOfOptions {
        strategy: AsofStrategy::Backward,
        tolerance: Some(Scalar::from(holds_s)),
        allow_eq: true,
        check_sortedness: false,
        ..AsOfOptions::default()
    }));
    let joined = moments.join(&hours, [TIME], [TIME], JoinArgs::new(how), None)?;
    let joined = joined.sort(["order"], Default::default())?;
    Ok(joined.column(column)?.f64()?.iter().collect())
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
