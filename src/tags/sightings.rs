//! The table of sightings: who was seen, where and when, from every source.

use anyhow::Result;
use polars::prelude::*;

use super::words::{Tag, Who};
use crate::clock::{CameraCodes, LocalTime};

/// Who was seen.
#[derive(Debug, Clone)]
pub struct Sightings {
    /// The cameras by their codes: those of the timeline, and those that only `sightings.csv` names.
    pub cameras: CameraCodes,
    /// One row a sighting. Columns: those of [`crate::clock::Timeline::table`], of which `picture` is null
    /// for a row that came without one; `who` (`u32`, its place in [`Who::ALL`]), `count` (`u32`), `age`
    /// (`f64`, years, null where nobody knows), and `name` (null where it has none).
    pub table: DataFrame,
}

/// The table's columns, in order.
pub(super) const COLUMNS: [&str; 9] = [
    "picture", "camera", "utc_ms", "offset_s", "day", "who", "count", "age", "name",
];

/// One row of the sightings table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sighting<'a> {
    /// The camera's code.
    pub camera: u32,
    /// The picture it was seen in; `None` for a row that came without one.
    pub picture: Option<u32>,
    /// When.
    pub time: LocalTime,
    /// Who.
    pub who: Who,
    /// How many.
    pub count: u32,
    /// Years, where known.
    pub age: Option<f64>,
    /// The known individual.
    pub name: Option<&'a str>,
}

impl Sightings {
    /// The rows, in the table's order.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn rows(&self) -> Result<impl Iterator<Item = Sighting<'_>>> {
        let picture = self.table.column("picture")?.u32()?;
        let camera = self.table.column("camera")?.u32()?;
        let utc_ms = self.table.column("utc_ms")?.i64()?;
        let offset_s = self.table.column("offset_s")?.i32()?;
        let who = self.table.column("who")?.u32()?;
        let count = self.table.column("count")?.u32()?;
        let age = self.table.column("age")?.f64()?;
        let name = self.table.column("name")?.str()?;
        let places = picture.iter().zip(camera.iter());
        let times = utc_ms.iter().zip(offset_s.iter());
        let seen = who
            .iter()
            .zip(count.iter())
            .zip(age.iter().zip(name.iter()));
        let rows = places.zip(times).zip(seen);
        Ok(rows.filter_map(
            |(((picture, camera), (utc_ms, offset_s)), ((who, count), (age, name)))| {
                Some(Sighting {
                    camera: camera?,
                    picture,
                    time: LocalTime::new(utc_ms?, offset_s?),
                    who: *Who::ALL.get(who? as usize)?,
                    count: count?,
                    age,
                    name,
                })
            },
        ))
    }
}

/// The columns of what was seen in the making.
#[derive(Default)]
pub(super) struct SeenColumns {
    who: Vec<u32>,
    count: Vec<u32>,
    age: Vec<Option<f64>>,
    /// Few are of a known individual: the row, and its name.
    names: Vec<(usize, String)>,
}

impl SeenColumns {
    pub fn push(&mut self, tag: Tag) {
        if let Some(name) = tag.name {
            self.names.push((self.who.len(), name));
        }
        self.who.push(tag.who as u32);
        self.count.push(tag.count);
        self.age.push(tag.age);
    }

    pub fn into_columns(self) -> Vec<Column> {
        let mut named = self.names.iter().peekable();
        let name = |row: usize| Some(named.next_if(|(at, _)| *at == row)?.1.as_str());
        let names: StringChunked = (0..self.who.len()).map(name).collect();
        vec![
            Column::new("who".into(), self.who),
            Column::new("count".into(), self.count),
            Column::new("age".into(), self.age),
            names.with_name("name".into()).into_column(),
        ]
    }
}
