//! One pull at a time in one property.

use std::fs::{File, TryLockError};
use std::path::Path;

use anyhow::{Context, Result};

/// Holds the property's pull lock until dropped; waits for another pull and says so. The operating
/// system lets go of it when a process dies, so a killed pull leaves nothing to clear away.
pub(super) fn hold(root: &Path, say: impl Fn(&str)) -> Result<File> {
    let folder = root.join("catalogue");
    std::fs::create_dir_all(&folder)
        .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    let path = folder.join(".lock");
    let fail = || format!("cannot lock {}", path.display());
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .with_context(fail)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            say("Another pull into this property is at work; this one waits for it to end.");
            file.lock().with_context(fail)?;
        }
        Err(TryLockError::Error(e)) => return Err(e).with_context(fail),
    }
    Ok(file)
}
