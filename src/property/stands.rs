//! `stands.csv`: where the person sits, which cameras watch that ground, and on which winds it can be hunted.

use std::path::Path;

use anyhow::Result;

use super::cameras::position;
use super::{
    Cause, CompassPoint, Headings, Position, Problem, Row, Settings, Sheet, listed, same_name,
};

pub(super) const FILE: &str = "stands.csv";
pub(super) const HEADINGS: Headings =
    Headings { required: &["stand"], known: &["stand", "latitude", "longitude", "near", "winds"] };

/// One row of `stands.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Stand {
    /// Its line in the table.
    pub line: u64,
    /// Its name.
    pub name: String,
    /// Where it is.
    pub position: Option<Position>,
    /// The cameras that watch its ground, where the person named them.
    pub near: Vec<String>,
    /// Where the wind may come from; empty where nothing is said of it.
    pub winds: Vec<CompassPoint>,
}

impl Stand {
    /// Whether it can be hunted on a wind from a direction; `None` where nothing is said of winds.
    pub fn takes(&self, wind_from_deg: f64) -> Option<bool> {
        let mut winds = self.winds.iter();
        (!self.winds.is_empty()).then(|| winds.any(|w| w.holds(wind_from_deg)))
    }
}

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Stand>> {
    let mut stands: Vec<Stand> = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(stands);
    };
    sheet.for_each(problems, |row, problems| match stand(row, settings) {
        Ok(s) if stands.iter().any(|e| same_name(&e.name, &s.name)) => {
            let cause = Cause::StandTwice { stand: s.name };
            problems.push(Problem::cell(FILE, row.line, "stand", cause));
        }
        Ok(s) => stands.push(s),
        Err(problem) => problems.push(problem),
    });
    Ok(stands)
}

pub(super) fn stand(row: &Row, settings: &Settings) -> Result<Stand, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let name = row.some("stand");
    let name = name.ok_or_else(|| cell("stand", Cause::StandWithoutName))?;
    let wind = |text: &str| {
        let text = text.to_owned();
        CompassPoint::parse(&text).ok_or_else(|| cell("winds", Cause::NotAWind { text }))
    };
    let winds = row.get("winds").split([';', ',', ' ', '/']);
    let winds = winds.map(str::trim).filter(|w| !w.is_empty());
    Ok(Stand {
        line: row.line,
        name: name.to_owned(),
        position: position(row, FILE, settings.position)?,
        near: listed(row.get("near")),
        winds: winds.map(wind).collect::<Result<_, _>>()?,
    })
}
