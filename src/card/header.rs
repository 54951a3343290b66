//! The header of a JPEG file: the EXIF block and nothing after it.
//!
//! Segment layout after ITU-T T.81 (JPEG) annex B; the EXIF block is the first APP1 segment that
//! begins with `Exif\0\0` (CIPA DC-008, Exif 2.32, section 4.7.2).

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use exif::{Exif, In, Rational, Tag, Value};
use xxhash_rust::xxh3::xxh3_64_with_seed;

use super::Unreadable;
use crate::property::Position;

/// The most that is ever read from one file, in bytes: the largest EXIF block is 64 KiB.
pub const HEAD_LIMIT: u64 = 120 * 1024;

/// Read at once, since what is wanted of most files lies within it: a read for every segment takes longer.
pub(super) const FIRST_READ: usize = 16 * 1024;
/// A file is known again by so much of its beginning, and of its end.
const HASHED: usize = 4096;
const TAIL_READ: usize = 2048;
/// A damaged file must not keep the reader busy.
pub(super) const SEGMENTS_MAX: usize = 128;
/// Cameras that fill up their files do so to a whole cluster.
const PADDING_MAX: usize = 64 * 1024;

/// What the header of a JPEG file holds.
pub struct Header {
    /// The EXIF block; `None` where there is none.
    pub exif: Option<Result<Exif, exif::Error>>,
    /// No end-of-image marker near the end of the file.
    pub cut_short: bool,
    /// A hash over the size and the bytes that were read, good enough to suspect a copy by.
    pub fingerprint: u64,
}

/// Reads the header of a JPEG file of a known size, at most [`HEAD_LIMIT`] bytes of it.
///
/// # Errors
/// When the file is empty, is not a JPEG, ends within its header or cannot be read.
pub fn read_header(file: &mut (impl Read + Seek), bytes: u64) -> Result<Header, Unreadable> {
    let mut head = [0; FIRST_READ];
    let head = read_head(file, &mut head).map_err(refused)?;
    header_behind(file, bytes, head)
}

/// The disk or card would not give the bytes.
pub(super) fn refused(e: io::Error) -> Unreadable {
    Unreadable::Refused(e.to_string())
}

/// The same of a file whose first bytes are read.
pub(super) fn header_behind(
    file: &mut (impl Read + Seek),
    bytes: u64,
    head: &[u8],
) -> Result<Header, Unreadable> {
    if bytes == 0 {
        return Err(Unreadable::Empty);
    }
    if !is_jpeg(head) {
        return Err(Unreadable::NotAPicture);
    }
    let mut tail = [0; TAIL_READ];
    let (block, behind) = exif_block(file, head).map_err(refused)?;
    let length = bytes.min(TAIL_READ as u64);
    let tail = piece(file, head, bytes - length, &mut tail[..length as usize]).map_err(refused)?;
    let ended = is_ended(file, bytes, behind, tail).map_err(refused)?;

    let exif = match block {
        Block::Found(block) => Some(parse(block)),
        Block::None => None,
        Block::CutOff => return Err(Unreadable::CutInHeader),
    };
    Ok(Header {
        exif,
        cut_short: !ended,
        fingerprint: fingerprint(bytes, head, tail),
    })
}

/// Whether an end-of-image marker stands near the end of the file and behind its EXIF block: the
/// thumbnail in there ends with one too. Zeros with which a camera fills up its files are passed over.
fn is_ended(
    file: &mut (impl Read + Seek),
    bytes: u64,
    behind: u64,
    tail: &[u8],
) -> io::Result<bool> {
    // Most often it is the very end, so the search begins there.
    let ends = |part: &[u8]| part.windows(2).rev().any(|w| w == [0xff, 0xd9]);
    let from = bytes.saturating_sub(TAIL_READ as u64);
    let skipped = usize::try_from(behind.saturating_sub(from)).unwrap_or(usize::MAX);
    let part = tail.get(skipped..).unwrap_or(&[]);
    if ends(part) || part.iter().any(|b| *b != 0) || part.len() < tail.len() {
        return Ok(ends(part));
    }
    let mut buffer = vec![0; PADDING_MAX];
    let from = from.saturating_sub(PADDING_MAX as u64).max(behind);
    let before = fill(file, from, &mut buffer)?;
    let last = before.iter().rposition(|b| *b != 0).unwrap_or(0);
    Ok(before[..=last.min(before.len().saturating_sub(1))].ends_with(&[0xff, 0xd9]))
}

/// A hash over a file's size, its beginning and its end; `None` where it cannot be read.
pub fn ends_of(path: &Path) -> Option<u64> {
    let mut file = File::open(path).ok()?;
    let bytes = file.metadata().ok()?.len();
    ends(&mut file, bytes).ok()
}

/// The same of a file that is open.
pub(super) fn ends(file: &mut (impl Read + Seek), bytes: u64) -> io::Result<u64> {
    let (mut head, mut tail) = ([0; HASHED], [0; TAIL_READ]);
    let head = fill(file, 0, &mut head)?;
    let tail = fill(file, bytes.saturating_sub(TAIL_READ as u64), &mut tail)?;
    Ok(fingerprint(bytes, head, tail))
}

/// Only a suspicion hangs on it: files that agree in it are read whole and compared by BLAKE3.
fn fingerprint(bytes: u64, head: &[u8], tail: &[u8]) -> u64 {
    let head = &head[..head.len().min(HASHED)];
    xxh3_64_with_seed(tail, xxh3_64_with_seed(head, bytes))
}

/// Whether bytes begin like a JPEG file.
pub(super) fn is_jpeg(head: &[u8]) -> bool {
    head.starts_with(&[0xff, 0xd8, 0xff])
}

enum Block {
    Found(Vec<u8>),
    None,
    CutOff,
}

/// The EXIF block, and where in the file the part behind it begins.
fn exif_block(file: &mut (impl Read + Seek), head: &[u8]) -> io::Result<(Block, u64)> {
    let mut at = 2;
    for _ in 0..SEGMENTS_MAX {
        let segment = match next_segment(file, head, &mut at)? {
            Next::Segment(segment) => segment,
            Next::End => return Ok((Block::None, at)),
            Next::CutOff => return Ok((Block::CutOff, at)),
        };
        if segment.marker == 0xe1 && begins_with(file, head, &segment, EXIF_ID)? {
            let mut body = segment_body(file, head, &segment)?;
            let block = match body.len() < segment.length {
                true => Block::CutOff,
                false => Block::Found(body.split_off(EXIF_ID.len())),
            };
            return Ok((block, at));
        }
    }
    Ok((Block::None, at))
}

const EXIF_ID: &[u8; 6] = b"Exif\0\0";

/// One marker segment.
pub(super) struct Segment {
    pub marker: u8,
    /// Where its body lies in the file.
    pub at: u64,
    /// Bytes of its body.
    pub length: usize,
}

pub(super) enum Next {
    Segment(Segment),
    /// The picture itself begins.
    End,
    /// The file ends, or is no longer a JPEG.
    CutOff,
}

/// The segment at `at`, or the first after it; moves `at` behind it.
pub(super) fn next_segment(
    file: &mut (impl Read + Seek),
    head: &[u8],
    at: &mut u64,
) -> io::Result<Next> {
    for _ in 0..SEGMENTS_MAX {
        if *at > HEAD_LIMIT {
            return Ok(Next::End);
        }
        let mut start = [0; 4];
        let &[0xff, marker, high, low] = piece(file, head, *at, &mut start)? else {
            return Ok(Next::CutOff);
        };
        let length = u64::from(u16::from_be_bytes([high, low]));
        match marker {
            0xff => *at += 1,
            0x01 | 0xd0..=0xd7 => *at += 2,
            0xda | 0xd9 => return Ok(Next::End),
            _ if length < 2 => return Ok(Next::CutOff),
            _ => {
                let body = *at + 4;
                *at += 2 + length;
                return Ok(Next::Segment(Segment {
                    marker,
                    at: body,
                    length: length as usize - 2,
                }));
            }
        }
    }
    Ok(Next::End)
}

/// Whether a segment's body begins with an identifier.
pub(super) fn begins_with(
    file: &mut (impl Read + Seek),
    head: &[u8],
    segment: &Segment,
    id: &[u8],
) -> io::Result<bool> {
    const LONGEST: usize = 32;
    let mut buffer = [0; LONGEST];
    let length = id.len().min(LONGEST);
    Ok(segment.length >= length && piece(file, head, segment.at, &mut buffer[..length])? == id)
}

/// The first bytes of the file.
pub(super) fn read_head<'a>(
    file: &mut (impl Read + Seek),
    buffer: &'a mut [u8; FIRST_READ],
) -> io::Result<&'a [u8]> {
    fill(file, 0, buffer)
}

/// A segment's body; shorter where the file ends within it.
pub(super) fn segment_body(
    file: &mut (impl Read + Seek),
    head: &[u8],
    segment: &Segment,
) -> io::Result<Vec<u8>> {
    let mut body = vec![0; segment.length];
    let length = piece(file, head, segment.at, &mut body)?.len();
    body.truncate(length);
    Ok(body)
}

/// Bytes of the file, from the part already in memory where possible.
fn piece<'a>(
    file: &mut (impl Read + Seek),
    head: &[u8],
    at: u64,
    buffer: &'a mut [u8],
) -> io::Result<&'a [u8]> {
    let start = at as usize;
    if let Some(bytes) = head.get(start..start + buffer.len()) {
        buffer.copy_from_slice(bytes);
        return Ok(buffer);
    }
    fill(file, at, buffer)
}

/// Reads until the buffer is full or the file ends.
fn fill<'a>(file: &mut (impl Read + Seek), at: u64, buffer: &'a mut [u8]) -> io::Result<&'a [u8]> {
    file.seek(SeekFrom::Start(at))?;
    let mut filled = 0;
    while filled < buffer.len() {
        match file.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(&buffer[..filled])
}

/// Takes what can be had from a damaged block: the time is usually near its start.
fn parse(block: Vec<u8>) -> Result<Exif, exif::Error> {
    exif::Reader::new()
        .continue_on_error(true)
        .read_raw(block)
        .or_else(|e| e.distill_partial_result(|_| ()))
}

/// An ASCII field, trimmed of blanks and NULs; `None` where absent or blank, or where a camera has
/// put a number's bytes in place of text.
pub(super) fn ascii(exif: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(parts) = &exif.get_field(tag, In::PRIMARY)?.value else {
        return None;
    };
    let bytes = parts.iter().find(|p| !p.is_empty())?;
    let text = String::from_utf8_lossy(bytes);
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
    (!text.is_empty() && !text.contains(char::is_control)).then(|| text.to_owned())
}

/// The GPS position, where both coordinates and their hemispheres are present.
pub(super) fn position(exif: &Exif) -> Option<Position> {
    let degrees = |value, reference, negative: &str| {
        let Value::Rational(parts) = &exif.get_field(value, In::PRIMARY)?.value else {
            return None;
        };
        let unsigned = dms_deg(parts)?;
        let sign = if ascii(exif, reference)?.eq_ignore_ascii_case(negative) {
            -1.0
        } else {
            1.0
        };
        Some(sign * unsigned)
    };
    let latitude = degrees(Tag::GPSLatitude, Tag::GPSLatitudeRef, "S")?;
    let longitude = degrees(Tag::GPSLongitude, Tag::GPSLongitudeRef, "W")?;
    Position::new(latitude, longitude).filter(|p| {
        *p != Position {
            latitude_deg: 0.0,
            longitude_deg: 0.0,
        }
    })
}

fn dms_deg(parts: &[Rational]) -> Option<f64> {
    let [d, m, s] = parts else { return None };
    let value = d.to_f64() + m.to_f64() / 60.0 + s.to_f64() / 3600.0;
    value.is_finite().then_some(value)
}
