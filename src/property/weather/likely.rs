//! Whether a table of weather can be that of its place, taken as a whole: a unit that is wrong changes what is said and
//! no single value shows it.

use std::f64::consts::TAU;

use chrono::{Datelike, NaiveDate};

use super::{WeatherRow, WeatherTime};
use crate::property::{Cause, Position};

/// Fewer hours have no mean to speak of.
const FEWEST_HOURS: usize = 100;
/// Mountains, seas and odd years lie within this of the rule.
const FAR_C: f64 = 20.0;
/// Hardly any place that deer live in has more, on average over weeks.
const MOST_WIND_KMH: f64 = 35.0;

/// What is unlikely of it.
pub(super) fn doubts(rows: &[WeatherRow], place: Position) -> Vec<Cause> {
    let temperatures: Vec<(f64, f64)> = rows
        .iter()
        .filter_map(|r| Some((r.temperature_c?, usual_c(date(r.time), place))))
        .collect();
    let winds: Vec<f64> = rows.iter().filter_map(|r| r.wind_kmh).collect();
    let mean = |values: &mut dyn Iterator<Item = f64>, n: usize| values.sum::<f64>() / n as f64;
    let mut doubts = Vec::new();
    if temperatures.len() >= FEWEST_HOURS {
        let n = temperatures.len();
        let seen = mean(&mut temperatures.iter().map(|t| t.0), n);
        let usual = mean(&mut temperatures.iter().map(|t| t.1), n);
        if (seen - usual).abs() > FAR_C {
            let what = format!(
                "its temperatures are {seen:.0} °C ({:.0} °F) on average, where about {usual:.0} °C would be usual in these weeks at this latitude",
                seen * 1.8 + 32.0
            );
            doubts.push(Cause::UnlikelyWeather { what });
        }
    }
    if winds.len() >= FEWEST_HOURS {
        let seen = mean(&mut winds.iter().copied(), winds.len());
        if seen > MOST_WIND_KMH {
            let what = format!("its winds are {seen:.0} km/h on average");
            doubts.push(Cause::UnlikelyWeather { what });
        }
    }
    doubts
}

fn date(time: WeatherTime) -> NaiveDate {
    match time {
        WeatherTime::Local(shown) | WeatherTime::Standard(shown) => shown.date(),
        WeatherTime::Utc(instant) => instant.date_naive(),
    }
}

/// A rule of thumb for the mean temperature at a latitude and date, near the sea's level (own, rough: colder by half a
/// degree for each degree from the tropics, and a yearly swing of a third of the latitude).
fn usual_c(date: NaiveDate, place: Position) -> f64 {
    let latitude = place.latitude_deg.abs();
    let mean = 27.0 - 0.55 * (latitude - 15.0).max(0.0);
    let swing = 0.33 * (latitude - 10.0).max(0.0);
    let north = if place.latitude_deg < 0.0 { -1.0 } else { 1.0 };
    mean + north * swing * ((f64::from(date.ordinal()) - 200.0) / 365.0 * TAU).cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean temperatures of October from memory: Madison in Wisconsin 9, San Antonio in Texas 22, Sydney 18 °C.
    #[test]
    fn the_rule_of_thumb_is_near_enough() {
        let october = NaiveDate::from_ymd_opt(2025, 10, 15).unwrap();
        for (latitude_deg, known) in [(43.1, 9.0), (29.4, 22.0), (-33.9, 18.0)] {
            let place = Position { latitude_deg, longitude_deg: 0.0 };
            let told = usual_c(october, place);
            assert!((told - known).abs() < 6.0, "{latitude_deg}: {told}");
        }
    }
}
