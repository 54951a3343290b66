//! `tags.csv`, open for changes: what each picture carries, and how it is written down.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::sync::Arc;

use anyhow::Result;

use super::find::{Content, Finder};
use super::journal::{Journal, Kept, PictureRows, Seen, TableRows};
use super::pictures::{FILE, HEADINGS, meant};
use super::words::{Tag, Who, seen};
use crate::card::Crawl;
use crate::property::{Ledger, Problem, Property, cell_under, picture_key};

/// The tags of a property's pictures, in step with the file. Rows that name no picture of the
/// property, and rows that cannot be used, are left where they are.
pub struct TagBook {
    ledger: Ledger,
    rows: Vec<BookRow>,
    /// For every picture of the crawl, its rows' tags in the file's order.
    tags: Vec<Vec<Tag>>,
    /// Rows that were taken out, by their pictures' paths: the person's own columns come back with the
    /// tags.
    taken_out: HashMap<String, Vec<String>>,
    /// Contents of pictures that were tagged here, read once.
    contents: HashMap<u32, Option<Content>>,
}

/// A usable row of the file.
struct BookRow {
    span: Range<usize>,
    picture: u32,
}

/// What opening the file brought up.
#[derive(Default)]
pub struct Opened {
    /// Rows that cannot be used.
    pub problems: Vec<Problem>,
    /// A last row that was cut short, as a kill in the middle of writing leaves it, and the file to
    /// which it was moved.
    pub cut_short: Option<(String, String)>,
}

impl TagBook {
    /// Reads the file. A last row that was cut short is moved out of it and told.
    ///
    /// # Errors
    /// When the file cannot be read, or a row that was cut short cannot be moved.
    pub fn open(property: &Property, crawl: &Crawl) -> Result<(Self, Opened)> {
        let open = || Ledger::open(&property.root, FILE, &HEADINGS);
        let cut = |ledger: &Ledger| {
            let row = ledger.open_row().filter(|row| !row.is_whole);
            row.map(|row| row.span.clone())
        };
        let mut ledger = open()?;
        // Somebody may be writing just now, and go on.
        while cut(&ledger).is_some() && !ledger.is_settled() {
            std::thread::sleep(std::time::Duration::from_millis(50));
            ledger = open()?;
        }
        let cut_short = match cut(&ledger) {
            Some(span) => {
                let text = ledger.row(span.clone()).trim_end().to_owned();
                Some((text, ledger.set_aside(span)?))
            }
            None => None,
        };
        let (book, opened) = Self::of(ledger, property, crawl);
        Ok((book, Opened { cut_short, ..opened }))
    }

    /// Reads the file that another program has saved. Nothing is put right: it may be writing still.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn reopen(property: &Property, crawl: &Crawl) -> Result<(Self, Opened)> {
        let ledger = Ledger::open(&property.root, FILE, &HEADINGS)?;
        Ok(Self::of(ledger, property, crawl))
    }

    /// Remembers what the book before it remembered, if the columns are the same.
    pub fn follow(&mut self, before: Self) {
        if self.ledger.headings() == before.ledger.headings() {
            self.taken_out = before.taken_out;
        }
    }

    fn of(ledger: Ledger, property: &Property, crawl: &Crawl) -> (Self, Opened) {
        let mut book = Self {
            ledger,
            rows: Vec::new(),
            tags: vec![Vec::new(); crawl.pictures.len()],
            taken_out: HashMap::new(),
            contents: HashMap::new(),
        };
        let mut opened = Opened::default();
        book.read(&Finder::of(property, crawl), &mut opened.problems);
        (book, opened)
    }

    fn read(&mut self, finder: &Finder, problems: &mut Vec<Problem>) {
        let (rows, tags) = (&mut self.rows, &mut self.tags);
        self.ledger.for_each(problems, |row, problems| {
            // A row whose picture is not here is left where it is.
            let Ok(picture) = meant(row, finder) else {
                return;
            };
            if let Some(tag) = seen(row, FILE, problems) {
                rows.push(BookRow { span: row.span.clone(), picture });
                tags[picture as usize].push(tag);
            }
        });
    }

    /// Whether the file is still as this program last saw it.
    pub fn is_current(&self) -> bool {
        self.ledger.is_current()
    }

    /// Whether whoever has saved the file is through with it.
    pub fn is_settled(&self) -> bool {
        self.ledger.is_settled()
    }

    /// Whether the table was there and is not now.
    pub fn is_absent(&self) -> bool {
        self.ledger.is_absent()
    }

    /// The tags of a picture.
    pub fn of_picture(&self, picture: u32) -> &[Tag] {
        self.tags.get(picture as usize).map_or(&[], Vec::as_slice)
    }

    /// Gives pictures their tags in place of those they have, and returns when that is on the disk, with the
    /// rows before and after.
    ///
    /// # Errors
    /// When the disk does not take it; then nothing has changed.
    pub fn set(
        &mut self,
        property: &Property,
        crawl: &Crawl,
        changes: &BTreeMap<u32, Vec<Tag>>,
    ) -> Result<Vec<PictureRows>> {
        let is_changed = |row: &BookRow| changes.contains_key(&row.picture);
        let gone: Vec<&BookRow> = self.rows.iter().filter(|row| is_changed(row)).collect();
        let mut before: HashMap<u32, Vec<String>> = HashMap::new();
        for row in &gone {
            let text = self.ledger.row(row.span.clone()).to_owned();
            before.entry(row.picture).or_default().push(text);
        }
        let spans = gone.iter().map(|row| (row.span.clone(), String::new()));
        let spans: Vec<(Range<usize>, String)> = spans.collect();
        let lines = self.lines(property, crawl, changes, &before);
        let text: String = lines.iter().map(|(_, line)| line.as_str()).collect();
        let rows = self.rows_of(crawl, changes.keys().copied(), &before, &lines);
        let mut at = if spans.is_empty() {
            self.ledger.append(&text)?
        } else {
            let at = self.ledger.replace(&spans, &text)?;
            self.take_out(is_changed);
            self.remember(crawl, before);
            at
        };
        for (picture, line) in lines {
            let span = at..at + line.len();
            at = span.end;
            self.rows.push(BookRow { span, picture });
        }
        for (picture, tags) in changes {
            self.tags[*picture as usize].clone_from(tags);
        }
        Ok(rows)
    }

    fn rows_of(
        &self,
        crawl: &Crawl,
        pictures: impl Iterator<Item = u32>,
        before: &HashMap<u32, Vec<String>>,
        lines: &[(u32, String)],
    ) -> Vec<PictureRows> {
        let mut after: HashMap<u32, Vec<Vec<String>>> = HashMap::new();
        for (picture, line) in lines {
            let cells = self.ledger.cells(line);
            after.entry(*picture).or_default().push(cells);
        }
        let of_picture = |picture: u32| PictureRows {
            picture: crawl.pictures[picture as usize].path.clone(),
            content: match self.contents.get(&picture) {
                Some(Some(content)) => content.to_string(),
                _ => String::new(),
            },
            before: before.get(&picture).map_or_else(Vec::new, |rows| {
                rows.iter().map(|row| self.ledger.cells(row)).collect()
            }),
            after: after.remove(&picture).unwrap_or_default(),
            missed: Vec::new(),
        };
        pictures.map(of_picture).collect()
    }

    /// The table's headings, in the file's order.
    pub fn columns(&self) -> &[String] {
        self.ledger.headings()
    }

    /// Rows that were saved here and that the table has no longer, by picture.
    pub fn missing(&self, journal: &Journal) -> BTreeMap<String, Kept> {
        let mut table = TableRows::default();
        let torn = self.torn(&journal.kept);
        self.ledger.for_each(&mut Vec::new(), |row, _| {
            if !torn.contains(&row.span) {
                let seen = Seen::by(|column| row.get(column).to_owned());
                table.add(&picture_key(row.get("picture")), row.get("content"), seen);
            }
        });
        journal.missing(&table)
    }

    /// Rows of which a part is left only, as a table that was cut has them at its end: each begins like a row
    /// that was saved, and says something else. (Without its content alone it says the same.)
    fn torn(&self, kept: &BTreeMap<String, Kept>) -> Vec<Range<usize>> {
        let mut torn = Vec::new();
        self.ledger.for_each(&mut Vec::new(), |row, _| {
            if row.cells() >= self.ledger.headings().len() {
                return;
            }
            let text = self.ledger.row(row.span.clone()).trim_end();
            let says = Seen::CELLS.map(|c| (c, row.get(c).to_owned()));
            let begins_like_it = |kept: &Kept| {
                kept.rows.iter().any(|r| {
                    let cells = kept.named(r);
                    self.ledger.line(&cells).starts_with(text) && tag_in(&cells) != tag_in(&says)
                })
            };
            if kept.get(row.get("picture")).is_some_and(begins_like_it) {
                torn.push(row.span.clone());
            }
        });
        torn
    }

    /// The rows of every picture of the crawl that a row names by its whole path; not of those of whose rows, by what
    /// the journal knows, a part is left only.
    pub fn kept_rows(&self, crawl: &Crawl, journal: &Journal) -> BTreeMap<String, Kept> {
        let torn = self.torn(&journal.kept);
        let mut is_torn: Vec<String> = Vec::new();
        let columns: Arc<[String]> = self.ledger.headings().into();
        let of_row = self.rows.iter().map(|r| (r.span.start, r.picture));
        let of_row: HashMap<usize, u32> = of_row.collect();
        let mut kept: BTreeMap<String, Kept> = BTreeMap::new();
        self.ledger.for_each(&mut Vec::new(), |row, _| {
            let Some(picture) = of_row.get(&row.span.start) else {
                return;
            };
            let path = crawl.pictures[*picture as usize].path.as_str();
            if row.get("picture") != path {
                return;
            }
            if torn.contains(&row.span) {
                is_torn.push(path.to_owned());
            }
            let of_picture = kept.entry(path.to_owned()).or_insert_with(|| Kept {
                content: row.get("content").to_owned(),
                columns: Arc::clone(&columns),
                rows: Vec::new(),
                earlier: Vec::new(),
                is_set_back: false,
            });
            of_picture.rows.push(row.texts(columns.len()));
        });
        for path in is_torn {
            kept.remove(&path);
        }
        kept
    }

    /// Puts rows back into the table as they were, in the place of what is left of them, and returns when they
    /// are on the disk. The table must be read anew then.
    ///
    /// # Errors
    /// When the disk does not take them; then nothing has changed.
    pub fn put_back(&mut self, gone: &BTreeMap<String, Kept>) -> Result<()> {
        let ledger = &self.ledger;
        let lines = |kept: &Kept| -> String {
            let line = |row: &Vec<String>| ledger.line(&kept.named(row));
            kept.rows.iter().map(line).collect()
        };
        let text: String = gone.values().map(lines).collect();
        let mut out = self.torn(gone);
        // Where a picture's rows were set back, those that stand there make room.
        self.ledger.for_each(&mut Vec::new(), |row, _| {
            let is_set_back = gone.get(row.get("picture")).is_some_and(|k| k.is_set_back);
            if is_set_back && !out.contains(&row.span) {
                out.push(row.span.clone());
            }
        });
        out.sort_by_key(|span| span.start);
        if out.is_empty() {
            self.ledger.append(&text)?;
        } else {
            let taken_out: Vec<_> = out.into_iter().map(|s| (s, String::new())).collect();
            self.ledger.replace(&taken_out, &text)?;
        }
        Ok(())
    }

    /// The rows to write, each with its picture: what a picture's rows carried in other columns stays.
    fn lines(
        &mut self,
        property: &Property,
        crawl: &Crawl,
        changes: &BTreeMap<u32, Vec<Tag>>,
        before: &HashMap<u32, Vec<String>>,
    ) -> Vec<(u32, String)> {
        let mut lines = Vec::new();
        for (picture, tags) in changes {
            let content = self.content(property, crawl, *picture);
            let path = &crawl.pictures[*picture as usize].path;
            let (rows, gone) = (before.get(picture), self.taken_out.get(path));
            for (i, tag) in tags.iter().enumerate() {
                let cells = cells(path, tag, &content);
                let old = rows.and_then(|rows| rows.get(i));
                let old = old.or_else(|| gone.and_then(|rows| rows.get(i)));
                let line = match old {
                    Some(row) => self.ledger.changed_line(row, &cells),
                    None => self.ledger.line(&cells),
                };
                lines.push((*picture, line));
            }
        }
        lines
    }

    /// The content of a picture as it is written down; empty where the picture cannot be read.
    fn content(&mut self, property: &Property, crawl: &Crawl, picture: u32) -> String {
        let read = || Content::read(property, crawl.pictures.get(picture as usize)?);
        let content = self.contents.entry(picture).or_insert_with(read);
        content.map_or_else(String::new, |c| c.to_string())
    }

    fn remember(&mut self, crawl: &Crawl, rows: HashMap<u32, Vec<String>>) {
        for (picture, mut rows) in rows {
            let path = crawl.pictures[picture as usize].path.clone();
            let kept = self.taken_out.entry(path).or_default();
            rows.extend(kept.drain(..).skip(rows.len()));
            *kept = rows;
        }
    }

    /// Forgets rows that were taken out of the file, and moves up those behind them.
    fn take_out(&mut self, is_gone: impl Fn(&BookRow) -> bool) {
        let mut gone_bytes = 0;
        self.rows.retain_mut(|row| {
            if is_gone(row) {
                gone_bytes += row.span.len();
                return false;
            }
            row.span = row.span.start - gone_bytes..row.span.end - gone_bytes;
            true
        });
    }
}

/// The tag that a row of the journal carries; `None` where it is none.
pub fn tag_in(cells: &[(&str, String)]) -> Option<Tag> {
    let text = |heading: &str| {
        let text = cell_under(cells, heading).map(str::trim);
        text.filter(|t| !t.is_empty())
    };
    Some(Tag {
        who: Who::parse(text("who")?)?,
        count: text("count").map_or(Some(1), |c| c.parse().ok())?,
        age: match text("age") {
            None => None,
            Some(age) => Some(age.parse().ok()?),
        },
        name: text("name").map(str::to_owned),
        note: text("note").map(str::to_owned),
    })
}

fn cells(path: &str, tag: &Tag, content: &str) -> [(&'static str, String); 7] {
    let some = |text: &Option<String>| text.clone().unwrap_or_default();
    [
        ("picture", path.to_owned()),
        ("who", tag.who.word().to_owned()),
        ("count", tag.count.to_string()),
        ("age", tag.age.map_or(String::new(), |a| a.to_string())),
        ("name", some(&tag.name)),
        ("note", some(&tag.note)),
        ("content", content.to_owned()),
    ]
}
