//! Who is in the picture: `tags.csv` and what other programs wrote joined to the pictures,
//! `sightings.csv` beside them, as one table of sightings that says where each came from.
//!
//! A picture without a tag is counted as untagged and never guessed.

mod book;
mod elsewhere;
mod find;
mod keywords;
mod pictures;
mod sightings;
mod words;

use anyhow::Result;
use chrono::{DateTime, FixedOffset, NaiveDate, Utc};
use polars::prelude::*;

pub use book::{Opened, TagBook};
pub use elsewhere::{Elsewhere, Origin, elsewhere};
pub use words::{Tag, Who};

use crate::card::{CameraTime, Crawl};
use crate::property::{Problem, Property, ensure_usable};

/// Who was seen, from every source.
#[derive(Debug)]
pub struct Tagged {
    /// One row a sighting; read it with [`rows`].
    pub sightings: DataFrame,
    /// For every picture of the crawl, whether it has a usable tag.
    pub tagged: Vec<bool>,
    /// Tags on pictures that have no usable time, so that they cannot be counted anywhere.
    pub without_time: usize,
    /// Rows that could not be used.
    pub problems: Vec<Problem>,
}

/// Reads `tags.csv`, what other programs wrote, and `sightings.csv`, and joins all but the last to
/// the pictures. Where `tags.csv` is silent on a picture another source counts.
///
/// # Errors
/// When one of the files cannot be read or lacks a column it needs.
pub fn read(property: &Property, crawl: &Crawl, today: NaiveDate) -> Result<Tagged> {
    let mut problems = Vec::new();
    let tags = pictures::read(property, crawl, &mut problems)?;
    let others = elsewhere(property, crawl, &mut problems)?;
    let joined = pictures::join(tags, &others, crawl, &mut problems)?;
    let mut sightings = joined.sightings;
    if let Some(rows) = sightings::read(property, today, &mut problems)? {
        sightings.vstack_mut(&rows)?;
    }
    Ok(Tagged {
        sightings,
        tagged: joined.tagged,
        without_time: joined.without_time,
        problems,
    })
}

impl Tagged {
    /// Whether every table of tags has a row that can be used.
    ///
    /// # Errors
    /// Names the first table of whose rows none can be used.
    pub fn ensure_usable(&self) -> Result<()> {
        let origins = self.sightings.column("origin")?.str()?;
        let is_empty = |word: &str| !origins.iter().flatten().any(|o| o == word);
        [pictures::FILE, sightings::FILE]
            .into_iter()
            .filter(|file| self.without_time == 0 || *file != pictures::FILE)
            .try_for_each(|file| ensure_usable(file, is_empty(file), &self.problems))
    }

    /// Pictures with at least one usable tag.
    pub fn pictures(&self) -> usize {
        self.tagged.iter().filter(|t| **t).count()
    }
}

/// One row of the sightings table.
#[derive(Debug, Clone, Copy)]
pub struct SightingRow<'a> {
    /// The camera's name.
    pub camera: &'a str,
    /// The picture it was seen in; `None` for a row that came without one.
    pub picture: Option<u32>,
    /// What the camera's clock showed.
    pub time: CameraTime,
    /// The clock's offset, where the source gives it.
    pub offset: Option<FixedOffset>,
    /// Who.
    pub who: Who,
    /// How many.
    pub count: u32,
    /// Years, where known.
    pub age: Option<f64>,
    /// The known individual.
    pub name: Option<&'a str>,
}

/// Columns in the making, turned into a table at the end.
#[derive(Default)]
struct Columns {
    camera: Vec<String>,
    picture: Vec<Option<u32>>,
    camera_time: Vec<i64>,
    offset_s: Vec<Option<i64>>,
    who: Vec<&'static str>,
    count: Vec<u32>,
    age: Vec<Option<f64>>,
    name: Vec<Option<String>>,
    origin: Vec<&'static str>,
}

impl Columns {
    fn into_table(self) -> Result<DataFrame> {
        Ok(df!(
            "camera" => self.camera,
            "picture" => self.picture,
            "camera_time" => self.camera_time,
            "offset_s" => self.offset_s,
            "who" => self.who,
            "count" => self.count,
            "age" => self.age,
            "name" => self.name,
            "origin" => self.origin,
        )?)
    }
}

/// Calls `each` for every row of the sightings table, in its order.
///
/// # Errors
/// When the table lacks one of its columns.
pub fn rows(table: &DataFrame, mut each: impl FnMut(SightingRow<'_>)) -> Result<()> {
    let camera = table.column("camera")?.str()?;
    let picture = table.column("picture")?.u32()?;
    let time = table.column("camera_time")?.i64()?;
    let offset = table.column("offset_s")?.i64()?;
    let who = table.column("who")?.str()?;
    let count = table.column("count")?.u32()?;
    let age = table.column("age")?.f64()?;
    let name = table.column("name")?.str()?;
    let shared = time
        .iter()
        .zip(offset.iter())
        .zip(count.iter())
        .zip(age.iter());
    let texts = camera.iter().zip(who.iter()).zip(name.iter());
    for (((((time, offset), count), age), picture), ((camera, who), name)) in
        shared.zip(picture.iter()).zip(texts)
    {
        let (Some(camera), Some(time), Some(who)) = (
            camera,
            time.and_then(DateTime::<Utc>::from_timestamp_millis),
            who.and_then(Who::parse),
        ) else {
            continue;
        };
        each(SightingRow {
            camera,
            picture,
            time: CameraTime::new(time.naive_utc()),
            offset: offset.and_then(|s| FixedOffset::east_opt(s as i32)),
            who,
            count: count.unwrap_or(1),
            age,
            name,
        });
    }
    Ok(())
}
