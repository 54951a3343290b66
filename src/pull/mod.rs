//! Taking the pictures off a card: every file copied, read back, compared and synced before it
//! counts, and the property valid at every moment between.
//!
//! The card is only ever read. A file is written under `cards/.graylight-incoming/`, synced, read
//! back against the BLAKE3 hash of what the card gave, and only then linked to its name; a name
//! that is taken is never written over. What the property already holds is recognised by its bytes.
//! The pull's own table joins `catalogue/` by one rename at the very end. A pull that was killed is
//! finished by running it again.

mod catalogue;
mod held;
mod list;
mod lock;
mod receipt;
mod recognise;
mod store;

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use chrono::{NaiveDate, Utc};
use indicatif::ProgressBar;
use rayon::ThreadPoolBuilder;
use rayon::prelude::*;

pub use receipt::{Receipt, Trouble};
pub use recognise::{Candidate, Recognised, recognise};

use crate::card;
use crate::property::Property;
use held::Held;
use list::{CardFile, Listed};

/// Files that are copied at the same time.
const WORKERS: usize = 8;
/// Headers and rows that are held at the same time.
const BATCH: usize = 8192;

/// What is to be pulled, and where to.
#[derive(Debug, Clone)]
pub struct Request<'a> {
    /// The card's folder.
    pub card: &'a Path,
    /// The camera whose folder receives the files.
    pub camera: &'a str,
    /// The last day on which a picture can have been taken.
    pub today: NaiveDate,
}

/// What became of one file of the card.
enum Fate {
    /// Copied and verified: where it is now, below the property.
    Copied(PathBuf, blake3::Hash),
    /// The same bytes were there already, and were read again to make sure.
    Had(PathBuf, blake3::Hash),
    /// Not copied.
    Failed(Trouble),
}

/// Pulls a card into the property.
///
/// Trouble with single files is told in the receipt; the other files are copied all the same.
///
/// # Errors
/// When the card or the property cannot be used at all, when the disk is full, or when another
/// pull does not end. What was copied until then stays, verified.
pub fn pull(property: &Property, request: &Request, progress: &ProgressBar) -> Result<Receipt> {
    apart(property, request.card)?;
    let _lock = lock::hold(&property.root, |words| {
        progress.suspend(|| eprintln!("{words}"))
    })?;
    let incoming = store::Incoming::open(property)?;
    let listed = list::files(request.card)?;
    let held = Held::of(property, &listed.files)?;
    store::room_for(property, &listed.files, &held)?;
    let target = folder_of(property, request.camera)?;

    progress.set_length(listed.files.len() as u64);
    let one = |file| {
        let fate = transfer(property, request.card, file, &held, &incoming, &target);
        progress.inc(1);
        fate
    };
    // A worker waits for the disk more than it works, so there are more of them than cores.
    let workers = ThreadPoolBuilder::new().num_threads(WORKERS).build()?;
    let fates: Vec<Fate> =
        workers.install(|| listed.files.par_iter().map(one).collect::<Result<_>>())?;
    store::sync_folders(property, &fates_paths(&fates))?;
    incoming.close()?;
    remember(property, request, &listed, &fates)
}

/// Reads the headers of what arrived, and writes the pull's table and receipt.
fn remember(
    property: &Property,
    request: &Request,
    listed: &Listed,
    fates: &[Fate],
) -> Result<Receipt> {
    let mut receipt = Receipt::new(request, listed);
    let mut table = catalogue::Table::begin(property)?;
    let look = |fate: &Fate| match fate {
        Fate::Copied(place, _) | Fate::Had(place, _) => {
            card::look_at(property, &property.root, place, request.today)
        }
        Fate::Failed(_) => Ok(None),
    };
    for (files, fates) in listed.files.chunks(BATCH).zip(fates.chunks(BATCH)) {
        let pictures: Vec<_> = fates.par_iter().map(look).collect();
        let mut rows = catalogue::Rows::default();
        for ((file, fate), picture) in files.iter().zip(fates).zip(&pictures) {
            receipt.add(file, fate, picture);
            let picture = picture.as_ref().ok().and_then(Option::as_ref);
            rows.add(request, &file.path, file.bytes, fate, picture);
        }
        table.write(rows)?;
    }
    receipt.close(list::files(request.card), listed);
    table.finish(Utc::now())?;
    Ok(receipt)
}

/// One file: recognised, or copied and verified. Only a disk that takes no more ends the pull.
fn transfer(
    property: &Property,
    card: &Path,
    file: &CardFile,
    held: &Held,
    incoming: &store::Incoming,
    target: &Path,
) -> Result<Fate> {
    let source = card.join(&file.path);
    let failed = |trouble| Ok(Fate::Failed(trouble));
    if held.has_size(file.bytes) {
        let hash = match store::hash_of(&source) {
            Ok(hash) => hash,
            Err(e) => return failed(Trouble::unread(file, &e)),
        };
        if let Some(place) = held.find(property, file.bytes, hash) {
            return Ok(Fate::Had(place, hash));
        }
    }
    match store::copy(&source, file, incoming, &property.root, target) {
        Ok((place, hash)) => Ok(Fate::Copied(place, hash)),
        Err(store::Failure::Source(e)) => failed(Trouble::unread(file, &e)),
        Err(store::Failure::Differs) => failed(Trouble::differs(file)),
        Err(store::Failure::Disk(e)) => Err(e).with_context(|| {
            format!(
                "{} could not be written into {}. Make room on the disk or check it, and run the pull again: it goes on where it stopped. Do not clear the card",
                file.shown(),
                property.root.display()
            )
        }),
    }
}

fn fates_paths(fates: &[Fate]) -> Vec<&Path> {
    fates
        .iter()
        .filter_map(|f| match f {
            Fate::Copied(path, _) => Some(path.as_path()),
            Fate::Had(..) | Fate::Failed(_) => None,
        })
        .collect()
}

/// The folder of a camera below the property: where its pictures are already, whatever the
/// capitals, or else under its name.
fn folder_of(property: &Property, camera: &str) -> Result<PathBuf> {
    let camera = camera.trim();
    let plain = !camera.is_empty()
        && !camera.starts_with('.')
        && !camera.contains(['/', '\\', '\0'])
        && !camera.eq_ignore_ascii_case("DCIM");
    if !plain {
        bail!(
            "\"{camera}\" cannot be the name of a camera's folder. Use a name such as Oak or North Fence."
        );
    }
    let there = recognise::camera_folders(property)
        .into_iter()
        .find(|(name, _)| crate::property::same_name(name, camera))
        .map(|(_, folder)| PathBuf::from("cards").join(folder));
    let mapped = property
        .placements_of(camera)
        .find_map(|p| p.folder.as_deref());
    Ok(there.unwrap_or_else(|| Path::new("cards").join(mapped.unwrap_or(camera))))
}

/// The card must not lie in the property, nor the property on the card.
fn apart(property: &Property, card: &Path) -> Result<()> {
    let real = |path: &Path| {
        path.canonicalize().with_context(|| {
            format!(
                "{} cannot be opened. Is the card in the reader, and is this its folder?",
                path.display()
            )
        })
    };
    let (card, root) = (real(card)?, real(&property.root)?);
    if !card.is_dir() {
        bail!(
            "{} is not a folder. Name the card's folder.",
            card.display()
        );
    }
    if card.starts_with(&root) || root.starts_with(&card) {
        bail!(
            "{} and the property {} lie inside one another. A card is pulled from its own folder into a property elsewhere.",
            card.display(),
            root.display()
        );
    }
    Ok(())
}
