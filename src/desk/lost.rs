//! Rows that were saved and are in `tags.csv` no longer: put back, or let go.

use std::collections::BTreeMap;

use anyhow::Result;
use serde::{Deserialize, Serialize};

use super::Desk;
use super::server::{Answer, Failure, Reply};
use super::state::DeskSeason;
use crate::property::cell_under;
use crate::tags::{Change, Kept, PictureRows, TagBook};

/// Rows that are missed, as the page has them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub(super) struct LostRows {
    rows: usize,
    pictures: usize,
    /// The first of them.
    for_example: Vec<String>,
}

impl LostRows {
    pub fn of(gone: &BTreeMap<String, Kept>) -> Self {
        const EXAMPLES: usize = 3;
        let said = |(path, kept): (&String, &Kept)| {
            let who = |row: &Vec<String>| {
                let cells = kept.named(row);
                cell_under(&cells, "who").unwrap_or("").to_owned()
            };
            let whos: Vec<String> = kept.rows.iter().map(who).collect();
            format!("{path}: {}", whos.join(", "))
        };
        Self {
            rows: gone.values().map(|k| k.rows.len()).sum(),
            pictures: gone.len(),
            for_example: gone.iter().take(EXAMPLES).map(said).collect(),
        }
    }
}

/// What to do with them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Decision {
    PutBack,
    LetGo,
}

/// What the page sends: what to do, and how many rows it showed.
#[derive(Debug, Deserialize)]
pub(super) struct Decided {
    decision: Decision,
    rows: usize,
}

/// `POST api/lost`
pub(super) fn decide(desk: &Desk, sent: &Decided) -> Answer {
    let mut season = desk.season_to_change()?;
    let lost = LostRows::of(&season.gone);
    if lost.rows != sent.rows {
        return Err(Failure::Changed(serde_json::json!({
            "error": "The file has been changed again meanwhile. Look at the number of rows once more.",
            "lost": lost,
        })));
    }
    match sent.decision {
        Decision::PutBack => season.put_back()?,
        Decision::LetGo => season.let_go(),
    }
    Reply::json(&serde_json::json!({
        "lost": LostRows::of(&season.gone),
        "rows": lost.rows,
        "counts": season.counts(),
        "version": season.version,
    }))
}

impl DeskSeason {
    /// Looks which saved rows the table lacks.
    pub fn look_for_lost(&mut self) {
        self.gone = self.book.missing(&self.journal);
    }

    fn put_back(&mut self) -> Result<()> {
        self.book.put_back(&self.gone)?;
        let (book, _) = TagBook::reopen(&self.property, &self.crawl)?;
        self.take_book(book);
        Ok(())
    }

    fn let_go(&mut self) {
        let journal = &self.journal;
        let rows = |(path, gone): (&String, &Kept)| {
            let before = journal.kept.get(path).map_or(&[][..], |k| &k.rows);
            let stays = |row: &&Vec<String>| !gone.rows.contains(row);
            let columns = gone.columns.to_vec();
            let rows = PictureRows {
                picture: path.clone(),
                content: gone.content.clone(),
                before: before.to_vec(),
                after: before.iter().filter(stays).cloned().collect(),
                missed: Vec::new(),
            };
            (columns, rows)
        };
        let mut by_columns: BTreeMap<Vec<String>, Vec<PictureRows>> = BTreeMap::new();
        for (columns, rows) in self.gone.iter().map(rows) {
            by_columns.entry(columns).or_default().push(rows);
        }
        for (columns, pictures) in by_columns {
            self.note(Change::LetGo, "rows let go".to_owned(), columns, pictures);
        }
        self.look_for_lost();
        self.touch();
    }
}
