//! The properties that were opened before, in the user's own configuration folder.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Desk;
use crate::files::{Lasting, write_whole};

/// A property that was opened before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct KnownProperty {
    pub path: PathBuf,
    pub name: String,
}

/// What is kept for the person, not for a property.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct Kept {
    /// The last one opened first.
    pub properties: Vec<KnownProperty>,
    /// Folders in which cards show up, beside those where the system puts them.
    pub card_folders: Vec<PathBuf>,
}

/// Where that is kept; `None` where the system names no such folder.
pub(super) struct Known(Option<PathBuf>);

impl Known {
    /// By the platform's convention: XDG base directories, `Library/Application Support`, `AppData/Roaming`.
    pub fn of_this_person() -> Self {
        Self(dirs::config_dir().map(|folder| folder.join("graylight/window.toml")))
    }

    /// What the file says; `None` where it is not there.
    fn said(&self) -> Option<Result<Kept, toml::de::Error>> {
        let text = std::fs::read_to_string(self.0.as_ref()?).ok()?;
        Some(toml::from_str(&text))
    }

    /// What is wrong with the file, if it is there and is not understood.
    pub fn problem(&self) -> Option<String> {
        let why = self.said()?.err()?;
        Some(format!(
            "{} is not understood ({}), so no property is listed here. It is set aside when one is opened.",
            self.0.as_ref()?.display(),
            why.message()
        ))
    }

    /// What is kept; nothing where it cannot be read.
    pub fn read(&self) -> Kept {
        self.said().and_then(Result::ok).unwrap_or_default()
    }

    /// Puts a property first. That it cannot be kept is no reason not to open it.
    pub fn remember(&self, desk: &Desk) {
        const MOST: usize = 20;
        let season = desk.season();
        let root = &season.property.root;
        let known = KnownProperty {
            path: std::path::absolute(root).unwrap_or_else(|_| root.clone()),
            name: season.property.settings.name.clone(),
        };
        drop(season);
        let mut kept = self.read();
        kept.properties.retain(|k| k.path != known.path);
        kept.properties.insert(0, known);
        kept.properties.truncate(MOST);
        self.write(&kept);
    }

    /// Forgets a property. Nothing of it is touched.
    pub fn forget(&self, path: &Path) {
        let mut kept = self.read();
        kept.properties.retain(|k| k.path != path);
        self.write(&kept);
    }

    fn write(&self, kept: &Kept) {
        let (Some(path), Ok(text)) = (&self.0, toml::to_string(kept)) else {
            return;
        };
        let Some(folder) = path.parent() else {
            return;
        };
        // What cannot be read is kept, not written over.
        if self.said().is_some_and(|said| said.is_err()) {
            let _ = std::fs::rename(path, path.with_file_name("window-not-understood.toml"));
        }
        let write = |file: &mut File| file.write_all(text.as_bytes());
        let _ = std::fs::create_dir_all(folder)
            .and_then(|()| write_whole(path, Lasting::Remade, write, || Ok(())).map(drop));
    }
}
