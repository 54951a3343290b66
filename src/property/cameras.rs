//! `cameras.csv`: where each camera hung, from when to when, and how its clock is kept.

use std::path::Path;

use anyhow::Result;
use chrono::{FixedOffset, NaiveDate};

use super::{Headings, Position, Problem, Row, Sheet, parse_date, parse_number};

pub(super) const FILE: &str = "cameras.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["camera"],
    known: &[
        "camera",
        "latitude",
        "longitude",
        "setting",
        "from",
        "until",
        "clock",
        "folder",
    ],
};

/// How a camera's clock is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ClockSetting {
    /// The owner resets it for daylight time.
    #[default]
    Local,
    /// It always shows the zone's standard time.
    Standard,
    /// It always shows one offset from UTC.
    Offset(FixedOffset),
}

/// One row of `cameras.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// The camera's name.
    pub camera: String,
    /// Where it hung.
    pub position: Option<Position>,
    /// What it looked at: a plot, a scrape, a trail.
    pub setting: String,
    /// First date on which it hung there.
    pub from: Option<NaiveDate>,
    /// Last date on which it hung there.
    pub until: Option<NaiveDate>,
    /// How its clock is kept.
    pub clock: ClockSetting,
    /// The folder its pictures are in, where that is not the camera's name.
    pub folder: Option<String>,
}

impl Placement {
    /// Whether a date is within the placement; an open end includes everything.
    pub fn covers(&self, date: NaiveDate) -> bool {
        self.days_away(date) == 0
    }

    /// Days from a date to the nearest one within the placement; 0 within it.
    pub fn days_away(&self, date: NaiveDate) -> i64 {
        let before = self.from.map_or(0, |f| (f - date).num_days());
        let after = self.until.map_or(0, |u| (date - u).num_days());
        before.max(after).max(0)
    }
}

pub(super) fn read(
    root: &Path,
    home: Position,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Placement>> {
    let mut placements = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(placements);
    };
    sheet.for_each(problems, |row, problems| match placement(row, home) {
        Ok(placement) => placements.push(placement),
        Err(problem) => problems.push(problem),
    });
    Ok(placements)
}

/// A camera further from the property than this is a slip of the pen, in metres.
const FURTHEST_M: f64 = 100_000.0;

pub(super) fn placement(row: &Row, home: Position) -> Result<Placement, Problem> {
    let cell = |column: &str, what: String, remedy: &str| {
        Problem::cell(FILE, row.line, column, what, remedy)
    };
    let camera = row.some("camera").ok_or_else(|| {
        cell(
            "camera",
            "the camera has no name, so the row was left out.".into(),
            "Write the name of the camera's folder.",
        )
    })?;
    let from = date(row, FILE, "from")?;
    let until = date(row, FILE, "until")?;
    if let (Some(from), Some(until)) = (from, until)
        && until < from
    {
        return Err(cell(
            "until",
            format!("{until} is before from, {from}, so the row was left out."),
            "Put the later date under until.",
        ));
    }
    let place = position(row, FILE)?;
    if let Some(away_m) = place
        .map(|p| p.distance_m(home))
        .filter(|m| *m > FURTHEST_M)
    {
        return Err(cell(
            "longitude",
            format!(
                "the camera would hang {:.0} km from the property, so the row was left out.",
                away_m / 1000.0
            ),
            "Check both numbers and their signs: west and south are negative.",
        ));
    }
    Ok(Placement {
        camera: camera.to_owned(),
        position: place,
        setting: row.get("setting").to_owned(),
        from,
        until,
        clock: clock(row.get("clock")).ok_or_else(|| {
            cell(
                "clock",
                format!("\"{}\" is not a way to keep a clock, so the row was left out.", row.get("clock")),
                "Use local (reset for daylight time), standard (never moved) or an offset such as -06:00.",
            )
        })?,
        folder: row.some("folder").map(str::to_owned),
    })
}

/// A date cell; empty is `None`.
pub(super) fn date(row: &Row, file: &str, column: &str) -> Result<Option<NaiveDate>, Problem> {
    row.some(column)
        .map(|text| {
            parse_date(text).ok_or_else(|| {
                Problem::cell(
                    file,
                    row.line,
                    column,
                    format!("\"{text}\" is not a date, so the row was left out."),
                    "Write year-month-day, such as 2025-10-18.",
                )
            })
        })
        .transpose()
}

/// The latitude and longitude cells; both empty is `None`.
pub(super) fn position(row: &Row, file: &str) -> Result<Option<Position>, Problem> {
    let (latitude, longitude) = (row.get("latitude"), row.get("longitude"));
    if latitude.is_empty() && longitude.is_empty() {
        return Ok(None);
    }
    parse_number(latitude)
        .zip(parse_number(longitude))
        .and_then(|(lat, lon)| Position::new(lat, lon))
        .map(Some)
        .ok_or_else(|| {
            Problem::cell(
                file,
                row.line,
                "latitude",
                format!("\"{latitude}\", \"{longitude}\" is not a place, so the row was left out."),
                "Use degrees, north and east positive, such as 43.10 and -90.70, or leave both empty.",
            )
        })
}

fn clock(text: &str) -> Option<ClockSetting> {
    match text.to_lowercase().as_str() {
        "" | "local" => Some(ClockSetting::Local),
        "standard" => Some(ClockSetting::Standard),
        offset => offset.parse().ok().map(ClockSetting::Offset),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clock_words() {
        assert_eq!(clock(""), Some(ClockSetting::Local));
        assert_eq!(clock("Standard"), Some(ClockSetting::Standard));
        assert_eq!(
            clock("-06:00"),
            FixedOffset::west_opt(6 * 3600).map(ClockSetting::Offset)
        );
        assert_eq!(clock("summer"), None);
    }
}
