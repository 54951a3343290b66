//! Putting right a card that was filed under the wrong camera: its files move to the right one's folder,
//! and their tags with them.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};

use super::catalogue::Catalogue;
use super::{folder_of, hold_lock, nearly_named, store};
use crate::card;
use crate::files::disk_remedy;
use crate::property::{Headings, Ledger, Property, TAGS, picture_key, same_name};

/// What was moved.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Refiled {
    /// The camera that the files belong to now.
    pub camera: String,
    /// Every file that was moved: from, to.
    pub moved: Vec<(String, String)>,
    /// Rows of `tags.csv` that name them by their new paths now.
    pub tags: usize,
}

/// Moves files to another camera: all that a pull has brought (`what` is its name, as on the receipt),
/// or all below a folder of the property. Names stay; where one is taken the next
/// free one is given.
///
/// # Errors
/// When nothing is meant by `what`, or the disk does not take it. A
/// move that was cut off is finished by asking for it again.
pub fn refile(property: &Property, what: &str, camera: &str) -> Result<Refiled> {
    let _lock = hold_lock(property, |words| eprintln!("{words}"))?;
    if let Some(near) = nearly_named(property, camera) {
        bail!("there is no camera {camera} yet; did you mean {near}? Nothing was moved.");
    }
    let folder = folder_of(property, camera)?;
    let moves = moves(property, what, camera, &folder)?;
    let mut tags = Tags::open(property)?;
    for (from, to) in &moves {
        let (here, there) = (property.root.join(from), property.root.join(to));
        if let Some(parent) = there.parent() {
            std::fs::create_dir_all(parent)
                .with_context(|| format!("cannot make the folder {}", parent.display()))?;
        }
        // The name is free by `moves`, and the lock keeps pulls away.
        std::fs::rename(&here, &there).map_err(|e| {
            let remedy = disk_remedy(&e);
            let words =
                format!("cannot move {} to {}. {remedy}", card::shown(from), card::shown(to));
            anyhow::Error::new(e).context(words)
        })?;
    }
    let places: Vec<&Path> = moves.iter().flat_map(|(a, b)| [a.as_path(), b.as_path()]).collect();
    let there: Vec<&Path> = places.into_iter().filter(|p| parent_is_there(property, p)).collect();
    crate::files::sync_folders_of(&property.root, &there)?;
    let moved: Vec<(String, String)> =
        moves.iter().map(|(from, to)| (card::shown(from), card::shown(to))).collect();
    Ok(Refiled { camera: camera.to_owned(), tags: tags.follow(&moved)?, moved })
}

fn parent_is_there(property: &Property, path: &Path) -> bool {
    path.parent().is_some_and(|p| property.root.join(p).is_dir())
}

/// Every file that is meant, and where it goes.
fn moves(
    property: &Property,
    what: &str,
    camera: &str,
    folder: &Path,
) -> Result<Vec<(PathBuf, PathBuf)>> {
    let catalogue = Catalogue::read(property);
    let name = what.trim_end_matches(".txt").trim_end_matches(".json");
    let of_pull: Vec<(PathBuf, PathBuf)> = catalogue
        .files
        .iter()
        .filter(|f| f.pull == name && !same_name(&f.camera, camera))
        .map(|f| (PathBuf::from(&f.path), folder.join(&f.on_card)))
        .collect();
    let moves = if of_pull.is_empty() { of_folder(property, what, folder)? } else { of_pull };
    let moves: Vec<(PathBuf, PathBuf)> =
        moves.into_iter().filter(|(from, _)| property.root.join(from).is_file()).collect();
    if moves.is_empty() {
        bail!(
            "\"{what}\" is neither a pull that has brought new files, by the name on its receipt, nor a folder of one other camera's pictures in the property. Receipts lie in {}.",
            property.root.join("catalogue/receipts").display()
        );
    }
    // Cameras count alike, so the names may be taken; then the next free one is given, as by a pull.
    let mut given = HashSet::new();
    let free = |(from, to): (PathBuf, PathBuf)| {
        let is_free = |p: &PathBuf| !property.root.join(p).exists() && !given.contains(p);
        let to = (1..).map(|n| store::numbered(&to, n)).find(is_free).unwrap_or(to);
        given.insert(to.clone());
        (from, to)
    };
    Ok(moves.into_iter().map(free).collect())
}

fn of_folder(property: &Property, what: &str, folder: &Path) -> Result<Vec<(PathBuf, PathBuf)>> {
    let below = PathBuf::from(what.replace('\\', "/"));
    let plain = below.components().all(|c| matches!(c, std::path::Component::Normal(_)));
    let inside = plain && below.starts_with("cards") && property.root.join(&below).is_dir();
    if !inside || below.starts_with(folder) {
        return Ok(Vec::new());
    }
    let others = card::camera_folders(property);
    let owner = others.iter().map(|(_, f)| f).find(|f| below.starts_with(f));
    // All of `cards`, or a year of it, are several cameras.
    let Some(base) = owner.cloned() else {
        return Ok(Vec::new());
    };
    let files = walkdir::WalkDir::new(property.root.join(&below)).sort_by_file_name();
    let mut moves = Vec::new();
    for entry in files.into_iter().filter_map(Result::ok).filter(|e| e.file_type().is_file()) {
        let from = entry.path().strip_prefix(&property.root)?.to_path_buf();
        let to = folder.join(from.strip_prefix(&base)?);
        moves.push((from, to));
    }
    Ok(moves)
}

/// `tags.csv`, whose rows follow the files that they name by their whole path.
struct Tags(Option<Ledger>);

impl Tags {
    fn open(property: &Property) -> Result<Self> {
        const HEADINGS: Headings = Headings { required: &["picture"], known: &["picture"] };
        if !property.root.join(TAGS).exists() {
            return Ok(Self(None));
        }
        Ledger::open(&property.root, TAGS, &HEADINGS).map(|l| Self(Some(l)))
    }

    fn follow(&mut self, moved: &[(String, String)]) -> Result<usize> {
        let Some(ledger) = &mut self.0 else {
            return Ok(0);
        };
        let short = |p: &str| picture_key(p).trim_start_matches("cards/").to_owned();
        let to: HashMap<String, &str> = moved.iter().map(|(a, b)| (short(a), b.as_str())).collect();
        let mut changes = Vec::new();
        ledger.for_each(&mut Vec::new(), |row, _| {
            if let Some(to) = to.get(&short(row.get("picture"))) {
                let cells = [("picture", (*to).to_owned())];
                changes.push((
                    row.span.clone(),
                    ledger.changed_line(ledger.row(row.span.clone()), &cells),
                ));
            }
        });
        if !changes.is_empty() {
            ledger.replace(&changes, "")?;
        }
        Ok(changes.len())
    }
}
