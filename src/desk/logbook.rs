//! The log on the page: disturbances, sits, where cameras hung and the like. The CSV files are read anew for every
//! answer, and a row that another program has changed meanwhile is not written over.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::MutexGuard;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use super::Desk;
use super::log_columns::{Column, columns};
use super::server::{Answer, Failure, Reply};
use super::state::DeskSeason;
use crate::files::unfit_for_a_folder;
use crate::property::{Ledger, LogTable, Problem, Property, listed, parse_day, same_name};

#[derive(Serialize)]
struct TableView {
    file: &'static str,
    columns: &'static [Column],
    rows: Vec<RowView>,
    problems: Vec<String>,
}

#[derive(Serialize)]
struct RowView {
    row: usize,
    check: String,
    cells: BTreeMap<String, String>,
    problem: Option<String>,
}

/// A row of a table as it stands in the file.
struct Found {
    span: Range<usize>,
    cells: BTreeMap<String, String>,
}

/// `GET api/log`
pub(super) fn read(desk: &Desk) -> Answer {
    let season = desk.season();
    Reply::json(&serde_json::json!({ "tables": tables(&season.property, &Named::of(&season))? }))
}

/// Names that rows can refer to.
struct Named {
    cameras: Vec<String>,
    stands: Vec<String>,
}

impl Named {
    fn of(season: &DeskSeason) -> Self {
        let property = &season.property;
        let hung = property.placements.iter().map(|p| p.camera.clone());
        Self {
            cameras: season.screens.cameras.iter().cloned().chain(hung).collect(),
            stands: property.stands.iter().map(|s| s.name.clone()).collect(),
        }
    }

    /// What a row refers to that is not there, in words.
    fn unknown(&self, which: LogTable, cells: &BTreeMap<String, String>) -> Option<String> {
        let (column, known, what) = match which {
            LogTable::Disturbances | LogTable::Stands => ("near", &self.cameras, "camera"),
            LogTable::Sits => ("stand", &self.stands, "stand"),
            _ => return None,
        };
        let is_known = |name: &String| known.iter().any(|k| same_name(k, name));
        let mut unknown = listed(cells.get(column).map_or("", String::as_str));
        unknown.retain(|n| !is_known(n));
        let is_or_are =
            if unknown.len() == 1 { format!("is no {what}") } else { format!("are no {what}s") };
        (!unknown.is_empty()).then(|| format!("{} {is_or_are} here.", unknown.join(", ")))
    }
}

fn tables(property: &Property, named: &Named) -> anyhow::Result<serde_json::Value> {
    let tables =
        LogTable::ALL.map(|which| Ok((which.word().to_owned(), table(property, named, which)?)));
    let tables: anyhow::Result<BTreeMap<String, TableView>> = tables.into_iter().collect();
    Ok(serde_json::to_value(tables?)?)
}

fn table(property: &Property, named: &Named, which: LogTable) -> anyhow::Result<TableView> {
    let ledger = which.open(&property.root)?;
    let mut problems = Vec::new();
    let rows = rows(&ledger, which, &mut problems);
    let view = |(row, found): (usize, Found)| {
        let text = ledger.row(found.span);
        RowView {
            row,
            check: check(text),
            problem: which
                .problem_of(&ledger, text, &property.settings)
                .map(|p| said(&p))
                .or_else(|| named.unknown(which, &found.cells)),
            cells: found.cells,
        }
    };
    Ok(TableView {
        file: which.file(),
        columns: columns(which),
        rows: rows.into_iter().enumerate().map(view).collect(),
        problems: problems.iter().map(ToString::to_string).collect(),
    })
}

fn rows(ledger: &Ledger, which: LogTable, problems: &mut Vec<Problem>) -> Vec<Found> {
    let mut rows = Vec::new();
    ledger.for_each(problems, |row, _| {
        let cell = |c: &&str| ((*c).to_owned(), row.get(c).to_owned());
        rows.push(Found {
            span: row.span.clone(),
            cells: which.columns().iter().map(cell).collect(),
        });
    });
    rows
}

/// Tells a row from what it was when the page showed it.
fn check(text: &str) -> String {
    blake3::hash(text.trim_end().as_bytes()).to_hex()[..16].to_owned()
}

fn said(problem: &Problem) -> String {
    format!("{} {}", problem.what(), problem.remedy())
}

/// What the page sends: a row to add, or one to change and what it was.
#[derive(Debug, Deserialize)]
pub(super) struct Change {
    table: String,
    row: Option<usize>,
    check: Option<String>,
    #[serde(default)]
    cells: BTreeMap<String, String>,
    /// The row is to be taken out of the file.
    #[serde(default)]
    take_out: bool,
}

/// `POST api/log`: in the file when it answers.
pub(super) fn change(desk: &Desk, sent: &Change) -> Answer {
    let which = LogTable::ALL.into_iter().find(|t| t.word() == sent.table);
    let no_table = || Failure::Wrong(format!("There is no table {}.", sent.table));
    let which = which.ok_or_else(no_table)?;
    // Held until the file is written, so that two windows cannot write at once.
    let season = desk.season_to_change()?;
    let property = season.property.clone();
    let mut ledger = which.open(&property.root)?;
    let found = rows(&ledger, which, &mut Vec::new());
    let is_text = |c: &String| !c.contains(char::is_control);
    let cells: Vec<(&str, String)> = which
        .columns()
        .iter()
        .filter_map(|c| Some((*c, sent.cells.get(*c)?.trim().to_owned())))
        .collect();
    if let Some((column, _)) = cells.iter().find(|(_, c)| !is_text(c)) {
        return Err(wrong("A cell is one line of text.", column));
    }
    let unfit = |(column, name): &(&'static str, String)| {
        let is_given = names_something(column) && !name.is_empty();
        let why = unfit_for_a_folder(name).filter(|_| is_given)?;
        Some((*column, format!("\"{name}\" cannot be a name: {why}.")))
    };
    if let Some((column, words)) = cells.iter().find_map(unfit) {
        return Err(wrong(&words, column));
    }
    let span = match sent.row {
        None => None,
        Some(row) => match found.get(row) {
            Some(f) if sent.check == Some(check(ledger.row(f.span.clone()))) => {
                Some(f.span.clone())
            }
            _ => return Err(changed(&season, which)?),
        },
    };
    if sent.take_out {
        let span = span.ok_or_else(|| Failure::Wrong("There is no such row.".to_owned()))?;
        ledger.replace(&[(span, String::new())], "")?;
        return written(desk, season);
    }
    let line = match &span {
        None => ledger.line(&cells),
        Some(span) => ledger.changed_line(ledger.row(span.clone()), &cells),
    };
    if let Some(problem) = which.problem_of(&ledger, &line, &property.settings) {
        // It is not left out of anything: it is not written.
        let words = said(&problem).replace(", so the row was left out", "");
        return Err(wrong(&words, problem.column.as_deref().unwrap_or("")));
    }
    if let Some((column, date)) = far_ahead(&cells, &property, desk.today) {
        let words = format!("{date} is more than a year ahead: is it the year that was meant?");
        return Err(wrong(&words, column));
    }
    if which == LogTable::Disturbances && is_taken(&found, sent) {
        return Err(wrong("Another disturbance has this short name.", "id"));
    }
    match span {
        None => ledger.append(&line)?,
        Some(span) => ledger.replace(&[(span, line)], "")?,
    };
    written(desk, season)
}

/// The file is as it was asked for now, whatever becomes of the rest.
fn written(desk: &Desk, mut season: MutexGuard<DeskSeason>) -> Answer {
    let property = season.property.clone();
    let laid = Property::open(&property.root).and_then(|p| season.lay_out_again(p));
    if let Err(e) = laid {
        season.tell([format!("{e:#}")]);
    }
    drop(season);
    read(desk)
}

/// Names of things, some of which become folders or parts of file names.
fn names_something(column: &str) -> bool {
    ["id", "camera", "stand", "ground", "folder"].contains(&column)
}

/// A beginning that is so far ahead that it must be a slip.
fn far_ahead<'a>(
    cells: &[(&'a str, String)],
    property: &Property,
    today: NaiveDate,
) -> Option<(&'a str, NaiveDate)> {
    const FAR: Days = Days::new(366);
    let mut begun = cells
        .iter()
        .filter(|(column, _)| ["start", "from", "asked"].contains(column))
        .filter_map(|(c, text)| Some((*c, parse_day(text, property.settings.date_order)?)));
    begun.find(|(_, date)| *date > today + FAR)
}

fn is_taken(found: &[Found], sent: &Change) -> bool {
    let id = |cells: &BTreeMap<String, String>| cells.get("id").map(|i| i.trim().to_owned());
    let others = found.iter().enumerate().filter(|(i, _)| Some(*i) != sent.row);
    let wanted = id(&sent.cells);
    wanted.is_some() && others.map(|(_, f)| id(&f.cells)).any(|i| i == wanted)
}

fn wrong(error: &str, column: &str) -> Failure {
    Failure::WrongField { error: error.to_owned(), column: column.to_owned() }
}

fn changed(season: &DeskSeason, which: LogTable) -> anyhow::Result<Failure> {
    let error = format!(
        "{} was changed by another program meanwhile. This is how it is now; nothing was written.",
        which.file()
    );
    Ok(Failure::Changed(serde_json::json!({
        "error": error,
        "tables": tables(&season.property, &Named::of(season))?,
    })))
}
