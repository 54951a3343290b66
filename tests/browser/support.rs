//! Small properties made for one test each, by the program itself.

use std::path::Path;
use std::process::Command;

pub use crate::place::{Place, picture_at};
pub use crate::reference::reference;

impl Place {
    /// A practice property; `options` as on the command line.
    pub fn practice(options: &[&str]) -> Self {
        let place = Self::empty();
        let mut practice = graylight();
        practice.arg("practice").arg(place.path()).args(options);
        assert!(practice.output().unwrap().status.success());
        place
    }
}

/// The program, beside the folder in which this test lies.
pub fn graylight() -> Command {
    let test = std::env::current_exe().unwrap();
    let release = test.parent().and_then(Path::parent).unwrap();
    let program = release.join("graylight").with_extension(std::env::consts::EXE_EXTENSION);
    assert!(program.exists(), "{} is not built; cargo build --release first", program.display());
    Command::new(program)
}
