//! Small properties made for one test each.

use std::fs;
use std::process::Command;
use std::sync::LazyLock;

use chrono::NaiveDate;
use graylight::debrief::Debrief;
use graylight::practice::{self, Options};
use indicatif::ProgressBar;

pub use crate::place::{Place, good_picture, picture_at};
pub use crate::reference::{real_cameras, reference};

impl Place {
    /// A practice property.
    pub fn practice(options: &Options) -> Self {
        let place = Self::empty();
        practice::write(place.path(), options, &ProgressBar::hidden()).unwrap();
        place
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

/// A JSON file beside the reference scripts.
pub fn reference_json(name: &str) -> serde_json::Value {
    serde_json::from_slice(&fs::read(reference(name)).unwrap()).unwrap()
}

/// Where the program lies: the one that was just built, or another that is to do the same, such as one for
/// another system (`tests/windows`).
pub static PROGRAM: LazyLock<String> = LazyLock::new(|| {
    std::env::var("GRAYLIGHT_PROGRAM")
        .unwrap_or_else(|_| env!("CARGO_BIN_EXE_graylight").to_owned())
});

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
    Command::new(&*PROGRAM)
}
