//! `tags.csv`, and its join to the pictures that lie on the cards.

use std::collections::HashMap;

use anyhow::Result;
use polars::prelude::*;

use super::Columns;
use super::elsewhere::{Elsewhere, Origin};
use super::words::{Tag, Who, seen};
use crate::card::{Crawl, Picture, Stamp};
use crate::property::{Headings, Problem, Property, Sheet};

pub(super) const FILE: &str = "tags.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["picture", "who"],
    known: &["picture", "who", "count", "age", "name", "note"],
};

pub(super) struct Joined {
    pub sightings: DataFrame,
    pub tagged: Vec<bool>,
    pub without_time: usize,
}

/// The usable rows of `tags.csv`, with the `key` that finds their picture.
pub(super) fn read(property: &Property, problems: &mut Vec<Problem>) -> Result<DataFrame> {
    let (mut picture, mut key, mut line) = (Vec::new(), Vec::new(), Vec::new());
    let (mut who, mut count, mut age, mut name) = (vec![], vec![], vec![], vec![]);
    if let Some(sheet) = Sheet::read(&property.root, FILE, &HEADINGS, problems)? {
        sheet.for_each(problems, |row, problems| {
            let Some(text) = row.some("picture") else {
                problems.push(Problem::cell(
                    FILE,
                    row.line,
                    "picture",
                    "no picture is named, so the row was left out.",
                    "Write the picture's path below the property, such as cards/Oak/IMG_0001.JPG.",
                ));
                return;
            };
            if let Some(tag) = seen(row, FILE, problems) {
                let Tag {
                    who: w,
                    count: c,
                    age: a,
                    name: n,
                    ..
                } = tag;
                picture.push(text.to_owned());
                key.push(key_of(text));
                line.push(row.line);
                who.push(w.word());
                count.push(c);
                age.push(a);
                name.push(n);
            }
        });
    }
    Ok(df!(
        "picture" => picture,
        "key" => key,
        "line" => line,
        "who" => who,
        "count" => count,
        "age" => age,
        "name" => name,
    )?)
}

/// Paths are compared without regard to capitals and with either slash, as memory cards do.
pub(super) fn key_of(path: &str) -> String {
    let path = path.trim().replace('\\', "/").to_lowercase();
    path.trim_start_matches("./").to_owned()
}

/// Every way to name a picture that fits exactly one: its path below the property, the path below
/// `cards/`, camera folder and file name, or the file name alone.
pub(super) fn every_name(crawl: &Crawl) -> HashMap<String, u32> {
    let mut owners: HashMap<String, Option<u32>> = HashMap::new();
    let mut claim = |key: String, picture: u32| {
        owners
            .entry(key)
            .and_modify(|owner| {
                if *owner != Some(picture) {
                    *owner = None;
                }
            })
            .or_insert(Some(picture));
    };
    let index: HashMap<&str, u32> = crawl
        .pictures
        .iter()
        .zip(0..)
        .map(|(p, i)| (p.path.as_str(), i))
        .collect();
    let copies = crawl
        .duplicates
        .iter()
        .filter_map(|(copy, original)| Some((copy.as_str(), *index.get(original.as_str())?)));
    for (path, picture) in index.iter().map(|(p, i)| (*p, *i)).chain(copies) {
        let full = key_of(path);
        let below = full.strip_prefix("cards/").unwrap_or(&full).to_owned();
        let name = full.rsplit('/').next().unwrap_or(&full).to_owned();
        let folder = below.split('/').next().unwrap_or("");
        let mut forms = vec![format!("{folder}/{name}"), name, below, full];
        forms.sort();
        forms.dedup();
        for form in forms {
            claim(form, picture);
        }
    }
    owners
        .into_iter()
        .filter_map(|(key, owner)| Some((key, owner?)))
        .collect()
}

fn keys(crawl: &Crawl) -> Result<DataFrame> {
    let (key, picture): (Vec<String>, Vec<u32>) = every_name(crawl).into_iter().unzip();
    Ok(df!("key" => key, "index" => picture)?)
}

/// Joins tags to pictures. Tags that match no picture become problems, and so do sources that say
/// different things of one picture.
pub(super) fn join(
    tags: DataFrame,
    others: &[Elsewhere],
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<Joined> {
    let joined = tags
        .join(
            &keys(crawl)?,
            ["key"],
            ["key"],
            JoinArgs::new(JoinType::Left),
            None,
        )?
        .sort(["line"], SortMultipleOptions::default())?;
    let index = joined.column("index")?.u32()?;
    let line = joined.column("line")?.u64()?;
    let texts = joined.column("picture")?.str()?;
    for ((index, line), text) in index.iter().zip(line.iter()).zip(texts.iter()) {
        if index.is_none() {
            problems.push(Problem::cell(
                FILE,
                line.unwrap_or(0),
                "picture",
                format!(
                    "\"{}\" matches no picture on the cards, or more than one, so the row was left out.",
                    text.unwrap_or("")
                ),
                "Write the picture's path below the property, such as cards/Oak/IMG_0001.JPG.",
            ));
        }
    }
    let matched = joined.filter(&index.is_not_null())?;
    let mut all: Vec<Elsewhere> = own(&matched)?;
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

/// The rows of `tags.csv` that were matched to a picture, in the file's order.
fn own(matched: &DataFrame) -> Result<Vec<Elsewhere>> {
    let index = matched.column("index")?.u32()?;
    let who = matched.column("who")?.str()?;
    let count = matched.column("count")?.u32()?;
    let age = matched.column("age")?.f64()?;
    let name = matched.column("name")?.str()?;
    let of_row = |row: usize| {
        Some(Elsewhere {
            picture: index.get(row)?,
            origin: Origin::Tags,
            tag: Tag {
                count: count.get(row).unwrap_or(1),
                age: age.get(row),
                name: name.get(row).map(str::to_owned),
                ..Tag::of(who.get(row).and_then(Who::parse)?)
            },
        })
    };
    Ok((0..matched.height()).filter_map(of_row).collect())
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
