//! What is on the disk for good.

use std::collections::BTreeSet;
use std::fs::File;
use std::io;
use std::path::Path;

use anyhow::{Context, Result};

/// Makes sure that a file which was there before is on the disk for good.
pub fn sync_file(path: &Path) -> io::Result<()> {
    // Windows writes out only what was opened for writing (`FlushFileBuffers`).
    File::options().read(true).write(cfg!(windows)).open(path)?.sync_all()
}

/// Syncs one folder's list of names.
pub fn sync_folder(folder: &Path) -> Result<()> {
    names_to_disk(folder).with_context(|| format!("cannot sync {}", folder.display()))
}

#[cfg(not(windows))]
fn names_to_disk(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Windows opens a folder only with `FILE_FLAG_BACKUP_SEMANTICS`. Disks that keep a journal of names (NTFS)
/// may refuse what others (FAT, exFAT) need, and network shares refuse it too.
#[cfg(windows)]
fn names_to_disk(folder: &Path) -> io::Result<()> {
    use std::os::windows::fs::OpenOptionsExt;
    const FILE_FLAG_BACKUP_SEMANTICS: u32 = 0x0200_0000;
    let written = File::options()
        .write(true)
        .custom_flags(FILE_FLAG_BACKUP_SEMANTICS)
        .open(folder)
        .and_then(|f| f.sync_all());
    match written {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Err(e),
        _ => Ok(()),
    }
}

/// Syncs the folders of files, and those above them up to `root`, so that the names last as the bytes do.
/// Paths are below `root`.
pub fn sync_folders_of(root: &Path, files: &[&Path]) -> Result<()> {
    let folders: BTreeSet<&Path> = files.iter().flat_map(|p| p.ancestors().skip(1)).collect();
    for folder in folders {
        sync_folder(&root.join(folder))?;
    }
    Ok(())
}
