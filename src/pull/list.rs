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
    /// Folders at the top of the card in which a computer keeps its own things, left alone.
    pub system: Vec<String>,
}

/// Folders that computers make on every card that is put into them: search indexes and waste bins
/// (common practice).
const SYSTEM: [&str; 6] = [
    "System Volume Information",
    "$RECYCLE.BIN",
    ".Spotlight-V100",
    ".fseventsd",
    ".Trashes",
    ".TemporaryItems",
];

fn is_system(entry: &walkdir::DirEntry) -> bool {
    let name = entry.file_name().to_string_lossy();
    let known = SYSTEM.iter().any(|s| name.eq_ignore_ascii_case(s));
    entry.depth() == 1 && entry.file_type().is_dir() && (known || name.starts_with(".Trash-"))
}

/// Lists the card. Links are not followed: what they lead to is not on the card.
pub(super) fn files(card: &Path) -> Result<Listed> {
    // The card itself may be reached over a link; below it links lead away.
    let root = card.canonicalize().unwrap_or_else(|_| card.to_path_buf());
    let mut listed = Listed { files: Vec::new(), trouble: Vec::new(), system: Vec::new() };
    let mut tree = WalkDir::new(&root).sort_by_file_name().into_iter();
    while let Some(entry) = tree.next() {
        let entry = match entry {
            Ok(entry) => entry,
            Err(e) if e.depth() == 0 => bail!("the card {} cannot be read: {e}", card.display()),
            Err(e) => {
                let at = e.path().unwrap_or(&root);
                let at = shown(at.strip_prefix(&root).unwrap_or(at));
                listed.trouble.push(Trouble::unlisted(at, &e.to_string()));
                continue;
            }
        };
        let path = entry.path().strip_prefix(&root).unwrap_or(entry.path());
        if is_system(&entry) {
            listed.system.push(shown(path));
            tree.skip_current_dir();
            continue;
        }
        if entry.file_type().is_dir() {
            continue;
        }
        match entry.metadata() {
            Ok(facts) if facts.is_file() => listed.files.push(CardFile {
                path: path.to_path_buf(),
                bytes: facts.len(),
                modified: facts.modified().ok(),
            }),
            Ok(_) => {
                listed.trouble.push(Trouble::unlisted(shown(path), "a link or device, not a file"))
            }
            Err(e) => listed.trouble.push(Trouble::unlisted(shown(path), &e.to_string())),
        }
    }
    Ok(listed)
}
