//! What lies on the cards: every picture found, its header read, its time and camera known.
//!
//! Only the first bytes of each file, up to the end of its EXIF block, and the last two kilobytes
//! are read; files are never opened for writing. Nothing that is found stops the crawl: what
//! cannot be used is kept with its reason.

mod duplicates;
mod header;
mod picture;
mod table;
mod time;
mod walk;

use anyhow::Result;
use chrono::NaiveDate;
use indicatif::ProgressBar;
use rayon::prelude::*;

pub use header::{HEAD_LIMIT, Header, read_header};
pub use picture::{Picture, Stamp, TimeOrigin, Unreadable, Untimed};
pub use time::CameraTime;

use crate::property::{Problem, Property};

/// Everything a crawl of `cards/` found.
#[derive(Debug, Default)]
pub struct Crawl {
    /// Readable pictures in order of their path, copies left out.
    pub pictures: Vec<Picture>,
    /// Files that should be pictures and are not, with the reason.
    pub unreadable: Vec<(String, Unreadable)>,
    /// Copies: the file set aside, and the file it is a copy of.
    pub duplicates: Vec<(String, String)>,
    /// Video clips, which are counted and not read.
    pub clips: Vec<String>,
    /// Files that are neither: text, system files.
    pub other_files: usize,
    /// Folders and links that could not be followed.
    pub problems: Vec<Problem>,
}

impl Crawl {
    /// Files that are pictures by content or by name.
    pub fn found(&self) -> usize {
        self.pictures.len() + self.duplicates.len() + self.unreadable.len()
    }

    /// Pictures whose header could be read, copies included.
    pub fn readable(&self) -> usize {
        self.pictures.len() + self.duplicates.len()
    }

    /// Pictures with a usable time, copies left out.
    pub fn timed(&self) -> usize {
        self.pictures.iter().filter(|p| p.time.is_ok()).count()
    }

    /// The pictures as a table.
    ///
    /// # Errors
    /// Only when memory for the columns cannot be had.
    pub fn table(&self) -> Result<polars::prelude::DataFrame> {
        table::pictures(&self.pictures)
    }
}

/// Reads the header of every picture below the property's `cards/`, in parallel.
///
/// Times before the year 2000 or after the day that follows `today` count as not set.
pub fn crawl(property: &Property, today: NaiveDate, progress: &ProgressBar) -> Crawl {
    let walk = walk::files(&property.root, &property.cards());
    progress.set_length(walk.files.len() as u64);
    let read: Vec<walk::Outcome> = walk
        .files
        .par_iter()
        .map(|file| {
            let outcome = walk::look_at(property, file, today);
            progress.inc(1);
            outcome
        })
        .collect();
    let mut crawl = Crawl {
        problems: walk.problems,
        ..Crawl::default()
    };
    let mut pictures = Vec::new();
    for outcome in read {
        match outcome {
            walk::Outcome::Picture(picture) => pictures.push(*picture),
            walk::Outcome::Unreadable(path, why) => crawl.unreadable.push((path, why)),
            walk::Outcome::Clip(path) => crawl.clips.push(path),
            walk::Outcome::Other => crawl.other_files += 1,
        }
    }
    (crawl.pictures, crawl.duplicates) = duplicates::set_aside(&property.root, pictures);
    let loose = crawl
        .pictures
        .iter()
        .filter(|p| p.camera == walk::NO_FOLDER);
    let loose = loose.count();
    if loose > 0 {
        crawl.problems.push(Problem::file(
            "cards",
            format!("{loose} pictures lie in no camera's folder, so nobody knows which camera took them."),
            "Make a folder for each camera in cards and put its pictures there.",
        ));
    }
    crawl
}
