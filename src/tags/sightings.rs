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
    /// (`f64`, years, null where nobody knows), `name` and `note` (null where it has none).
    pub table: DataFrame,
}

/// The table's columns, in order.
pub(super) const COLUMNS: [&str; 10] =
    ["picture", "camera", "utc_ms", "offset_s", "day", "who", "count", "age", "name", "note"];

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
    /// What the person wrote beside it.
    pub note: Option<&'a str>,
}

impl Sightings {
    /// The rows, in the table's order.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn rows(&self) -> Result<impl Iterator<Item = Sighting<'_>>> {
        let rows = self.by_number()?;
        Ok((0..self.table.height()).filter_map(move |row| rows.get(row)))
    }

    /// The rows by their numbers, for whoever needs some of them at a time.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn by_number(&self) -> Result<NumberedRows<'_>> {
        let column = |name: &str| self.table.column(name);
        Ok(NumberedRows {
            camera: column("camera")?.u32()?,
            picture: column("picture")?.u32()?,
            utc_ms: column("utc_ms")?.i64()?,
            offset_s: column("offset_s")?.i32()?,
            who: column("who")?.u32()?,
            count: column("count")?.u32()?,
            age: column("age")?.f64()?,
            name: column("name")?.str()?,
            note: column("note")?.str()?,
        })
    }

    /// For every one of so many pictures whether a deer is tagged on it.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn shows_deer(&self, pictures: usize) -> Result<Vec<bool>> {
        let mut shows = vec![false; pictures];
        if pictures > 0 {
            for row in self.rows()?.filter(|r| r.who.is_deer()) {
                if let Some(picture) = row.picture {
                    shows[picture as usize] = true;
                }
            }
        }
        Ok(shows)
    }

    /// The numbers of each camera's rows, by its code.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn numbers_by_camera(&self) -> Result<Vec<Vec<u32>>> {
        let mut numbers = vec![Vec::new(); self.cameras.names().len()];
        for (number, camera) in (0..).zip(self.table.column("camera")?.u32()?.iter()) {
            if let Some(of_camera) = camera.and_then(|c| numbers.get_mut(c as usize)) {
                of_camera.push(number);
            }
        }
        Ok(numbers)
    }
}

/// The table's columns.
#[derive(Clone, Copy)]
pub struct NumberedRows<'a> {
    camera: &'a UInt32Chunked,
    picture: &'a UInt32Chunked,
    utc_ms: &'a Int64Chunked,
    offset_s: &'a Int32Chunked,
    who: &'a UInt32Chunked,
    count: &'a UInt32Chunked,
    age: &'a Float64Chunked,
    name: &'a StringChunked,
    note: &'a StringChunked,
}

impl<'a> NumberedRows<'a> {
    /// The names that any row has, as often as they stand there.
    pub fn names(&self) -> impl Iterator<Item = &'a str> + use<'a> {
        self.name.iter().flatten()
    }

    /// One row; `None` past the last.
    pub fn get(&self, row: usize) -> Option<Sighting<'a>> {
        Some(Sighting {
            camera: self.camera.get(row)?,
            picture: self.picture.get(row),
            time: LocalTime::new(self.utc_ms.get(row)?, self.offset_s.get(row)?),
            who: *Who::ALL.get(self.who.get(row)? as usize)?,
            count: self.count.get(row)?,
            age: self.age.get(row),
            name: self.name.get(row),
            note: self.note.get(row),
        })
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
    /// Few have a note.
    notes: Vec<(usize, String)>,
}

impl SeenColumns {
    pub fn push(&mut self, tag: Tag) {
        if let Some(name) = tag.name {
            self.names.push((self.who.len(), name));
        }
        if let Some(note) = tag.note {
            self.notes.push((self.who.len(), note));
        }
        self.who.push(tag.who as u32);
        self.count.push(tag.count);
        self.age.push(tag.age);
    }

    /// Who was seen, row by row.
    pub fn whos(&self) -> impl Iterator<Item = Who> + '_ {
        self.who.iter().map(|who| Who::ALL[*who as usize])
    }

    pub fn into_columns(self) -> Vec<Column> {
        let rows = self.who.len();
        let column = |name: &str, few: Vec<(usize, String)>| {
            let mut few = few.iter().peekable();
            let cell = |row: usize| Some(few.next_if(|(at, _)| *at == row)?.1.as_str());
            let cells: StringChunked = (0..rows).map(cell).collect();
            cells.with_name(name.into()).into_column()
        };
        let (names, notes) = (column("name", self.names), column("note", self.notes));
        vec![
            Column::new("who".into(), self.who),
            Column::new("count".into(), self.count),
            Column::new("age".into(), self.age),
            names,
            notes,
        ]
    }
}
