//! `tags.csv`, open for changes: what each picture carries, and how it is written down.

use std::cell::{Cell, OnceCell};
use std::collections::{BTreeMap, HashMap};
use std::ops::Range;

use anyhow::Result;

use super::pictures::{COLUMNS, FILE, every_name, key_of};
use super::words::{Tag, seen};
use crate::card::Crawl;
use crate::property::{Ledger, Problem, Property};

/// The tags of a property's pictures, in step with the file. Rows that name no picture of the
/// property, and rows that cannot be used, are left where they are.
pub struct TagBook {
    ledger: Ledger,
    rows: Vec<Row>,
    /// For every picture of the crawl, its rows' tags in the file's order.
    tags: Vec<Vec<Tag>>,
}

/// A usable row of the file.
struct Row {
    span: Range<usize>,
    picture: u32,
}

/// What opening the file brought up.
#[derive(Default)]
pub struct Opened {
    /// Rows that cannot be used.
    pub problems: Vec<Problem>,
    /// A last line that was cut short, as a kill in the middle of writing leaves it, and was taken
    /// away.
    pub cut_short: Option<String>,
}

impl TagBook {
    /// Reads the file. A last line that was cut short is taken away and told.
    ///
    /// # Errors
    /// When the file cannot be read, or a line that was cut short cannot be taken away.
    pub fn open(property: &Property, crawl: &Crawl) -> Result<(Self, Opened)> {
        let mut ledger = Ledger::open(&property.root, FILE, &COLUMNS)?;
        let mut opened = Opened::default();
        let finder = Finder::of(crawl);
        if let Some(span) = ledger.open_line()
            && !is_whole(&ledger, span.clone(), &finder)
        {
            opened.cut_short = Some(ledger.row(span.clone()).to_owned());
            ledger.replace(&[(span, String::new())], "")?;
        }
        let mut book = Self {
            ledger,
            rows: Vec::new(),
            tags: vec![Vec::new(); crawl.pictures.len()],
        };
        book.read(&finder, &mut opened.problems);
        Ok((book, opened))
    }

    fn read(&mut self, finder: &Finder, problems: &mut Vec<Problem>) {
        let (rows, tags) = (&mut self.rows, &mut self.tags);
        self.ledger.for_each(problems, |row, problems| {
            let Some(picture) = finder.find(row.get("picture")) else {
                return;
            };
            if let Some(tag) = seen(row, FILE, problems) {
                rows.push(Row {
                    span: row.span.clone(),
                    picture,
                });
                tags[picture as usize].push(tag);
            }
        });
    }

    /// Whether the file is still as this program last saw it.
    pub fn is_current(&self) -> bool {
        self.ledger.is_current()
    }

    /// The tags of a picture.
    pub fn of(&self, picture: u32) -> &[Tag] {
        self.tags.get(picture as usize).map_or(&[], Vec::as_slice)
    }

    /// Gives pictures their tags in place of those they have, and returns when that is on the disk.
    ///
    /// # Errors
    /// When the disk does not take it; then nothing has changed.
    pub fn set(&mut self, crawl: &Crawl, changes: &BTreeMap<u32, Vec<Tag>>) -> Result<()> {
        let lines: Vec<(u32, String)> = changes
            .iter()
            .flat_map(|(picture, tags)| {
                let path = &crawl.pictures[*picture as usize].path;
                let line = |tag: &Tag| (*picture, self.ledger.line(&cells(path, tag)));
                tags.iter().map(line).collect::<Vec<_>>()
            })
            .collect();
        let text: String = lines.iter().map(|(_, line)| line.as_str()).collect();
        let is_changed = |row: &Row| changes.contains_key(&row.picture);
        let gone: Vec<(Range<usize>, String)> = self
            .rows
            .iter()
            .filter(|row| is_changed(row))
            .map(|row| (row.span.clone(), String::new()))
            .collect();
        let gone_bytes: usize = gone.iter().map(|(span, _)| span.len()).sum();
        let mut at = self.ledger.end() - gone_bytes;
        if gone.is_empty() {
            self.ledger.append(&text)?;
        } else {
            self.ledger.replace(&gone, &text)?;
            self.take_out(is_changed);
        }
        for (picture, line) in lines {
            let span = at..at + line.len();
            at = span.end;
            self.rows.push(Row { span, picture });
        }
        for (picture, tags) in changes {
            self.tags[*picture as usize].clone_from(tags);
        }
        Ok(())
    }

    /// Forgets rows that were taken out of the file, and moves up those behind them.
    fn take_out(&mut self, is_gone: impl Fn(&Row) -> bool) {
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

fn cells(path: &str, tag: &Tag) -> [(&'static str, String); 6] {
    let some = |text: &Option<String>| text.clone().unwrap_or_default();
    [
        ("picture", path.to_owned()),
        ("who", tag.who.word().to_owned()),
        ("count", tag.count.to_string()),
        ("age", tag.age.map_or(String::new(), |a| a.to_string())),
        ("name", some(&tag.name)),
        ("note", some(&tag.note)),
    ]
}

/// Whether a last line without a line end is a whole row all the same: some programs end no line.
/// One with fewer cells than there are headings may have lost its end.
fn is_whole(ledger: &Ledger, span: Range<usize>, finder: &Finder) -> bool {
    let mut whole = false;
    let headings = ledger.headings().len();
    ledger.for_each(&mut Vec::new(), |row, problems| {
        if row.span == span {
            let usable = seen(row, FILE, problems).is_some();
            whole = row.cells() >= headings && usable && finder.find(row.get("picture")).is_some();
        }
    });
    whole
}

/// Finds the picture that a text names, as the join of `tags.csv` does.
struct Finder<'a> {
    crawl: &'a Crawl,
    /// The picture after the one found last: most rows stand in the pictures' order.
    next: Cell<u32>,
    exact: OnceCell<HashMap<&'a str, u32>>,
    /// Made when first needed: nearly every row names its picture by its whole path.
    loose: OnceCell<HashMap<String, u32>>,
}

impl<'a> Finder<'a> {
    fn of(crawl: &'a Crawl) -> Self {
        Self {
            crawl,
            next: Cell::new(0),
            exact: OnceCell::new(),
            loose: OnceCell::new(),
        }
    }

    fn find(&self, text: &str) -> Option<u32> {
        let next = self.next.get();
        let follows = self.crawl.pictures.get(next as usize);
        let found = match follows.is_some_and(|p| p.path == text) {
            true => Some(next),
            false => self.look_up(text),
        };
        self.next.set(found.map_or(next, |i| i + 1));
        found
    }

    fn look_up(&self, text: &str) -> Option<u32> {
        let paths = || self.crawl.pictures.iter().map(|p| p.path.as_str());
        let exact = self.exact.get_or_init(|| paths().zip(0..).collect());
        let loose = || self.loose.get_or_init(|| every_name(self.crawl));
        exact
            .get(text)
            .or_else(|| loose().get(&key_of(text)))
            .copied()
    }
}
