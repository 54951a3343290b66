//! What is known of every file that was found: remembered from last time where that still holds, else read now.

use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, Utc};
use indicatif::ProgressBar;
use rayon::prelude::*;

use super::look::{self, Outcome, Place};
use super::memory::is_unchanged;
use super::picture::Shared;
use super::walk::by_parts;
use super::{CameraTime, Memory, Picture, Stamp, TimeOrigin, Untimed};
use crate::files::FileState;
use crate::property::Property;

/// One file.
enum Slot {
    /// Where it lies; nothing else is known yet.
    Path(PathBuf),
    /// What is in it.
    Known(Outcome),
}

impl Slot {
    /// Where it lies, unless it turned out to be neither picture nor clip.
    fn file(&self) -> Option<&Path> {
        match self {
            Self::Path(path) => Some(path),
            Self::Known(Outcome::Picture(picture)) => Some(picture.file()),
            Self::Known(Outcome::Unreadable(name, _)) => Some(Path::new(name)),
            Self::Known(Outcome::Other(_)) => None,
        }
    }
}

/// All files of a crawl, each in its place: what is found out of one takes its path's place, so that no name is held
/// twice.
pub(super) struct Readings<'a> {
    property: &'a Property,
    /// The last day on which a picture can have been taken.
    today: NaiveDate,
    slots: Vec<Slot>,
    /// How many are remembered.
    recalled: usize,
    /// The others in order: their places, and the states that they had before they were opened.
    read: Vec<(usize, FileState)>,
}

impl<'a> Readings<'a> {
    /// Of files in the order of [`by_parts`], below the property.
    pub fn of(property: &'a Property, files: Vec<PathBuf>, today: NaiveDate) -> Self {
        Self {
            property,
            today,
            slots: files.into_iter().map(Slot::Path).collect(),
            recalled: 0,
            read: Vec::new(),
        }
    }

    /// Takes in what is remembered of files that are as they were.
    pub fn recall(&mut self, progress: &ProgressBar) -> Memory {
        let (property, today) = (self.property, self.today);
        let mut cameras = Shared::none();
        let mut next = 0;
        let memory = Memory::of(&property.root, |part| {
            let sure = |(then, picture): (FileState, Picture)| {
                let now = FileState::at(&property.root.join(picture.file()))?;
                let still_holds = is_unchanged(&property.root, (&then, &picture), now)
                    && does_not_depend_on_today(&picture.time, today);
                still_holds.then(|| placed(property, &then, picture))
            };
            let sure: Vec<Option<Picture>> = part.into_par_iter().map(sure).collect();
            for mut picture in sure.into_iter().flatten() {
                picture.camera = cameras.one(picture.camera);
                if let Some(at) = self.place_of(picture.file(), next) {
                    self.slots[at] = Slot::Known(Outcome::Picture(picture));
                    self.recalled += 1;
                    next = at + 1;
                    progress.inc(1);
                }
            }
        });
        memory.unwrap_or_else(|| {
            self.forget();
            progress.set_position(0);
            Memory::none(&property.root)
        })
    }

    /// Where a file stands, most often at `next`.
    fn place_of(&self, file: &Path, next: usize) -> Option<usize> {
        let at_next = self.slots.get(next).and_then(Slot::file);
        if at_next.is_some_and(|f| f.as_os_str() == file.as_os_str()) {
            return Some(next);
        }
        let order = |slot: &Slot| by_parts(slot.file().unwrap_or(Path::new("")), file);
        self.slots.binary_search_by(order).ok()
    }

    fn forget(&mut self) {
        for slot in &mut self.slots {
            if let Some(path) = slot.file() {
                *slot = Slot::Path(path.into());
            }
        }
        self.recalled = 0;
    }

    /// Opens the files that are not known yet.
    pub fn read(&mut self, progress: &ProgressBar) {
        let (property, today) = (self.property, self.today);
        let read = |(at, slot): (usize, &mut Slot)| {
            let Slot::Path(path) = slot else { return None };
            let (outcome, state) =
                look::look_at(&Place { property, root: &property.root, path, today });
            *slot = Slot::Known(outcome);
            progress.inc(1);
            Some((at, state))
        };
        let slots = self.slots.par_iter_mut().enumerate();
        self.read = slots.filter_map(read).collect();
    }

    /// Lets the memory know what was read and what is as it was.
    pub fn teach(&self, memory: &mut Memory) {
        let picture = |at: usize| match &self.slots[at] {
            Slot::Known(Outcome::Picture(picture)) => Some(picture),
            _ => None,
        };
        // A name that is no text cannot be told from another.
        let read = self.read.iter().filter_map(|(at, state)| {
            let picture = picture(*at).filter(|p| p.is_named_in_text())?;
            Some((*state, picture))
        });
        let read: Vec<(FileState, &Picture)> = read.collect();
        if read.is_empty() && memory.rows_number() == self.recalled {
            return;
        }
        let was_opened = |at: &usize| self.read.binary_search_by_key(at, |(at, _)| *at).is_ok();
        let same = (0..self.slots.len()).filter(|at| !was_opened(at));
        let same = same.filter_map(picture).map(|p| p.path.as_str());
        memory.learn(&same.collect(), &read);
    }

    /// What is in the files.
    pub fn into_outcomes(self) -> impl Iterator<Item = Outcome> {
        self.slots.into_iter().filter_map(|slot| match slot {
            Slot::Path(_) => None,
            Slot::Known(outcome) => Some(outcome),
        })
    }
}

/// A remembered picture with what follows from the property as it is now: its camera, and its file's date on the
/// property's wall clock.
pub(super) fn placed(property: &Property, state: &FileState, picture: Picture) -> Picture {
    let zone = property.settings.time_zone;
    let written = DateTime::<Utc>::from_timestamp_nanos(state.written_ns);
    let shown = CameraTime::new(written.with_timezone(&zone).naive_local());
    Picture {
        camera: look::camera(property, &picture.path),
        written_on: (!picture.clip).then_some(shown),
        ..picture
    }
}

/// A date that has not come is one on another day, and a clip's file date follows the property's zone.
fn does_not_depend_on_today(time: &Result<Stamp, Untimed>, today: NaiveDate) -> bool {
    match time {
        Ok(stamp) => stamp.origin != TimeOrigin::FileDate && stamp.time.shown().date() <= today,
        Err(why) => !matches!(why, Untimed::Future(_)),
    }
}
