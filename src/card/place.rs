//! Where pictures were taken, to know a property's place by.

use std::fs::File;
use std::path::Path;

use walkdir::WalkDir;

use super::header;
use super::{is_named_like_a_picture, read_header};
use crate::property::Position;

/// The place in the first picture below a folder that carries one (EXIF GPS attributes); few carry any, so
/// not all are opened.
pub fn place_of_pictures(folder: &Path) -> Option<Position> {
    const OPENED: usize = 500;
    let files = WalkDir::new(folder).sort_by_file_name().into_iter().flatten();
    let pictures = files.filter(|f| f.file_type().is_file() && is_named_like_a_picture(f.path()));
    pictures.take(OPENED).find_map(|f| place_of(f.path()))
}

fn place_of(path: &Path) -> Option<Position> {
    let mut file = File::open(path).ok()?;
    let bytes = file.metadata().ok()?.len();
    let exif = read_header(&mut file, bytes).ok()?.exif?.ok()?;
    header::position(&exif)
}
