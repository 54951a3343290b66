//! `clocks.csv`: corrections that the person accepted for a camera's clock.

use std::path::Path;

use anyhow::Result;
use chrono::{NaiveDateTime, NaiveTime};

use super::{Headings, Ledger, Problem, Row, Settings, Sheet, parse_count, same_name};

pub(super) const FILE: &str = "clocks.csv";
const HEADINGS: Headings = Headings {
    required: &["camera", "shift_minutes"],
    known: &["camera", "from", "until", "shift_minutes", "why"],
};

/// Twenty years: a clock that fell back to its factory date can be that far off, in minutes.
const LARGEST_SHIFT_MIN: f64 = 20.0 * 366.0 * 1440.0;

/// One row of `clocks.csv`. Corrections act at analysis time; pictures are never edited.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockCorrection {
    /// The camera.
    pub camera: String,
    /// First moment it applies to, by the camera's own uncorrected clock.
    pub from: Option<NaiveDateTime>,
    /// Last moment it applies to, by the camera's own uncorrected clock.
    pub until: Option<NaiveDateTime>,
    /// Minutes to add to the camera's clock.
    pub shift_min: f64,
    /// The person's reason.
    pub why: String,
}

impl ClockCorrection {
    /// Whether a camera's uncorrected clock time falls under this row.
    pub fn covers(&self, camera: &str, time: NaiveDateTime) -> bool {
        same_name(&self.camera, camera)
            && self.from.is_none_or(|f| f <= time)
            && self.until.is_none_or(|u| time <= u)
    }
}

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<ClockCorrection>> {
    let mut corrections = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(corrections);
    };
    let sheet = sheet.with_order(settings.date_order);
    sheet.for_each(problems, |row, problems| match correction(row) {
        Ok(correction) => corrections.push(correction),
        Err(problem) => problems.push(problem),
    });
    Ok(corrections)
}

fn correction(row: &Row) -> Result<ClockCorrection, Problem> {
    let cell = |column: &str, what: String, remedy: &str| {
        Problem::cell("clocks.csv", row.line, column, what, remedy)
    };
    let camera = row.some("camera").ok_or_else(|| {
        cell(
            "camera",
            "there is no camera, so the row was left out.".into(),
            "Name the camera whose clock is corrected.",
        )
    })?;
    let believable = |m: &f64| m.abs() <= LARGEST_SHIFT_MIN;
    let shift_min = parse_count(row.get("shift_minutes"))
        .filter(believable)
        .ok_or_else(|| {
            cell(
                "shift_minutes",
                format!(
                    "\"{}\" is not a number of minutes, so the row was left out.",
                    row.get("shift_minutes")
                ),
                "Write the minutes to add to the camera's clock, such as -60.",
            )
        })?;
    let end_of_day = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or_default();
    let remedy = "Write 2025-10-18 or 2025-10-18T06:30, as the camera's own clock showed it.";
    Ok(ClockCorrection {
        camera: camera.to_owned(),
        from: row.moment("from", NaiveTime::MIN, remedy)?,
        until: row.moment("until", end_of_day, remedy)?,
        shift_min,
        why: row.get("why").to_owned(),
    })
}

/// Adds rows to `clocks.csv`. What is there stays byte for byte.
///
/// # Errors
/// When the file cannot be read or written.
pub fn add_corrections(root: &Path, rows: &[ClockCorrection]) -> Result<()> {
    let mut ledger = Ledger::open(root, FILE, &HEADINGS)?;
    let moment =
        |t: Option<NaiveDateTime>| t.map_or(String::new(), |t| t.format("%FT%T").to_string());
    let lines: String = rows
        .iter()
        .map(|row| {
            ledger.line(&[
                ("camera", row.camera.clone()),
                ("from", moment(row.from)),
                ("until", moment(row.until)),
                ("shift_minutes", format!("{:.0}", row.shift_min)),
                ("why", row.why.clone()),
            ])
        })
        .collect();
    ledger.append(&lines)?;
    Ok(())
}
