//! The hourly tables of the United States' national weather data centre, read as they come.
//!
//! Two of them are understood, by their headings. The *global hourly* table (Federal Climate Complex data
//! documentation for integrated surface data, fields WND, TMP, SLP and AA1) holds UTC and whole tenths with a
//! quality code beside each; the *local climatological data* (its documentation, columns Hourly…) standard time of the
//! station and plain numbers. Field layouts are from memory of those documents.

use anyhow::{Result, bail};

use super::units::{PressureUnit, RainUnit, TemperatureUnit, WindUnit};
use super::{WeatherRow, WeatherTime, without_calm};
use crate::property::{Cause, Problem, Row, Sheet, parse_date_time, parse_number};

/// The rows of such a table; `None` where it is none.
///
/// # Errors
/// Where a table does not tell whether it is in inches or in metric units.
pub(super) fn read(sheet: &Sheet, problems: &mut Vec<Problem>) -> Result<Option<Vec<WeatherRow>>> {
    if sheet.has("date") && sheet.has("tmp") && sheet.has("wnd") {
        return Ok(Some(rows(sheet, problems, global_hour)));
    }
    if !(sheet.has("date") && sheet.has("hourlydrybulbtemperature")) {
        return Ok(None);
    }
    let is_metric = is_metric(sheet)?;
    Ok(Some(rows(sheet, problems, |row, time| local_hour(row, time, is_metric))))
}

fn rows(
    sheet: &Sheet,
    problems: &mut Vec<Problem>,
    read: impl Fn(&Row, chrono::NaiveDateTime) -> WeatherRow,
) -> Vec<WeatherRow> {
    let mut rows = Vec::new();
    sheet.for_each(problems, |row, problems| {
        let text = row.get("date");
        match parse_date_time(text) {
            Some(time) => rows.push(without_calm(read(row, time))),
            None => {
                let text = text.to_owned();
                let cause = Cause::NotAnHour { text };
                problems.push(Problem::cell(sheet.file(), row.line, "DATE", cause));
            }
        }
    });
    // Rows for days and months stand between those for hours, and say nothing of any.
    let says = |r: &WeatherRow| {
        r.temperature_c.is_some() || r.wind_kmh.is_some() || r.pressure_hpa.is_some()
    };
    rows.retain(says);
    rows
}

/// `value,quality` and the like: the number at a place, unless its quality is doubtful (codes 2, 3, 6 and 7) or
/// all its digits are nines.
fn tenths(field: &str, value: usize, quality: usize) -> Option<f64> {
    let parts: Vec<&str> = field.split(',').collect();
    let is_doubtful = matches!(parts.get(quality).copied()?, "2" | "3" | "6" | "7");
    let text = parts.get(value)?.trim();
    let digits = text.trim_start_matches(['+', '-']);
    let is_missing = digits.bytes().all(|b| b == b'9');
    let number: f64 = text.strip_prefix('+').unwrap_or(text).parse().ok()?;
    (!is_doubtful && !is_missing).then_some(number)
}

fn global_hour(row: &Row, time: chrono::NaiveDateTime) -> WeatherRow {
    let wind = row.get("wnd");
    let rain = row.get("aa1");
    // Only what fell within one hour is rain of the hour.
    let is_hourly = rain.split(',').next().is_some_and(|h| h.trim() == "01");
    WeatherRow {
        time: WeatherTime::Utc(time.and_utc()),
        temperature_c: tenths(row.get("tmp"), 0, 1).map(|t| t / 10.0),
        wind_from_deg: tenths(wind, 0, 1),
        wind_kmh: tenths(wind, 3, 4).map(|w| WindUnit::MetresPerSecond.kmh(w / 10.0)),
        pressure_hpa: tenths(row.get("slp"), 0, 1).map(|p| p / 10.0),
        rain_mm: tenths(rain, 1, 3).filter(|_| is_hourly).map(|r| r / 10.0),
    }
}

/// Whether pressures are in hectopascals: both editions have the same headings.
fn is_metric(sheet: &Sheet) -> Result<bool> {
    const BETWEEN: f64 = 100.0;
    let mut metric = None;
    sheet.for_each(&mut Vec::new(), |row, _| {
        metric = metric.or_else(|| pressure(row).map(|p| p > BETWEEN));
    });
    let Some(metric) = metric else {
        bail!(
            "{}: without one pressure nothing tells whether its temperatures are in Fahrenheit or Celsius. Write a [weather] part in property.toml that names its columns and units.",
            sheet.file()
        );
    };
    Ok(metric)
}

fn pressure(row: &Row) -> Option<f64> {
    number(row.get("hourlysealevelpressure")).or_else(|| number(row.get("hourlystationpressure")))
}

/// A number, with or without the `s` of one that is suspect, which is left out; `T` is a trace of rain.
fn number(text: &str) -> Option<f64> {
    match text {
        "T" | "t" => Some(0.0),
        _ => parse_number(text.trim_end_matches('V')),
    }
}

fn local_hour(row: &Row, time: chrono::NaiveDateTime, is_metric: bool) -> WeatherRow {
    let of = |column| number(row.get(column));
    let (temperature, wind, air, rain) = match is_metric {
        true => (TemperatureUnit::C, WindUnit::MetresPerSecond, PressureUnit::Hpa, RainUnit::Mm),
        false => (TemperatureUnit::F, WindUnit::MilesPerHour, PressureUnit::InHg, RainUnit::Inches),
    };
    WeatherRow {
        time: WeatherTime::Standard(time),
        temperature_c: of("hourlydrybulbtemperature").map(|t| temperature.celsius(t)),
        wind_from_deg: of("hourlywinddirection").filter(|d| (0.0..=360.0).contains(d)),
        wind_kmh: of("hourlywindspeed").map(|w| wind.kmh(w)),
        pressure_hpa: pressure(row).map(|p| air.hpa(p)),
        rain_mm: of("hourlyprecipitation").map(|r| rain.mm(r)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Vec<WeatherRow> {
        let sheet = Sheet::decode("weather.csv", text.as_bytes()).unwrap();
        read(&sheet, &mut Vec::new()).unwrap().unwrap()
    }

    #[test]
    fn a_global_hour() {
        let rows = read_text(
            "STATION,DATE,WND,TMP,SLP,AA1\n\
             1,2025-10-18T11:53:00,\"320,1,N,0051,1\",\"+0053,1\",\"10132,1\",\"01,0005,9,1\"\n\
             1,2025-10-18T12:53:00,\"999,9,C,0000,1\",\"-0011,3\",\"99999,9\",\"06,0005,9,1\"\n",
        );
        let first = rows[0];
        assert_eq!(first.temperature_c, Some(5.3));
        assert_eq!(first.wind_from_deg, Some(320.0));
        assert!((first.wind_kmh.unwrap() - 18.36).abs() < 1e-9);
        assert_eq!((first.pressure_hpa, first.rain_mm), (Some(1013.2), Some(0.5)));
        let second = rows[1];
        assert_eq!((second.temperature_c, second.wind_from_deg), (None, None));
        assert_eq!((second.wind_kmh, second.rain_mm), (Some(0.0), None));
    }

    #[test]
    fn a_local_hour_in_both_editions() {
        let head = "STATION,DATE,REPORT_TYPE,HourlyDryBulbTemperature,HourlyPrecipitation,HourlySeaLevelPressure,HourlyWindDirection,HourlyWindSpeed\n";
        let old = read_text(&format!(
            "{head}1,2025-10-18T06:53:00,FM-15,50,T,30.00,VRB,10\n1,2025-10-18T23:59:00,SOD,,,,,\n"
        ));
        assert_eq!(old.len(), 1);
        assert!((old[0].temperature_c.unwrap() - 10.0).abs() < 1e-9);
        assert!((old[0].pressure_hpa.unwrap() - 1015.917).abs() < 0.001);
        assert_eq!((old[0].wind_from_deg, old[0].rain_mm), (None, Some(0.0)));
        let new =
            read_text(&format!("{head}1,2025-10-18T06:53:00,FM-15,10.0,0.3,1015.9,310,4.6\n"));
        assert_eq!((new[0].temperature_c, new[0].rain_mm), (Some(10.0), Some(0.3)));
    }
}
