//! A file in the making, beside the one it will become.

use std::fs::File;
use std::io::{self, ErrorKind};
use std::path::Path;
use std::time::Duration;

use tempfile::NamedTempFile;

use super::FileState;
use super::place::at_any_length;

/// Whether a file must outlast a loss of power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lasting {
    /// It cannot be made anew.
    Synced,
    /// It can.
    Remade,
}

/// Writes a file in the place of the one that has its name, if any, in one step: a reader meets the old
/// bytes or the new. Permissions of the old file stay. Right before the step `allow` is asked once more.
///
/// # Errors
/// What the disk said, or `allow`; then the old file is as it was.
pub fn write_whole(
    path: &Path,
    lasting: Lasting,
    write: impl FnOnce(&mut File) -> io::Result<()>,
    allow: impl FnOnce() -> io::Result<()>,
) -> io::Result<FileState> {
    let path = &at_any_length(path)?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let mut file = new_file_in(folder)?;
    write(file.as_file_mut())?;
    if let Ok(old) = std::fs::metadata(path) {
        file.as_file().set_permissions(old.permissions())?;
    }
    if lasting == Lasting::Synced {
        file.as_file().sync_all()?;
    }
    let state = FileState::of(&file.as_file().metadata()?);
    allow()?;
    file.persist(path)?;
    if lasting == Lasting::Synced {
        super::sync_folder(folder).map_err(io::Error::other)?;
    }
    Ok(state)
}

/// What the names of files in the making begin with.
const IN_THE_MAKING: &str = ".graylight-";

/// Removes what a kill has left in the making in a folder, as far as it is older than `age`: one that is new may be
/// another command's.
pub fn clear_away(folder: &Path, age: Duration) {
    for entry in folder.read_dir().into_iter().flatten().flatten() {
        let name = entry.file_name();
        let in_the_making = name.as_encoded_bytes().starts_with(IN_THE_MAKING.as_bytes());
        let facts = entry.metadata().ok().filter(std::fs::Metadata::is_file);
        let elapsed = facts.and_then(|f| f.modified().ok()?.elapsed().ok());
        if in_the_making && elapsed.is_some_and(|e| e >= age) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Opens a temporary file in a folder, readable as a file made in the ordinary way would be;
/// temporary files are private by default. Unless it is given its name it goes away.
pub fn new_file_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(IN_THE_MAKING);
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
    builder.tempfile_in(at_any_length(folder)?)
}

/// Gives a finished file its name, if no file has that name yet; hands it back where one has.
///
/// Disks with FAT or exFAT know no step that names a file only where there is none. There it is looked
/// for first: whoever calls this holds the lock of the folder it lies in.
///
/// # Errors
/// [`ErrorKind::AlreadyExists`] where the name is taken, else what the disk said.
pub fn name_new_file(file: NamedTempFile, path: &Path) -> Result<(), (io::Error, NamedTempFile)> {
    let path = &match at_any_length(path) {
        Ok(path) => path,
        Err(e) => return Err((e, file)),
    };
    let refused = match file.persist_noclobber(path) {
        Ok(_) => return Ok(()),
        Err(refused) => refused,
    };
    if refused.error.kind() == ErrorKind::AlreadyExists {
        return Err((refused.error, refused.file));
    }
    name_by_looking(refused.file, path)
}

fn name_by_looking(file: NamedTempFile, path: &Path) -> Result<(), (io::Error, NamedTempFile)> {
    match path.symlink_metadata() {
        Err(e) if e.kind() == ErrorKind::NotFound => match file.persist(path) {
            Ok(_) => Ok(()),
            Err(e) => Err((e.error, e.file)),
        },
        Err(e) => Err((e, file)),
        Ok(_) => Err((ErrorKind::AlreadyExists.into(), file)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn a_name_that_is_taken_is_never_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        let made = |bytes: &[u8]| {
            let mut file = new_file_in(folder.path()).unwrap();
            file.write_all(bytes).unwrap();
            file
        };
        for name in [name_new_file, name_by_looking] {
            let _ = std::fs::remove_file(&path);
            name(made(b"one"), &path).unwrap();
            let (error, _) = name(made(b"two"), &path).unwrap_err();
            assert_eq!(error.kind(), ErrorKind::AlreadyExists);
            assert_eq!(std::fs::read(&path).unwrap(), b"one");
        }
    }
}
