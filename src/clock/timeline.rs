//! The pictures in time: one row a picture, made once. Later floors join to it and add columns; none works
//! out a time again.

use std::collections::HashMap;

use anyhow::Result;
use chrono::NaiveDate;
use polars::prelude::*;

use super::{Clocks, LocalTime};
use crate::card::Crawl;
use crate::property::Property;

/// Cameras by their code, whatever the capitals: those of `cameras.csv` first, in its order, then the
/// others as they come.
#[derive(Debug, Clone, Default)]
pub struct CameraCodes {
    names: Vec<String>,
    codes: HashMap<String, u32>,
}

impl CameraCodes {
    /// The cameras that `cameras.csv` lists.
    pub fn of(property: &Property) -> Self {
        let mut codes = Self::default();
        for placement in &property.placements {
            codes.code(&placement.camera);
        }
        codes
    }

    /// A camera's code; a new one for a camera that is not known yet.
    pub fn code(&mut self, name: &str) -> u32 {
        if let Some(code) = self.codes.get(name) {
            return *code;
        }
        let key = name.to_lowercase();
        let code = self.codes.get(&key).copied().unwrap_or_else(|| {
            self.names.push(name.to_owned());
            self.names.len() as u32 - 1
        });
        self.codes.insert(key, code);
        self.codes.insert(name.to_owned(), code);
        code
    }

    /// The cameras' names, in the order of their codes.
    pub fn names(&self) -> &[String] {
        &self.names
    }
}

/// The pictures that have a usable time.
#[derive(Debug, Clone)]
pub struct Timeline {
    /// The property's cameras.
    pub cameras: CameraCodes,
    /// Columns: `picture` (`u32`, its place in the crawl), `camera` (`u32`, its code), `utc_ms` (`i64`,
    /// milliseconds since 1970), `offset_s` (`i32`, the wall clock's distance from UTC, east positive) and
    /// `day` (`i32`, days from 1970-01-01 to the local date).
    pub table: DataFrame,
}

impl Timeline {
    /// Reads every picture's clock.
    ///
    /// # Errors
    /// Only when memory for the columns cannot be had.
    pub fn of(property: &Property, crawl: &Crawl) -> Result<Self> {
        let mut cameras = CameraCodes::of(property);
        let clocks = Clocks::of(property);
        let mut by_code: Vec<_> = Vec::new();
        let mut moments = Moments::default();
        for (picture, index) in crawl.pictures.iter().zip(0..) {
            let camera = cameras.code(&picture.camera);
            let Ok(stamp) = picture.time else { continue };
            while by_code.len() <= camera as usize {
                by_code.push(clocks.of_camera(&cameras.names[by_code.len()]));
            }
            let time = by_code[camera as usize].local(stamp.time, stamp.offset);
            moments.push(Some(index), camera, time);
        }
        Ok(Self { cameras, table: DataFrame::new_infer_height(moments.into_columns())? })
    }

    /// The local dates of each camera's first and last picture, by its code.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn spans(&self) -> Result<Vec<Option<(NaiveDate, NaiveDate)>>> {
        let mut spans: Vec<Option<(i32, i32)>> = vec![None; self.cameras.names.len()];
        let camera = self.table.column("camera")?.u32()?;
        let day = self.table.column("day")?.i32()?;
        for (camera, day) in camera.iter().zip(day.iter()) {
            if let (Some(camera), Some(day)) = (camera, day) {
                let span = &mut spans[camera as usize];
                let (first, last) = span.unwrap_or((day, day));
                *span = Some((first.min(day), last.max(day)));
            }
        }
        let date = NaiveDate::from_epoch_days;
        let dates = |(first, last)| Some((date(first)?, date(last)?));
        Ok(spans.into_iter().map(|span| dates(span?)).collect())
    }

    /// The local time of every picture of the crawl, by its place there.
    ///
    /// # Errors
    /// When the table lacks one of its columns.
    pub fn times(&self, pictures: usize) -> Result<Vec<Option<LocalTime>>> {
        let mut times = vec![None; pictures];
        let picture = self.table.column("picture")?.u32()?;
        let utc_ms = self.table.column("utc_ms")?.i64()?;
        let offset_s = self.table.column("offset_s")?.i32()?;
        let rows = picture.iter().zip(utc_ms.iter()).zip(offset_s.iter());
        for ((picture, utc_ms), offset_s) in rows {
            if let (Some(picture), Some(utc_ms), Some(offset_s)) = (picture, utc_ms, offset_s) {
                times[picture as usize] = Some(LocalTime::new(utc_ms, offset_s));
            }
        }
        Ok(times)
    }
}

/// The columns of moments in the making.
#[derive(Default)]
pub struct Moments {
    picture: Vec<Option<u32>>,
    camera: Vec<u32>,
    utc_ms: Vec<i64>,
    offset_s: Vec<i32>,
    day: Vec<i32>,
}

impl Moments {
    /// Adds one; `None` for a moment without a picture.
    pub fn push(&mut self, picture: Option<u32>, camera: u32, time: LocalTime) {
        self.picture.push(picture);
        self.camera.push(camera);
        self.utc_ms.push(time.utc_ms());
        self.offset_s.push(time.offset().local_minus_utc());
        self.day.push(time.day());
    }

    /// Gives the cameras other codes: the new one stands at the old one's place.
    pub fn recode(&mut self, codes: &[u32]) {
        for camera in &mut self.camera {
            *camera = codes.get(*camera as usize).copied().unwrap_or(*camera);
        }
    }

    /// The columns of [`Timeline::table`].
    pub fn into_columns(self) -> Vec<Column> {
        vec![
            Column::new("picture".into(), self.picture),
            Column::new("camera".into(), self.camera),
            Column::new("utc_ms".into(), self.utc_ms),
            Column::new("offset_s".into(), self.offset_s),
            Column::new("day".into(), self.day),
        ]
    }
}
