//! What a co-op asks: whether something that happened at some properties, and not at others, moved the deer.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use anyhow::{Context, Result, anyhow, bail, ensure};
use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use super::days::moved;
use crate::property::{Headings, Row, Sheet, parse_day};
use crate::visits::Kind;

/// The question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CoopQuestion {
    /// What happened, in the co-op's words.
    pub what: String,
    /// The kind of deer, in the word of files.
    pub kind: String,
    /// Days compared on each side.
    pub days: u32,
    /// Where and when it happened; `None` where only the seasons are asked for.
    pub happened: Option<Happened>,
}

/// A date in a file, `2025-11-15`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct WrittenDate(pub NaiveDate);

impl From<WrittenDate> for String {
    fn from(date: WrittenDate) -> Self {
        date.0.to_string()
    }
}

impl TryFrom<String> for WrittenDate {
    type Error = chrono::ParseError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse().map(Self)
    }
}

/// Where and when.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Happened {
    /// At every property on this date.
    Everywhere(WrittenDate),
    /// At some on a date of their own, at the others (`None`) not at all. A property that is not named is not used.
    Here(BTreeMap<String, Option<WrittenDate>>),
}

/// What happened at one property.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum At {
    /// It happened, on this date.
    On(NaiveDate),
    /// It did not.
    Never,
    /// Nobody says.
    Unsaid,
}

/// Steps, each as long as the days compared, by which the dates are moved for the check on other dates. One step earlier
/// both stretches end before it happened, one step later both begin after it.
const STEPS: std::ops::RangeInclusive<i64> = 1..=9;

const COLUMNS: Headings =
    Headings { required: &["property", "date"], known: &["property", "date"] };

impl CoopQuestion {
    /// The kind of deer.
    ///
    /// # Errors
    /// When the word is none.
    pub fn kind(&self) -> Result<Kind> {
        let words = Kind::ALL.map(Kind::word).join(", ");
        Kind::parse(&self.kind)
            .with_context(|| format!("\"{}\" is no kind of deer: {words}", self.kind))
    }

    /// What happened at a property.
    pub fn at(&self, id: &str) -> At {
        match &self.happened {
            Some(Happened::Everywhere(date)) => At::On(date.0),
            Some(Happened::Here(all)) => match all.get(id) {
                Some(Some(date)) => At::On(date.0),
                Some(None) => At::Never,
                None => At::Unsaid,
            },
            None => At::Unsaid,
        }
    }

    /// The dates on which it happened anywhere.
    pub fn dates(&self) -> BTreeSet<NaiveDate> {
        match &self.happened {
            Some(Happened::Everywhere(date)) => BTreeSet::from([date.0]),
            Some(Happened::Here(all)) => all.values().flatten().map(|d| d.0).collect(),
            None => BTreeSet::new(),
        }
    }

    /// By how many days the dates are moved for the check on other dates.
    pub(super) fn moves(&self) -> Vec<i64> {
        let step = i64::from(self.days);
        let earlier = STEPS.rev().map(|s| -s * step);
        earlier.chain(STEPS.map(|s| s * step)).collect()
    }

    /// Every date at which a property's change is asked for: those on which it happened anywhere, and those moved.
    pub(super) fn all_dates(&self) -> BTreeSet<NaiveDate> {
        let moves: Vec<i64> = std::iter::once(0).chain(self.moves()).collect();
        let dates = self.dates();
        let all = dates.iter().flat_map(|d| moves.iter().filter_map(|m| moved(*d, *m)));
        all.collect()
    }
}

/// Reads where and when from a date, or from a table with the columns `property` and `date`.
///
/// # Errors
/// When the text is neither, or a row of the table cannot be understood; with its line.
pub fn happened(text: &str) -> Result<Happened> {
    if let Some(date) = parse_day(text, None) {
        const YEARS: std::ops::RangeInclusive<i32> = 1990..=2100;
        ensure!(
            YEARS.contains(&date.year()),
            "{text} is no date on which a camera can have worked"
        );
        return Ok(Happened::Everywhere(WrittenDate(date)));
    }
    let path = Path::new(text);
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    ensure!(digits * 2 <= text.len() || path.exists(), "{text} is no date. Write it as 2025-11-15");
    let bytes = std::fs::read(path).with_context(|| {
        format!("{text} is neither a date such as 2025-11-15 nor a table that can be read")
    })?;
    table(text, &bytes)
}

fn table(name: &str, bytes: &[u8]) -> Result<Happened> {
    let sheet = Sheet::decode(name, bytes)?;
    sheet.require(&COLUMNS)?;
    let mut all = BTreeMap::new();
    let mut problems = Vec::new();
    let mut wrong = None;
    sheet.for_each(&mut problems, |row, _| {
        let told = one(row, &mut all).map_err(|e| format!("{name}, line {}: {e}", row.line));
        wrong = wrong.take().or(told.err());
    });
    if let Some(problem) = problems.first() {
        let line = problem.line.unwrap_or(1);
        bail!("{name}, line {line}: {}. Nothing was done", problem.what());
    }
    if let Some(wrong) = wrong {
        bail!("{wrong}. Nothing was done");
    }
    ensure!(!all.is_empty(), "{name} names no property");
    ensure!(all.values().any(Option::is_some), "{name} has no date: nothing happened anywhere");
    Ok(Happened::Here(all))
}

/// Takes in one row.
fn one(row: &Row, all: &mut BTreeMap<String, Option<WrittenDate>>) -> Result<()> {
    // A row that was cut off must not read as "it did not happen".
    ensure!(
        row.cells() >= COLUMNS.required.len(),
        "the row ends before the date; where it did not happen, end it with the sign between columns"
    );
    let id = row.get("property").to_owned();
    ensure!(!id.is_empty(), "no property is named");
    let date = row.date("date", "").map_err(|_| {
        anyhow!(
            "\"{}\" is no date, or could be two. Write it as 2025-11-15, or leave it empty where it did not happen",
            row.get("date")
        )
    })?;
    let date = date.map(|d| WrittenDate(d.0));
    ensure!(all.insert(id.clone(), date).is_none(), "{id} stands there a second time");
    Ok(())
}
