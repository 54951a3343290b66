//! What is on the disk for good.

use std::collections::BTreeSet;
use std::fs::File;
use std::io;
use std::path::Path;

use anyhow::{Context, Result};

/// Makes sure that a file which was there before is on the disk for good.
pub fn sync_file(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}

/// Syncs one folder's list of names. Only Unix can open a folder for that.
pub fn sync_folder(folder: &Path) -> Result<()> {
    #[cfg(unix)]
    File::open(folder)
        .and_then(|f| f.sync_all())
        .with_context(|| format!("cannot sync {}", folder.display()))?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
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
