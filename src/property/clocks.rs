//! `clocks.csv`: corrections that the person accepted for a camera's clock.

use std::path::Path;

use anyhow::{Context, Result};
use chrono::{NaiveDateTime, NaiveTime};

use super::{Cause, Headings, Ledger, Problem, Row, Settings, Sheet, parse_count};

pub(super) const FILE: &str = "clocks.csv";
const HEADINGS: Headings = Headings {
    required: &["camera", "shift_minutes"],
    known: &["camera", "from", "until", "shift_minutes", "why", "until_shift_minutes", "reads"],
};

/// Those that a new file begins with: the others come when a row needs them.
const USUAL_HEADINGS: Headings = Headings {
    required: HEADINGS.required,
    known: &["camera", "from", "until", "shift_minutes", "why"],
};

/// A hundred years: a clock can fall back to 1970 or stand in a year that has not come, in minutes.
const LARGEST_SHIFT_MIN: f64 = 100.0 * 366.0 * 1440.0;
const FILE_DATE: &str = "file date";

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
    /// Minutes to add at the last moment, of a clock that drifts; they grow evenly in between.
    pub until_shift_min: Option<f64>,
    /// The row is for pictures that carry no time, and acts on the dates of their files.
    pub of_file_date: bool,
    /// The person's reason.
    pub why: String,
}

impl ClockCorrection {
    /// Whether a moment of its camera's uncorrected clock falls under this row.
    pub fn covers(&self, time: NaiveDateTime) -> bool {
        self.from.is_none_or(|f| f <= time) && self.until.is_none_or(|u| time <= u)
    }

    /// The row's cells under their headings, as `clocks.csv` has them.
    pub fn cells(&self) -> [(&'static str, String); 7] {
        let moment =
            |t: Option<NaiveDateTime>| t.map_or(String::new(), |t| t.format("%FT%T").to_string());
        let minutes = |m: f64| format!("{m:.0}");
        let reads = if self.of_file_date { FILE_DATE } else { "" };
        [
            ("camera", self.camera.clone()),
            ("from", moment(self.from)),
            ("until", moment(self.until)),
            ("shift_minutes", minutes(self.shift_min)),
            ("until_shift_minutes", self.until_shift_min.map_or(String::new(), minutes)),
            ("why", self.why.clone()),
            ("reads", reads.to_owned()),
        ]
    }

    /// The minutes to add at a moment of the camera's uncorrected clock.
    pub fn minutes_at(&self, time: NaiveDateTime) -> f64 {
        let (Some(from), Some(until), Some(end)) = (self.from, self.until, self.until_shift_min)
        else {
            return self.shift_min;
        };
        let length = (until - from).num_seconds() as f64;
        let share = ((time - from).num_seconds() as f64 / length.max(1.0)).clamp(0.0, 1.0);
        self.shift_min + (end - self.shift_min) * share
    }
}

/// A row as it stands in the file.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrectionLine {
    /// Its line, from 1.
    pub line: u64,
    /// Its text.
    pub row: String,
    /// What it says; `None` where it cannot be used.
    pub read: Option<ClockCorrection>,
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
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let camera =
        row.some("camera").ok_or_else(|| cell("camera", Cause::CorrectionWithoutCamera))?;
    let minutes = |column: &str| {
        parse_count(row.get(column)).filter(|m| m.abs() <= LARGEST_SHIFT_MIN).ok_or_else(|| {
            let text = row.get(column).to_owned();
            cell(column, Cause::NotMinutes { text })
        })
    };
    let of_file_date = match row.get("reads").to_lowercase().as_str() {
        "" | "clock" => false,
        FILE_DATE => true,
        other => {
            let text = other.to_owned();
            return Err(cell("reads", Cause::UnknownReading { text }));
        }
    };
    let end_of_day = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or_default();
    let remedy = "Write 2025-10-18 or 2025-10-18T06:30, as the camera's own clock showed it.";
    Ok(ClockCorrection {
        camera: camera.to_owned(),
        from: row.moment("from", NaiveTime::MIN, remedy)?,
        until: row.moment("until", end_of_day, remedy)?,
        shift_min: minutes("shift_minutes")?,
        until_shift_min: row
            .some("until_shift_minutes")
            .map(|_| minutes("until_shift_minutes"))
            .transpose()?,
        of_file_date,
        why: row.get("why").to_owned(),
    })
}

/// Adds rows to `clocks.csv`. What is there stays byte for byte.
///
/// # Errors
/// When the file cannot be read or written.
pub fn add_corrections(root: &Path, rows: &[ClockCorrection]) -> Result<()> {
    let needs_all = rows.iter().any(|r| r.until_shift_min.is_some() || r.of_file_date);
    let headings = if needs_all { &HEADINGS } else { &USUAL_HEADINGS };
    let mut ledger = Ledger::open(root, FILE, headings)?;
    let lines: String = rows.iter().map(|row| ledger.line(&row.cells())).collect();
    ledger.append(&lines)?;
    Ok(())
}

/// Every row of `clocks.csv` as it is written, with its line.
///
/// # Errors
/// When the file cannot be read.
pub fn correction_lines(root: &Path) -> Result<Vec<CorrectionLine>> {
    let ledger = Ledger::open(root, FILE, &HEADINGS)?;
    let mut lines = Vec::new();
    ledger.for_each(&mut Vec::new(), |row, _| {
        lines.push(CorrectionLine {
            line: row.line,
            row: ledger.row(row.span.clone()).trim_end().to_owned(),
            read: correction(row).ok(),
        });
    });
    Ok(lines)
}

/// Takes one row out of `clocks.csv` and returns it.
///
/// # Errors
/// When there is no row on that line, or the file cannot be written.
pub fn remove_correction(root: &Path, line: u64) -> Result<String> {
    let mut ledger = Ledger::open(root, FILE, &HEADINGS)?;
    let mut span = None;
    ledger.for_each(&mut Vec::new(), |row, _| {
        if row.line == line {
            span = Some(row.span.clone());
        }
    });
    let span = span.with_context(|| format!("clocks.csv has no row on line {line}."))?;
    let text = ledger.row(span.clone()).trim_end().to_owned();
    ledger.replace(&[(span, String::new())], "")?;
    Ok(text)
}
