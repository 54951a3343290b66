//! The header of a JPEG file: the EXIF block and nothing after it.
//!
//! Segment layout after ITU-T T.81 (JPEG) annex B; the EXIF block is the first APP1 segment that
//! begins with `Exif\0\0` (CIPA DC-008, Exif 2.32, section 4.7.2).

use std::io::{self, Read, Seek, SeekFrom};

use exif::{Exif, In, Rational, Tag, Value};

use super::Unreadable;
use crate::property::Position;

/// The most that is ever read from one file, in bytes: the largest EXIF block is 64 KiB.
pub const HEAD_LIMIT: u64 = 120 * 1024;

const FIRST_READ: usize = 4096;
const TAIL_READ: u64 = 2048;
const SEGMENTS_MAX: usize = 128;

/// What the header of a JPEG file holds.
pub struct Header {
    /// The EXIF block; `None` where there is none.
    pub exif: Option<Result<Exif, exif::Error>>,
    /// No end-of-image marker near the end of the file.
    pub cut_short: bool,
    /// A hash over the size and the bytes that were read.
    pub fingerprint: blake3::Hash,
}

/// Reads the header of a JPEG file of a known size, at most [`HEAD_LIMIT`] bytes of it.
///
/// # Errors
/// When the file is empty, is not a JPEG, ends within its header or cannot be read.
pub fn read_header(file: &mut (impl Read + Seek), bytes: u64) -> Result<Header, Unreadable> {
    let refused = |e: io::Error| Unreadable::Refused(e.to_string());
    if bytes == 0 {
        return Err(Unreadable::Empty);
    }
    let head = read_up_to(file, 0, FIRST_READ).map_err(refused)?;
    if !is_jpeg(&head) {
        return Err(Unreadable::NotAPicture);
    }
    let block = exif_block(file, &head).map_err(refused)?;
    let tail_from = bytes.saturating_sub(TAIL_READ);
    let tail = read_up_to(file, tail_from, TAIL_READ as usize).map_err(refused)?;

    let mut hasher = blake3::Hasher::new();
    hasher.update(&bytes.to_le_bytes()).update(&head);
    let exif = match block {
        Block::Found(block) => {
            hasher.update(&block);
            Some(parse(block))
        }
        Block::None => None,
        Block::CutOff => return Err(Unreadable::CutInHeader),
    };
    hasher.update(&tail);
    Ok(Header {
        exif,
        cut_short: !tail.windows(2).any(|w| w == [0xff, 0xd9]),
        fingerprint: hasher.finalize(),
    })
}

/// A hash over a file's size, its beginning and its end.
pub(super) fn ends(file: &mut (impl Read + Seek), bytes: u64) -> io::Result<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    hasher.update(&bytes.to_le_bytes());
    hasher.update(&read_up_to(file, 0, FIRST_READ)?);
    let tail = read_up_to(file, bytes.saturating_sub(TAIL_READ), TAIL_READ as usize)?;
    hasher.update(&tail);
    Ok(hasher.finalize())
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

fn exif_block(file: &mut (impl Read + Seek), head: &[u8]) -> io::Result<Block> {
    let mut at = 2_u64;
    for _ in 0..SEGMENTS_MAX {
        let start = piece(file, head, at, 4)?;
        let [0xff, marker, high, low] = start[..] else {
            return Ok(Block::CutOff);
        };
        match marker {
            0xff => {
                at += 1;
                continue;
            }
            0x01 | 0xd0..=0xd7 => {
                at += 2;
                continue;
            }
            0xda | 0xd9 => return Ok(Block::None),
            _ => {}
        }
        let length = u64::from(u16::from_be_bytes([high, low]));
        if length < 2 {
            return Ok(Block::CutOff);
        }
        if marker == 0xe1 && length >= 8 {
            let id = piece(file, head, at + 4, 6)?;
            if id == *b"Exif\0\0" {
                let wanted = (length - 8) as usize;
                let block = piece(file, head, at + 10, wanted)?;
                return Ok(if block.len() < wanted {
                    Block::CutOff
                } else {
                    Block::Found(block)
                });
            }
        }
        at += 2 + length;
    }
    Ok(Block::None)
}

/// Bytes of the file, from the part already in memory where possible.
fn piece(
    file: &mut (impl Read + Seek),
    head: &[u8],
    at: u64,
    length: usize,
) -> io::Result<Vec<u8>> {
    let start = at as usize;
    match head.get(start..start + length) {
        Some(bytes) => Ok(bytes.to_vec()),
        None => read_up_to(file, at, length),
    }
}

fn read_up_to(file: &mut (impl Read + Seek), at: u64, length: usize) -> io::Result<Vec<u8>> {
    let mut buffer = Vec::with_capacity(length);
    file.seek(SeekFrom::Start(at))?;
    file.take(length as u64).read_to_end(&mut buffer)?;
    Ok(buffer)
}

/// Takes what can be had from a damaged block: the time is usually near its start.
fn parse(block: Vec<u8>) -> Result<Exif, exif::Error> {
    exif::Reader::new()
        .continue_on_error(true)
        .read_raw(block)
        .or_else(|e| e.distill_partial_result(|_| ()))
}

/// An ASCII field, trimmed of blanks and NULs; `None` where absent or blank.
pub(super) fn ascii(exif: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(parts) = &exif.get_field(tag, In::PRIMARY)?.value else {
        return None;
    };
    let bytes = parts.iter().find(|p| !p.is_empty())?;
    let text = String::from_utf8_lossy(bytes);
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
    (!text.is_empty()).then(|| text.to_owned())
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
