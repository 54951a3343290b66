//! What the property holds already.

use std::collections::{HashMap, HashSet};
use std::path::PathBuf;
use std::sync::OnceLock;

use anyhow::{Context, Result};
use walkdir::WalkDir;

use super::list::CardFile;
use crate::card::INCOMING;
use crate::files::hash_from_disk;
use crate::property::Property;

/// The property's files that have the size of a file on the card. They are hashed when first asked
/// for, from the disk as it is now: a remembered hash would not show a copy that has rotted since.
pub(super) struct Held {
    by_size: HashMap<u64, Vec<Kept>>,
}

struct Kept {
    path: PathBuf,
    hash: OnceLock<Option<blake3::Hash>>,
}

impl Held {
    /// Lists `cards/` by size.
    pub fn of(property: &Property, card: &[CardFile]) -> Result<Self> {
        let wanted: HashSet<u64> = card.iter().map(|f| f.bytes).collect();
        let mut by_size: HashMap<u64, Vec<Kept>> = HashMap::new();
        let tree = WalkDir::new(property.cards())
            .follow_links(true)
            .sort_by_file_name()
            .into_iter()
            .filter_entry(|e| e.file_name() != INCOMING);
        // What cannot be opened cannot be recognised, and is copied again: nothing is lost by it.
        for entry in tree.filter_map(Result::ok) {
            let Ok(facts) = entry.metadata() else {
                continue;
            };
            if facts.is_file() && wanted.contains(&facts.len()) {
                let path = entry
                    .path()
                    .strip_prefix(&property.root)
                    .context("a file of the property lies outside it")?;
                by_size
                    .entry(facts.len())
                    .or_default()
                    .push(Kept { path: path.to_path_buf(), hash: OnceLock::new() });
            }
        }
        Ok(Self { by_size })
    }

    /// Whether a file of this size could be there already.
    pub fn has_size(&self, bytes: u64) -> bool {
        self.by_size.contains_key(&bytes)
    }

    /// The file with the same bytes, if there is one.
    pub fn find(&self, property: &Property, bytes: u64, hash: blake3::Hash) -> Option<PathBuf> {
        self.by_size.get(&bytes)?.iter().find_map(|kept| {
            let there =
                kept.hash.get_or_init(|| hash_from_disk(&property.root.join(&kept.path)).ok());
            (*there == Some(hash)).then(|| kept.path.clone())
        })
    }
}
