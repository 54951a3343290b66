//! Finding the files, and looking at each one.

use std::fs::File;
use std::path::{Path, PathBuf};

use chrono::{Datelike, Days, FixedOffset, NaiveDate, NaiveDateTime};
use exif::{Exif, Tag};
use walkdir::WalkDir;

use super::header::{self, Header, ascii, read_header};
use super::{CameraTime, Picture, Stamp, TimeOrigin, Unreadable, Untimed};
use crate::property::{Problem, Property};

/// The camera of pictures that lie in `cards/` itself, or in a card's own tree there.
pub(super) const NO_FOLDER: &str = "(no camera folder)";

pub(super) struct Walk {
    pub files: Vec<PathBuf>,
    pub problems: Vec<Problem>,
}

pub(super) enum Outcome {
    Picture(Box<Picture>),
    Unreadable(String, Unreadable),
    Clip(String),
    Other,
}

/// Every regular file below `cards`, as a path below `root`, in a fixed order. Links are followed;
/// a loop, or a folder that will not open, becomes a problem.
pub(super) fn files(root: &Path, cards: &Path) -> Walk {
    let mut walk = Walk {
        files: Vec::new(),
        problems: Vec::new(),
    };
    if !cards.exists() {
        return walk;
    }
    let tree = WalkDir::new(cards).follow_links(true).sort_by_file_name();
    for entry in tree {
        match entry {
            Ok(entry) if entry.file_type().is_file() => {
                let path = entry.path().strip_prefix(root).unwrap_or(entry.path());
                walk.files.push(path.to_path_buf());
            }
            Ok(_) => {}
            Err(e) => walk.problems.push(walk_problem(root, &e)),
        }
    }
    walk
}

fn walk_problem(root: &Path, error: &walkdir::Error) -> Problem {
    let at = error.path().unwrap_or(root);
    let at = shown(at.strip_prefix(root).unwrap_or(at));
    if error.loop_ancestor().is_some() {
        return Problem::file(
            &at,
            "this link leads back to a folder above it and was not followed.",
            "Remove the link if it is not wanted.",
        );
    }
    let why = error
        .io_error()
        .map_or_else(|| error.to_string(), ToString::to_string);
    Problem::file(
        &at,
        format!("could not be opened ({why}), so nothing in it was read."),
        "Check that it exists and that you may read it.",
    )
}

/// A path as text: `/` between the parts, bytes that are not UTF-8 as `\xNN`.
fn shown(path: &Path) -> String {
    let parts: Vec<String> = path
        .components()
        .map(|part| {
            let bytes = part.as_os_str().as_encoded_bytes();
            bytes
                .utf8_chunks()
                .map(|chunk| {
                    let bad: String = chunk
                        .invalid()
                        .iter()
                        .map(|b| format!("\\x{b:02x}"))
                        .collect();
                    chunk.valid().to_owned() + &bad
                })
                .collect()
        })
        .collect();
    parts.join("/")
}

/// Opens one file, decides what it is, and reads its header if it is a picture.
pub(super) fn look_at(property: &Property, path: &Path, today: NaiveDate) -> Outcome {
    let name = shown(path);
    let by_name = named(path, &["jpg", "jpeg", "jpe"]);
    if named(path, &["avi", "mp4", "mov", "m4v"]) {
        return Outcome::Clip(name);
    }
    let opened = File::open(property.root.join(path)).and_then(|f| Ok((f.metadata()?.len(), f)));
    let (bytes, mut file) = match opened {
        Ok(opened) => opened,
        Err(e) if by_name => return Outcome::Unreadable(name, Unreadable::Refused(e.to_string())),
        Err(_) => return Outcome::Other,
    };
    match read_header(&mut file, bytes) {
        Ok(header) => Outcome::Picture(Box::new(picture(
            property, path, name, bytes, &header, today,
        ))),
        Err(Unreadable::NotAPicture | Unreadable::Empty | Unreadable::Refused(_)) if !by_name => {
            Outcome::Other
        }
        Err(why) => Outcome::Unreadable(name, why),
    }
}

/// Whether a file has one of some extensions: `IMG_0001.JPG`, but not the `._IMG_0001.JPG` that one
/// operating system leaves beside it.
fn named(path: &Path, extensions: &[&str]) -> bool {
    let hidden = path
        .file_name()
        .is_some_and(|n| n.as_encoded_bytes().starts_with(b"._"));
    let has = |e: &std::ffi::OsStr| extensions.iter().any(|x| e.eq_ignore_ascii_case(x));
    !hidden && path.extension().is_some_and(has)
}

fn picture(
    property: &Property,
    path: &Path,
    name: String,
    bytes: u64,
    header: &Header,
    today: NaiveDate,
) -> Picture {
    let exif = header.exif.as_ref().and_then(|e| e.as_ref().ok());
    let text = |tag| exif.and_then(|e| ascii(e, tag));
    let time = match &header.exif {
        None => Err(Untimed::Absent),
        Some(Err(_)) => Err(Untimed::Damaged),
        Some(Ok(exif)) => stamp(exif, today),
    };
    let mut below_cards = name.split('/').skip(1);
    let folder = below_cards
        .next()
        .filter(|f| below_cards.next().is_some() && !f.eq_ignore_ascii_case("DCIM"))
        .unwrap_or(NO_FOLDER);
    Picture {
        camera: property.camera_of_folder(folder).to_owned(),
        path: name,
        file: path.to_path_buf(),
        bytes,
        time,
        make: text(Tag::Make),
        model: text(Tag::Model),
        serial: text(Tag::BodySerialNumber),
        label: text(Tag::CameraOwnerName).or_else(|| text(Tag::ImageDescription)),
        position: exif.and_then(header::position),
        cut_short: header.cut_short,
        fingerprint: header.fingerprint,
    }
}

/// The capture time: the first of the three fields that is not blank. A field that is present but
/// impossible is not passed over, because the fields after it say less about the moment of capture.
fn stamp(exif: &Exif, today: NaiveDate) -> Result<Stamp, Untimed> {
    let fields = [
        (
            TimeOrigin::Original,
            Tag::DateTimeOriginal,
            Tag::SubSecTimeOriginal,
            Tag::OffsetTimeOriginal,
        ),
        (
            TimeOrigin::Digitized,
            Tag::DateTimeDigitized,
            Tag::SubSecTimeDigitized,
            Tag::OffsetTimeDigitized,
        ),
        (
            TimeOrigin::Changed,
            Tag::DateTime,
            Tag::SubSecTime,
            Tag::OffsetTime,
        ),
    ];
    for (origin, time, fraction, offset) in fields {
        let Some(text) = ascii(exif, time).filter(|t| t.bytes().any(|b| b.is_ascii_digit())) else {
            continue;
        };
        let time = checked(&text, today)?;
        let seconds = ascii(exif, fraction)
            .filter(|s| s.bytes().all(|b| b.is_ascii_digit()))
            .and_then(|s| format!("0.{s}").parse::<f64>().ok())
            .unwrap_or(0.0);
        return Ok(Stamp {
            time: time.plus_minutes(seconds / 60.0),
            origin,
            offset: ascii(exif, offset).and_then(|o| o.parse::<FixedOffset>().ok()),
        });
    }
    Err(Untimed::Absent)
}

fn checked(text: &str, today: NaiveDate) -> Result<CameraTime, Untimed> {
    if text.bytes().all(|b| !b.is_ascii_digit() || b == b'0') {
        return Err(Untimed::Zero);
    }
    let time = NaiveDateTime::parse_from_str(text, "%Y:%m:%d %H:%M:%S")
        .map(CameraTime::new)
        .map_err(|_| Untimed::NoDate(text.to_owned()))?;
    if time.shown().year() < 2000 {
        Err(Untimed::TooEarly(time))
    } else if time.shown().date() > today + Days::new(1) {
        Err(Untimed::Future(time))
    } else {
        Ok(time)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_that_cannot_be() {
        let today = NaiveDate::from_ymd_opt(2025, 11, 1).unwrap();
        let at = |text| checked(text, today);
        assert_eq!(at("0000:00:00 00:00:00"), Err(Untimed::Zero));
        assert!(matches!(
            at("1999:12:31 23:59:59"),
            Err(Untimed::TooEarly(_))
        ));
        assert!(matches!(at("2025:11:03 00:00:00"), Err(Untimed::Future(_))));
        assert!(matches!(at("2025:13:03 00:00:00"), Err(Untimed::NoDate(_))));
        assert!(at("2025:11:02 23:59:59").is_ok());
        assert!(at("2024:02:29 12:00:00").is_ok());
    }

    #[test]
    fn names_that_are_not_utf8_are_shown() {
        use std::os::unix::ffi::OsStrExt;
        let name = std::ffi::OsStr::from_bytes(b"cards/a\xff\xfeb/x.jpg");
        assert_eq!(shown(Path::new(name)), "cards/a\\xff\\xfeb/x.jpg");
    }
}
