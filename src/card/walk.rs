//! Finding the files.

use std::cmp::Ordering;
use std::path::{Path, PathBuf, is_separator};

use walkdir::{DirEntry, WalkDir};

use crate::property::{Cause, Problem};

/// The folder below `cards/` in which a pull keeps files that are not verified yet.
pub const INCOMING: &str = ".graylight-incoming";

#[derive(Default)]
pub(super) struct Walk {
    pub files: Vec<PathBuf>,
    pub problems: Vec<Problem>,
}

/// Every regular file below `cards`, as a path below `root`, in a fixed order. Links are followed;
/// a loop, or a folder that will not open, becomes a problem.
pub(super) fn files(root: &Path, cards: &Path) -> Walk {
    // Following links asks the disk about every single file, so it is done only where there are any.
    walk(root, cards, false).or_else(|| walk(root, cards, true)).unwrap_or_default()
}

/// `cards` itself, be it there or not, and every folder below it.
pub(super) fn folders(cards: &Path) -> Vec<PathBuf> {
    let tree = WalkDir::new(cards).min_depth(1).follow_links(true);
    let entries = tree.into_iter();
    let shown = entries.filter_entry(is_shown).filter_map(Result::ok);
    let folders = shown.filter(|e| e.file_type().is_dir());
    let below = folders.map(DirEntry::into_path);
    std::iter::once(cards.to_path_buf()).chain(below).collect()
}

/// What a pull has not finished is not there yet, and other hidden folders are the computer's own.
fn is_shown(entry: &DirEntry) -> bool {
    entry.depth() == 0
        || !(entry.file_type().is_dir() && entry.file_name().as_encoded_bytes().starts_with(b"."))
}

/// `None` when there are links and they are not to be followed.
fn walk(root: &Path, cards: &Path, follow_links: bool) -> Option<Walk> {
    let mut walk = Walk::default();
    if !cards.exists() {
        return Some(walk);
    }
    let tree = WalkDir::new(cards).follow_links(follow_links).sort_by_file_name();
    for entry in tree.into_iter().filter_entry(is_shown) {
        match entry {
            Ok(entry) if entry.file_type().is_file() => {
                let path = entry.path().strip_prefix(root).unwrap_or(entry.path());
                walk.files.push(path.to_path_buf());
            }
            Ok(entry) if entry.path_is_symlink() && !follow_links => return None,
            Ok(_) => {}
            Err(e) => walk.problems.push(walk_problem(root, &e)),
        }
    }
    walk.problems.sort_by(|a, b| a.file.cmp(&b.file));
    Some(walk)
}

/// The order in which files are found, and a person would list folders: part by part. `Path` compares in the same
/// order and takes the paths apart anew for each comparison, which for a season is slower than reading it.
pub(super) fn by_parts(a: &Path, b: &Path) -> Ordering {
    let parts_first = |byte: &u8| match is_separator(char::from(*byte)) {
        true => 0,
        false => *byte,
    };
    let a = a.as_os_str().as_encoded_bytes().iter().map(parts_first);
    let b = b.as_os_str().as_encoded_bytes().iter().map(parts_first);
    a.cmp(b)
}

fn walk_problem(root: &Path, error: &walkdir::Error) -> Problem {
    let at = error.path().unwrap_or(root);
    let at = shown(at.strip_prefix(root).unwrap_or(at));
    if error.loop_ancestor().is_some() {
        return Problem::file(&at, Cause::LinkLoop);
    }
    let why = error.io_error().map_or_else(|| error.to_string(), ToString::to_string);
    Problem::file(&at, Cause::NotOpened { why })
}

/// What a byte that is not UTF-8 is written with in a path.
pub const ODD: &str = "\\x";

/// A path as text: `/` between the parts, bytes that are not UTF-8 as `\xNN`.
pub fn shown(path: &Path) -> String {
    #[cfg(unix)]
    if let Some(text) = path.to_str() {
        return text.to_owned();
    }
    let parts: Vec<String> = path
        .components()
        .map(|part| {
            let bytes = part.as_os_str().as_encoded_bytes();
            bytes
                .utf8_chunks()
                .map(|chunk| {
                    let bad: String =
                        chunk.invalid().iter().map(|b| format!("{ODD}{b:02x}")).collect();
                    chunk.valid().to_owned() + &bad
                })
                .collect()
        })
        .collect();
    parts.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_found_in_their_order() {
        let folder = tempfile::tempdir().unwrap();
        let cards = folder.path().join("cards");
        for file in
            ["b/1.jpg", "b.jpg", "b-2/1.jpg", "B/x/2.jpg", "a/z.jpg", "a/z/1.jpg", "b/10.jpg"]
        {
            let path = cards.join(file);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, "").unwrap();
        }
        let found = files(folder.path(), &cards).files;
        assert_eq!(found.len(), 7);
        assert!(found.is_sorted_by(|a, b| by_parts(a, b).is_lt()), "{found:?}");
    }

    #[cfg(unix)]
    #[test]
    fn names_that_are_not_utf8_are_shown() {
        use std::os::unix::ffi::OsStrExt;
        let name = std::ffi::OsStr::from_bytes(b"cards/a\xff\xfeb/x.jpg");
        assert_eq!(shown(Path::new(name)), "cards/a\\xff\\xfeb/x.jpg");
    }
}
