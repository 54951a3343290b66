//! A folder in the making, beside the one it will become.

use std::path::Path;

use anyhow::{Context, Result};

/// Whether a folder can be made there: nothing is there yet, or an empty one.
pub fn is_free(folder: &Path) -> bool {
    !folder.exists() || folder.read_dir().is_ok_and(|mut d| d.next().is_none())
}

/// Fills a new folder and gives it its name once all of it is there; an empty folder that has the name makes
/// room. Whatever goes wrong before leaves nothing.
///
/// # Errors
/// What `fill` said, or the disk.
pub fn make_folder<T>(folder: &Path, fill: impl FnOnce(&Path) -> Result<T>) -> Result<T> {
    let folder = std::path::absolute(folder)?;
    let parent = folder.parent().context("it needs a folder to lie in")?;
    std::fs::create_dir_all(parent)?;
    let making = tempfile::Builder::new().prefix(".graylight-").tempdir_in(parent)?;
    let filled = fill(making.path())?;
    if folder.exists() {
        // Fails, as it must, where somebody has put a file into it meanwhile.
        std::fs::remove_dir(&folder)?;
    }
    readable(making.path())?;
    std::fs::rename(making.path(), &folder)?;
    // It has its name now; there is nothing to clear away.
    let _ = making.keep();
    super::sync_folder(parent)?;
    Ok(filled)
}

/// Temporary folders are private by default; one that a person asked for is like any other.
#[cfg(unix)]
fn readable(folder: &Path) -> std::io::Result<()> {
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o755);
    std::fs::set_permissions(folder, mode)
}

#[cfg(not(unix))]
fn readable(_: &Path) -> std::io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_there_whole_or_not_at_all() {
        let place = tempfile::tempdir().unwrap();
        let wanted = place.path().join("a/b");
        let fails: Result<()> = make_folder(&wanted, |making| {
            std::fs::write(making.join("x"), "x")?;
            anyhow::bail!("no")
        });
        let entries = || place.path().join("a").read_dir().unwrap().count();
        assert!(fails.is_err() && entries() == 0);
        make_folder(&wanted, |making| Ok(std::fs::write(making.join("x"), "x")?)).unwrap();
        assert_eq!(std::fs::read(wanted.join("x")).unwrap(), b"x");
        assert!(make_folder(&wanted, |_| Ok(())).is_err(), "there is something in it");
        assert_eq!(entries(), 1);
    }
}
