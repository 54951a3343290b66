//! Writing one file so that it is either whole, verified and on the disk, or not there.

use std::collections::HashSet;
use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use anyhow::{Context, Result, bail};

use super::held::Held;
use super::list::CardFile;
use crate::card::{Damage, INCOMING, Structure, is_same_picture, shown};
use crate::files::{disk_remedy, free_bytes, hash_from_disk, name_new_file, new_file_in};
use crate::property::{Property, picture_key};

/// Large enough that a card reader streams, small enough that memory stays flat.
const CHUNK: usize = 256 * 1024;

/// The folder of one camera, in which files that are not verified yet lie apart. It is inside the
/// camera's folder, so that both are on one disk wherever that is. Whoever holds the pull lock owns it.
pub(super) struct Target<'a> {
    root: &'a Path,
    /// The camera's folder, below the property.
    folder: PathBuf,
    incoming: PathBuf,
    /// Names that tags or earlier pulls know, and that no other picture may have.
    known: HashSet<String>,
    /// Names given in this pull and still to be made sure of: two files cannot take one name.
    naming: Mutex<()>,
}

impl<'a> Target<'a> {
    /// Makes the folder anew: what a killed pull left in it was never counted.
    pub fn open(property: &'a Property, folder: PathBuf, known: HashSet<String>) -> Result<Self> {
        let incoming = property.root.join(&folder).join(INCOMING);
        if incoming.exists() {
            std::fs::remove_dir_all(&incoming)
                .with_context(|| format!("cannot clear {}", incoming.display()))?;
        }
        std::fs::create_dir_all(&incoming).map_err(|e| {
            let remedy = disk_remedy(&e);
            anyhow::Error::new(e)
                .context(format!("cannot make the folder {}. {remedy}", incoming.display()))
        })?;
        Ok(Self { root: &property.root, folder, incoming, known, naming: Mutex::new(()) })
    }

    pub fn close(self) -> Result<()> {
        std::fs::remove_dir_all(&self.incoming)
            .with_context(|| format!("cannot remove {}", self.incoming.display()))
    }

    /// Gives a verified file its name, or the next free one: `IMG_0001.JPG`, `IMG_0001_2.JPG`, … A name
    /// that is known to tags or to the catalogue counts as taken, also when no file has it any more:
    /// it means another picture.
    fn name(&self, mut written: tempfile::NamedTempFile, on_card: &Path) -> io::Result<PathBuf> {
        let wanted = self.folder.join(on_card);
        if let Some(folder) = self.root.join(&wanted).parent() {
            std::fs::create_dir_all(folder)?;
        }
        let _one_at_a_time = self.naming.lock();
        for n in 1_u32.. {
            let place = numbered(&wanted, n);
            if self.is_known(&place) {
                continue;
            }
            match name_new_file(written, &self.root.join(&place)) {
                Ok(()) => return Ok(place),
                Err((e, file)) if e.kind() == ErrorKind::AlreadyExists => written = file,
                Err((e, _)) => return Err(e),
            }
        }
        Err(io::Error::other("every name is taken"))
    }

    /// The file that has the name which an arrived file could not get, if it shows the same picture: one
    /// of the two is damaged.
    pub fn twin_of(&self, arrived: &Arrived, on_card: &Path) -> Option<PathBuf> {
        let wanted = self.folder.join(on_card);
        let is_twin = wanted != arrived.place
            && is_same_picture(&self.root.join(&wanted), &self.root.join(&arrived.place));
        is_twin.then_some(wanted)
    }

    fn is_known(&self, place: &Path) -> bool {
        let full = picture_key(&shown(place));
        let below = full.strip_prefix("cards/").unwrap_or(&full);
        let name = full.rsplit('/').next().unwrap_or(&full);
        let folder = below.split('/').next().unwrap_or("");
        let short = format!("{folder}/{name}");
        [full.as_str(), below, short.as_str(), name].iter().any(|form| self.known.contains(*form))
    }
}

/// Why a file was not copied.
#[derive(Debug)]
pub(super) enum Failure {
    /// The card did not give the bytes.
    Source(io::Error),
    /// The card gave other bytes each time it was read.
    Unsteady,
    /// What was read back is not what was written.
    Differs,
    /// The property's disk did not take them.
    Disk(io::Error),
}

/// A file that has arrived: verified, synced and named.
#[derive(Debug)]
pub(super) struct Arrived {
    /// Where it is now, below the property.
    pub place: PathBuf,
    pub hash: blake3::Hash,
    /// What is wrong with it on the card already.
    pub damage: Option<Damage>,
    /// The first two readings of the card differed, and two later ones agreed.
    pub unsteady: bool,
}

/// Copies a file: read from the card twice, and read back from the property's disk. A card whose two
/// readings differ is tried once more from the beginning.
pub(super) fn copy(source: &Path, file: &CardFile, target: &Target) -> Result<Arrived, Failure> {
    match copy_once(source, file, target) {
        Err(Failure::Unsteady) => {
            copy_once(source, file, target).map(|arrived| Arrived { unsteady: true, ..arrived })
        }
        done => done,
    }
}

fn copy_once(source: &Path, file: &CardFile, target: &Target) -> Result<Arrived, Failure> {
    let card = File::open(source).map_err(Failure::Source)?;
    let mut written = new_file_in(&target.incoming).map_err(Failure::Disk)?;
    let streamed = stream(&card, file.bytes, written.as_file_mut())?;
    if let Some(modified) = file.modified {
        // A date that the disk cannot keep is no reason to lose the picture.
        let _ = written.as_file().set_modified(modified);
    }
    written.as_file().sync_all().map_err(Failure::Disk)?;
    if hash_from_disk(written.path()).map_err(Failure::Disk)? != streamed.hash {
        return Err(Failure::Differs);
    }
    if hash_from_disk(source).map_err(Failure::Source)? != streamed.hash {
        return Err(Failure::Unsteady);
    }
    let place = target.name(written, &file.path).map_err(Failure::Disk)?;
    Ok(Arrived { place, hash: streamed.hash, damage: streamed.damage, unsteady: false })
}

#[derive(Debug)]
struct Streamed {
    hash: blake3::Hash,
    damage: Option<Damage>,
}

/// Streams `bytes` bytes from the card into a file. A card that gives fewer or more than it listed
/// has changed under the reader, or is failing.
fn stream(mut card: impl Read, bytes: u64, into: &mut impl Write) -> Result<Streamed, Failure> {
    let mut hasher = blake3::Hasher::new();
    let mut structure = Structure::default();
    let mut buffer = vec![0; CHUNK];
    let mut copied = 0;
    loop {
        let n = match card.read(&mut buffer) {
            Ok(0) => break,
            Ok(n) => n,
            Err(e) if e.kind() == ErrorKind::Interrupted => continue,
            Err(e) => return Err(Failure::Source(e)),
        };
        hasher.update(&buffer[..n]);
        structure.feed(&buffer[..n]);
        into.write_all(&buffer[..n]).map_err(Failure::Disk)?;
        copied += n as u64;
    }
    if copied != bytes {
        let what = format!("the card lists {bytes} bytes and gave {copied}");
        return Err(Failure::Source(io::Error::other(what)));
    }
    Ok(Streamed { hash: hasher.finalize(), damage: structure.finish() })
}

pub(super) fn numbered(path: &Path, n: u32) -> PathBuf {
    if n == 1 {
        return path.to_path_buf();
    }
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("_{n}"));
    if let Some(extension) = path.extension() {
        name.push(".");
        name.push(extension);
    }
    path.with_file_name(name)
}

/// Refuses a pull that cannot fit before it begins. Files that may be there already are not counted.
/// The room is that of the disk on which the camera's folder lies.
pub(super) fn room_for(folder: &Path, files: &[CardFile], held: &Held) -> Result<()> {
    let needed: u64 = files.iter().filter(|f| !held.has_size(f.bytes)).map(|f| f.bytes).sum();
    let Some(free) = folder.ancestors().find_map(free_bytes) else {
        return Ok(());
    };
    if needed > free {
        const MB: f64 = 1e6;
        bail!(
            "the card holds {:.1} MB that are not in the property yet, and its disk has {:.1} MB left. Make room and run the pull again; nothing was copied, and the card is as it was.",
            needed as f64 / MB,
            free as f64 / MB
        );
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A card with a dying sector.
    struct Dying<'a>(&'a [u8]);

    impl Read for Dying<'_> {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            if self.0.is_empty() {
                return Err(io::Error::other("input/output error"));
            }
            self.0.read(buffer)
        }
    }

    #[test]
    fn a_read_error_in_the_middle_is_the_cards() {
        let mut out = Vec::new();
        let failed = stream(Dying(b"half a pict"), 20, &mut out);
        assert!(matches!(failed, Err(Failure::Source(_))));
    }

    #[test]
    fn a_file_that_ends_early_is_not_taken_for_whole() {
        let mut out = Vec::new();
        let failed = stream(&b"half a pict"[..], 20, &mut out);
        assert!(matches!(failed, Err(Failure::Source(_))));
        assert!(stream(&b"whole"[..], 5, &mut out).is_ok());
    }

    #[test]
    fn taken_names_are_counted_up() {
        let path = Path::new("cards/Oak/DCIM/IMG_0001.JPG");
        assert_eq!(numbered(path, 1), path);
        assert_eq!(numbered(path, 2), Path::new("cards/Oak/DCIM/IMG_0001_2.JPG"));
        assert_eq!(numbered(Path::new("a/README"), 3), Path::new("a/README_3"));
    }
}
