//! Which file a path leads to, how it is asked for, and what room its disk has.

use std::borrow::Cow;
use std::io;
use std::path::Path;

/// Whether two paths lead to one and the same file: a link shows the other's bytes and is no copy.
pub fn is_same_file(a: &Path, b: &Path) -> bool {
    same_file::is_same_file(a, b).unwrap_or(false)
}

/// Bytes that can still be written on the disk of a folder; `None` where the system does not say.
pub fn free_bytes(folder: &Path) -> Option<u64> {
    fs4::available_space(folder).ok()
}

/// A path in the form in which the system takes it however long it is.
#[cfg(not(windows))]
pub(super) fn at_any_length(path: &Path) -> io::Result<Cow<'_, Path>> {
    Ok(Cow::Borrowed(path))
}

/// Beyond 260 signs Windows wants the whole path behind `\\?\` (Microsoft, "Maximum Path Length Limitation").
/// The standard library sees to that by itself, a temporary file that is given its name does not.
#[cfg(windows)]
pub(super) fn at_any_length(path: &Path) -> io::Result<Cow<'_, Path>> {
    use std::path::{Component, Prefix};
    let whole = std::path::absolute(path)?;
    let Some(Component::Prefix(prefix)) = whole.components().next() else {
        return Ok(Cow::Owned(whole));
    };
    let shown = whole.as_os_str().to_os_string();
    let mut long = std::ffi::OsString::new();
    match prefix.kind() {
        Prefix::Disk(_) => {
            long.push(r"\\?\");
            long.push(shown);
        }
        Prefix::UNC(server, share) => {
            long.push(r"\\?\UNC\");
            long.push(server);
            long.push(r"\");
            long.push(share);
            long.push(r"\");
            let below = whole.components().skip(2);
            long.push(below.collect::<std::path::PathBuf>());
        }
        _ => return Ok(Cow::Owned(whole)),
    }
    Ok(Cow::Owned(long.into()))
}
