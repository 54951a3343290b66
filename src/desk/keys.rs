//! Which key does what. The person may change them; they are kept in `desk.toml` beside
//! `property.toml`.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use serde::{Deserialize, Serialize};

use crate::files::{Lasting, write_whole};

const FILE: &str = "desk.toml";

/// What a key can do, and the key that does it unless the person chose another.
const ACTIONS: [(&str, &str); 22] = [
    ("buck", "b"),
    ("doe", "d"),
    ("fawn", "f"),
    ("deer", "k"),
    ("other", "o"),
    ("person", "p"),
    ("vehicle", "v"),
    ("empty", "n"),
    ("age", "a"),
    ("name", "i"),
    ("repeat", "r"),
    ("remove", "x"),
    ("undo", "z"),
    ("on", "Enter"),
    ("next", "PageDown"),
    ("previous", "PageUp"),
    ("later", "ArrowRight"),
    ("earlier", "ArrowLeft"),
    ("one", "t"),
    ("large", "w"),
    ("bright", "g"),
    ("help", "?"),
];

/// The keys in force. Keys are named as browsers name them (W3C UI Events KeyboardEvent key values).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Keys {
    /// Single keys act at all (WCAG 2.2, criterion 2.1.4, wants them to be turned off).
    pub keys_on: bool,
    pub keys: BTreeMap<String, String>,
}

impl Default for Keys {
    fn default() -> Self {
        let all = ACTIONS.into_iter();
        Self { keys_on: true, keys: all.map(|(a, k)| (a.to_owned(), k.to_owned())).collect() }
    }
}

impl Keys {
    /// The person's keys; actions they say nothing of keep their own.
    ///
    /// # Errors
    /// When `desk.toml` is there and makes no sense.
    pub fn read(root: &Path) -> Result<Self> {
        let mut keys = Self::default();
        let path = path(root);
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(keys),
            Err(e) => return Err(e).with_context(|| format!("cannot read {}", path.display())),
        };
        let remedy = || {
            format!(
                "in {}. Put it right, or remove the file to have the usual keys back",
                path.display()
            )
        };
        let chosen: Self = toml::from_str(&text).with_context(remedy)?;
        keys.keys_on = chosen.keys_on;
        // The page does not tell a letter from its capital.
        let lower = |key: String| {
            if key.chars().count() == 1 { key.to_lowercase() } else { key }
        };
        let chosen: BTreeMap<String, String> =
            chosen.keys.into_iter().map(|(a, k)| (a, lower(k))).collect();
        // What can be done since the file was written gets no key that the person has given away.
        keys.keys.retain(|action, key| {
            chosen.contains_key(action) || !chosen.values().any(|k| k == key)
        });
        keys.keys.extend(chosen);
        keys.check().map_err(anyhow::Error::msg).with_context(remedy)?;
        Ok(keys)
    }

    /// Whether every action is known and every key does one thing only.
    ///
    /// # Errors
    /// In the person's words.
    pub fn check(&self) -> Result<(), String> {
        let known = Self::default().keys;
        let mut taken: BTreeMap<&str, &str> = BTreeMap::new();
        for (action, key) in &self.keys {
            if !known.contains_key(action) {
                return Err(format!("\"{action}\" is nothing that a key can do."));
            }
            let digit = key.len() == 1 && key.as_bytes()[0].is_ascii_digit();
            if key.is_empty() || digit || ["Tab", "Escape", " "].contains(&key.as_str()) {
                return Err(format!("\"{key}\" is needed for something else."));
            }
            if let Some(other) = taken.insert(key, action) {
                return Err(format!("\"{key}\" cannot do both {other} and {action}."));
            }
        }
        Ok(())
    }

    /// Writes `desk.toml` in one step.
    ///
    /// # Errors
    /// When the disk does not take it.
    pub fn save(&self, root: &Path) -> Result<()> {
        let path = path(root);
        let fail = || format!("cannot write {}", path.display());
        let text = toml::to_string(self)?;
        let write = |file: &mut File| file.write_all(text.as_bytes());
        write_whole(&path, Lasting::Synced, write, || Ok(())).with_context(fail)?;
        Ok(())
    }
}

fn path(root: &Path) -> PathBuf {
    root.join(FILE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_kept_and_one_key_does_one_thing() {
        let folder = tempfile::tempdir().unwrap();
        let mut keys = Keys::read(folder.path()).unwrap();
        keys.keys.insert("buck".to_owned(), "m".to_owned());
        keys.save(folder.path()).unwrap();
        assert_eq!(Keys::read(folder.path()).unwrap(), keys);
        keys.keys.insert("doe".to_owned(), "m".to_owned());
        assert!(keys.check().unwrap_err().contains("both"));
        std::fs::write(folder.path().join(FILE), "keys_on = 3").unwrap();
        assert!(Keys::read(folder.path()).is_err());
    }
}
