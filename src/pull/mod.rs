//! Taking the pictures off a card: every file copied, read back, compared and synced before it
//! counts, and the property valid at every moment between.
//!
//! The card is only ever read, and each file of it twice: a reader that gives other bytes each time is
//! found while the card is still in hand. A file is written under `.graylight-incoming/` in its camera's
//! folder, synced, read back against the BLAKE3 hash of what the card gave, and only then named; a name
//! that is taken, or known to tags or to an earlier pull, is never given again. What the property
//! already holds is recognised by its bytes, which agree with the card's second reading, and synced
//! too. The pull's own table joins `catalogue/` by one rename at the very end, and its receipt lies in
//! `catalogue/receipts/`. A pull that was killed is finished by running it again.

mod catalogue;
mod check;
mod held;
mod list;
mod receipt;
mod recognise;
mod refile;
mod rolls;
mod store;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use anyhow::{Context, Result, bail, ensure};
use chrono::{NaiveDate, Utc};
use indicatif::ProgressBar;
use rayon::ThreadPoolBuilder;
use rayon::prelude::*;

pub use catalogue::{Catalogue, Remembered};
pub use check::{Check, Loss, check};
pub use receipt::{Receipt, Trouble};
pub use recognise::{Candidate, Recognised, nearly_named, recognise};
pub use refile::{Refiled, refile};
pub use rolls::{Pulls, Roll, pulled_at};

use crate::card;
use crate::files::{self, Busy, Lasting, disk_remedy};
use crate::property::{Property, named_in_tags, picture_key};
use held::Held;
use list::{CardFile, Listed};
use store::{Arrived, Target};

/// Files that are copied at the same time.
const WORKERS: usize = 8;
/// Headers and rows that are held at the same time.
const BATCH: usize = 8192;

/// What is to be pulled, and where to.
#[derive(Debug, Clone)]
pub struct CardPull<'a> {
    /// The card's folder.
    pub card: &'a Path,
    /// The camera whose folder receives the files.
    pub camera: &'a str,
    /// The last day on which a picture can have been taken.
    pub today: NaiveDate,
}

/// How far a pull is, for whoever looks on, and a way to stop it.
#[derive(Debug, Default)]
pub struct PullCount {
    /// Files that were dealt with.
    pub files: AtomicU64,
    /// Files on the card.
    pub of_files: AtomicU64,
    /// Their bytes.
    pub bytes: AtomicU64,
    /// Bytes on the card.
    pub of_bytes: AtomicU64,
    /// Set to end it after the files that are being copied.
    pub stop: AtomicBool,
}

/// What became of one file of the card.
enum Fate {
    /// Copied and verified; and the file of the same name and picture that was there already, with
    /// other bytes.
    Copied(Arrived, Option<PathBuf>),
    /// The same bytes were there already, and were read again and synced to make sure.
    Had(PathBuf, blake3::Hash),
    /// Not copied.
    Failed(Trouble),
}

impl Fate {
    /// Where the file is now, below the property, and the hash of its bytes.
    fn kept(&self) -> Option<(&Path, blake3::Hash)> {
        match self {
            Self::Copied(arrived, _) => Some((&arrived.place, arrived.hash)),
            Self::Had(place, hash) => Some((place, *hash)),
            Self::Failed(_) => None,
        }
    }
}

/// Pulls a card into the property.
///
/// Trouble with single files is told in the receipt; the other files are copied all the same.
///
/// # Errors
/// When the card or the property cannot be used at all, when the disk is full, or when another
/// pull does not end. What was copied until then stays, verified.
pub fn pull(property: &Property, request: &CardPull, progress: &ProgressBar) -> Result<Receipt> {
    pull_counted(property, request, progress, &PullCount::default())
}

/// [`pull`], with `count` kept up to date.
///
/// # Errors
/// As [`pull`].
pub fn pull_counted(
    property: &Property,
    request: &CardPull,
    progress: &ProgressBar,
    count: &PullCount,
) -> Result<Receipt> {
    apart(property, request.card)?;
    let _lock = hold_lock(property, |words| {
        progress.suspend(|| eprintln!("{words}"));
    })?;
    let listed = list::files(request.card)?;
    worth_a_pull(&listed, request.card)?;
    let before = Catalogue::read(property);
    let held = Held::of(property, &listed.files)?;
    let folder = folder_of(property, request.camera)?;
    off_the_card(property, &folder, request.card)?;
    store::room_for(&property.root.join(&folder), &listed.files, &held)?;
    let target = Target::open(property, folder, known_names(property, &before))?;

    progress.set_length(listed.files.len() as u64);
    let all_bytes = listed.files.iter().map(|f| f.bytes).sum();
    count.of_files.store(listed.files.len() as u64, Ordering::Relaxed);
    count.of_bytes.store(all_bytes, Ordering::Relaxed);
    let one = |file: &CardFile| {
        ensure!(
            !count.stop.load(Ordering::Relaxed),
            "it was stopped. Pull the card again: it goes on where it was"
        );
        let fate = transfer(property, request.card, file, &held, &target, request.today);
        progress.inc(1);
        count.files.fetch_add(1, Ordering::Relaxed);
        count.bytes.fetch_add(file.bytes, Ordering::Relaxed);
        fate
    };
    // A worker waits for the disk more than it works, so there are more of them than cores.
    let workers = ThreadPoolBuilder::new().num_threads(WORKERS).build()?;
    let fates: Vec<Fate> =
        workers.install(|| listed.files.par_iter().map(one).collect::<Result<_>>())?;
    let places: Vec<&Path> = fates.iter().filter_map(|f| Some(f.kept()?.0)).collect();
    files::sync_folders_of(&property.root, &places)?;
    target.close()?;
    Ok(remember(property, request, &listed, &fates, &before))
}

/// The lock of whoever brings pictures into the property or moves them in it.
fn hold_lock(property: &Property, say: impl Fn(&str)) -> Result<std::fs::File> {
    let path = property.root.join(catalogue::FOLDER).join(".lock");
    let wait = || say("Another pull into this property is at work; this one waits for it to end.");
    files::hold(&path, &Busy::Wait(&wait))
}

/// Names that mean a picture already, in any of the ways in which one is named.
fn known_names(property: &Property, before: &Catalogue) -> std::collections::HashSet<String> {
    let mut known = named_in_tags(property);
    known.extend(before.files.iter().map(|f| picture_key(&f.path)));
    known
}

/// A folder without a single picture is no card, and pulling it would say that all is well.
fn worth_a_pull(listed: &Listed, card: &Path) -> Result<()> {
    let looks_like_one = |f: &CardFile| {
        card::is_named_like_a_picture(&f.path) || card::kind_not_read(&f.path).is_some()
    };
    if listed.files.is_empty() && listed.trouble.is_empty() {
        bail!(
            "there is no file in {}. Is the card in the reader, and is this its folder? Nothing was pulled.",
            card.display()
        );
    }
    let in_dcim = |f: &CardFile| f.path.iter().any(|part| part.eq_ignore_ascii_case("DCIM"));
    ensure!(
        !listed.trouble.is_empty() || listed.files.iter().any(|f| looks_like_one(f) || in_dcim(f)),
        "there is no picture among the {} files in {}, so it is not a camera's card. Nothing was pulled. Name the card's folder, the one with DCIM in it.",
        listed.files.len(),
        card.display()
    );
    Ok(())
}

/// Reads the headers of what arrived, and writes the pull's table and receipt. The pictures are safe by
/// now: what cannot be remembered becomes a note on the receipt.
fn remember(
    property: &Property,
    request: &CardPull,
    listed: &Listed,
    fates: &[Fate],
    before: &Catalogue,
) -> Receipt {
    let name = Utc::now().format("pull-%Y%m%dT%H%M%S%.3fZ").to_string();
    let mut receipt = Receipt::new(request, listed, name.clone());
    let mut table = catalogue::Table::begin(property, before);
    let look = |fate: &Fate| match fate.kept() {
        Some((place, _)) => card::look_at(property, &property.root, place, request.today),
        None => Ok(None),
    };
    for (files, fates) in listed.files.chunks(BATCH).zip(fates.chunks(BATCH)) {
        let pictures: Vec<_> = fates.par_iter().map(look).collect();
        let mut rows = catalogue::Rows::default();
        for ((file, fate), picture) in files.iter().zip(fates).zip(&pictures) {
            receipt.add(file, fate, picture);
            let picture = picture.as_ref().ok().and_then(Option::as_ref);
            rows.add(request, &file.path, file.bytes, fate, picture);
        }
        table = table.and_then(|mut t| t.write(rows).map(|()| t));
    }
    receipt.close(list::files(request.card), listed);
    if let Err(e) = table.and_then(|t| t.finish(&name)) {
        receipt.notes.push(format!(
            "the catalogue could not be written ({e:#}); every picture is safe all the same"
        ));
    }
    if let Err(e) = keep(property, &receipt) {
        let note = format!("this receipt could not be kept in the property ({e:#})");
        receipt.notes.push(note);
    }
    receipt
}

/// Keeps the receipt in the property, as text and as JSON.
fn keep(property: &Property, receipt: &Receipt) -> Result<()> {
    let folder = property.root.join(catalogue::FOLDER).join("receipts");
    std::fs::create_dir_all(&folder)?;
    let json = serde_json::to_string_pretty(receipt)? + "\n";
    for (ending, text) in [("json", json), ("txt", format!("{receipt}\n"))] {
        let path = folder.join(format!("{}.{ending}", receipt.pull));
        let write = |file: &mut std::fs::File| file.write_all(text.as_bytes());
        files::write_whole(&path, Lasting::Synced, write, || Ok(()))?;
    }
    Ok(())
}

/// Whether two pictures carry the same time: the names of two years may agree, their times do not.
fn is_of_one_moment(property: &Property, a: &Path, b: &Path, today: NaiveDate) -> bool {
    let moment = |path: &Path| {
        let picture = card::look_at(property, &property.root, path, today).ok().flatten();
        picture.and_then(|p| p.time.ok()).map(|s| s.time)
    };
    moment(a) == moment(b)
}

/// One file: recognised, or copied and verified. Only a disk that takes no more ends the pull.
fn transfer(
    property: &Property,
    card: &Path,
    file: &CardFile,
    held: &Held,
    target: &Target,
    today: NaiveDate,
) -> Result<Fate> {
    let source = card.join(&file.path);
    let failed = |trouble| Ok(Fate::Failed(trouble));
    if held.has_size(file.bytes) {
        let hash = match files::hash_from_disk(&source) {
            Ok(hash) => hash,
            Err(e) => return failed(Trouble::unread(file, &e)),
        };
        if let Some(place) = held.find(property, file.bytes, hash) {
            let copy = property.root.join(&place);
            if files::is_same_file(&copy, &source) {
                return failed(Trouble::is_the_card(file, &place));
            }
            return match files::sync_file(&copy) {
                Ok(()) => Ok(Fate::Had(place, hash)),
                Err(e) => failed(Trouble::unsynced(file, &e)),
            };
        }
    }
    match store::copy(&source, file, target) {
        Ok(arrived) => {
            let twin = target.twin_of(&arrived, &file.path);
            let twin = twin.filter(|twin| is_of_one_moment(property, twin, &arrived.place, today));
            Ok(Fate::Copied(arrived, twin))
        }
        Err(store::Failure::Source(e)) => failed(Trouble::unread(file, &e)),
        Err(store::Failure::Unsteady) => failed(Trouble::unsteady(file)),
        Err(store::Failure::Differs) => failed(Trouble::differs(file)),
        Err(store::Failure::Disk(e)) => {
            let words = format!(
                "{} could not be written into {}. {} Then run the pull again: it goes on where it stopped. Do not clear the card",
                file.shown(),
                property.root.display(),
                disk_remedy(&e)
            );
            Err(e).context(words)
        }
    }
}

/// The folder of a camera below the property: where its pictures are already, whatever the
/// capitals, or else under its name.
fn folder_of(property: &Property, camera: &str) -> Result<PathBuf> {
    let camera = camera.trim();
    let plain = !camera.is_empty()
        && !camera.starts_with('.')
        && !camera.contains(['/', '\\'])
        && !camera.contains(char::is_control)
        && !card::is_season(camera)
        && !camera.eq_ignore_ascii_case("DCIM");
    if !plain {
        bail!(
            "\"{camera}\" cannot be the name of a camera's folder. Use a name such as Oak or North Fence."
        );
    }
    let there = card::camera_folders(property)
        .into_iter()
        .find(|(name, _)| crate::property::same_name(name, camera))
        .map(|(_, folder)| folder);
    let mapped = property.placements_of(camera).find_map(|p| p.folder.as_deref());
    Ok(there.unwrap_or_else(|| Path::new("cards").join(mapped.unwrap_or(camera))))
}

/// The card must not lie in the property, nor the property on the card.
fn apart(property: &Property, request: &Path) -> Result<()> {
    let real = |path: &Path| {
        path.canonicalize().with_context(|| {
            format!(
                "{} cannot be opened. Is the card in the reader, and is this its folder?",
                path.display()
            )
        })
    };
    let (card, root) = match (real(request), real(&property.root)) {
        // A path of more than 260 signs cannot be resolved everywhere (Wine's "more data available").
        (card, Err(_)) if cfg!(windows) && property.root.exists() => {
            let _ = card?;
            (std::path::absolute(request)?, std::path::absolute(&property.root)?)
        }
        (card, root) => (card?, root?),
    };
    if !card.is_dir() {
        bail!("{} is not a folder. Name the card's folder.", card.display());
    }
    if card.join("property.toml").exists() {
        bail!("{} is a property and no card. Name the card's folder.", card.display());
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

/// The camera's folder may be a link to another disk, but not to the card: then nothing is a copy.
fn off_the_card(property: &Property, folder: &Path, card: &Path) -> Result<()> {
    let card = card.canonicalize()?;
    let place = property.root.join(folder);
    let real = place.ancestors().find_map(|p| p.canonicalize().ok());
    if real.is_some_and(|real| real.starts_with(&card)) {
        bail!(
            "the folder {} is a link to the card itself, so nothing would be copied. Remove the link and pull again.",
            card::shown(folder)
        );
    }
    Ok(())
}
