//! Small properties made for one test each, by the program itself.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

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

    /// A practice property; `options` as on the command line.
    pub fn practice(options: &[&str]) -> Self {
        let place = Self(TempDir::new().unwrap());
        let mut practice = graylight();
        practice.arg("practice").arg(place.path()).args(options);
        assert!(practice.output().unwrap().status.success());
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
}

/// A file beside the reference scripts.
pub fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../reference")
        .join(name)
}

/// The program, beside the folder in which this test lies.
pub fn graylight() -> Command {
    let test = std::env::current_exe().unwrap();
    let release = test.parent().and_then(Path::parent).unwrap();
    let program = release
        .join("graylight")
        .with_extension(std::env::consts::EXE_EXTENSION);
    assert!(
        program.exists(),
        "{} is not built; cargo build --release first",
        program.display()
    );
    Command::new(program)
}

/// The good picture of the reference scripts with another time in it, in the shape of the original.
pub fn picture_at(time: &str) -> Vec<u8> {
    let mut bytes = fs::read(reference("exif/original_only.jpg")).unwrap();
    let old = b"2025:11:08 06:41:27";
    assert_eq!(time.len(), old.len());
    let at = bytes.windows(old.len()).position(|w| w == old).unwrap();
    bytes[at..at + old.len()].copy_from_slice(time.as_bytes());
    bytes
}
