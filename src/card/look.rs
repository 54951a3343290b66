//! Looking at one file: whether it is a picture, and what its header says.

use std::fs::File;
use std::path::Path;

use chrono::{DateTime, NaiveDate, Utc};
use exif::{In, Tag, Value};

use super::container::read_container;
use super::header::{self, Header, ascii, read_header};
use super::walk::shown;
use super::{Picture, Unreadable, stamp};
use crate::property::Property;

/// The camera of pictures that lie in `cards/` itself, or in a card's own tree there.
pub(super) const NO_FOLDER: &str = "(no camera folder)";

pub(super) enum Outcome {
    Picture(Box<Picture>),
    Unreadable(String, Unreadable),
    Other,
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

/// Opens one file, decides what it is, and reads its header if it is a picture.
pub(super) fn look_at(place: &Place) -> Outcome {
    let name = shown(place.path);
    let still = named(place.path, &["jpg", "jpeg", "jpe"]);
    let clip = named(place.path, &["avi", "mp4", "mov", "m4v"]);
    let opened = File::open(place.root.join(place.path)).and_then(|f| Ok((f.metadata()?, f)));
    let (facts, mut file) = match opened {
        Ok(opened) => opened,
        Err(e) if still || clip => {
            return Outcome::Unreadable(name, Unreadable::Refused(e.to_string()));
        }
        Err(_) => return Outcome::Other,
    };
    let picture = if clip {
        look_at_clip(place, &name, &facts, &mut file)
    } else {
        read_header(&mut file, facts.len()).map(|h| still_picture(place, &name, facts.len(), &h))
    };
    match picture {
        Ok(picture) => Outcome::Picture(Box::new(picture)),
        Err(Unreadable::NotAPicture | Unreadable::Empty | Unreadable::Refused(_))
            if !still && !clip =>
        {
            Outcome::Other
        }
        Err(why) => Outcome::Unreadable(name, why),
    }
}

fn look_at_clip(
    place: &Place,
    name: &str,
    facts: &std::fs::Metadata,
    file: &mut File,
) -> Result<Picture, Unreadable> {
    let container = read_container(file, facts.len())?;
    let zone = place.property.settings.time_zone;
    let written_on = facts
        .modified()
        .ok()
        .map(|t| DateTime::<Utc>::from(t).with_timezone(&zone).naive_local());
    let time = stamp::of_clip(container, place.path, written_on, place.today);
    let fingerprint =
        header::ends(file, facts.len()).map_err(|e| Unreadable::Refused(e.to_string()))?;
    let camera = camera(place.property, name);
    Ok(Picture {
        file: place.path.to_path_buf(),
        clip: true,
        fingerprint,
        ..Picture::plain(name.to_owned(), camera, facts.len(), time)
    })
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

fn camera(property: &Property, name: &str) -> String {
    let mut below_cards = name.split('/').skip(1);
    let folder = below_cards
        .next()
        .filter(|f| below_cards.next().is_some() && !f.eq_ignore_ascii_case("DCIM"))
        .unwrap_or(NO_FOLDER);
    property.camera_of_folder(folder).to_owned()
}

fn still_picture(place: &Place, name: &str, bytes: u64, header: &Header) -> Picture {
    let exif = header.exif.as_ref().and_then(|e| e.as_ref().ok());
    let text = |tag| exif.and_then(|e| ascii(e, tag));
    let temperature = |e: &exif::Exif| match &e.get_field(Tag::Temperature, In::PRIMARY)?.value {
        Value::SRational(v) => v.first().map(|t| t.to_f64()).filter(|t| t.is_finite()),
        _ => None,
    };
    Picture {
        camera: camera(place.property, name),
        path: name.to_owned(),
        file: place.path.to_path_buf(),
        clip: false,
        bytes,
        time: stamp::of_still(header, place.path, place.today),
        make: text(Tag::Make),
        model: text(Tag::Model),
        serial: text(Tag::BodySerialNumber),
        label: text(Tag::CameraOwnerName).or_else(|| text(Tag::ImageDescription)),
        position: exif.and_then(header::position),
        temperature_c: exif.and_then(temperature),
        cut_short: header.cut_short,
        fingerprint: header.fingerprint,
    }
}
