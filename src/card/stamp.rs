//! A picture's time: from its EXIF block, its container, its name, or its file's date, in that
//! order, and always with where it came from.

use std::borrow::Cow;
use std::path::Path;
use std::sync::LazyLock;

use chrono::format::{self, Item, Parsed, StrftimeItems};
use chrono::{Datelike, Days, FixedOffset, NaiveDate, NaiveDateTime};
use exif::{Context, Exif, Tag};

use super::header::{Header, ascii};
use super::name_time::from_name;
use super::{CameraTime, Stamp, TimeOrigin, Untimed};

/// What beside its EXIF fields may tell when a still was taken.
#[derive(Default)]
pub(super) struct Beside {
    /// By the maker note.
    pub maker_note: Option<NaiveDateTime>,
    /// By the XMP packet, with the offset from UTC that it may write.
    pub xmp: Option<(NaiveDateTime, Option<FixedOffset>)>,
}

/// The time of a still. The file's own date is never used: computers change it too easily, and a
/// still that carries no time has most often been through one. `beside` is asked only where the EXIF
/// fields do not say when the picture was taken.
pub(super) fn of_still(
    header: &Header,
    path: &Path,
    today: NaiveDate,
    beside: impl FnOnce() -> Beside,
) -> Result<Stamp, Untimed> {
    let time = match &header.exif {
        None => Err(Untimed::Absent),
        Some(Err(_)) => Err(Untimed::Damaged),
        Some(Ok(exif)) => exif_stamp(exif, today),
    };
    let is_capture = |s: &Stamp| s.origin != TimeOrigin::Changed;
    let missing = |e: &Untimed| matches!(e, Untimed::Absent | Untimed::Damaged);
    match time {
        Ok(stamp) if is_capture(&stamp) => Ok(stamp),
        // A clock that was never set says so; the name of such a picture would repeat its error.
        Err(e) if !missing(&e) => Err(e),
        // All that is left is the time of the last change, or nothing.
        time => {
            let beside = beside();
            let stamp = |time, origin, offset| {
                plausible(CameraTime::new(time), today).map(|time| Stamp { time, origin, offset })
            };
            let note = beside.maker_note.map(|t| stamp(t, TimeOrigin::MakerNote, None));
            let xmp = || beside.xmp.map(|(t, o)| stamp(t, TimeOrigin::Xmp, o));
            note.or_else(xmp)
                .or_else(|| from_name(path, today).filter(|_| time.is_err()))
                .unwrap_or(time)
        }
    }
}

/// The time of a clip. `written_on` is the file's own date on the property's wall clock.
pub(super) fn of_clip(
    container: Option<NaiveDateTime>,
    path: &Path,
    written_on: Option<NaiveDateTime>,
    today: NaiveDate,
) -> Result<Stamp, Untimed> {
    let stamp = |time, origin| {
        plausible(CameraTime::new(time), today).map(|time| Stamp { time, origin, offset: None })
    };
    container
        .map(|time| stamp(time, TimeOrigin::Container))
        .or_else(|| from_name(path, today))
        .or_else(|| written_on.map(|time| stamp(time, TimeOrigin::FileDate)))
        .unwrap_or(Err(Untimed::Absent))
}

/// The capture time: the first of the three fields that is not blank. A field that is present but
/// impossible is not passed over, because the fields after it say less about the moment of capture.
fn exif_stamp(exif: &Exif, today: NaiveDate) -> Result<Stamp, Untimed> {
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
        (TimeOrigin::Changed, Tag::DateTime, Tag::SubSecTime, Tag::OffsetTime),
    ];
    for (origin, time, fraction, offset) in fields {
        // Some cameras put what belongs into the Exif directory into the one above it.
        let misplaced = || ascii(exif, Tag(Context::Tiff, time.number()));
        let text = ascii(exif, time).or_else(misplaced);
        let Some(text) = text.filter(|t| t.bytes().any(|b| b.is_ascii_digit())) else {
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
            offset: ascii(exif, offset)
                .or_else(|| text.get(text.len().checked_sub(6)?..).map(str::to_owned))
                .filter(|o| o.starts_with(['+', '-']))
                .and_then(|o| o.parse::<FixedOffset>().ok()),
        });
    }
    Err(Untimed::Absent)
}

fn checked(text: &str, today: NaiveDate) -> Result<CameraTime, Untimed> {
    if text.bytes().all(|b| !b.is_ascii_digit() || b == b'0') {
        return Err(Untimed::Zero);
    }
    let no_date = || Untimed::NoDate(text.into());
    let (whole, rest) = usual_form(text).ok_or_else(no_date)?;
    let mut time = Parsed::new();
    format::parse(&mut time, &whole, EXIF_TIME.iter())
        .and_then(|()| time.to_naive_datetime_with_offset(0))
        .map_err(|_| no_date())
        .and_then(|time| plausible(CameraTime::new(time).plus_minutes(rest / 60.0), today))
}

/// A time in the form that EXIF prescribes, `2025:11:08 06:41:27`, and the fraction of a second behind
/// it: cameras also write dashes or slashes, a `T`, a fraction, and a `Z` (which is dropped: a camera's
/// clock is what its owner set it to).
fn usual_form(text: &str) -> Option<(Cow<'_, str>, f64)> {
    const LENGTH: usize = 19;
    // `2025:11:08 06:41`, and an offset from UTC behind the time, which has a field of its own.
    const WITHOUT_SECONDS: usize = 16;
    if text.len() == WITHOUT_SECONDS && text.is_ascii() {
        let whole = format!("{text}:00");
        let (usual, _) = usual_form(&whole)?;
        return Some((Cow::Owned(usual.into_owned()), 0.0));
    }
    let head = text.get(..LENGTH)?;
    let is_offset = |s: &str| s.len() == 6 && s.parse::<FixedOffset>().is_ok();
    let rest = text[LENGTH..].trim_end_matches(['Z', 'z']).trim_end();
    let rest = match rest.len().checked_sub(6).and_then(|at| rest.split_at_checked(at)) {
        Some((before, offset)) if is_offset(offset) => before,
        _ => rest,
    };
    let fraction = match rest.strip_prefix(['.', ',']) {
        Some(digits) if digits.bytes().all(|b| b.is_ascii_digit()) => {
            format!("0.{digits}0").parse().ok()?
        }
        None if rest.is_empty() => 0.0,
        _ => return None,
    };
    let bytes = head.as_bytes();
    if bytes[4] == b':' && bytes[10] == b' ' {
        return Some((Cow::Borrowed(head), fraction));
    }
    let is_mark = |i: usize| matches!(bytes[i], b':' | b'-' | b'/' | b'.');
    let is_apart = matches!(bytes[10], b' ' | b'T');
    if !(is_mark(4) && is_mark(7) && is_apart && head.is_ascii()) {
        return None;
    }
    let usual = format!("{}:{}:{} {}", &head[..4], &head[5..7], &head[8..10], &head[11..]);
    Some((Cow::Owned(usual), fraction))
}

/// The form of a time in EXIF, taken apart once and not for every picture.
static EXIF_TIME: LazyLock<Vec<Item<'static>>> =
    LazyLock::new(|| StrftimeItems::new("%Y:%m:%d %H:%M:%S").collect());

/// A time that a picture of the property can have been taken at.
pub(super) fn plausible(time: CameraTime, today: NaiveDate) -> Result<CameraTime, Untimed> {
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

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2025, 12, 1).unwrap()
    }

    #[test]
    fn times_that_cannot_be() {
        let today = NaiveDate::from_ymd_opt(2025, 11, 1).unwrap();
        let at = |text| checked(text, today);
        assert_eq!(at("0000:00:00 00:00:00"), Err(Untimed::Zero));
        assert!(matches!(at("1999:12:31 23:59:59"), Err(Untimed::TooEarly(_))));
        assert!(matches!(at("2025:11:03 00:00:00"), Err(Untimed::Future(_))));
        assert!(matches!(at("2025:13:03 00:00:00"), Err(Untimed::NoDate(_))));
        assert!(at("2025:11:02 23:59:59").is_ok());
        assert!(at("2024:02:29 12:00:00").is_ok());
    }

    #[test]
    fn forms_that_cameras_write() {
        let at = |text| checked(text, today()).map(|t| t.shown().to_string());
        let want = Ok("2024-11-03 06:12:44".to_owned());
        for text in [
            "2024:11:03 06:12:44",
            "2024-11-03 06:12:44",
            "2024-11-03T06:12:44Z",
            "2024/11/03 06:12:44",
        ] {
            assert_eq!(at(text), want, "{text}");
        }
        assert_eq!(at("2024-11-03T06:12:44.250Z"), Ok("2024-11-03 06:12:44.250".to_owned()));
        assert_eq!(at("2024:11:03 06:12:44-05:00"), want);
        assert_eq!(at("2024:11:03 06:12"), Ok("2024-11-03 06:12:00".to_owned()));
        for text in
            ["2024-11-03", "2024:11:03 06:12:44 am", "2024;11;03 06:12:44", "20é4:11:03 06:12:4"]
        {
            assert!(matches!(checked(text, today()), Err(Untimed::NoDate(_))), "{text}");
        }
    }
}
