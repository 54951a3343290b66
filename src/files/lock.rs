//! One command at a time.

use std::fs::{File, TryLockError};
use std::path::Path;

use anyhow::{Context, Result, bail};

/// What to do while another holds the lock.
pub enum Busy<'a> {
    /// Say so and wait.
    Wait(&'a dyn Fn()),
    /// Give up with these words.
    Refuse(&'static str),
}

/// Holds a lock until the file is dropped. The operating system lets go of it when a process dies, so a
/// kill leaves nothing to clear away.
///
/// # Errors
/// When the lock's file cannot be made, or as `busy` says.
pub fn hold(path: &Path, busy: &Busy) -> Result<File> {
    let fail = || format!("cannot lock {}", path.display());
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    }
    let file =
        File::options().create(true).truncate(false).write(true).open(path).with_context(fail)?;
    match (file.try_lock(), busy) {
        (Ok(()), _) => {}
        (Err(TryLockError::WouldBlock), Busy::Wait(say)) => {
            say();
            file.lock().with_context(fail)?;
        }
        (Err(TryLockError::WouldBlock), Busy::Refuse(words)) => bail!("{words}"),
        (Err(TryLockError::Error(e)), _) => return Err(e).with_context(fail),
    }
    Ok(file)
}
