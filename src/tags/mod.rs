//! Who is in the picture: `tags.csv` and what other programs wrote joined to the pictures,
//! `sightings.csv` beside them, as one table of sightings that says where each came from.
//!
//! A picture without a tag is counted as untagged and never guessed.

mod book;
mod find;
mod foreign;
mod journal;
mod keywords;
mod known;
mod pictures;
mod rows;
mod sightings;
mod words;

use anyhow::Result;
use chrono::NaiveDate;
use polars::prelude::*;

pub use book::{Opened, TagBook, tag_in};
pub use foreign::{ForeignTag, Origin, foreign_tags};
pub use journal::{Change, Entry, JOURNAL, Journal, Kept, PictureRows};
pub use sightings::{NumberedRows, Sighting, Sightings};
pub use words::{COUNT_MAX, Tag, Who};

use crate::card::Crawl;
use crate::clock::Timeline;
use crate::property::{Problem, Property, ensure_usable};

/// Who was seen, from every source.
#[derive(Debug)]
pub struct Tagged {
    /// One row a sighting.
    pub sightings: Sightings,
    /// For every picture of the crawl, whether it has a usable tag.
    pub tagged: Vec<bool>,
    /// Tags on pictures that have no usable time, so that they cannot be counted anywhere.
    pub without_time: usize,
    /// Rows that could not be used.
    pub problems: Vec<Problem>,
    /// Usable rows of `tags.csv`, and of `sightings.csv`.
    usable: [usize; 2],
}

/// Whether so few of some pictures lack a tag that rates can be told of them: what is not tagged would look like
/// deer that stayed away.
pub fn few_untagged(untagged: usize, of: usize) -> bool {
    const AT_MOST: f64 = 0.1;
    untagged as f64 <= AT_MOST * of as f64
}

/// Reads `tags.csv`, what other programs wrote, and `sightings.csv`. All but the last are joined to the
/// pictures' timeline; where `tags.csv` is silent on a picture another source counts.
///
/// # Errors
/// When one of the files cannot be read or lacks a column it needs.
pub fn read(
    property: &Property,
    crawl: &Crawl,
    timeline: &Timeline,
    today: NaiveDate,
) -> Result<Tagged> {
    let mut problems = Vec::new();
    let own = pictures::read(property, crawl, &mut problems)?;
    let others = foreign_tags(property, crawl, &mut problems)?;
    let usable = own.len();
    let said = pictures::settled(own, &others, crawl, &mut problems)?;
    let mut sightings = timed(&said.table, &timeline.table, crawl.pictures.len())?;
    let without_time = said.table.height() - sightings.height();
    let mut cameras = timeline.cameras.clone();
    let mut without_picture = 0;
    if let Some(rows) = rows::read(property, &mut cameras, today, &mut problems)? {
        without_picture = rows.height();
        sightings.vstack_mut(&rows)?;
    }
    sightings.rechunk_mut();
    known::settle(&mut sightings, &property.deer)?;
    Ok(Tagged {
        sightings: Sightings { cameras, table: sightings },
        tagged: said.tagged,
        without_time,
        problems,
        usable: [usable, without_picture],
    })
}

/// The tags on pictures whose time is known, with that time; both tables have at most one row a picture number, or are
/// in its order.
fn timed(tags: &DataFrame, timeline: &DataFrame, pictures: usize) -> Result<DataFrame> {
    let mut row_of: Vec<Option<IdxSize>> = vec![None; pictures];
    for (row, picture) in (0..).zip(timeline.column("picture")?.u32()?.iter()) {
        if let Some(picture) = picture {
            row_of[picture as usize] = Some(row);
        }
    }
    let of_tags = tags.column("picture")?.u32()?.iter();
    let row_of = |picture: Option<u32>| *row_of.get(picture? as usize)?;
    let both = (0..).zip(of_tags);
    let rows = both.filter_map(|(row, picture)| Some((row, row_of(picture)?)));
    let (tagged, times): (Vec<IdxSize>, Vec<IdxSize>) = rows.unzip();
    let rows = |table: &DataFrame, numbers| table.take(&IdxCa::from_vec("row".into(), numbers));
    let mut all = rows(timeline, times)?;
    all.hstack_mut(rows(&tags.drop("picture")?, tagged)?.columns())?;
    Ok(all.select(sightings::COLUMNS)?)
}

impl Tagged {
    /// Whether every table of tags has a row that can be used.
    ///
    /// # Errors
    /// Names the first table of whose rows none can be used.
    pub fn ensure_usable(&self) -> Result<()> {
        let [own, without_picture] = self.usable;
        ensure_usable(pictures::FILE, own == 0, &self.problems)?;
        ensure_usable(rows::FILE, without_picture == 0, &self.problems)
    }

    /// Pictures with at least one usable tag.
    pub fn pictures(&self) -> usize {
        self.tagged.iter().filter(|t| **t).count()
    }
}
