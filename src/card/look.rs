//! Looking at one file: whether it is a picture, and what its header says.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use exif::{In, Tag, Value};

use super::container::read_container;
use super::descriptions::{Packets, packets_of};
use super::header::{self, Header, Pieces, ascii};
use super::picture::Seldom;
use super::stamp::Beside;
use super::walk::shown;
use super::{Body, CameraTime, LightFacts, Picture, Unreadable, maker_note, stamp, xmp_time};
use crate::files::FileState;
use crate::property::Property;

/// The camera of pictures that lie in `cards/` itself, or in a card's own tree there.
pub(super) const NO_FOLDER: &str = "(no camera folder)";

pub(super) enum Outcome {
    Picture(Picture),
    Unreadable(String, Unreadable),
    /// Neither; its kind where it is a picture or clip that is not read here.
    Other(Option<String>),
}

/// Where a file lies, and when the property's clocks are read.
pub(super) struct Place<'a> {
    pub property: &'a Property,
    /// The folder that `path` starts from.
    pub root: &'a Path,
    /// Path below `root`.
    pub path: &'a Path,
    /// The last day on which a picture can have been taken.
    pub today: NaiveDate,
}

/// Opens one file, decides what it is, and reads its header if it is a picture. Beside it stands what the file system
/// said of the file before; nothing of one that was not opened.
pub(super) fn look_at(place: &Place) -> (Outcome, FileState) {
    let never = FileState::default();
    let name = shown(place.path);
    let still = named(place.path, STILLS);
    let clip = named(place.path, CLIPS);
    if !still && !clip {
        let kind = kind_not_read(place.path);
        if kind.is_some() || is_leftover(place.path) {
            return (Outcome::Other(kind), never);
        }
    }
    let opened = File::open(place.root.join(place.path)).and_then(|f| Ok((f.metadata()?, f)));
    let (facts, mut file) = match opened {
        Ok(opened) => opened,
        Err(e) if still || clip => {
            return (Outcome::Unreadable(name, header::refused(e)), never);
        }
        Err(_) => return (Outcome::Other(None), never),
    };
    let picture = if clip {
        look_at_clip(place, &name, &facts, &mut file)
    } else {
        look_at_still(place, &name, &facts, &mut file)
    };
    let outcome = match picture {
        Ok(picture) => Outcome::Picture(picture),
        Err(Unreadable::NotAPicture | Unreadable::Empty | Unreadable::Refused(_))
            if !still && !clip =>
        {
            Outcome::Other(None)
        }
        Err(why) => Outcome::Unreadable(name, why),
    };
    (outcome, FileState::of(&facts))
}

fn odd_file(path: &Path, shown: &str) -> Option<PathBuf> {
    (path != Path::new(shown)).then(|| path.into())
}

fn look_at_still(
    place: &Place,
    name: &str,
    facts: &std::fs::Metadata,
    file: &mut File,
) -> Result<Picture, Unreadable> {
    let mut head = [0; header::FIRST_READ];
    let head = header::read_head(file, &mut head).map_err(header::refused)?;
    let mut pieces = Pieces::of(file, head);
    let header = header::header_of(&mut pieces, facts.len())?;
    let packets = packets_of(&mut pieces).unwrap_or_default();
    Ok(still_picture(place, name, facts, &header, &packets))
}

fn look_at_clip(
    place: &Place,
    name: &str,
    facts: &std::fs::Metadata,
    file: &mut File,
) -> Result<Picture, Unreadable> {
    let container = read_container(file, facts.len())?;
    let time = stamp::of_clip(container, place.path, written_on(place, facts), place.today);
    let fingerprint = header::ends(file, facts.len()).map_err(header::refused)?;
    let camera = camera(place.property, name);
    let seldom = Seldom { odd_file: odd_file(place.path, name), ..Seldom::default() };
    Ok(Picture {
        clip: true,
        fingerprint,
        seldom: seldom.boxed(),
        ..Picture::plain(name.to_owned(), camera, facts.len(), time)
    })
}

const STILLS: &[&str] = &["jpg", "jpeg", "jpe"];
const CLIPS: &[&str] = &["avi", "mp4", "mov", "m4v"];
/// Kinds of pictures and clips that cameras and phones write and that are not read here.
const NOT_READ: &[&str] = &[
    "heic", "heif", "avif", "png", "tif", "tiff", "bmp", "gif", "webp", "dng", "cr2", "cr3", "nef",
    "arw", "orf", "rw2", "raf", "3gp", "3g2", "mts", "m2ts", "mkv", "webm", "wmv", "mpg", "mpeg",
    "flv", "asf",
];

/// Whether a file is named like a picture or clip that is read here.
pub fn is_named_like_a_picture(path: &Path) -> bool {
    named(path, STILLS) || named(path, CLIPS)
}

/// The ending of a picture or clip of a kind that is not read here, in small letters.
pub fn kind_not_read(path: &Path) -> Option<String> {
    let ending = path.extension()?.to_str()?.to_lowercase();
    named(path, NOT_READ).then_some(ending)
}

/// What programs leave beside a picture, with a picture's bytes in it: a copy from before a change, the
/// small picture that goes with a clip, and hidden files (common practice).
fn is_leftover(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let lower = name.to_lowercase();
    lower.starts_with('.')
        || lower.ends_with("_original")
        || [".thm", ".bak", ".tmp", ".part", ".xmp"].iter().any(|e| lower.ends_with(e))
}

/// The file's own date on the property's wall clock.
fn written_on(place: &Place, facts: &std::fs::Metadata) -> Option<NaiveDateTime> {
    let zone = place.property.settings.time_zone;
    let written = DateTime::<Utc>::from(facts.modified().ok()?);
    Some(written.with_timezone(&zone).naive_local())
}

fn light_facts(exif: &exif::Exif) -> LightFacts {
    let number = |tag| exif.get_field(tag, In::PRIMARY)?.value.get_uint(0);
    let exposure = |tag| match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Rational(v) => v.first().map(|r| r.to_f32()).filter(|t| t.is_finite()),
        _ => None,
    };
    LightFacts {
        flash_fired: number(Tag::Flash).map(|f| f & 1 == 1),
        exposure_s: exposure(Tag::ExposureTime),
        iso: number(Tag::PhotographicSensitivity),
    }
}

/// Whether a file has one of some extensions: `IMG_0001.JPG`, but not the `._IMG_0001.JPG` that one
/// operating system leaves beside it.
fn named(path: &Path, extensions: &[&str]) -> bool {
    let hidden = path.file_name().is_some_and(|n| n.as_encoded_bytes().starts_with(b"._"));
    let has = |e: &std::ffi::OsStr| extensions.iter().any(|x| e.eq_ignore_ascii_case(x));
    !hidden && path.extension().is_some_and(has)
}

/// The camera whose folder a path below the property lies in.
pub(super) fn camera(property: &Property, name: &str) -> Arc<str> {
    let parts: Vec<&str> = name.split('/').skip(1).collect();
    let folders = &parts[..parts.len().saturating_sub(1)];
    let folder = folders
        .iter()
        .find(|f| !is_season(f))
        .filter(|f| !f.eq_ignore_ascii_case("DCIM"))
        .unwrap_or(&NO_FOLDER);
    property.camera_of_folder(folder).into()
}

/// The cameras that have a folder below `cards/`, with that folder's path below the property. A camera
/// with a folder in each of several years has the last of them.
pub fn camera_folders(property: &Property) -> Vec<(String, PathBuf)> {
    let below = |folder: &Path| -> Vec<(String, PathBuf)> {
        let entries = property.root.join(folder).read_dir();
        let name = |e: std::fs::DirEntry| Some((e.file_name().to_str()?.to_owned(), e.path()));
        let entries = entries.into_iter().flatten().filter_map(|e| name(e.ok()?));
        entries
            .filter(|(n, path)| {
                path.is_dir() && !n.starts_with('.') && !n.eq_ignore_ascii_case("DCIM")
            })
            .map(|(n, _)| (n.clone(), folder.join(n)))
            .collect()
    };
    let mut found: std::collections::BTreeMap<String, PathBuf> = std::collections::BTreeMap::new();
    let (mut seasons, cameras): (Vec<_>, Vec<_>) =
        below(Path::new("cards")).into_iter().partition(|(n, _)| is_season(n));
    seasons.sort();
    let of_seasons = seasons.iter().flat_map(|(_, folder)| below(folder));
    for (name, folder) in of_seasons.chain(cameras) {
        found.insert(property.camera_of_folder(&name).to_owned(), folder);
    }
    found.into_iter().collect()
}

/// Whether a folder's name is a year, `2025`, `2025-26` or `2024-2025`: what lies in it are the
/// cameras' folders of that year.
pub fn is_season(folder: &str) -> bool {
    let is_year =
        |y: &str| y.len() == 4 && y.starts_with("20") && y.bytes().all(|b| b.is_ascii_digit());
    match folder.split_once(['-', '_']) {
        None => is_year(folder),
        Some((first, second)) => {
            let short = second.len() == 2 && second.bytes().all(|b| b.is_ascii_digit());
            is_year(first) && (is_year(second) || short)
        }
    }
}

fn still_picture(
    place: &Place,
    name: &str,
    facts: &std::fs::Metadata,
    header: &Header,
    packets: &Packets,
) -> Picture {
    let exif = header.exif.as_ref().and_then(|e| e.as_ref().ok());
    let text = |tag| exif.and_then(|e| ascii(e, tag));
    let temperature = |e: &exif::Exif| match &e.get_field(Tag::Temperature, In::PRIMARY)?.value {
        Value::SRational(v) => v.first().map(|t| t.to_f64()).filter(|t| t.is_finite()),
        _ => None,
    };
    let make = text(Tag::Make);
    let note = exif.and_then(|e| match &e.get_field(Tag::MakerNote, In::PRIMARY)?.value {
        Value::Undefined(bytes, _) => maker_note::read(bytes, make.as_deref()),
        _ => None,
    });
    let note = note.unwrap_or_default();
    let beside = || Beside {
        maker_note: note.time,
        xmp: packets.xmp.as_ref().and_then(|x| xmp_time::original(x)),
    };
    let light = exif.map_or_else(LightFacts::default, light_facts);
    let seldom = Seldom {
        odd_file: odd_file(place.path, name),
        position: exif.and_then(header::position),
        temperature_c: exif.and_then(temperature).or(note.temperature_c),
    };
    Picture {
        camera: camera(place.property, name),
        path: name.to_owned(),
        clip: false,
        bytes: facts.len(),
        time: stamp::of_still(header, place.path, place.today, beside),
        body: Arc::new(Body {
            make: make.clone(),
            model: text(Tag::Model),
            serial: text(Tag::BodySerialNumber).or_else(|| note.serial.clone()),
            label: text(Tag::CameraOwnerName)
                .or_else(|| note.label.clone())
                .or_else(|| text(Tag::ImageDescription)),
        }),
        light: LightFacts {
            // The maker note says it of the lamp, the standard field of a flash.
            flash_fired: note.lamp_on.or(light.flash_fired),
            ..light
        },
        written_on: written_on(place, facts).map(CameraTime::new),
        cut_short: header.cut_short,
        is_described: packets.xmp.is_some() || packets.iptc.is_some(),
        fingerprint: header.fingerprint,
        seldom: seldom.boxed(),
    }
}
