//! One picture, and the ways in which a file can fail to be one.

use std::collections::HashSet;
use std::fmt;
use std::hash::Hash;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::FixedOffset;

use super::CameraTime;
use crate::property::Position;

/// Where a time was read from: an EXIF field (CIPA DC-008, Exif 2.32, section 4.6), a clip's
/// container, or something outside the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeOrigin {
    /// `DateTimeOriginal`: when the picture was taken.
    Original,
    /// `DateTimeDigitized`: when it was stored; the same moment on a digital camera.
    Digitized,
    /// `DateTime`: when the file was last changed.
    Changed,
    /// The maker note.
    MakerNote,
    /// The XMP packet: `DateTimeOriginal` and its likes.
    Xmp,
    /// A clip's container.
    Container,
    /// The file's name.
    Name,
    /// The file's own date: the last resort, for clips that carry no time.
    FileDate,
}

impl TimeOrigin {
    /// The EXIF field's name, or what else it was.
    pub fn word(self) -> &'static str {
        match self {
            Self::Original => "DateTimeOriginal",
            Self::Digitized => "DateTimeDigitized",
            Self::Changed => "DateTime",
            Self::MakerNote => "maker note",
            Self::Xmp => "XMP",
            Self::Container => "clip container",
            Self::Name => "file name",
            Self::FileDate => "file date",
        }
    }

    /// The origin a word stands for.
    pub fn parse(word: &str) -> Option<Self> {
        let all = [
            Self::Original,
            Self::Digitized,
            Self::Changed,
            Self::MakerNote,
            Self::Xmp,
            Self::Container,
            Self::Name,
            Self::FileDate,
        ];
        all.into_iter().find(|o| o.word() == word)
    }
}

/// A picture's time as the camera wrote it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// What the camera's clock showed.
    pub time: CameraTime,
    /// Which field it came from.
    pub origin: TimeOrigin,
    /// The clock's distance from UTC, where the camera wrote it.
    pub offset: Option<FixedOffset>,
}

/// Why a readable picture has no usable time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Untimed {
    /// No EXIF block, or none of the three time fields in it.
    Absent,
    /// The EXIF block is damaged before its time fields.
    Damaged,
    /// All zeros: the clock was never set.
    Zero,
    /// Digits that are no date.
    NoDate(Box<str>),
    /// A year before 2000: the clock fell back to its factory date.
    TooEarly(CameraTime),
    /// After tomorrow.
    Future(CameraTime),
}

impl fmt::Display for Untimed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Absent => write!(f, "the picture carries no time"),
            Self::Damaged => write!(f, "the part of the file that holds the time is damaged"),
            Self::Zero => write!(f, "the time is all zeros; the camera's clock was not set"),
            Self::NoDate(text) => write!(f, "\"{text}\" is not a time"),
            Self::TooEarly(time) => {
                write!(f, "{time} is before 2000; the camera's clock had been reset")
            }
            Self::Future(time) => write!(f, "{time} has not come yet; the camera's clock is wrong"),
        }
    }
}

/// Why a file that should be a picture is not one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unreadable {
    /// No bytes at all.
    Empty,
    /// Named like a picture, but the bytes are something else.
    NotAPicture,
    /// The file ends within its header.
    CutInHeader,
    /// The disk or card would not give the bytes.
    Refused(String),
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "empty file"),
            Self::NotAPicture => write!(f, "named like a picture, but it is not one"),
            Self::CutInHeader => write!(f, "cut off before the picture begins"),
            Self::Refused(why) => write!(f, "could not be read: {why}"),
        }
    }
}

/// What the camera wrote of the light (Exif 2.32, section 4.6.5).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LightFacts {
    /// Whether the flash or lamp fired: tag Flash, bit 0.
    pub flash_fired: Option<bool>,
    /// Tag ExposureTime, seconds.
    pub exposure_s: Option<f32>,
    /// Tag PhotographicSensitivity, ISO 12232.
    pub iso: Option<u32>,
}

/// What a camera wrote of itself.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Body {
    /// Camera maker.
    pub make: Option<String>,
    /// Camera model.
    pub model: Option<String>,
    /// The camera body's serial number.
    pub serial: Option<String>,
    /// The name its owner gave the camera in its menu.
    pub label: Option<String>,
}

/// What many pictures have in common, held once.
pub(super) struct Shared<T: ?Sized>(HashSet<Arc<T>>);

impl<T: ?Sized + Eq + Hash> Shared<T> {
    pub fn none() -> Self {
        Self(HashSet::new())
    }

    /// The one that is held, which is this one if it is the first of its kind.
    pub fn one(&mut self, value: Arc<T>) -> Arc<T> {
        if let Some(held) = self.0.get(&value) {
            return held.clone();
        }
        self.0.insert(value.clone());
        value
    }
}

/// One readable picture: a still or a clip.
#[derive(Debug, Clone)]
pub struct Picture {
    /// Path below the property, with `/` between the parts; bytes that are not UTF-8 are written
    /// as `\xNN`.
    pub path: String,
    /// The camera it came from.
    pub camera: Arc<str>,
    /// A video clip, not a still.
    pub clip: bool,
    /// File size.
    pub bytes: u64,
    /// Its time, or why it has none.
    pub time: Result<Stamp, Untimed>,
    /// The camera that took it, as it says itself.
    pub body: Arc<Body>,
    /// What it says of the light it was taken in.
    pub light: LightFacts,
    /// The file's own date on the property's wall clock: used only where a person says so.
    pub written_on: Option<CameraTime>,
    /// The end of the picture is missing. It still counts: its header was whole.
    pub cut_short: bool,
    /// It carries an XMP packet or IPTC records, in which keywords may stand.
    pub is_described: bool,
    /// A hash of the bytes that were read, to find copies without reading whole files.
    pub(super) fingerprint: u64,
    /// Nothing of most pictures, which so need no room for it.
    pub(super) seldom: Option<Box<Seldom>>,
}

/// What few pictures have.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Seldom {
    /// The path as the file system has it, where that is another.
    pub odd_file: Option<PathBuf>,
    /// Where it was taken.
    pub position: Option<Position>,
    /// Air temperature.
    pub temperature_c: Option<f64>,
}

impl Seldom {
    pub fn boxed(self) -> Option<Box<Self>> {
        (self != Self::default()).then(|| Box::new(self))
    }
}

impl Picture {
    /// The path as the file system has it, below the property.
    pub fn file(&self) -> &Path {
        let odd = self.odd_file();
        odd.unwrap_or(Path::new(&self.path))
    }

    /// That path, where it cannot be written as text.
    pub(super) fn odd_file(&self) -> Option<&Path> {
        self.seldom.as_ref()?.odd_file.as_deref()
    }

    /// Whether [`Self::path`] means this file and no other: one whose name is no text may be written as another's
    /// name is.
    pub fn is_named_in_text(&self) -> bool {
        self.odd_file().is_none()
    }

    /// Where it was taken, if the camera knew.
    pub fn position(&self) -> Option<Position> {
        self.seldom.as_ref()?.position
    }

    /// Air temperature, if the camera wrote it where Exif 2.31 has a field for it.
    pub fn temperature_c(&self) -> Option<f64> {
        self.seldom.as_ref()?.temperature_c
    }

    /// What the camera's clock showed, impossible dates included.
    pub fn shown_time(&self) -> Option<CameraTime> {
        match &self.time {
            Ok(stamp) => Some(stamp.time),
            Err(Untimed::TooEarly(time) | Untimed::Future(time)) => Some(*time),
            Err(_) => None,
        }
    }

    /// A hash of its size, beginning and end: what it is known by without being read whole.
    pub fn ends(&self) -> u64 {
        self.fingerprint
    }

    /// A still of which nothing else is known.
    pub(super) fn plain(
        path: String,
        camera: Arc<str>,
        bytes: u64,
        time: Result<Stamp, Untimed>,
    ) -> Self {
        Self {
            path,
            camera,
            clip: false,
            bytes,
            time,
            body: Arc::default(),
            light: LightFacts::default(),
            written_on: None,
            cut_short: false,
            is_described: false,
            fingerprint: 0,
            seldom: None,
        }
    }
}
