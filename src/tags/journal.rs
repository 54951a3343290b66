//! The journal beside `tags.csv`: every change that was saved there, one JSON object a line.
//!
//! It says which rows each picture must have, so that rows that vanish from the table (a spreadsheet saved
//! over newer rows, an emptied or a deleted file) are noticed and put back as they were, and steps can be
//! taken back after a restart. A line is appended and synced once the table itself is on the disk.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::property::{cell_under, picture_key};

/// The file, in the property's folder.
pub const JOURNAL: &str = "tags-journal.jsonl";

/// What a line of the journal tells of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// Pictures got other tags.
    Saved,
    /// The last saved step that was not taken back yet was taken back.
    Undone,
    /// Rows that had vanished are no longer missed.
    LetGo,
    /// The table was found to say something else, by another program or by a save that a kill kept out of here.
    Found,
}

/// The rows of one picture, before and after a change; cells under the entry's columns.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PictureRows {
    /// Its path in the property, with `/`.
    pub picture: String,
    /// Its content as in the table; empty where it could not be read.
    #[serde(default)]
    pub content: String,
    /// Its rows before.
    pub before: Vec<Vec<String>>,
    /// Its rows after.
    pub after: Vec<Vec<String>>,
    /// The rows that it had had, where the table lacked them at that moment: one that brings them back later has
    /// been set back.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missed: Vec<Vec<String>>,
}

/// A line of the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// When, UTC (RFC 3339).
    pub at: String,
    /// What was done.
    pub change: Change,
    /// The step in the person's words.
    pub words: String,
    /// The table's headings at that moment.
    pub columns: Vec<String>,
    /// Every picture that was touched.
    pub pictures: Vec<PictureRows>,
}

/// The rows that the journal says a picture has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// The picture's content as in the table.
    pub content: String,
    /// The headings of the cells.
    pub columns: Arc<[String]>,
    /// The rows.
    pub rows: Vec<Vec<String>>,
    /// What its rows said before, at whatever time: a table that says that again was set back.
    pub earlier: Vec<Vec<Seen>>,
    /// Of rows that are missed: the table says something earlier in their place.
    pub is_set_back: bool,
}

impl Kept {
    fn says(&self) -> Vec<Seen> {
        let seen = |row: &Vec<String>| Seen::of(&self.named(row));
        self.rows.iter().map(seen).collect()
    }

    /// Its rows under other headings.
    fn under(&self, columns: &[String]) -> Vec<Vec<String>> {
        let under = |row: &Vec<String>| {
            let named = self.named(row);
            let cell = |c: &String| cell_under(&named, c).unwrap_or("").to_owned();
            columns.iter().map(cell).collect()
        };
        self.rows.iter().map(under).collect()
    }

    /// Its rows under other headings, if some others say something else.
    fn missed(&self, columns: &[String], others: &[Vec<String>]) -> Vec<Vec<String>> {
        let rows = self.under(columns);
        if rows == others { Vec::new() } else { rows }
    }

    /// A row's cells with their headings.
    pub fn named<'a>(&'a self, row: &'a [String]) -> Vec<(&'a str, String)> {
        let columns = self.columns.iter().map(String::as_str);
        columns.zip(row.iter().cloned()).collect()
    }
}

/// The journal, open for more.
#[derive(Debug, Default)]
pub struct Journal {
    path: PathBuf,
    /// What every picture that was tagged here has, by its path.
    pub kept: BTreeMap<String, Kept>,
    /// Steps that can still be taken back, the last one last.
    pub steps: Vec<Entry>,
}

/// Steps further back than this are not taken back after a restart.
const STEPS_MAX: usize = 500;

impl Journal {
    /// Reads the journal of a property. A last line that was cut short, as a kill leaves it, is passed over:
    /// nobody was told of it.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn open(root: &Path) -> io::Result<Self> {
        let path = root.join(JOURNAL);
        let mut journal = Self { path, ..Self::default() };
        let bytes = match std::fs::read(&journal.path) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(journal),
            Err(e) => return Err(e),
        };
        for line in bytes.split(|b| *b == b'\n') {
            if let Ok(entry) = serde_json::from_slice::<Entry>(line) {
                journal.follow(entry);
            }
        }
        Ok(journal)
    }

    /// Appends a line and syncs it.
    ///
    /// # Errors
    /// What the disk said. What it tells of counts all the same as long as the program runs.
    pub fn add(&mut self, mut entry: Entry) -> io::Result<()> {
        for picture in &mut entry.pictures {
            let kept = self.kept.get(&picture.picture);
            picture.missed =
                kept.map_or_else(Vec::new, |k| k.missed(&entry.columns, &picture.before));
        }
        let written = self.append(&entry);
        self.follow(entry);
        written
    }

    fn append(&self, entry: &Entry) -> io::Result<()> {
        let mut options = File::options();
        let mut file = options.read(true).append(true).create(true).open(&self.path)?;
        let mut line = Vec::new();
        if !ends_with_a_line(&mut file)? {
            line.push(b'\n');
        }
        serde_json::to_writer(&mut line, entry)?;
        line.push(b'\n');
        file.write_all(&line)?;
        file.sync_data()
    }

    /// Takes it that a picture has some rows, where nothing is known of it.
    pub fn know(&mut self, picture: String, kept: Kept) {
        self.kept.entry(picture).or_insert(kept);
    }

    /// Pictures of which a table says something that was never said here, and no less: what it says now is what is
    /// to be missed. Rows that are fewer, or that say again what was corrected, are left to [`Journal::missing`].
    pub fn changed_elsewhere(&self, table: &BTreeMap<String, Kept>) -> Vec<PictureRows> {
        let changed = |(path, now): (&String, &Kept)| {
            let kept = self.kept.get(path)?;
            let says = now.says();
            let is_known = is_same(&kept.says(), &says)
                || kept.earlier.iter().any(|e| is_same(e, &says))
                || says.len() < kept.rows.len();
            (!is_known).then(|| PictureRows {
                picture: path.clone(),
                content: now.content.clone(),
                before: kept.under(&now.columns),
                after: now.rows.clone(),
                missed: Vec::new(),
            })
        };
        table.iter().filter_map(changed).collect()
    }

    fn follow(&mut self, entry: Entry) {
        let columns: Arc<[String]> = entry.columns.clone().into();
        for picture in &entry.pictures {
            let mut kept = Kept {
                content: picture.content.clone(),
                columns: Arc::clone(&columns),
                rows: picture.before.clone(),
                earlier: Vec::new(),
                is_set_back: false,
            };
            let before = self.kept.remove(&picture.picture);
            let mut earlier = before.as_ref().map_or_else(Vec::new, |b| b.earlier.clone());
            // What was saved here may be said again: then whoever changed it has changed it back.
            if entry.change != Change::Found {
                earlier.extend(before.map(|b| b.says()));
                earlier.push(kept.says());
                kept.rows.clone_from(&picture.missed);
                earlier.push(kept.says());
            }
            kept.earlier = earlier;
            kept.rows.clone_from(&picture.after);
            let now = kept.says();
            kept.earlier.retain(|e| !e.is_empty() && *e != now);
            kept.earlier.dedup();
            if entry.change == Change::LetGo {
                kept.earlier.clear();
            }
            self.kept.insert(picture.picture.clone(), kept);
        }
        match entry.change {
            Change::Saved => self.steps.push(entry),
            Change::Undone => {
                self.steps.pop();
            }
            Change::LetGo | Change::Found => {}
        }
        if self.steps.len() > 2 * STEPS_MAX {
            self.steps.drain(..STEPS_MAX);
        }
    }

    /// Rows that are kept here and not in the table, by picture: a row that somebody has changed is still there.
    pub fn missing(&self, table: &TableRows) -> BTreeMap<String, Kept> {
        let gone = |(path, kept): (&String, &Kept)| {
            let there = table.of(&picture_key(path), &kept.content);
            if kept.earlier.is_empty() && there.len() >= kept.rows.len() {
                return None;
            }
            let is_earlier = kept.earlier.iter().any(|e| is_same(e, there));
            let is_set_back = is_earlier && !is_same(&kept.says(), there);
            let rows = match is_set_back {
                true => kept.rows.clone(),
                false => kept.missing_from(there),
            };
            (!rows.is_empty()).then(|| {
                let gone = Kept { rows, is_set_back, ..kept.clone() };
                (path.clone(), gone)
            })
        };
        self.kept.iter().filter_map(gone).collect()
    }
}

impl Kept {
    /// As many rows as the table has fewer; those that it has are not among them.
    fn missing_from(&self, table: &[Seen]) -> Vec<Vec<String>> {
        let fewer = self.rows.len().saturating_sub(table.len());
        let unmatched = without_match(&self.says(), table);
        // The first of those left may be rows that somebody has changed.
        let changed = unmatched.len().saturating_sub(fewer);
        let gone = unmatched.into_iter().skip(changed);
        gone.map(|i| self.rows[i].clone()).collect()
    }
}

/// The places of those that have no match among others, each of which matches one.
fn without_match(some: &[Seen], others: &[Seen]) -> Vec<usize> {
    let mut left: Vec<&Seen> = others.iter().collect();
    let mut is_unmatched = |seen: &Seen| match left.iter().position(|other| *other == seen) {
        Some(at) => {
            left.swap_remove(at);
            false
        }
        None => true,
    };
    let places = 0..some.len();
    places.filter(|i| is_unmatched(&some[*i])).collect()
}

/// Whether two say the same, in whatever order.
fn is_same(some: &[Seen], others: &[Seen]) -> bool {
    some.len() == others.len() && without_match(some, others).is_empty()
}

fn ends_with_a_line(file: &mut File) -> io::Result<bool> {
    if file.metadata()?.len() == 0 {
        return Ok(true);
    }
    file.seek(SeekFrom::End(-1))?;
    let mut last = [0];
    file.read_exact(&mut last)?;
    Ok(last == *b"\n")
}

/// What a row says, whatever else stands in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen([String; 5]);

impl Seen {
    /// The headings of what it says.
    pub const CELLS: [&'static str; 5] = ["who", "count", "age", "name", "note"];

    /// From cells with their headings.
    pub fn of(cells: &[(&str, String)]) -> Self {
        Self::by(|heading| cell_under(cells, heading).unwrap_or("").trim().to_owned())
    }

    /// From whatever gives the text under a heading.
    pub fn by(text: impl Fn(&str) -> String) -> Self {
        Self(Self::CELLS.map(text))
    }
}

/// The rows of a table by the picture they name.
#[derive(Debug, Default)]
pub struct TableRows {
    by_path: HashMap<String, Vec<Seen>>,
    by_content: HashMap<String, Vec<Seen>>,
}

impl TableRows {
    /// Takes a row in.
    pub fn add(&mut self, path: &str, content: &str, seen: Seen) {
        if !content.is_empty() {
            let of_content = self.by_content.entry(content.to_owned()).or_default();
            of_content.push(seen.clone());
        }
        self.by_path.entry(path.to_owned()).or_default().push(seen);
    }

    /// By the path, or where the picture has got another path, by its content.
    fn of(&self, path: &str, content: &str) -> &[Seen] {
        let by_content = || self.by_content.get(content).map_or(&[][..], Vec::as_slice);
        self.by_path.get(path).map_or_else(by_content, Vec::as_slice)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(change: Change, picture: &str, before: &[&str], after: &[&str]) -> Entry {
        let rows = |whos: &[&str]| -> Vec<Vec<String>> {
            let row = |who: &&str| vec![picture.to_owned(), (*who).to_owned()];
            whos.iter().map(row).collect()
        };
        Entry {
            at: "2025-11-08T12:00:00Z".to_owned(),
            change,
            words: after.join(", "),
            columns: ["picture", "who"].map(str::to_owned).to_vec(),
            pictures: vec![PictureRows {
                picture: picture.to_owned(),
                content: String::new(),
                before: rows(before),
                after: rows(after),
                missed: Vec::new(),
            }],
        }
    }

    fn table(rows: &[(&str, &str)]) -> TableRows {
        let mut table = TableRows::default();
        for (path, who) in rows {
            table.add(path, "", Seen::of(&[("who", (*who).to_owned())]));
        }
        table
    }

    /// A journal to which some changes were added: the picture, its rows before and after.
    fn journal(folder: &Path, entries: &[(Change, &str, &[&str], &[&str])]) -> Journal {
        let mut journal = Journal::open(folder).unwrap();
        for (change, picture, before, after) in entries {
            journal.add(entry(*change, picture, before, after)).unwrap();
        }
        journal
    }

    #[test]
    fn what_was_saved_is_known_after_a_restart_and_a_torn_line_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let changes: [(Change, &str, &[&str], &[&str]); 4] = [
            (Change::Saved, "a", &[], &["buck"]),
            (Change::Saved, "b", &[], &["doe", "fawn"]),
            (Change::Saved, "a", &["buck"], &["doe"]),
            (Change::Undone, "a", &["doe"], &["buck"]),
        ];
        let before = journal(folder.path(), &changes);
        let mut file = File::options().append(true).open(folder.path().join(JOURNAL)).unwrap();
        file.write_all(b"{\"at\":\"2025").unwrap();
        let again = Journal::open(folder.path()).unwrap();
        assert_eq!((&again.kept, &again.steps), (&before.kept, &before.steps));
        assert_eq!(again.steps.len(), 2);
        // A new line does not grow together with the torn one.
        journal(folder.path(), &[(Change::Saved, "c", &[], &["other"])]);
        assert_eq!(Journal::open(folder.path()).unwrap().steps.len(), 3);
    }

    #[test]
    fn rows_are_missed_that_are_gone_and_not_those_that_somebody_changed() {
        let folder = tempfile::tempdir().unwrap();
        let changes: [(Change, &str, &[&str], &[&str]); 2] =
            [(Change::Saved, "a", &[], &["buck"]), (Change::Saved, "b", &[], &["doe", "fawn"])];
        let mut journal = journal(folder.path(), &changes);
        let missing = |rows: &[(&str, &str)]| -> Vec<String> {
            let missing = journal.missing(&table(rows));
            missing
                .values()
                .flat_map(|k| k.rows.iter().map(|r| format!("{} {}", r[0], r[1])))
                .collect()
        };
        assert!(missing(&[("a", "buck"), ("b", "doe"), ("b", "fawn")]).is_empty());
        assert!(missing(&[("a", "doe"), ("b", "fawn"), ("b", "buck")]).is_empty());
        assert_eq!(missing(&[("a", "buck"), ("b", "fawn")]), ["b doe"]);
        assert_eq!(missing(&[("a", "buck"), ("b", "other")]), ["b fawn"]);
        assert_eq!(missing(&[]), ["a buck", "b doe", "b fawn"]);
        journal.add(entry(Change::LetGo, "b", &["doe", "fawn"], &[])).unwrap();
        assert_eq!(journal.missing(&table(&[])).len(), 1);
    }

    #[test]
    fn what_another_program_wrote_is_missed_in_its_turn() {
        let folder = tempfile::tempdir().unwrap();
        let changes: [(Change, &str, &[&str], &[&str]); 3] = [
            (Change::Saved, "a", &[], &["buck"]),
            (Change::Saved, "a", &["buck"], &["doe"]),
            (Change::Saved, "b", &[], &["doe", "fawn"]),
        ];
        let mut journal = journal(folder.path(), &changes);
        let kept = |whos: &[&str]| Kept {
            content: String::new(),
            columns: ["picture", "who"].map(str::to_owned).into(),
            rows: whos.iter().map(|w| vec![String::new(), (*w).to_owned()]).collect(),
            earlier: Vec::new(),
            is_set_back: false,
        };
        let of = |path: &str, whos: &[&str]| BTreeMap::from([(path.to_owned(), kept(whos))]);
        // As it was, said before, fewer, and of a picture that is not known.
        for (path, whos) in
            [("a", &["doe"][..]), ("a", &["buck"]), ("b", &["other"]), ("c", &["doe"])]
        {
            assert_eq!(journal.changed_elsewhere(&of(path, whos)), [], "{path} {whos:?}");
        }
        let found = journal.changed_elsewhere(&of("a", &["fawn"]));
        assert_eq!(found.len(), 1);
        let entry = Entry { pictures: found, ..entry(Change::Found, "a", &[], &[]) };
        journal.add(entry).unwrap();
        for journal in [&journal, &Journal::open(folder.path()).unwrap()] {
            let missing = journal.missing(&table(&[("b", "doe"), ("b", "fawn")]));
            assert_eq!(missing["a"].rows[0][1], "fawn");
            // Set back to what was corrected here it is missed; what was saved here may be said again. Nothing is
            // undone by it.
            let missing = |who: &str| {
                let table = table(&[("a", who), ("b", "doe"), ("b", "fawn")]);
                journal.missing(&table).len()
            };
            assert_eq!([missing("buck"), missing("doe")], [1, 0]);
            assert_eq!(journal.steps.len(), 3);
        }
    }

    #[test]
    fn a_table_that_was_set_back_is_told_from_one_that_was_changed() {
        let folder = tempfile::tempdir().unwrap();
        let changes: [(Change, &str, &[&str], &[&str]); 2] =
            [(Change::Saved, "a", &[], &["buck"]), (Change::Saved, "a", &["buck"], &["doe"])];
        let journal = journal(folder.path(), &changes);
        let missing = |who: &str| journal.missing(&table(&[("a", who)])).len();
        assert_eq!([missing("doe"), missing("buck"), missing("fawn")], [0, 1, 0]);
    }
}
