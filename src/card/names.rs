//! What the names of pictures say: the camera's number, and the number that a pull gave.

use std::path::{Path, PathBuf};

/// The number that the camera gave a picture: the digits at the end of its name, `7` of `IMG_0007.JPG`.
pub fn file_number(path: &Path) -> Option<u64> {
    let stem = path.file_stem()?.to_str()?;
    stem.rsplit(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
}

/// The name before a pull numbered it, and the number: `IMG_0001.JPG` and 2 of `IMG_0001_2.JPG`.
pub fn before_numbering(path: &Path) -> Option<(PathBuf, u32)> {
    let (first, number) = path.file_stem()?.to_str()?.rsplit_once('_')?;
    let number = number.parse().ok().filter(|n| (2..100).contains(n))?;
    let mut base = path.with_file_name(first);
    if let Some(extension) = path.extension() {
        base.as_mut_os_string().push(".");
        base.as_mut_os_string().push(extension);
    }
    Some((base, number))
}
