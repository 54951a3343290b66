//! Whether somebody else has saved what describes a property meanwhile.

use std::path::Path;

use crate::files::FileState;

/// What the files that describe a property looked like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written([Option<FileState>; 8]);

impl Written {
    /// As they are now.
    pub fn now(root: &Path) -> Self {
        let files = [
            "property.toml",
            super::cameras::FILE,
            super::disturbances::FILE,
            super::clocks::FILE,
            super::stands::FILE,
            super::sits::FILE,
            super::grounds::FILE,
            super::questions::FILE,
        ];
        Self(files.map(|file| FileState::at(&root.join(file))))
    }

    /// Whether all of them were left alone for a moment.
    pub fn is_settled(&self) -> bool {
        self.0.iter().flatten().all(FileState::is_finished)
    }
}
