//! Writing one file so that it is either whole, verified and on the disk, or not there.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};

use super::held::Held;
use super::list::CardFile;
use crate::card::INCOMING;
use crate::property::{Property, new_file_in};

/// Large enough that a card reader streams, small enough that memory stays flat.
const CHUNK: usize = 256 * 1024;

/// The folder for files that are not verified yet. Whoever holds the pull lock owns it.
pub(super) struct Incoming(PathBuf);

impl Incoming {
    /// Makes the folder anew: what a killed pull left in it was never counted.
    pub fn open(property: &Property) -> Result<Self> {
        let path = property.cards().join(INCOMING);
        if path.exists() {
            std::fs::remove_dir_all(&path)
                .with_context(|| format!("cannot clear {}", path.display()))?;
        }
        std::fs::create_dir_all(&path)
            .with_context(|| format!("cannot make the folder {}", path.display()))?;
        Ok(Self(path))
    }

    pub fn close(self) -> Result<()> {
        std::fs::remove_dir_all(&self.0)
            .with_context(|| format!("cannot remove {}", self.0.display()))
    }
}

/// Why a file was not copied.
#[derive(Debug)]
pub(super) enum Failure {
    /// The card did not give the bytes.
    Source(io::Error),
    /// What was read back is not what was written.
    Differs,
    /// The property's disk did not take them.
    Disk(io::Error),
}

/// Copies a file into `target`, a folder below `root`, and returns its path below `root` and its
/// hash.
pub(super) fn copy(
    source: &Path,
    file: &CardFile,
    incoming: &Incoming,
    root: &Path,
    target: &Path,
) -> Result<(PathBuf, blake3::Hash), Failure> {
    let card = File::open(source).map_err(Failure::Source)?;
    let mut written = new_file_in(&incoming.0).map_err(Failure::Disk)?;
    let hash = stream(card, file.bytes, written.as_file_mut())?;
    if let Some(modified) = file.modified {
        // A date that the disk cannot keep is no reason to lose the picture.
        let _ = written.as_file().set_modified(modified);
    }
    written.as_file().sync_all().map_err(Failure::Disk)?;
    forget(written.as_file());
    let back = File::open(written.path())
        .and_then(hash_reader)
        .map_err(Failure::Disk)?;
    if back != hash {
        return Err(Failure::Differs);
    }
    let place = name_it(written, root, &target.join(&file.path)).map_err(Failure::Disk)?;
    Ok((place, hash))
}

/// Streams `bytes` bytes from the card into a file. A card that gives fewer or more than it listed
/// has changed under the reader, or is failing.
fn stream(mut card: impl Read, bytes: u64, into: &mut impl Write) -> Result<blake3::Hash, Failure> {
    let mut hasher = blake3::Hasher::new();
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
        into.write_all(&buffer[..n]).map_err(Failure::Disk)?;
        copied += n as u64;
    }
    if copied != bytes {
        let what = format!("the card lists {bytes} bytes and gave {copied}");
        return Err(Failure::Source(io::Error::other(what)));
    }
    Ok(hasher.finalize())
}

/// Drops a synced file from the disk cache where the system can be told to, so that reading it back
/// reads the disk.
fn forget(file: &File) {
    #[cfg(target_os = "linux")]
    let _ = rustix::fs::fadvise(file, 0, None, rustix::fs::Advice::DontNeed);
    #[cfg(not(target_os = "linux"))]
    let _ = file;
}

/// Gives a verified file its name, or the next free one: `IMG_0001.JPG`, `IMG_0001_2.JPG`, …
fn name_it(
    mut written: tempfile::NamedTempFile,
    root: &Path,
    wanted: &Path,
) -> io::Result<PathBuf> {
    if let Some(folder) = root.join(wanted).parent() {
        std::fs::create_dir_all(folder)?;
    }
    for n in 1_u32.. {
        let place = numbered(wanted, n);
        match written.persist_noclobber(root.join(&place)) {
            Ok(_) => return Ok(place),
            Err(e) if e.error.kind() == ErrorKind::AlreadyExists => written = e.file,
            Err(e) => return Err(e.error),
        }
    }
    Err(io::Error::other("every name is taken"))
}

fn numbered(path: &Path, n: u32) -> PathBuf {
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

/// The hash of a file's bytes, read from the disk as it is now.
pub(super) fn hash_of(path: &Path) -> io::Result<blake3::Hash> {
    let file = File::open(path)?;
    forget(&file);
    hash_reader(file)
}

fn hash_reader(mut file: impl Read) -> io::Result<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    let mut buffer = vec![0; CHUNK];
    loop {
        match file.read(&mut buffer) {
            Ok(0) => return Ok(hasher.finalize()),
            Ok(n) => hasher.update(&buffer[..n]),
            Err(e) if e.kind() == ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
    }
}

/// Syncs the folders of files, and those above them up to the property, so that the names last as
/// the bytes do.
pub(super) fn sync_folders(property: &Property, paths: &[&Path]) -> Result<()> {
    let folders: BTreeSet<&Path> = paths.iter().flat_map(|p| p.ancestors().skip(1)).collect();
    for folder in folders {
        sync_folder(&property.root.join(folder))?;
    }
    Ok(())
}

/// Syncs one folder's list of names. Only Unix can open a folder for that.
pub(super) fn sync_folder(folder: &Path) -> Result<()> {
    #[cfg(unix)]
    File::open(folder)
        .and_then(|f| f.sync_all())
        .with_context(|| format!("cannot sync {}", folder.display()))?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

/// Refuses a pull that cannot fit before it begins. Files that may be there already are not counted.
pub(super) fn room_for(property: &Property, files: &[CardFile], held: &Held) -> Result<()> {
    let needed: u64 = files
        .iter()
        .filter(|f| !held.has_size(f.bytes))
        .map(|f| f.bytes)
        .sum();
    let Some(free) = free_bytes(&property.root) else {
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

fn free_bytes(folder: &Path) -> Option<u64> {
    #[cfg(unix)]
    return rustix::fs::statvfs(folder)
        .ok()
        .map(|s| s.f_bavail.saturating_mul(s.f_frsize));
    #[cfg(not(unix))]
    return {
        let _ = folder;
        None
    };
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
        assert_eq!(
            numbered(path, 2),
            Path::new("cards/Oak/DCIM/IMG_0001_2.JPG")
        );
        assert_eq!(numbered(Path::new("a/README"), 3), Path::new("a/README_3"));
    }
}
