//! `questions.csv`: what the person wanted to know before it happened, and how likely it was then that the cameras
//! would tell.

use std::path::Path;

use anyhow::Result;
use chrono::NaiveDate;

use super::{Cause, Headings, Problem, Row, Settings, Sheet, as_list, listed, parse_number};

pub(super) const FILE: &str = "questions.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["asked", "from", "by", "near"],
    known: &["asked", "from", "by", "near", "loss", "chance"],
};

/// One row of `questions.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Its line in the table.
    pub line: u64,
    /// The date on which it was asked.
    pub asked: NaiveDate,
    /// The first day on which something may be different.
    pub from: NaiveDate,
    /// The day by which it should be known.
    pub by: NaiveDate,
    /// The cameras at which it may be.
    pub near: Vec<String>,
    /// The part of the visits in light that may be lost.
    pub loss: f64,
    /// How likely that was to be found, as it was told then.
    pub chance: Option<f64>,
}

impl Question {
    /// Days compared on either side.
    pub fn days(&self) -> u32 {
        u32::try_from((self.by - self.from).num_days() + 1).unwrap_or(0)
    }

    /// Whether it asks what another does, whenever that was.
    pub fn asks_the_same(&self, other: &Self) -> bool {
        let of = |q: &Self| (q.from, q.by, q.loss.to_bits());
        of(self) == of(other) && self.near == other.near
    }

    /// The cells of its row, in the order of the columns.
    pub fn cells(&self) -> [String; 6] {
        [
            self.asked.to_string(),
            self.from.to_string(),
            self.by.to_string(),
            as_list(self.near.iter().map(String::as_str)),
            format!("{}", self.loss),
            self.chance.map_or_else(String::new, |c| format!("{c:.2}")),
        ]
    }
}

/// A half is what is asked where the row does not say.
const LOSS: f64 = 0.5;
const REMEDY: &str = "Write 2026-10-01.";

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Question>> {
    let mut questions = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(questions);
    };
    let sheet = sheet.with_order(settings.date_order);
    sheet.for_each(problems, |row, problems| match question(row) {
        Ok(question) => match questions.iter().any(|q| q.asks_the_same(&question)) {
            true => problems.push(Problem::cell(FILE, row.line, "from", Cause::AskedTwice)),
            false => questions.push(question),
        },
        Err(problem) => problems.push(problem),
    });
    Ok(questions)
}

pub(super) fn question(row: &Row) -> Result<Question, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let date = |column: &'static str| {
        let found = row.date(column, REMEDY)?.map(|(date, _)| date);
        found.ok_or_else(|| cell(column, Cause::QuestionWithoutDate))
    };
    let (asked, from, by) = (date("asked")?, date("from")?, date("by")?);
    if by <= from {
        let until = by;
        return Err(cell("by", Cause::UntilBeforeFrom { from, until }));
    }
    if asked >= from {
        return Err(cell("asked", Cause::AskedTooLate { from }));
    }
    let near = listed(row.get("near"));
    if near.is_empty() {
        return Err(cell("near", Cause::QuestionWithoutCamera));
    }
    let part = |column: &'static str| match row.some(column) {
        None => Ok(None),
        Some(text) => match parse_number(text).filter(|p| (0.0..=1.0).contains(p)) {
            Some(part) => Ok(Some(part)),
            None => {
                let text = text.to_owned();
                Err(cell(column, Cause::NotAPart { text }))
            }
        },
    };
    Ok(Question {
        line: row.line,
        asked,
        from,
        by,
        near,
        loss: part("loss")?.unwrap_or(LOSS),
        chance: part("chance")?,
    })
}
