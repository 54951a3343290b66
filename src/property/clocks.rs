//! `clocks.csv`: corrections that the person accepted for a camera's clock.

use std::path::Path;

use anyhow::{Context, Result};
use chrono::{NaiveDate, NaiveDateTime};

use super::{Problem, Row, Sheet, parse_date, parse_date_time, parse_number, same_name};

const COLUMNS: [&str; 5] = ["camera", "from", "until", "shift_minutes", "why"];

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

pub(super) fn read(root: &Path, problems: &mut Vec<Problem>) -> Result<Vec<ClockCorrection>> {
    let mut corrections = Vec::new();
    let required = ["camera", "shift_minutes"];
    let Some(sheet) = Sheet::read(root, "clocks.csv", &required, &COLUMNS, problems)? else {
        return Ok(corrections);
    };
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
    let shift_min = parse_number(row.get("shift_minutes"))
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
    let end_of_day = |d: NaiveDate| d.and_hms_opt(23, 59, 59);
    Ok(ClockCorrection {
        camera: camera.to_owned(),
        from: moment(row, "from", |d| d.and_hms_opt(0, 0, 0))?,
        until: moment(row, "until", end_of_day)?,
        shift_min,
        why: row.get("why").to_owned(),
    })
}

fn moment(
    row: &Row,
    column: &str,
    of_date: impl Fn(NaiveDate) -> Option<NaiveDateTime>,
) -> Result<Option<NaiveDateTime>, Problem> {
    row.some(column)
        .map(|text| {
            parse_date_time(text)
                .or_else(|| parse_date(text).and_then(of_date))
                .ok_or_else(|| {
                    Problem::cell(
                        "clocks.csv",
                        row.line,
                        column,
                        format!("\"{text}\" is not a date or time, so the row was left out."),
                        "Write 2025-10-18 or 2025-10-18T06:30, as the camera's own clock showed it.",
                    )
                })
        })
        .transpose()
}

/// Adds rows to `clocks.csv`, under the headings, with the separator and the line ends that the file
/// has. What is there stays byte for byte; the file is replaced in one step.
///
/// # Errors
/// When the file cannot be read or written, or lacks a column that a row needs.
pub fn add_corrections(root: &Path, rows: &[ClockCorrection]) -> Result<()> {
    const FILE: &str = "clocks.csv";
    let path = root.join(FILE);
    let mut bytes = super::read_optional(root, FILE)?
        .filter(|b| !b.is_empty())
        .unwrap_or_else(|| (COLUMNS.join(",") + "\n").into_bytes());
    let header = bytes.split(|b| *b == b'\n').next().unwrap_or_default();
    let header = String::from_utf8_lossy(header).into_owned();
    let line_end = if header.ends_with('\r') { "\r\n" } else { "\n" };
    let header = header
        .trim_start_matches('\u{feff}')
        .trim_end()
        .to_lowercase();
    let delimiter = [';', '\t', ',']
        .into_iter()
        .find(|d| header.contains(*d))
        .unwrap_or(',');
    let headings: Vec<&str> = header
        .split(delimiter)
        .map(|h| h.trim().trim_matches('"'))
        .collect();
    if let Some(missing) = COLUMNS.iter().find(|c| !headings.contains(c)) {
        anyhow::bail!(
            "{FILE}, line 1: there is no column {missing}. Add it to the headings: {}.",
            COLUMNS.join(",")
        );
    }
    if !bytes.ends_with(b"\n") {
        bytes.extend(line_end.as_bytes());
    }
    for row in rows {
        let moment =
            |t: Option<NaiveDateTime>| t.map_or(String::new(), |t| t.format("%FT%T").to_string());
        let cells = headings.iter().map(|heading| match *heading {
            "camera" => row.camera.clone(),
            "from" => moment(row.from),
            "until" => moment(row.until),
            "shift_minutes" => format!("{:.0}", row.shift_min),
            "why" => row.why.clone(),
            _ => String::new(),
        });
        let mut writer = csv::WriterBuilder::new()
            .delimiter(delimiter as u8)
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(Vec::new());
        writer.write_record(cells)?;
        let line = writer.into_inner().map_err(|e| anyhow::anyhow!("{e}"))?;
        bytes.extend(line.strip_suffix(b"\n").unwrap_or(&line));
        bytes.extend(line_end.as_bytes());
    }
    let fail = || {
        format!(
            "cannot write {}. Close it in other programs and try again.",
            path.display()
        )
    };
    let mut file = super::new_file_in(root).with_context(fail)?;
    std::io::Write::write_all(&mut file, &bytes).with_context(fail)?;
    file.as_file().sync_all().with_context(fail)?;
    file.persist(&path).with_context(fail)?;
    Ok(())
}
