//! `weather.csv`: the weather hour by hour, as the program's own table, as any hourly table that `[weather]` in
//! `property.toml` explains, or as the national weather data centre hands it out.

mod centre;
mod likely;
mod units;

use std::path::Path;

use anyhow::{Result, bail};
use chrono::{DateTime, NaiveDateTime, Utc};
use serde::Deserialize;

use super::{
    Cause, Headings, Problem, Row, Settings, Sheet, parse_date_time, parse_moment, parse_number,
};
use units::{PressureUnit, RainUnit, TemperatureUnit, WindUnit};

pub(super) const FILE: &str = "weather.csv";
const HEADINGS: Headings = Headings {
    required: &["time"],
    known: &["time", "temperature_c", "wind_from_deg", "wind_kmh", "pressure_hpa", "rain_mm"],
};

/// A moment as a weather table has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeatherTime {
    /// By the wall clock.
    Local(NaiveDateTime),
    /// By the zone's standard time, all year.
    Standard(NaiveDateTime),
    /// With its offset, or in UTC.
    Utc(DateTime<Utc>),
}

/// The weather at one moment; what is not known of it is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeatherRow {
    /// The moment.
    pub time: WeatherTime,
    /// Degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Where the wind comes from, degrees clockwise from north; none of calm or shifting air.
    pub wind_from_deg: Option<f64>,
    /// Kilometres an hour.
    pub wind_kmh: Option<f64>,
    /// Hectopascals.
    pub pressure_hpa: Option<f64>,
    /// Millimetres in the hour before.
    pub rain_mm: Option<f64>,
}

/// Which clock the times of a table are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WeatherClock {
    /// The wall clock.
    #[default]
    Local,
    /// Standard time, all year.
    Standard,
    /// UTC.
    #[serde(alias = "UTC")]
    Utc,
}

/// An hourly table with column names and units of its own.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WeatherTable {
    /// The file's name, in the property's folder.
    #[serde(default = "own_file")]
    pub file: String,
    /// Its column of times.
    pub time: String,
    /// Which clock they are of.
    #[serde(default)]
    pub clock: WeatherClock,
    /// Its column of temperatures.
    pub temperature: Option<String>,
    /// Their unit.
    #[serde(default)]
    pub temperature_unit: TemperatureUnit,
    /// Its column of directions that the wind comes from, in degrees or as points of the compass.
    pub wind_from: Option<String>,
    /// Its column of wind speeds.
    pub wind: Option<String>,
    /// Their unit.
    #[serde(default)]
    pub wind_unit: WindUnit,
    /// Its column of air pressures.
    pub pressure: Option<String>,
    /// Their unit.
    #[serde(default)]
    pub pressure_unit: PressureUnit,
    /// Its column of rain in the hour.
    pub rain: Option<String>,
    /// Its unit.
    #[serde(default)]
    pub rain_unit: RainUnit,
}

fn own_file() -> String {
    FILE.to_owned()
}

/// The file that a property's weather is in.
pub(super) fn file_of(settings: &Settings) -> &str {
    settings.weather.as_ref().map_or(FILE, |t| t.file.as_str())
}

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<WeatherRow>> {
    let rows = read_table(root, settings, problems)?;
    let doubts = likely::doubts(&rows, settings.position);
    let file = file_of(settings);
    problems.extend(doubts.into_iter().map(|cause| Problem::file(file, cause)));
    Ok(rows)
}

fn read_table(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<WeatherRow>> {
    let file = file_of(settings);
    let Some(bytes) = super::read_optional(root, file)? else {
        return match &settings.weather {
            Some(_) => bail!(
                "[weather] in property.toml names {file}, and there is no such file in the property's folder."
            ),
            None => Ok(Vec::new()),
        };
    };
    let sheet = Sheet::decode(file, &bytes)?.with_order(settings.date_order);
    if let Some(table) = &settings.weather {
        return mapped(&sheet, table, problems);
    }
    if let Some(rows) = centre::read(&sheet, problems)? {
        return Ok(rows);
    }
    let Some(sheet) = sheet.checked(&HEADINGS, problems)? else {
        return Ok(Vec::new());
    };
    let own = WeatherTable {
        file: own_file(),
        time: "time".to_owned(),
        clock: WeatherClock::Local,
        temperature: Some("temperature_c".to_owned()),
        temperature_unit: TemperatureUnit::C,
        wind_from: Some("wind_from_deg".to_owned()),
        wind: Some("wind_kmh".to_owned()),
        wind_unit: WindUnit::KmPerHour,
        pressure: Some("pressure_hpa".to_owned()),
        pressure_unit: PressureUnit::Hpa,
        rain: Some("rain_mm".to_owned()),
        rain_unit: RainUnit::Mm,
    };
    Ok(rows(&sheet, &own, problems))
}

fn mapped(
    sheet: &Sheet,
    table: &WeatherTable,
    problems: &mut Vec<Problem>,
) -> Result<Vec<WeatherRow>> {
    let of_values =
        [&table.temperature, &table.wind_from, &table.wind, &table.pressure, &table.rain];
    let wanted = std::iter::once(&table.time).chain(of_values.into_iter().flatten());
    for column in wanted {
        if !sheet.has(&column.to_lowercase()) {
            bail!(
                "{}, line 1: there is no column \"{column}\", which [weather] in property.toml names.",
                table.file
            );
        }
    }
    Ok(rows(sheet, table, problems))
}

fn rows(sheet: &Sheet, table: &WeatherTable, problems: &mut Vec<Problem>) -> Vec<WeatherRow> {
    let mut rows = Vec::new();
    let mut told = Vec::new();
    let time_column = table.time.to_lowercase();
    sheet.for_each(&mut told, |row, problems| {
        let Some(time) = time_of(row, &time_column, table.clock) else {
            let text = row.get(&time_column).to_owned();
            let cause = Cause::NotAnHour { text };
            return problems.push(Problem::cell(sheet.file(), row.line, &table.time, cause));
        };
        let mut cells = Cells { sheet, row, problems };
        rows.push(WeatherRow {
            time,
            temperature_c: cells
                .value(&table.temperature, TEMPERATURES_C, |t| table.temperature_unit.celsius(t)),
            wind_from_deg: cells.direction(&table.wind_from),
            wind_kmh: cells.value(&table.wind, WINDS_KMH, |w| table.wind_unit.kmh(w)),
            pressure_hpa: cells
                .value(&table.pressure, PRESSURES_HPA, |p| table.pressure_unit.hpa(p)),
            rain_mm: cells.value(&table.rain, RAINS_MM, |r| table.rain_unit.mm(r)),
        });
    });
    drop_wrong_units(sheet.file(), table, &mut rows, &mut told);
    problems.extend(told);
    rows.into_iter().map(without_calm).collect()
}

/// Where more than this part of a column's values are impossible, and so many at least, its unit is another.
const IMPOSSIBLE_PART: f64 = 0.02;
const IMPOSSIBLE_FEWEST: usize = 10;

/// Leaves out columns whose unit must be another: the values that happen to be possible would be wrong too.
fn drop_wrong_units(
    file: &str,
    table: &WeatherTable,
    rows: &mut [WeatherRow],
    told: &mut Vec<Problem>,
) {
    type Value = fn(&mut WeatherRow) -> &mut Option<f64>;
    let columns: [(&Option<String>, Value); 4] = [
        (&table.temperature, |r| &mut r.temperature_c),
        (&table.wind, |r| &mut r.wind_kmh),
        (&table.pressure, |r| &mut r.pressure_hpa),
        (&table.rain, |r| &mut r.rain_mm),
    ];
    for (column, value) in columns {
        let Some(column) = column else { continue };
        let is_of_column = |p: &Problem| {
            p.column.as_ref() == Some(column) && matches!(p.cause, Cause::NotAWeatherValue { .. })
        };
        let impossible = told.iter().filter(|p| is_of_column(p)).count();
        let known = rows.iter_mut().filter_map(|r| *value(r)).count();
        let all = impossible + known;
        if impossible < IMPOSSIBLE_FEWEST || (impossible as f64) < IMPOSSIBLE_PART * all as f64 {
            continue;
        }
        rows.iter_mut().for_each(|r| *value(r) = None);
        told.retain(|p| !is_of_column(p));
        let impossible = (impossible, all);
        let cause = Cause::WrongUnit { impossible };
        told.push(Problem::cell(file, 1, column, cause));
    }
}

/// What air near the ground has ever been like, and a little more.
const TEMPERATURES_C: (f64, f64) = (-75.0, 60.0);
const WINDS_KMH: (f64, f64) = (0.0, 450.0);
const PRESSURES_HPA: (f64, f64) = (500.0, 1100.0);
const RAINS_MM: (f64, f64) = (0.0, 450.0);

/// Air that does not move comes from nowhere: a direction of 0 beside no speed is how stations write calm
/// (common practice, no source).
fn without_calm(row: WeatherRow) -> WeatherRow {
    match row.wind_kmh {
        Some(speed) if speed <= 0.0 => WeatherRow { wind_from_deg: None, ..row },
        _ => row,
    }
}

fn time_of(row: &Row, column: &str, clock: WeatherClock) -> Option<WeatherTime> {
    let text = row.get(column);
    if let Some(instant) = with_offset(text) {
        return Some(WeatherTime::Utc(instant));
    }
    let shown = parse_date_time(text).or_else(|| {
        let moment = row.date(column, "").ok().flatten();
        let order = |time| moment.map(|(date, _)| date.and_time(time));
        moment.and_then(|(_, time)| time).and_then(order).or_else(|| parse_moment(text, None))
    })?;
    Some(match clock {
        WeatherClock::Local => WeatherTime::Local(shown),
        WeatherClock::Standard => WeatherTime::Standard(shown),
        WeatherClock::Utc => WeatherTime::Utc(shown.and_utc()),
    })
}

/// `2025-10-18T06:00-05:00` or `2025-10-18 06:00:00Z`.
fn with_offset(text: &str) -> Option<DateTime<Utc>> {
    let text = text.replacen(' ', "T", 1).replace(['Z', 'z'], "+00:00");
    let shapes = ["%Y-%m-%dT%H:%M%:z", "%Y-%m-%dT%H:%M:%S%.f%:z"];
    let read = |shape| DateTime::parse_from_str(&text, shape).ok();
    shapes.into_iter().find_map(read).map(|t| t.to_utc())
}

/// The cells of one row; one that cannot be used loses its value and nothing else.
struct Cells<'a, 'b> {
    sheet: &'a Sheet,
    row: &'a Row<'a>,
    problems: &'b mut Vec<Problem>,
}

impl Cells<'_, '_> {
    fn value(
        &mut self,
        column: &Option<String>,
        (least, most): (f64, f64),
        convert: impl Fn(f64) -> f64,
    ) -> Option<f64> {
        let column = column.as_ref()?;
        let text = self.row.some(&column.to_lowercase())?;
        if is_missing(text) {
            return None;
        }
        let value = parse_number(text).map(convert);
        let usable = value.filter(|v| (least..=most).contains(v));
        if usable.is_none() {
            self.tell(column, text);
        }
        usable
    }

    fn direction(&mut self, column: &Option<String>) -> Option<f64> {
        let column = column.as_ref()?;
        let text = self.row.some(&column.to_lowercase())?;
        let shifts = ["vrb", "variable", "calm"];
        if is_missing(text) || shifts.contains(&text.to_lowercase().as_str()) {
            return None;
        }
        let named = super::CompassPoint::parse(text).map(super::CompassPoint::deg);
        let usable = named.or_else(|| parse_number(text).filter(|d| (0.0..=360.0).contains(d)));
        if usable.is_none() {
            self.tell(column, text);
        }
        usable
    }

    fn tell(&mut self, column: &str, text: &str) {
        let text = text.to_owned();
        let cause = Cause::NotAWeatherValue { text };
        let problem = Problem::cell(self.sheet.file(), self.row.line, column, cause);
        self.problems.push(problem);
    }
}

/// How tables write that nothing was measured (common practice, no source).
fn is_missing(text: &str) -> bool {
    matches!(
        text.to_lowercase().as_str(),
        "m" | "na" | "nan" | "n/a" | "-" | "--" | "null" | "none" | "missing"
    )
}
