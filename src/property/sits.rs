//! `sits.csv`: every hunt from a stand.

use std::path::Path;

use anyhow::Result;
use chrono::{NaiveDate, NaiveTime};

use super::{Cause, Headings, Problem, Row, Settings, Sheet};

pub(super) const FILE: &str = "sits.csv";
pub(super) const HEADINGS: Headings =
    Headings { required: &["stand", "start"], known: &["stand", "start", "end", "saw", "note"] };

/// One row of `sits.csv`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sit {
    /// Its line in the table.
    pub line: u64,
    /// The stand, as the row has it.
    pub stand: String,
    /// The date, by the wall clock.
    pub date: NaiveDate,
    /// When it began, by the wall clock, where the row says.
    pub from: Option<NaiveTime>,
    /// When it ended, where the row says; on the same date.
    pub until: Option<NaiveTime>,
    /// What was seen.
    pub saw: String,
    /// The person's note.
    pub note: String,
}

const REMEDY: &str = "Write 2025-10-18T06:10 by the clock on the wall, or 2025-10-18.";

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Sit>> {
    let mut sits = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(sits);
    };
    let sheet = sheet.with_order(settings.date_order);
    sheet.for_each(problems, |row, problems| match sit(row) {
        Ok(sit) => sits.push(sit),
        Err(problem) => problems.push(problem),
    });
    Ok(sits)
}

pub(super) fn sit(row: &Row) -> Result<Sit, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let stand = row.some("stand");
    let stand = stand.ok_or_else(|| cell("stand", Cause::SitWithoutStand))?;
    let start = row.date("start", REMEDY)?;
    let (date, from) = start.ok_or_else(|| cell("start", Cause::SitWithoutStart))?;
    let until = match row.date("end", REMEDY)? {
        Some((end, Some(time))) if end == date && from.is_none_or(|f| f <= time) => Some(time),
        Some((end, None)) if end == date => None,
        Some(_) => return Err(cell("end", Cause::SitTooLong)),
        None => None,
    };
    Ok(Sit {
        line: row.line,
        stand: stand.to_owned(),
        date,
        from,
        until,
        saw: row.get("saw").to_owned(),
        note: row.get("note").to_owned(),
    })
}
