//! Small properties made for one test each.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::NaiveDate;
use graylight::debrief::Debrief;
use graylight::practice::{self, Options};
use indicatif::ProgressBar;
use tempfile::TempDir;

/// A property folder that is removed with the test.
pub struct Place(TempDir);

impl Place {
    /// A property with nothing but its `property.toml`.
    pub fn new() -> Self {
        let place = Self(TempDir::new().unwrap());
        place.put(
            "property.toml",
            "name = \"Test\"\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = \"America/Chicago\"\n",
        );
        place
    }

    /// A practice property.
    pub fn practice(options: &Options) -> Self {
        let place = Self(TempDir::new().unwrap());
        practice::write(place.path(), options, &ProgressBar::hidden()).unwrap();
        place
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file, and the folders above it.
    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }

    pub fn debrief(&self) -> Debrief {
        self.try_debrief().unwrap()
    }

    pub fn try_debrief(&self) -> anyhow::Result<Debrief> {
        Debrief::of(self.path(), today(), &ProgressBar::hidden())
    }
}

/// The day on which tests happen.
pub fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 2, 1).unwrap()
}

/// A file beside the reference scripts.
pub fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference")
        .join(name)
}

/// A JSON file beside the reference scripts.
pub fn reference_json(name: &str) -> serde_json::Value {
    serde_json::from_slice(&fs::read(reference(name)).unwrap()).unwrap()
}

/// Where the program lies.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_graylight");

/// How a command ended.
pub trait Ends {
    /// Its exit status.
    fn ends(&mut self) -> i32;

    /// Runs it, which must go well.
    fn succeeds(&mut self) {
        assert_eq!(self.ends(), 0);
    }
}

impl Ends for Command {
    fn ends(&mut self) -> i32 {
        let output = self.output().unwrap();
        let code = output.status.code().unwrap();
        if code != 0 {
            println!("{}", String::from_utf8_lossy(&output.stderr));
        }
        code
    }
}

/// The program.
pub fn graylight() -> Command {
    Command::new(PROGRAM)
}

/// A good picture, taken 2025-11-08 06:41:27 by its EXIF block (see `reference/exif.py`).
pub fn good_picture() -> Vec<u8> {
    fs::read(reference("exif/original_only.jpg")).unwrap()
}

/// The good picture with another time in it; `time` has the shape of the original.
pub fn picture_at(time: &str) -> Vec<u8> {
    let mut bytes = good_picture();
    let old = b"2025:11:08 06:41:27";
    assert_eq!(time.len(), old.len());
    let at = bytes.windows(old.len()).position(|w| w == old).unwrap();
    bytes[at..at + old.len()].copy_from_slice(time.as_bytes());
    bytes
}
