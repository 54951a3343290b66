//! What was read of the files last time, so that it need not be read again.
//!
//! One Parquet file below `catalogue/` holds, for every picture, its header and, where its pixels were
//! looked at, what they showed. It can be thrown away at any time and no answer depends on it: a file
//! counts as known only while its size, its date and, where the system keeps one, the moment of its
//! last change of any kind are the same. Where the system keeps no such moment, its beginning and end
//! are read and compared too.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use anyhow::{Context, Result};
use polars::prelude::{BooleanChunked, DataFrame};

use super::difference::Difference;
use super::glance::Glance;
use super::{Picture, header, memory_table};
use crate::files::{FileState, Lasting, write_whole};

/// Below `catalogue/`, apart from the tables that pulls write.
const FOLDER: &str = "catalogue/read";
const FILE: &str = "pictures.parquet";
/// No file has this number on its disk.
const NO_INODE: u64 = u64::MAX;

/// What a look showed; `None` of a picture that cannot be decoded.
pub(super) type Looks = HashMap<String, Option<Glance>>;

/// How pictures differ from their neighbours, each with the state that these files and their order had; `None`
/// where it cannot be said.
pub(super) type Differences = HashMap<String, (u64, Option<Difference>)>;

/// What was read of a property's files.
#[derive(Debug, Default)]
pub struct Memory {
    root: PathBuf,
    rows: Mutex<Rows>,
    looks: Mutex<Looks>,
    differences: Mutex<Differences>,
    is_changed: AtomicBool,
}

/// One row a picture, without what looks showed.
#[derive(Debug)]
enum Rows {
    /// As the file has them: so many, while it is in this state.
    InFile(usize, Option<FileState>),
    /// The file does not have them yet.
    Held(DataFrame),
}

impl Default for Rows {
    fn default() -> Self {
        Self::InFile(0, None)
    }
}

impl Memory {
    /// What is remembered of a property, the pictures handed over part by part as their headers said; nothing where
    /// there is no such file or it cannot be used, whatever was handed over before that showed.
    pub(super) fn of(root: &Path, take: impl FnMut(Vec<(FileState, Picture)>)) -> Option<Self> {
        let path = root.join(FOLDER).join(FILE);
        let state = FileState::at(&path);
        let (rows, looks, differences) = memory_table::read(&path, take).ok()?;
        Some(Self {
            root: root.to_path_buf(),
            rows: Mutex::new(Rows::InFile(rows, state)),
            looks: Mutex::new(looks),
            differences: Mutex::new(differences),
            is_changed: AtomicBool::new(false),
        })
    }

    /// Nothing is remembered.
    pub(super) fn none(root: &Path) -> Self {
        Self { root: root.to_path_buf(), ..Self::default() }
    }

    fn file(&self) -> PathBuf {
        self.root.join(FOLDER).join(FILE)
    }

    fn rows(&self) -> MutexGuard<'_, Rows> {
        self.rows.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many pictures are remembered.
    pub(super) fn rows_number(&self) -> usize {
        match &*self.rows() {
            Rows::InFile(rows, _) => *rows,
            Rows::Held(table) => table.height(),
        }
    }

    /// The rows; `None` where another command has written the file since, whose rows are of other files perhaps.
    fn table(&self) -> Option<DataFrame> {
        match &*self.rows() {
            Rows::Held(table) => Some(table.clone()),
            Rows::InFile(0, None) => Some(DataFrame::default()),
            Rows::InFile(_, then) => {
                let table = memory_table::without_looks(&self.file()).ok()?;
                (FileState::at(&self.file()) == *then).then_some(table)
            }
        }
    }

    fn looks(&self) -> MutexGuard<'_, Looks> {
        self.looks.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn differences(&self) -> MutexGuard<'_, Differences> {
        let held = self.differences.lock();
        held.unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps of what was known only the files that are the same, and takes in those that were read. One that
    /// was written only just now is remembered, so that what is remembered is whole, and never taken for known.
    pub(super) fn learn(&mut self, same: &HashSet<&str>, read: &[(FileState, &Picture)]) {
        let is_same = |path: Option<&str>| path.is_some_and(|p| same.contains(p));
        let state = |of_file: &FileState| match of_file.is_settled() {
            true => *of_file,
            false => FileState { inode: NO_INODE, ..*of_file },
        };
        let read: Vec<(FileState, &Picture)> = read.iter().map(|(s, p)| (state(s), *p)).collect();
        self.is_changed.store(true, Ordering::Relaxed);
        self.looks().retain(|path, _| same.contains(path.as_str()));
        self.differences().retain(|path, _| same.contains(path.as_str()));
        let kept = self.table().and_then(|table| {
            let paths = memory_table::paths(&table).ok()?;
            let mask: BooleanChunked = paths.iter().map(|p| Some(is_same(p))).collect();
            table.filter(&mask).ok()
        });
        let new = memory_table::of(&read);
        let table = match (kept, new) {
            (Some(mut kept), Ok(new)) => match kept.vstack_mut(&new) {
                Ok(_) => kept,
                Err(_) => new,
            },
            (_, new) => new.unwrap_or_default(),
        };
        *self.rows() = Rows::Held(table);
    }

    /// One look at a picture, or what the last one showed. `None` where it cannot be decoded.
    pub fn glance(&self, root: &Path, picture: &Picture) -> Option<Glance> {
        let look = || Glance::at(&root.join(picture.file()));
        if !picture.is_named_in_text() {
            return look();
        }
        if let Some(known) = self.looks().get(&picture.path) {
            return known.clone();
        }
        let glance = look();
        self.looks().insert(picture.path.clone(), glance.clone());
        self.is_changed.store(true, Ordering::Relaxed);
        glance
    }

    /// For every picture a number that changes with its file.
    pub fn file_states(&self) -> HashMap<String, u64> {
        let table = self.table();
        let states = table.and_then(|t| memory_table::file_states(&t).ok());
        states.unwrap_or_default()
    }

    /// How some pictures differ from their neighbours, if that is known of all of them, of files in this state.
    pub fn differences_of(&self, pictures: &[&str], state: u64) -> Option<Vec<Option<Difference>>> {
        let known = self.differences();
        let of = |path: &&str| known.get(*path).filter(|d| d.0 == state).map(|d| d.1);
        pictures.iter().map(of).collect()
    }

    /// Takes in how a picture differs from its neighbours.
    pub fn note_difference(&self, picture: &str, state: u64, found: Option<Difference>) {
        self.differences().insert(picture.to_owned(), (state, found));
        self.is_changed.store(true, Ordering::Relaxed);
    }

    /// Writes down what is new. A property that cannot be written to is read anew each time.
    pub fn keep(&self) {
        if self.is_changed.swap(false, Ordering::Relaxed) {
            let _ = self.write();
        }
    }

    fn write(&self) -> Result<()> {
        let table = self.table().context("the file is another's now")?;
        if table.height() == 0 {
            return Ok(());
        }
        let rows = table.height();
        let table = memory_table::with_looks(table, &self.looks())?;
        let mut table = memory_table::with_differences(table, &self.differences())?;
        std::fs::create_dir_all(self.root.join(FOLDER))?;
        let write =
            |file: &mut File| memory_table::write(&mut table, file).map_err(io::Error::other);
        let written = write_whole(&self.file(), Lasting::Remade, write, || Ok(()))?;
        let now = FileState::at(&self.file()).filter(|now| now.is_as_written(&written));
        *self.rows() = Rows::InFile(rows, now);
        Ok(())
    }
}

/// Whether a picture's file is still the one that was read.
pub(super) fn is_unchanged(
    root: &Path,
    (then, picture): (&FileState, &Picture),
    now: FileState,
) -> bool {
    *then == now && (now.changed_ns != 0 || has_ends(root, picture))
}

/// Whether a file still begins and ends as it did.
fn has_ends(root: &Path, picture: &Picture) -> bool {
    let ends = File::open(root.join(picture.file()))
        .and_then(|mut file| header::ends(&mut file, picture.bytes));
    ends.is_ok_and(|ends| ends == picture.fingerprint)
}
