//! `disturbances.csv`: what happened, when, by whom, and which cameras it could touch.

use std::path::Path;

use anyhow::Result;
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

use super::cameras::position;
use super::{Cause, Headings, Position, Problem, Row, Settings, Sheet, listed, same_name};

pub(super) const FILE: &str = "disturbances.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["id", "start"],
    known: &["id", "start", "end", "by", "what", "latitude", "longitude", "near", "dated_by"],
};

/// Whose doing a disturbance is, as logged by the person. Nothing is concluded from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum By {
    /// Somebody across the fence.
    Neighbour,
    /// The person's own work.
    Own,
    /// Weather, crops, mast, anything nobody did.
    Nature,
    /// The person does not say.
    NotSaid,
}

impl By {
    /// The word used in `disturbances.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Neighbour => "neighbour",
            Self::Own => "own",
            Self::Nature => "nature",
            Self::NotSaid => "not said",
        }
    }
}

/// One row of `disturbances.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Disturbance {
    /// A short name, one per disturbance, capitals aside.
    pub id: String,
    /// When it began, on the wall clock.
    pub start: NaiveDateTime,
    /// When it ended, if it did.
    pub end: Option<NaiveDateTime>,
    /// Whose doing.
    pub by: By,
    /// What it was, in the person's words.
    pub what: String,
    /// Where it was.
    pub position: Option<Position>,
    /// The cameras it could touch, where the person named them.
    pub near: Vec<String>,
    /// The date was found by looking at when the deer changed: that they changed on it proves nothing.
    pub is_dated_by_pictures: bool,
}

impl Disturbance {
    /// The first whole day that counts as after it. A start in the middle of a day leaves that day
    /// on neither side, because it is partly before and partly after.
    pub fn first_day_after(&self) -> NaiveDate {
        if self.start.time() == NaiveTime::MIN {
            self.start.date()
        } else {
            self.start.date() + chrono::Days::new(1)
        }
    }

    /// The last whole day that counts as before it.
    pub fn last_day_before(&self) -> NaiveDate {
        self.start.date() - chrono::Days::new(1)
    }
}

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Disturbance>> {
    let mut disturbances: Vec<Disturbance> = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(disturbances);
    };
    let sheet = sheet.with_order(settings.date_order);
    sheet.for_each(problems, |row, problems| match disturbance(row, settings.position) {
        Ok(d) if disturbances.iter().any(|e| same_name(&e.id, &d.id)) => {
            problems.push(Problem::cell(FILE, row.line, "id", Cause::IdInUse { id: d.id }))
        }
        Ok(d) => disturbances.push(d),
        Err(problem) => problems.push(problem),
    });
    Ok(disturbances)
}

pub(super) fn disturbance(row: &Row, home: Position) -> Result<Disturbance, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let id = row.some("id").ok_or_else(|| cell("id", Cause::NoId))?;
    let start = moment(row, "start")?.ok_or_else(|| cell("start", Cause::NoStart))?;
    let end = moment(row, "end")?;
    if end.is_some_and(|end| end < start) {
        return Err(cell("end", Cause::EndBeforeStart));
    }
    Ok(Disturbance {
        id: id.to_owned(),
        start,
        end,
        by: by(row.get("by")).ok_or_else(|| {
            let text = row.get("by").to_owned();
            cell("by", Cause::UnknownDoer { text })
        })?,
        what: row.some("what").unwrap_or(id).to_owned(),
        position: position(row, FILE, home)?,
        near: listed(row.get("near")),
        is_dated_by_pictures: match row.get("dated_by").to_lowercase().as_str() {
            "" | "notes" => false,
            "pictures" => true,
            other => return Err(cell("dated_by", Cause::UnknownDating { text: other.to_owned() })),
        },
    })
}

fn by(text: &str) -> Option<By> {
    match text.to_lowercase().as_str() {
        "neighbour" | "neighbor" => Some(By::Neighbour),
        "own" => Some(By::Own),
        "nature" => Some(By::Nature),
        "" => Some(By::NotSaid),
        _ => None,
    }
}

fn moment(row: &Row, column: &str) -> Result<Option<NaiveDateTime>, Problem> {
    let remedy = "Write 2025-10-18, or 2025-10-18T14:00 by the clock on the wall.";
    row.moment(column, NaiveTime::MIN, remedy)
}

#[cfg(test)]
mod tests {
    use super::super::parse_date_time;
    use super::*;

    fn starting(text: &str) -> Disturbance {
        Disturbance {
            id: "x".into(),
            start: parse_date_time(text).unwrap(),
            end: None,
            by: By::Own,
            what: "x".into(),
            position: None,
            near: vec![],
            is_dated_by_pictures: false,
        }
    }

    #[test]
    fn a_start_within_a_day_leaves_that_day_out() {
        let d = starting("2025-10-18T00:00");
        assert_eq!(d.first_day_after().to_string(), "2025-10-18");
        assert_eq!(d.last_day_before().to_string(), "2025-10-17");
        let d = starting("2025-10-18T14:00");
        assert_eq!(d.first_day_after().to_string(), "2025-10-19");
        assert_eq!(d.last_day_before().to_string(), "2025-10-17");
    }
}
