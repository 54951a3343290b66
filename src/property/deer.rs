//! `deer.csv`: deer that are known by name, and the year in which each was born.

use std::path::Path;

use anyhow::Result;
use chrono::{Datelike, NaiveDate};

use super::{Cause, Headings, Problem, Row, Sheet, parse_number, same_name};

pub(super) const FILE: &str = "deer.csv";
const HEADINGS: Headings = Headings { required: &["name"], known: &["name", "born", "note"] };

/// One row of `deer.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedDeer {
    /// The name, as it is to be written.
    pub name: String,
    /// The year of its birth, in late spring.
    pub born: Option<i32>,
    /// The person's note.
    pub note: String,
}

/// The month from which a fawn of a year is counted as half a year old: most are born about its beginning.
const BIRTH_MONTH: u32 = 6;
/// No deer that is known today was born before.
const EARLIEST: f64 = 1980.0;
const LATEST: f64 = 2100.0;

impl NamedDeer {
    /// Its age in years on a date, in the half years that deer are aged in: half a year in the first season, a
    /// year and a half in the next (common practice, no source). `None` where the year of birth is not known
    /// or has not come.
    pub fn age_on(&self, date: NaiveDate) -> Option<f64> {
        let years = Self::season_of(date) - self.born?;
        (years >= 0).then(|| f64::from(years) + 0.5)
    }

    /// The year whose fawns are in their first season on a date.
    pub fn season_of(date: NaiveDate) -> i32 {
        match date.month() < BIRTH_MONTH {
            true => date.year() - 1,
            false => date.year(),
        }
    }
}

pub(super) fn read(root: &Path, problems: &mut Vec<Problem>) -> Result<Vec<NamedDeer>> {
    let mut deer: Vec<NamedDeer> = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(deer);
    };
    sheet.for_each(problems, |row, problems| {
        let Some(name) = row.some("name") else {
            let cause = Cause::DeerWithoutName;
            return problems.push(Problem::cell(FILE, row.line, "name", cause));
        };
        if deer.iter().any(|d| same_name(&d.name, name)) {
            let name = name.to_owned();
            let cause = Cause::DeerTwice { name };
            return problems.push(Problem::cell(FILE, row.line, "name", cause));
        }
        deer.push(NamedDeer {
            name: name.to_owned(),
            born: born(row, problems),
            note: row.get("note").to_owned(),
        });
    });
    Ok(deer)
}

/// A year that cannot be loses only the year.
fn born(row: &Row, problems: &mut Vec<Problem>) -> Option<i32> {
    let text = row.some("born")?;
    let year = parse_number(text).filter(|y| y.fract() == 0.0 && (EARLIEST..=LATEST).contains(y));
    if year.is_none() {
        let text = text.to_owned();
        let cause = Cause::NotABirthYear { text };
        problems.push(Problem::cell(FILE, row.line, "born", cause));
    }
    year.map(|y| y as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_turn_with_the_births() {
        let deer = NamedDeer { name: "A".to_owned(), born: Some(2021), note: String::new() };
        let age = |y, m, d| deer.age_on(NaiveDate::from_ymd_opt(y, m, d).unwrap());
        assert_eq!(age(2021, 10, 1), Some(0.5));
        assert_eq!(age(2025, 11, 10), Some(4.5));
        assert_eq!(age(2026, 1, 20), Some(4.5));
        assert_eq!(age(2026, 6, 1), Some(5.5));
        assert_eq!(age(2020, 11, 1), None);
    }
}
