//! A property folder for one test.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::reference::reference;

/// A property folder that is removed with the test.
pub struct Place(TempDir);

impl Place {
    /// An empty folder.
    pub fn empty() -> Self {
        Self(TempDir::new().unwrap())
    }

    /// A property with nothing but its `property.toml`.
    pub fn new() -> Self {
        let place = Self::empty();
        place.put(
            "property.toml",
            "name = \"Test\"\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = \"America/Chicago\"\n",
        );
        place
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Adds lines to `property.toml`.
    #[allow(dead_code)]
    pub fn add_settings(&self, more: &str) {
        let path = self.path().join("property.toml");
        let settings = std::fs::read_to_string(&path).unwrap() + more;
        std::fs::write(path, settings).unwrap();
    }

    /// Writes a file, and the folders above it.
    pub fn put(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }
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
