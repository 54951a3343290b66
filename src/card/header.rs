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

/// The most that is ever read from one file for its EXIF block, in bytes: the largest is 64 KiB.
pub const HEAD_LIMIT: u64 = 120 * 1024;

/// Read at once, since what is wanted of most files lies within it: a read for every segment takes longer.
pub(super) const FIRST_READ: usize = 16 * 1024;
/// A file is known again by so much of its beginning, and of its end.
const HASHED: usize = 4096;
const TAIL_READ: usize = 2048;
/// Behind the first bytes so much is read at once.
const WINDOW: usize = 2048;
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
    header_of(&mut Pieces::of(file, head), bytes)
}

/// The disk or card would not give the bytes.
pub(super) fn refused(e: io::Error) -> Unreadable {
    Unreadable::Refused(e.to_string())
}

/// The same of a file whose first bytes are read.
pub(super) fn header_of(
    pieces: &mut Pieces<impl Read + Seek>,
    bytes: u64,
) -> Result<Header, Unreadable> {
    let head = pieces.head;
    if bytes == 0 {
        return Err(Unreadable::Empty);
    }
    if !is_jpeg(head) {
        return Err(Unreadable::NotAPicture);
    }
    let (block, behind) = exif_block(pieces).map_err(refused)?;
    let mut tail = [0; TAIL_READ];
    let tail = pieces.tail(bytes, &mut tail).map_err(refused)?;
    let ended = is_ended(pieces.file, bytes, behind, tail).map_err(refused)?;

    let exif = match block {
        Block::Found(block) => Some(parse(block)),
        Block::None => None,
        Block::CutOff => return Err(Unreadable::CutInHeader),
    };
    Ok(Header { exif, cut_short: !ended, fingerprint: fingerprint(bytes, head, tail) })
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
fn exif_block(pieces: &mut Pieces<impl Read + Seek>) -> io::Result<(Block, u64)> {
    let mut at = 2;
    for _ in 0..SEGMENTS_MAX {
        let segment = match pieces.next_segment(&mut at)? {
            Next::Segment(segment) => segment,
            Next::End => return Ok((Block::None, at)),
            Next::CutOff => return Ok((Block::CutOff, at)),
        };
        if segment.at > HEAD_LIMIT {
            break;
        }
        if segment.marker == 0xe1 && pieces.begins_with(&segment, EXIF_ID)? {
            let mut body = pieces.body(&segment)?;
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

/// A file whose first bytes are in memory, and the piece behind them that was read last: markers stand close together.
pub(super) struct Pieces<'a, F> {
    file: &'a mut F,
    head: &'a [u8],
    window: Vec<u8>,
    window_at: u64,
}

impl<'a, F: Read + Seek> Pieces<'a, F> {
    pub fn of(file: &'a mut F, head: &'a [u8]) -> Self {
        Self { file, head, window: Vec::new(), window_at: 0 }
    }

    /// The first bytes.
    pub fn head(&self) -> &'a [u8] {
        self.head
    }

    /// Bytes from one on; fewer where the file ends before.
    fn bytes(&mut self, at: u64, length: usize) -> io::Result<&[u8]> {
        let start = at as usize;
        if let Some(bytes) = self.head.get(start..start + length) {
            return Ok(bytes);
        }
        let holds = self.window_at..=self.window_at + self.window.len() as u64;
        if !(holds.contains(&at) && holds.contains(&(at + length as u64))) {
            self.window.resize(length.max(WINDOW), 0);
            let filled = fill(self.file, at, &mut self.window)?.len();
            self.window.truncate(filled);
            self.window_at = at;
        }
        let from = (at - self.window_at) as usize;
        Ok(&self.window[from..(from + length).min(self.window.len())])
    }

    /// The segment at `at`, or the first after it; moves `at` behind it.
    pub fn next_segment(&mut self, at: &mut u64) -> io::Result<Next> {
        for _ in 0..SEGMENTS_MAX {
            let &[0xff, marker, high, low] = self.bytes(*at, 4)? else {
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
    pub fn begins_with(&mut self, segment: &Segment, id: &[u8]) -> io::Result<bool> {
        Ok(segment.length >= id.len() && self.bytes(segment.at, id.len())? == id)
    }

    /// A segment's body; shorter where the file ends within it.
    pub fn body(&mut self, segment: &Segment) -> io::Result<Vec<u8>> {
        let start = (segment.at as usize).min(self.head.len());
        let held = &self.head[start..self.head.len().min(start + segment.length)];
        let mut body = held.to_vec();
        if held.len() < segment.length {
            body.resize(segment.length, 0);
            let rest = &mut body[held.len()..];
            let read = fill(self.file, segment.at + held.len() as u64, rest)?.len();
            body.truncate(held.len() + read);
        }
        Ok(body)
    }

    /// The last bytes of a file of so many.
    fn tail<'b>(&mut self, bytes: u64, buffer: &'b mut [u8; TAIL_READ]) -> io::Result<&'b [u8]> {
        let at = bytes.saturating_sub(TAIL_READ as u64);
        let tail = &mut buffer[..(bytes - at) as usize];
        if let Some(held) = self.head.get(at as usize..bytes as usize) {
            tail.copy_from_slice(held);
            return Ok(tail);
        }
        fill(self.file, at, tail)
    }
}

/// The first bytes of the file.
pub(super) fn read_head<'a>(
    file: &mut (impl Read + Seek),
    buffer: &'a mut [u8; FIRST_READ],
) -> io::Result<&'a [u8]> {
    fill(file, 0, buffer)
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
        let sign = if ascii(exif, reference)?.eq_ignore_ascii_case(negative) { -1.0 } else { 1.0 };
        Some(sign * unsigned)
    };
    let latitude = degrees(Tag::GPSLatitude, Tag::GPSLatitudeRef, "S")?;
    let longitude = degrees(Tag::GPSLongitude, Tag::GPSLongitudeRef, "W")?;
    Position::new(latitude, longitude)
        .filter(|p| *p != Position { latitude_deg: 0.0, longitude_deg: 0.0 })
}

fn dms_deg(parts: &[Rational]) -> Option<f64> {
    let [d, m, s] = parts else { return None };
    let value = d.to_f64() + m.to_f64() / 60.0 + s.to_f64() / 3600.0;
    value.is_finite().then_some(value)
}
