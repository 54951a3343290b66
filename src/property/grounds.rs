//! `grounds.csv`: fields, plots, bedding and water, inside and outside the fence, and what they were when.

use std::path::Path;

use anyhow::Result;
use chrono::NaiveDate;

use super::{Cause, Headings, Problem, Row, Settings, Sheet, listed, same_name};

pub(super) const FILE: &str = "grounds.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["ground", "side"],
    known: &["ground", "side", "what", "from", "until", "feeds"],
};

/// On whose side of the fence a ground lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FenceSide {
    /// The person's own.
    Inside,
    /// Others decide over it.
    Outside,
}

impl FenceSide {
    /// The word in `grounds.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Inside => "inside",
            Self::Outside => "outside",
        }
    }
}

/// One row of `grounds.csv`: a ground under one crop or owner.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ground {
    /// Its line in the table.
    pub line: u64,
    /// Its name.
    pub name: String,
    /// Whose side of the fence.
    pub side: FenceSide,
    /// What grew there, or whose it was.
    pub what: String,
    /// First date of that.
    pub from: Option<NaiveDate>,
    /// Last date of that.
    pub until: Option<NaiveDate>,
    /// Cameras that see the deer it draws.
    pub feeds: Vec<String>,
}

impl Ground {
    /// Whether the row says what the ground was on some date from one to another.
    pub fn reaches(&self, from: NaiveDate, until: NaiveDate) -> bool {
        self.from.is_none_or(|f| f <= until) && self.until.is_none_or(|u| u >= from)
    }
}

const REMEDY: &str = "Write 2025-05-01.";

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Ground>> {
    let mut grounds: Vec<Ground> = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(grounds);
    };
    let sheet = sheet.with_order(settings.date_order);
    sheet.for_each(problems, |row, problems| match ground(row) {
        Ok(g) => {
            let other_side = |e: &&Ground| same_name(&e.name, &g.name) && e.side != g.side;
            match grounds.iter().find(other_side) {
                Some(_) => {
                    let ground = g.name;
                    let cause = Cause::GroundOnBothSides { ground };
                    problems.push(Problem::cell(FILE, row.line, "side", cause));
                }
                None => {
                    if g.feeds.is_empty() {
                        let cause = Cause::GroundWithoutCamera;
                        problems.push(Problem::cell(FILE, row.line, "feeds", cause));
                    }
                    grounds.push(g);
                }
            }
        }
        Err(problem) => problems.push(problem),
    });
    Ok(grounds)
}

pub(super) fn ground(row: &Row) -> Result<Ground, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let name = row.some("ground");
    let name = name.ok_or_else(|| cell("ground", Cause::GroundWithoutName))?;
    let side = match row.get("side").to_lowercase().as_str() {
        "inside" => FenceSide::Inside,
        "outside" => FenceSide::Outside,
        other => {
            let text = other.to_owned();
            return Err(cell("side", Cause::UnknownFenceSide { text }));
        }
    };
    let date = |column| Ok(row.date(column, REMEDY)?.map(|(date, _)| date));
    let (from, until) = (date("from")?, date("until")?);
    if let (Some(from), Some(until)) = (from, until)
        && until < from
    {
        return Err(cell("until", Cause::UntilBeforeFrom { from, until }));
    }
    Ok(Ground {
        line: row.line,
        name: name.to_owned(),
        side,
        what: row.get("what").to_owned(),
        from,
        until,
        feeds: listed(row.get("feeds")),
    })
}
