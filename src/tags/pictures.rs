//! `tags.csv`, and its join to the pictures that lie on the cards.

use std::collections::HashMap;

use anyhow::Result;
use polars::prelude::*;

use super::Columns;
use super::words::{Seen, Who, seen};
use crate::card::Crawl;
use crate::property::{Problem, Property, Sheet};

const FILE: &str = "tags.csv";
const COLUMNS: [&str; 6] = ["picture", "who", "count", "age", "name", "note"];

pub(super) struct Joined {
    pub sightings: DataFrame,
    pub tagged: Vec<bool>,
    pub without_time: usize,
}

/// The usable rows of `tags.csv`, with the `key` that finds their picture.
pub(super) fn read(property: &Property, problems: &mut Vec<Problem>) -> Result<DataFrame> {
    let (mut picture, mut key, mut line) = (Vec::new(), Vec::new(), Vec::new());
    let (mut who, mut count, mut age, mut name) = (vec![], vec![], vec![], vec![]);
    if let Some(sheet) = Sheet::read(
        &property.root,
        FILE,
        &["picture", "who"],
        &COLUMNS,
        problems,
    )? {
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
                let Seen {
                    who: w,
                    count: c,
                    age: a,
                    name: n,
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
fn key_of(path: &str) -> String {
    let path = path.trim().replace('\\', "/").to_lowercase();
    path.trim_start_matches("./").to_owned()
}

/// Every way to name a picture that fits exactly one: its path below the property, the path below
/// `cards/`, camera folder and file name, or the file name alone.
fn keys(crawl: &Crawl) -> Result<DataFrame> {
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
    let (key, picture): (Vec<String>, Vec<u32>) = owners
        .into_iter()
        .filter_map(|(key, owner)| Some((key, owner?)))
        .unzip();
    Ok(df!("key" => key, "index" => picture)?)
}

/// Joins tags to pictures. Tags that match no picture become problems.
pub(super) fn join(tags: DataFrame, crawl: &Crawl, problems: &mut Vec<Problem>) -> Result<Joined> {
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
    let timed = place(&matched, crawl)?;
    Ok(Joined {
        tagged: tagged(&matched, crawl)?,
        without_time: matched.height() - timed.height(),
        sightings: timed,
    })
}

fn tagged(matched: &DataFrame, crawl: &Crawl) -> Result<Vec<bool>> {
    let mut tagged = vec![false; crawl.pictures.len()];
    for index in matched.column("index")?.u32()?.iter().flatten() {
        tagged[index as usize] = true;
    }
    Ok(tagged)
}

/// Puts each matched tag at its picture's camera and time.
fn place(matched: &DataFrame, crawl: &Crawl) -> Result<DataFrame> {
    let mut columns = Columns::default();
    let index = matched.column("index")?.u32()?;
    let who = matched.column("who")?.str()?;
    let count = matched.column("count")?.u32()?;
    let age = matched.column("age")?.f64()?;
    let name = matched.column("name")?.str()?;
    for row in 0..matched.height() {
        let picture = index.get(row).and_then(|i| crawl.pictures.get(i as usize));
        let (Some(picture), Some(who)) = (picture, who.get(row).and_then(Who::parse)) else {
            continue;
        };
        let Ok(stamp) = picture.time else { continue };
        columns.camera.push(picture.camera.clone());
        columns.picture.push(index.get(row));
        columns
            .camera_time
            .push(stamp.time.shown().and_utc().timestamp_millis());
        columns
            .offset_s
            .push(stamp.offset.map(|o| i64::from(o.local_minus_utc())));
        columns.who.push(who.word());
        columns.count.push(count.get(row).unwrap_or(1));
        columns.age.push(age.get(row));
        columns.name.push(name.get(row).map(str::to_owned));
    }
    columns.into_table()
}
