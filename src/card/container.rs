//! The header of a video clip: when its container says it was recorded.
//!
//! MP4 and MOV keep it in the movie header box (ISO/IEC 14496-12, 8.2.2), as seconds since
//! 1904-01-01; the standard says UTC. Cameras without a zone write what their clock shows, and so
//! it is taken as camera time (common practice). AVI keeps it as text in an `IDIT` or `ICRD` chunk
//! (RIFF, "Multimedia Programming Interface and Data Specifications 1.0").

use std::io::{self, Read, Seek, SeekFrom};

use chrono::{DateTime, NaiveDateTime, TimeDelta};
use mp4_atom::{Atom, Header as BoxHeader, Mvhd, ReadFrom};

use super::Unreadable;
use super::header::refused;

/// A damaged file must not keep the walk busy.
const PARTS_MAX: usize = 512;
/// The movie header is 100 or 112 bytes long; a chunk of text is shorter.
const VALUE_MAX: u64 = 256;

/// Reads the time of recording from a clip of a known size; `None` where the container has none.
///
/// # Errors
/// When the file is empty, is no AVI, MP4 or MOV, or cannot be read.
pub fn read_container(
    file: &mut (impl Read + Seek),
    bytes: u64,
) -> Result<Option<NaiveDateTime>, Unreadable> {
    if bytes == 0 {
        return Err(Unreadable::Empty);
    }
    let mut head = Vec::new();
    file.seek(SeekFrom::Start(0)).map_err(refused)?;
    file.by_ref().take(12).read_to_end(&mut head).map_err(refused)?;
    match head.as_slice() {
        [b'R', b'I', b'F', b'F', _, _, _, _, b'A', b'V', b'I', b' '] => {
            riff_time(file, 12, bytes, 0).map_err(refused)
        }
        [_, _, _, _, kind @ .., _, _, _, _] if FIRST_BOXES.iter().any(|b| kind == *b) => {
            movie_time(file, bytes).map_err(refused)
        }
        _ => Err(Unreadable::NotAPicture),
    }
}

/// What an MP4 or MOV file begins with.
const FIRST_BOXES: [&[u8; 4]; 6] = [b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"];

fn movie_time(file: &mut (impl Read + Seek), bytes: u64) -> io::Result<Option<NaiveDateTime>> {
    let (mut at, mut end) = (0, bytes);
    for _ in 0..PARTS_MAX {
        if at + 8 > end {
            break;
        }
        file.seek(SeekFrom::Start(at))?;
        let Ok(header) = BoxHeader::read_from(file) else {
            break;
        };
        let body = file.stream_position()?;
        let next = header.size.map_or(end, |size| body.saturating_add(size as u64));
        if header.kind == b"moov".into() {
            // What is wanted lies inside; nothing after the box matters.
            (at, end) = (body, next.min(bytes));
        } else if header.kind == b"mvhd".into() {
            return movie_header(file);
        } else {
            at = next;
        }
    }
    Ok(None)
}

fn movie_header(file: &mut (impl Read + Seek)) -> io::Result<Option<NaiveDateTime>> {
    let mut body = Vec::new();
    file.take(VALUE_MAX).read_to_end(&mut body)?;
    Ok(Mvhd::decode_body(&mut body.as_slice())
        .ok()
        .filter(|m| m.creation_time > 0)
        .and_then(|m| since_1904(m.creation_time)))
}

/// Seconds since 1904, or since 1970 as some cameras write against the standard: no clip is older
/// than 1970, so a smaller number can only mean the latter.
fn since_1904(seconds: u64) -> Option<NaiveDateTime> {
    const TO_1970_S: u64 = 2_082_844_800;
    let since_1970 = seconds.checked_sub(TO_1970_S).unwrap_or(seconds);
    let since_1970 = i64::try_from(since_1970).ok()?;
    Some(DateTime::from_timestamp(since_1970, 0)?.naive_utc())
}

/// Walks chunks from `at` to `end`, into lists, but not into the list that holds the frames.
fn riff_time(
    file: &mut (impl Read + Seek),
    mut at: u64,
    end: u64,
    depth: usize,
) -> io::Result<Option<NaiveDateTime>> {
    const DEEPEST: usize = 3;
    for _ in 0..PARTS_MAX {
        let mut head = Vec::new();
        file.seek(SeekFrom::Start(at))?;
        file.by_ref().take(12).read_to_end(&mut head)?;
        let Some((&[a, b, c, d, e, f, g, h], kind)) = head.split_first_chunk::<8>() else {
            break;
        };
        let size = u64::from(u32::from_le_bytes([e, f, g, h]));
        let body = at + 8;
        match &[a, b, c, d] {
            b"IDIT" | b"ICRD" => {
                let mut text = Vec::new();
                file.seek(SeekFrom::Start(body))?;
                file.by_ref().take(size.min(VALUE_MAX)).read_to_end(&mut text)?;
                if let Some(time) = written(&String::from_utf8_lossy(&text)) {
                    return Ok(Some(time));
                }
            }
            b"LIST" if kind != b"movi" && depth < DEEPEST => {
                let inside = riff_time(file, body + 4, (body + size).min(end), depth + 1)?;
                if inside.is_some() {
                    return Ok(inside);
                }
            }
            _ => {}
        }
        // Chunks begin at even offsets.
        at = body + size + size % 2;
        if at >= end {
            break;
        }
    }
    Ok(None)
}

/// The ways in which cameras write the moment (common practice).
fn written(text: &str) -> Option<NaiveDateTime> {
    const FORMS: [&str; 7] = [
        "%a %b %d %H:%M:%S %Y",
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%dT%H:%M:%S",
        "%Y:%m:%d %H:%M:%S",
        "%Y/%m/%d %H:%M:%S",
        "%Y/%m/%d/ %H:%M:%S",
        "%Y/%m/%d/ %H:%M",
    ];
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
    let text = text.strip_suffix('Z').unwrap_or(text);
    // "SAT NOV  8" is as common as "Sat Nov 08", and both parse; a wrong day name does not.
    let without_day = text.split_once(' ').map_or(text, |(_, rest)| rest);
    FORMS
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok())
        .or_else(|| NaiveDateTime::parse_from_str(without_day, "%b %d %H:%M:%S %Y").ok())
        .filter(|t| *t > NaiveDateTime::default() - TimeDelta::days(1))
}
