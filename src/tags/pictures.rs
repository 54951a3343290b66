//! `tags.csv`, and its join to the pictures that lie on the cards.

use anyhow::Result;
use polars::prelude::*;

use super::find::{Content, Finder, Found};
use super::foreign::{ForeignTag, Origin};
use super::sightings::SeenColumns;
use super::words::seen;
use crate::card::{Crawl, Picture};
use crate::property::{Cause, Headings, Problem, Property, Row, Sheet};

pub(super) use crate::property::TAGS as FILE;
pub(super) const HEADINGS: Headings = Headings {
    required: &["picture", "who"],
    known: &["picture", "who", "count", "age", "name", "note", "content"],
};

/// What counts of all that was said of the pictures.
pub(super) struct Said {
    /// One row a tag: `picture` and what was seen in it.
    pub table: DataFrame,
    pub tagged: Vec<bool>,
}

/// The usable rows of `tags.csv`, each with its picture. Rows that mean no picture become problems.
pub(super) fn read(
    property: &Property,
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<Vec<ForeignTag>> {
    let finder = Finder::of(property, crawl);
    let mut tags = Vec::new();
    let Some(sheet) = Sheet::read(&property.root, FILE, &HEADINGS, problems)? else {
        return Ok(tags);
    };
    sheet.for_each(problems, |row, problems| {
        let Some(tag) = seen(row, FILE, problems) else {
            return;
        };
        match meant(row, &finder) {
            Ok(picture) => tags.push(ForeignTag {
                picture,
                origin: Origin::Tags,
                tag,
            }),
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

/// Of each picture the tags of the source that counts most, `tags.csv` first. Sources that say different
/// things of one picture become problems.
pub(super) fn settled(
    own: Vec<ForeignTag>,
    others: &[ForeignTag],
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Said {
    let mut all = own;
    all.extend(others.iter().cloned());
    all.sort_by_key(|e| (e.picture, e.origin));
    let (mut pictures, mut seen_there) = (Vec::new(), SeenColumns::default());
    let mut tagged = vec![false; crawl.pictures.len()];
    for of_picture in all.chunk_by(|a, b| a.picture == b.picture) {
        let (index, counts) = (of_picture[0].picture, of_picture[0].origin);
        let Some(picture) = crawl.pictures.get(index as usize) else {
            continue;
        };
        tagged[index as usize] = true;
        problems.extend(conflict(picture, of_picture));
        for said in of_picture.iter().filter(|e| e.origin == counts) {
            pictures.push(index);
            seen_there.push(said.tag.clone());
        }
    }
    let mut columns = vec![Column::new("picture".into(), pictures)];
    columns.extend(seen_there.into_columns());
    Said {
        // Columns of one length each make a table.
        table: DataFrame::new_infer_height(columns).unwrap_or_default(),
        tagged,
    }
}

/// Two sources that see different kinds in one picture.
fn conflict(picture: &Picture, of_picture: &[ForeignTag]) -> Option<Problem> {
    let kinds = |origin: Origin| -> Vec<&str> {
        let here = of_picture.iter().filter(|e| e.origin == origin);
        let mut kinds: Vec<&str> = here.map(|e| e.tag.who.word()).collect();
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    };
    let counts = of_picture[0].origin;
    let other = of_picture
        .iter()
        .find(|e| kinds(e.origin) != kinds(counts))?;
    let says = |origin: Origin| format!("{} say {}", origin.word(), kinds(origin).join(" and "));
    Some(Problem::file(
        &picture.path,
        Cause::SourcesDiffer {
            counts: says(counts),
            other: says(other.origin),
        },
    ))
}
