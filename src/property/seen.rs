//! Whether somebody else has saved a file meanwhile.

use std::fs::Metadata;
use std::path::Path;
use std::time::{Duration, SystemTime};

/// A file that was written so lately may not be whole yet.
const STILL_WRITING: Duration = Duration::from_secs(1);

/// What a file looked like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen {
    pub bytes: u64,
    modified: Option<SystemTime>,
    #[cfg(unix)]
    inode: u64,
}

impl Seen {
    pub fn of(facts: &Metadata) -> Self {
        Self {
            bytes: facts.len(),
            modified: facts.modified().ok(),
            #[cfg(unix)]
            inode: std::os::unix::fs::MetadataExt::ino(facts),
        }
    }

    /// `None` where there is no such file.
    pub fn at(path: &Path) -> Option<Self> {
        std::fs::metadata(path).ok().map(|facts| Self::of(&facts))
    }

    /// Whether it was left alone for a moment, so that its writer is through.
    pub fn is_settled(&self) -> bool {
        let age = self.modified.and_then(|m| m.elapsed().ok());
        age.is_none_or(|age| age > STILL_WRITING)
    }
}

/// What the files that describe a property looked like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written([Option<Seen>; 4]);

impl Written {
    /// As they are now.
    pub fn now(root: &Path) -> Self {
        let files = [
            "property.toml",
            super::cameras::FILE,
            super::disturbances::FILE,
            super::clocks::FILE,
        ];
        Self(files.map(|file| Seen::at(&root.join(file))))
    }

    /// Whether all of them were left alone for a moment.
    pub fn is_settled(&self) -> bool {
        self.0.iter().flatten().all(Seen::is_settled)
    }
}
