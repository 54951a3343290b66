//! Every file that lies on a card.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use anyhow::{Result, bail};
use walkdir::WalkDir;

use super::Trouble;
use crate::card::shown;

/// One file of the card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CardFile {
    /// Path below the card.
    pub path: PathBuf,
    /// Size.
    pub bytes: u64,
    /// The file's own date, which a clip without a time depends on.
    pub modified: Option<SystemTime>,
}

impl CardFile {
    /// The path as text.
    pub fn shown(&self) -> String {
        shown(&self.path)
    }
}

pub(super) struct Listed {
    /// Files in a fixed order.
    pub files: Vec<CardFile>,
    /// What could not be listed.
    pub trouble: Vec<Trouble>,
}

/// Lists the card. Links are not followed: what they lead to is not on the card.
pub(super) fn files(card: &Path) -> Result<Listed> {
    let mut listed = Listed {
        files: Vec::new(),
        trouble: Vec::new(),
    };
    for entry in WalkDir::new(card).sort_by_file_name() {
        let entry = match entry {
            Ok(entry) => entry,
            Err(e) if e.depth() == 0 => bail!("the card {} cannot be read: {e}", card.display()),
            Err(e) => {
                let at = e.path().unwrap_or(card);
                let at = shown(at.strip_prefix(card).unwrap_or(at));
                listed.trouble.push(Trouble::unlisted(at, &e.to_string()));
                continue;
            }
        };
        let path = entry.path().strip_prefix(card).unwrap_or(entry.path());
        if entry.file_type().is_dir() {
            continue;
        }
        match entry.metadata() {
            Ok(facts) if facts.is_file() => listed.files.push(CardFile {
                path: path.to_path_buf(),
                bytes: facts.len(),
                modified: facts.modified().ok(),
            }),
            Ok(_) => listed.trouble.push(Trouble::unlisted(
                shown(path),
                "a link or device, not a file",
            )),
            Err(e) => listed
                .trouble
                .push(Trouble::unlisted(shown(path), &e.to_string())),
        }
    }
    Ok(listed)
}
