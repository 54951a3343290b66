//! `tags.csv`, and its join to the pictures that lie on the cards.

use anyhow::Result;
use polars::prelude::*;

use super::Columns;
use super::elsewhere::{Elsewhere, Origin};
use super::find::{Content, Finder, Found};
use super::words::seen;
use crate::card::{Crawl, Picture, Stamp};
use crate::property::{Headings, Problem, Property, Row, Sheet};

pub(super) use crate::property::TAGS as FILE;
pub(super) const HEADINGS: Headings = Headings {
    required: &["picture", "who"],
    known: &["picture", "who", "count", "age", "name", "note", "content"],
};

pub(super) struct Joined {
    pub sightings: DataFrame,
    pub tagged: Vec<bool>,
    pub without_time: usize,
}

/// The usable rows of `tags.csv`, each with its picture. Rows that mean no picture become problems.
pub(super) fn read(
    property: &Property,
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Elsewhere>> {
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
            Ok(picture) => tags.push(Elsewhere {
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
    const REMEDY: &str =
        "Write the picture's path below the property, such as cards/Oak/IMG_0001.JPG.";
    let cell = |column: &str, what: String, remedy: &str| {
        Problem::cell(FILE, row.line, column, what, remedy)
    };
    let Some(path) = row.some("picture") else {
        let what = "no picture is named, so the row was left out.".to_owned();
        return Err(cell("picture", what, REMEDY));
    };
    let content = match row.some("content").map(Content::parse) {
        None => None,
        Some(Some(content)) => Some(content),
        Some(None) => {
            let what = "this is not a picture's hash, so the row was left out.";
            return Err(cell(
                "content",
                what.to_owned(),
                "Leave it empty if you do not know it.",
            ));
        }
    };
    match finder.find(path, content) {
        Found::Picture(picture) => Ok(picture),
        Found::Unknown => Err(cell(
            "picture",
            format!(
                "\"{path}\" matches no picture on the cards, or more than one, so the row was left out."
            ),
            REMEDY,
        )),
        Found::Gone => Err(cell(
            "picture",
            format!(
                "the picture of this tag, \"{path}\", is not on the cards any more, so the row was left out."
            ),
            "Put the picture back; under another name or in another folder it is found too.",
        )),
        Found::NamedAnew => Err(cell(
            "picture",
            format!(
                "the picture of this tag is not on the cards any more, and another picture is called \"{path}\" now, so the row was left out."
            ),
            "Put the picture back; under another name or in another folder it is found too.",
        )),
    }
}

/// Joins tags to pictures, those of `tags.csv` first. Sources that say different things of one picture
/// become problems.
pub(super) fn join(
    own: Vec<Elsewhere>,
    others: &[Elsewhere],
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<Joined> {
    let mut all = own;
    all.extend(others.iter().cloned());
    all.sort_by_key(|e| (e.picture, e.origin));
    let mut columns = Columns::default();
    let (mut tagged, mut without_time) = (vec![false; crawl.pictures.len()], 0);
    for of_picture in all.chunk_by(|a, b| a.picture == b.picture) {
        let Some(picture) = crawl.pictures.get(of_picture[0].picture as usize) else {
            continue;
        };
        tagged[of_picture[0].picture as usize] = true;
        let counts = |e: &&Elsewhere| e.origin == of_picture[0].origin;
        problems.extend(conflict(picture, of_picture));
        for tag in of_picture.iter().filter(counts) {
            match &picture.time {
                Ok(stamp) => columns.add(picture, *stamp, tag),
                Err(_) => without_time += 1,
            }
        }
    }
    Ok(Joined {
        tagged,
        without_time,
        sightings: columns.into_table()?,
    })
}

/// Two sources that see different kinds in one picture.
fn conflict(picture: &Picture, of_picture: &[Elsewhere]) -> Option<Problem> {
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
        format!(
            "{}, and {}; the first counts.",
            says(counts),
            says(other.origin)
        ),
        "Look at the picture and put one of them right.",
    ))
}

impl Columns {
    fn add(&mut self, picture: &Picture, stamp: Stamp, seen: &Elsewhere) {
        let shown = stamp.time.shown().and_utc();
        let offset_s = stamp.offset.map(|o| i64::from(o.local_minus_utc()));
        self.camera.push(picture.camera.clone());
        self.picture.push(Some(seen.picture));
        self.camera_time.push(shown.timestamp_millis());
        self.offset_s.push(offset_s);
        self.who.push(seen.tag.who.word());
        self.count.push(seen.tag.count);
        self.age.push(seen.tag.age);
        self.name.push(seen.tag.name.clone());
        self.origin.push(seen.origin.word());
    }
}
