//! `tags.csv`, and its join to the pictures that lie on the cards.

use anyhow::Result;
use polars::prelude::*;

use super::find::{Content, Finder, Found};
use super::foreign::{ForeignTag, Origin};
use super::sightings::SeenColumns;
use super::words::{Tag, Who, seen};
use crate::card::{Crawl, Picture};
use crate::property::{Cause, Headings, Problem, Property, Row, Sheet};

pub(super) use crate::property::TAGS as FILE;
pub(super) const HEADINGS: Headings = Headings {
    required: &["picture", "who"],
    known: &["picture", "who", "count", "age", "name", "note", "content"],
};

/// What counts of all that was said of the pictures.
pub(super) struct Said {
    /// One row a tag: `picture` and what was seen in it; in the order of the pictures.
    pub table: DataFrame,
    pub tagged: Vec<bool>,
}

/// Tags column by column: each row's picture, and what was seen in it.
#[derive(Default)]
pub(super) struct TagRows {
    pictures: Vec<u32>,
    seen: SeenColumns,
}

impl TagRows {
    pub fn len(&self) -> usize {
        self.pictures.len()
    }

    fn push(&mut self, picture: u32, tag: Tag) {
        self.pictures.push(picture);
        self.seen.push(tag);
    }

    /// Who is in which picture, in the order of the pictures.
    fn whos(&self) -> Vec<(u32, Who)> {
        let rows = self.pictures.iter().copied().zip(self.seen.whos());
        let mut rows: Vec<(u32, Who)> = rows.collect();
        rows.sort_by_key(|(picture, _)| *picture);
        rows
    }

    /// Sorted by picture; the rows of one stay in their order.
    fn into_table(self) -> Result<DataFrame> {
        let is_sorted = self.pictures.is_sorted();
        let mut columns = vec![Column::new(PICTURE.into(), self.pictures)];
        columns.extend(self.seen.into_columns());
        let table = DataFrame::new_infer_height(columns)?;
        Ok(match is_sorted {
            true => table,
            false => {
                let in_turn = SortMultipleOptions::default().with_maintain_order(true);
                table.sort([PICTURE], in_turn)?
            }
        })
    }
}

const PICTURE: &str = "picture";

/// The usable rows of `tags.csv`, each with its picture. Rows that mean no picture become problems.
pub(super) fn read(
    property: &Property,
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<TagRows> {
    let finder = Finder::of(property, crawl);
    let mut tags = TagRows::default();
    let Some(sheet) = Sheet::read(&property.root, FILE, &HEADINGS, problems)? else {
        return Ok(tags);
    };
    sheet.for_each(problems, |row, problems| {
        let Some(tag) = seen(row, FILE, problems) else {
            return;
        };
        match meant(row, &finder) {
            Ok(picture) => tags.push(picture, tag),
            Err(problem) => problems.push(problem),
        }
    });
    Ok(tags)
}

/// The picture that a row means.
pub(super) fn meant(row: &Row, finder: &Finder) -> Result<u32, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let Some(path) = row.some("picture") else {
        return Err(cell("picture", Cause::NoPictureNamed));
    };
    let content = match row.some("content").map(Content::parse) {
        None => None,
        Some(Some(content)) => Some(content),
        Some(None) => return Err(cell("content", Cause::NotAHash)),
    };
    let named = || path.to_owned();
    let cause = match finder.find(path, content) {
        Found::Picture(picture) => return Ok(picture),
        Found::Unknown => Cause::NoSuchPicture { path: named() },
        Found::Gone => Cause::PictureGone { path: named() },
        Found::NamedAnew => Cause::PathTaken { path: named() },
    };
    Err(cell("picture", cause))
}

/// Of each picture the tags of the source that counts most, `tags.csv` first; the others stand in the order of the
/// pictures and, of one, of what counts more. Sources that say different things of one picture become problems.
///
/// # Errors
/// Only when memory for the columns cannot be had.
pub(super) fn settled(
    own: TagRows,
    others: &[ForeignTag],
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<Said> {
    let mut tagged = vec![false; crawl.pictures.len()];
    for picture in &own.pictures {
        tagged[*picture as usize] = true;
    }
    let own_whos = if others.is_empty() { Vec::new() } else { own.whos() };
    let mut all = own;
    for there in others.chunk_by(|a, b| a.picture == b.picture) {
        let (index, counts) = (there[0].picture, there[0].origin);
        let Some(picture) = crawl.pictures.get(index as usize) else {
            continue;
        };
        let begin = own_whos.partition_point(|(picture, _)| *picture < index);
        let own_here = own_whos[begin..].iter().take_while(|(picture, _)| *picture == index);
        let own_here = own_here.map(|(_, who)| (Origin::Tags, *who));
        let others_here = there.iter().map(|e| (e.origin, e.tag.who));
        let whos: Vec<(Origin, Who)> = own_here.chain(others_here).collect();
        problems.extend(conflict(picture, &whos));
        if !std::mem::replace(&mut tagged[index as usize], true) {
            for said in there.iter().filter(|e| e.origin == counts) {
                all.push(index, said.tag.clone());
            }
        }
    }
    Ok(Said { table: all.into_table()?, tagged })
}

/// Sources that see different kinds in one picture; the one that counts stands first.
fn conflict(picture: &Picture, whos: &[(Origin, Who)]) -> Option<Problem> {
    let kinds = |origin: Origin| -> Vec<&str> {
        let here = whos.iter().filter(|(o, _)| *o == origin);
        let mut kinds: Vec<&str> = here.map(|(_, who)| who.word()).collect();
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    };
    let counts = whos.first()?.0;
    let says = |origin: Origin| format!("{} {}", origin.says(), kinds(origin).join(" and "));
    let mut others: Vec<Origin> = whos.iter().map(|(origin, _)| *origin).collect();
    others.dedup();
    others.retain(|origin| kinds(*origin) != kinds(counts));
    let others: Vec<String> = others.into_iter().map(says).collect();
    (!others.is_empty()).then(|| {
        Problem::file(
            &picture.path,
            Cause::SourcesDiffer { counts: says(counts), other: others.join(", ") },
        )
    })
}
