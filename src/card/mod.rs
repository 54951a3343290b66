//! What lies on the cards: every picture found, its header read, its time and camera known.
//!
//! Of a still only the first 16 kilobytes and the rest of its EXIF block are read, and the last two, of a clip the
//! boxes around its time; files are never opened for writing. Nothing that is found stops the crawl: what cannot be
//! used is kept with its reason.

mod container;
mod decode;
mod descriptions;
pub mod difference;
mod duplicates;
pub mod frame;
mod glance;
mod header;
mod look;
mod maker_note;
mod memory;
mod memory_table;
mod name_time;
mod names;
mod picture;
mod place;
mod readings;
mod shade;
mod shrink;
mod stamp;
mod structure;
mod table;
mod time;
mod walk;
mod xmp_time;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Result;
use chrono::NaiveDate;
use indicatif::ProgressBar;
use rayon::prelude::*;

pub use container::read_container;
pub use decode::{PIXELS_MAX, decode_scaled, decode_small, pixels_claimed, thumbnail};
pub use descriptions::{Packets, read_packets};
pub use duplicates::is_same_picture;
pub use glance::Glance;
pub use header::{HEAD_LIMIT, Header, ends_of, read_header};
pub use look::{camera_folders, is_named_like_a_picture, is_season, kind_not_read};
pub use memory::Memory;
pub use names::{before_numbering, file_number};
pub use picture::{Body, LightFacts, Picture, Stamp, TimeOrigin, Unreadable, Untimed};
pub use place::place_of_pictures;
pub use shade::{Shade, shade_of};
pub use shrink::{Small, box_as_held, shrunk};
pub use structure::{Damage, Structure};
pub use time::CameraTime;
pub use walk::{INCOMING, ODD, shown};

use self::picture::Shared;
use self::readings::Readings;
use crate::files::FileState;
use crate::property::{Cause, Problem, Property};

/// Everything a crawl of `cards/` found.
#[derive(Debug, Default)]
pub struct Crawl {
    /// Readable pictures in order of their path, copies left out.
    pub pictures: Vec<Picture>,
    /// Files that should be pictures and are not, with the reason.
    pub unreadable: Vec<(String, Unreadable)>,
    /// Copies: the file set aside, and the file it is a copy of.
    pub duplicates: Vec<(String, String)>,
    /// Files that are one picture with another, and have other bytes: the file set aside, and the one
    /// that counts.
    pub twins: Vec<(String, String)>,
    /// Files that are neither: text, system files.
    pub other_files: usize,
    /// Pictures and clips among them of kinds that are not read, by their ending.
    pub not_read: BTreeMap<String, usize>,
    /// The `.xmp` files among them, in which photo managers keep keywords.
    pub side_files: Vec<PathBuf>,
    /// Folders and links that could not be followed.
    pub problems: Vec<Problem>,
    /// What is remembered of the files from one run to the next.
    pub memory: Arc<Memory>,
    /// The places of pictures whose names are no text.
    odd: Vec<u32>,
}

impl Crawl {
    /// Takes in what the headers say: what pictures have in common is held once, times in names are settled, copies and
    /// twins set aside.
    fn take_in(&mut self, property: &Property, mut pictures: Vec<Picture>, today: NaiveDate) {
        let (mut cameras, mut bodies) = (Shared::none(), Shared::none());
        for picture in &mut pictures {
            picture.camera = cameras.one(picture.camera.clone());
            picture.body = bodies.one(picture.body.clone());
        }
        name_time::settle(&mut pictures, property.settings.date_order, today);
        let (pictures, duplicates) = duplicates::set_aside(&property.root, pictures);
        let (pictures, twins) = duplicates::set_twins_aside(&property.root, pictures);
        (self.pictures, self.duplicates, self.twins) = (pictures, duplicates, twins);
        self.odd = odd_places(&self.pictures);
    }

    /// Some of the pictures by themselves.
    #[must_use]
    pub fn only(&self, is_wanted: impl Fn(&Picture) -> bool) -> Self {
        let wanted = self.pictures.iter().filter(|p| is_wanted(p));
        let pictures: Vec<Picture> = wanted.cloned().collect();
        Self {
            odd: odd_places(&pictures),
            pictures,
            memory: Arc::clone(&self.memory),
            ..Self::default()
        }
    }

    /// Tells of twins, of kinds that are not read, of doubtful times and of pictures that lie in no camera's folder.
    fn tell_doubts(&mut self) {
        let twins = self.twins.iter();
        let damaged = twins
            .map(|(aside, kept)| Problem::file(aside, Cause::DamagedTwin { kept: kept.clone() }));
        self.problems.extend(damaged);
        if !self.not_read.is_empty() {
            let kinds = self.not_read.iter().map(|(k, n)| format!("{n} {k}"));
            let kinds = kinds.collect::<Vec<_>>().join(", ");
            let cause = Cause::KindsNotRead { kinds };
            self.problems.push(Problem::file("cards", cause));
        }
        self.problems.extend(doubtful_times(&self.pictures));
        let pictures = self.pictures.iter();
        let pictures = pictures.filter(|p| &*p.camera == look::NO_FOLDER).count();
        if pictures > 0 {
            let cause = Cause::LoosePictures { pictures };
            self.problems.push(Problem::file("cards", cause));
        }
    }

    /// Files that are pictures by content or by name.
    pub fn found(&self) -> usize {
        self.readable() + self.unreadable.len()
    }

    /// Pictures whose header could be read, copies included.
    pub fn readable(&self) -> usize {
        self.pictures.len() + self.duplicates.len() + self.twins.len()
    }

    /// The place of the picture with this path; `None` also where one whose name is no text is written like another.
    pub fn by_path(&self, path: &str) -> Option<u32> {
        let found = place_of(&self.pictures, Path::new(path));
        let found = found.and_then(|place| u32::try_from(place).ok());
        // What is shown of a name that is no text is not what the pictures are in the order of.
        let mut odd = self.odd.iter().copied();
        let odd = odd.find(|place| self.pictures[*place as usize].path == path);
        match (found, odd) {
            (Some(_), Some(_)) => None,
            (found, odd) => found.or(odd),
        }
    }

    /// Video clips among the pictures.
    pub fn clips(&self) -> usize {
        self.pictures.iter().filter(|p| p.clip).count()
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

/// Reads the header of one file. `path` is below `root`; for a file of the property `root` is the
/// property's folder, and the picture's camera follows from its path below `cards/`.
///
/// # Errors
/// Says why a file that is named like a picture is not one. `Ok(None)` is a file of another sort.
pub fn look_at(
    property: &Property,
    root: &Path,
    path: &Path,
    today: NaiveDate,
) -> Result<Option<Picture>, Unreadable> {
    let place = look::Place { property, root, path, today };
    match look::look_at(&place).0 {
        look::Outcome::Picture(picture) => Ok(Some(picture)),
        look::Outcome::Unreadable(_, why) => Err(why),
        look::Outcome::Other(_) => Ok(None),
    }
}

/// The place of the picture that a file is, among pictures in the order of their files.
fn place_of(pictures: &[Picture], file: &Path) -> Option<usize> {
    let order = |p: &Picture| walk::by_parts(p.file(), file);
    pictures.binary_search_by(order).ok()
}

fn odd_places(pictures: &[Picture]) -> Vec<u32> {
    let odd = (0..).zip(pictures).filter(|(_, p)| !p.is_named_in_text());
    odd.map(|(place, _)| place).collect()
}

fn side_files(files: &[PathBuf]) -> Vec<PathBuf> {
    let is_xmp = |f: &&PathBuf| {
        let extension = f.extension();
        extension.is_some_and(|e| e.eq_ignore_ascii_case("xmp"))
    };
    files.iter().filter(is_xmp).cloned().collect()
}

/// Reads the header of every picture below the property's `cards/`, in parallel. Files that are as they were
/// when they were last read are not opened.
///
/// Times before the year 2000 or after the day that follows `today` count as not set.
pub fn crawl(property: &Property, today: NaiveDate, progress: &ProgressBar) -> Crawl {
    let walk = walk::files(&property.root, &property.cards());
    progress.set_length(walk.files.len() as u64);
    let side_files = side_files(&walk.files);
    let mut readings = Readings::of(property, walk.files, today);
    let mut memory = readings.recall(progress);
    readings.read(progress);
    readings.teach(&mut memory);
    let mut crawl =
        Crawl { side_files, problems: walk.problems, memory: Arc::new(memory), ..Crawl::default() };
    // One list becomes the other in its place.
    let pictures = readings.into_outcomes().filter_map(|outcome| match outcome {
        look::Outcome::Picture(picture) => Some(picture),
        look::Outcome::Unreadable(path, why) => {
            crawl.unreadable.push((path, why));
            None
        }
        look::Outcome::Other(kind) => {
            crawl.other_files += 1;
            if let Some(kind) = kind {
                *crawl.not_read.entry(kind).or_default() += 1;
            }
            None
        }
    });
    let mut pictures: Vec<Picture> = pictures.collect();
    pictures.shrink_to_fit();
    crawl.take_in(property, pictures, today);
    crawl.tell_doubts();
    crawl
}

/// The pictures as they were when they were last read, without a look at any file: for a screen that must come
/// at once, and is made sure of by a [`crawl`] right after. `None` where nothing is remembered.
pub fn remembered(property: &Property, today: NaiveDate) -> Option<Crawl> {
    let mut headers = Vec::new();
    let memory = Memory::of(&property.root, |part| headers.extend(part))?;
    if headers.is_empty() {
        return None;
    }
    let placed =
        headers.into_par_iter().map(|(state, picture)| readings::placed(property, &state, picture));
    let mut pictures: Vec<Picture> = placed.collect();
    // They mostly are in order, which a stable sort takes for what it is.
    pictures.sort_by(|a, b| walk::by_parts(a.file(), b.file()));
    let mut crawl = Crawl { memory: Arc::new(memory), ..Crawl::default() };
    crawl.take_in(property, pictures, today);
    Some(crawl)
}

/// A folder and those below it, as they were when they were listed.
pub struct Folders(Vec<(PathBuf, Option<FileState>)>);

impl Folders {
    /// As they are now.
    pub fn below(folder: &Path) -> Self {
        Self(FileState::of_each(walk::folders(folder)))
    }

    /// Whether a file or folder has come or gone: each of the folders is asked, and no file.
    pub fn have_changed(&self) -> bool {
        self.0.iter().any(|(folder, then)| FileState::at(folder) != *then)
    }
}

/// What is to be said of a camera's times as a whole: pictures that carry only the time of their last
/// change, and cameras most of whose pictures carry none.
fn doubtful_times(pictures: &[Picture]) -> Vec<Problem> {
    let mut cameras: BTreeMap<&str, [usize; 4]> = BTreeMap::new();
    for picture in pictures {
        let [all, changed, without, by_file] = cameras.entry(&picture.camera).or_default();
        *all += 1;
        let is_changed = |s: &Stamp| s.origin == TimeOrigin::Changed;
        *changed += usize::from(picture.time.as_ref().is_ok_and(is_changed));
        *without += usize::from(picture.time.is_err());
        let is_by_file = |s: &Stamp| s.origin == TimeOrigin::FileDate;
        *by_file += usize::from(picture.time.as_ref().is_ok_and(is_by_file));
    }
    let mut problems = Vec::new();
    for (camera, [all, changed, without, by_file]) in cameras {
        if by_file > 0 {
            problems.push(Problem::file(
                &format!("cards/{camera}"),
                Cause::TimesOfFiles { clips: by_file },
            ));
        }
        if changed > 0 {
            problems.push(Problem::file(
                &format!("cards/{camera}"),
                Cause::TimesOfChange { changed, all },
            ));
        }
        if without * 2 > all {
            problems
                .push(Problem::file(&format!("cards/{camera}"), Cause::NoTimes { without, all }));
        }
    }
    problems
}
