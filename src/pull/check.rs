//! Reading everything again: is each picture still what it was when a pull remembered it?

use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use indicatif::ProgressBar;
use rayon::prelude::*;
use serde::Serialize;
use walkdir::WalkDir;

use super::catalogue::{Catalogue, Remembered};
use crate::card::{Damage, Structure, shown};
use crate::property::Property;

/// A file that is not what it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Loss {
    /// Its path below the property.
    pub file: String,
    /// The hash of what a pull brought (BLAKE3, hexadecimal).
    pub content: String,
    /// The pull that brought it.
    pub pull: String,
    /// Where it lay on its card.
    pub on_card: String,
    /// A file of the property that still has the right bytes.
    pub good_copy: Option<String>,
}

/// What reading everything has shown.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Check {
    /// Files that are byte for byte what a pull brought.
    pub intact: usize,
    /// Files that lie elsewhere than a pull put them: from, to.
    pub moved: Vec<(String, String)>,
    /// Files whose bytes have changed since.
    pub rotten: Vec<Loss>,
    /// Files that are nowhere any more.
    pub lost: Vec<Loss>,
    /// Files that no pull remembers.
    pub new: usize,
    /// Pictures among all of them that are not whole, and what is wrong.
    pub damaged: Vec<(String, String)>,
    /// Files that could not be read, and why.
    pub unread: Vec<(String, String)>,
}

impl Check {
    /// Whether every file that a pull has brought is still there.
    pub fn is_well(&self) -> bool {
        let safe = |loss: &Loss| loss.good_copy.is_some();
        self.rotten.iter().chain(&self.lost).all(safe) && self.unread.is_empty()
    }
}

struct Reading {
    path: String,
    content: Result<blake3::Hash, String>,
    damage: Option<Damage>,
}

/// Reads every file below `cards/` whole and compares it with what pulls remember.
pub fn check(property: &Property, progress: &ProgressBar) -> Check {
    let catalogue = Catalogue::read(property);
    let files = files(property);
    progress.set_length(files.len() as u64);
    let read: Vec<Reading> = files
        .par_iter()
        .map(|file| {
            let one = read_whole(property, file);
            progress.inc(1);
            one
        })
        .collect();
    compare(&catalogue, &read)
}

fn compare(catalogue: &Catalogue, read: &[Reading]) -> Check {
    let mut remembered: BTreeMap<&str, &Remembered> = BTreeMap::new();
    for file in &catalogue.files {
        remembered.entry(&file.path).or_insert(file);
    }
    let mut holders: HashMap<blake3::Hash, &str> = HashMap::new();
    for file in read {
        if let Ok(content) = file.content {
            holders.entry(content).or_insert(&file.path);
        }
    }
    let mut check = Check::default();
    for file in read {
        check.damaged.extend(file.damage.map(|d| (file.path.clone(), d.to_string())));
        match (&file.content, remembered.remove(file.path.as_str())) {
            (Err(why), _) => check.unread.push((file.path.clone(), why.clone())),
            (Ok(content), Some(before)) if *content == before.content => check.intact += 1,
            (Ok(_), Some(before)) => check.rotten.push(loss(before, &holders)),
            (Ok(_), None) => check.new += 1,
        }
    }
    for before in remembered.into_values() {
        match holders.get(&before.content) {
            Some(there) => {
                check.moved.push((before.path.clone(), (*there).to_owned()));
                // It was counted as one that nobody remembers.
                let elsewhere = catalogue.files.iter().any(|f| f.path == **there);
                check.new -= usize::from(!elsewhere && check.new > 0);
            }
            None => check.lost.push(loss(before, &holders)),
        }
    }
    check
}

fn loss(before: &Remembered, holders: &HashMap<blake3::Hash, &str>) -> Loss {
    Loss {
        file: before.path.clone(),
        content: before.content.to_hex().to_string(),
        pull: before.pull.clone(),
        on_card: before.on_card.clone(),
        good_copy: holders.get(&before.content).map(|p| (*p).to_owned()),
    }
}

/// Every file below `cards/`; hidden folders are the computer's own.
fn files(property: &Property) -> Vec<PathBuf> {
    let is_shown = |e: &walkdir::DirEntry| {
        let hidden = e.file_name().as_encoded_bytes().starts_with(b".");
        e.depth() == 0 || !(hidden && e.file_type().is_dir())
    };
    WalkDir::new(property.cards())
        .follow_links(true)
        .sort_by_file_name()
        .into_iter()
        .filter_entry(is_shown)
        .filter_map(Result::ok)
        .filter(|e| e.file_type().is_file())
        .filter_map(|e| Some(e.path().strip_prefix(&property.root).ok()?.to_path_buf()))
        .collect()
}

fn read_whole(property: &Property, file: &Path) -> Reading {
    let mut structure = Structure::default();
    let mut hasher = blake3::Hasher::new();
    let mut read = || -> std::io::Result<blake3::Hash> {
        const CHUNK: usize = 256 * 1024;
        let mut file = File::open(property.root.join(file))?;
        let mut buffer = vec![0; CHUNK];
        loop {
            match file.read(&mut buffer)? {
                0 => return Ok(hasher.finalize()),
                n => {
                    hasher.update(&buffer[..n]);
                    structure.feed(&buffer[..n]);
                }
            }
        }
    };
    let content = read().map_err(|e| e.to_string());
    Reading { path: shown(file), damage: structure.finish().filter(|_| content.is_ok()), content }
}

impl fmt::Display for Check {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{} files are byte for byte what the pulls brought", self.intact)?;
        if self.new > 0 {
            writeln!(
                f,
                "{} files came without a pull; there is nothing to compare them with",
                self.new
            )?;
        }
        for (from, to) in &self.moved {
            writeln!(f, "moved: {from} is {to} now")?;
        }
        for (words, losses) in [("changed since it was pulled", &self.rotten), ("lost", &self.lost)]
        {
            for loss in losses {
                writeln!(f, "{words}: {}", loss.file)?;
                match &loss.good_copy {
                    Some(copy) => writeln!(f, "  a good copy is {copy}")?,
                    None => writeln!(
                        f,
                        "  it was {} on the card of {}; look for a backup with BLAKE3 {}",
                        loss.on_card, loss.pull, loss.content
                    )?,
                }
            }
        }
        for (file, what) in &self.damaged {
            writeln!(f, "damaged: {file}: {what}")?;
        }
        for (file, why) in &self.unread {
            writeln!(f, "cannot be read: {file}: {why}")?;
        }
        match self.is_well() && self.rotten.is_empty() {
            true if self.intact + self.moved.len() == 0 => {
                write!(f, "No pull has brought anything yet, so there is nothing to compare with.")
            }
            true => write!(f, "Every picture that was pulled is there."),
            false => write!(
                f,
                "{} pictures are not what they were. Copy good ones back over them before anything else, and check the disk.",
                self.rotten.len() + self.lost.len() + self.unread.len()
            ),
        }
    }
}
