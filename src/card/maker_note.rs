//! What a trail camera writes into its maker note (Exif tag 0x927C): time, serial number, the owner's
//! label, temperature, and whether its lamp was on. Some write the time there and nowhere else.
//!
//! Fixed layouts, little-endian whatever the file's own order is; offsets after the public tag tables of
//! ExifTool 13.59 (Image::ExifTool::Reconyx, which names the maker's papers). Texts end at the first NUL.

use chrono::{Datelike, NaiveDate, NaiveDateTime};

/// What a maker note says.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct MakerNote {
    pub time: Option<NaiveDateTime>,
    pub serial: Option<String>,
    pub label: Option<String>,
    pub temperature_c: Option<f64>,
    pub lamp_on: Option<bool>,
}

/// Where a layout has its fields, in bytes from the beginning of the note.
struct Layout {
    /// What it begins with.
    signature: &'static [u8],
    /// Second, minute, hour, then month and day, then year.
    time: usize,
    /// The parts of the time are words and not bytes; the year is a word in all.
    time_in_words: bool,
    month_first: bool,
    serial: (usize, usize),
    /// The serial number is in UTF-16.
    serial_wide: bool,
    label: (usize, usize),
    temperature_c: usize,
    lamp: usize,
}

const LAYOUTS: [Layout; 5] = [
    Layout {
        signature: b"RECONYXUF\0",
        time: 0x3b,
        time_in_words: false,
        month_first: false,
        serial: (0x4b, 15),
        serial_wide: false,
        label: (0x5a, 21),
        temperature_c: 0x46,
        lamp: 0x48,
    },
    Layout {
        signature: b"RECONYXH2\0",
        time: 0x3e,
        time_in_words: true,
        month_first: false,
        serial: (0x7e, 30),
        serial_wide: true,
        label: (0x68, 22),
        temperature_c: 0x50,
        lamp: 0x5a,
    },
    Layout {
        signature: b"RECONYXMF\0",
        time: 0x4e,
        time_in_words: true,
        month_first: true,
        serial: (0x8c, 30),
        serial_wide: true,
        label: (0x76, 22),
        temperature_c: 0x60,
        lamp: 0x6a,
    },
    Layout {
        signature: b"RECONYXHF4K\0",
        time: 0x2f,
        time_in_words: false,
        month_first: false,
        serial: (0x84, 15),
        serial_wide: false,
        label: (0x51, 51),
        temperature_c: 0x3a,
        lamp: 0x44,
    },
    // The oldest has no name in it, only a number and its firmware's.
    Layout {
        signature: &[0x01, 0xf1],
        time: 0x16,
        time_in_words: true,
        month_first: true,
        serial: (0x2a, 30),
        serial_wide: true,
        label: (0x56, 22),
        temperature_c: 0x28,
        lamp: 0x50,
    },
];

/// Reads a maker note; `None` where its layout is not known.
pub(super) fn read(note: &[u8], make: Option<&str>) -> Option<MakerNote> {
    let layout = LAYOUTS.iter().find(|l| note.starts_with(l.signature))?;
    let named = layout.signature.len() > 2;
    let firmware = word(note, 2);
    let is_maker = make.is_some_and(|m| m.eq_ignore_ascii_case("RECONYX"));
    if !named && !is_maker && !matches!(firmware, Some(2 | 3)) {
        return None;
    }
    Some(MakerNote {
        time: time(note, layout),
        serial: match layout.serial_wide {
            true => wide_text(note, layout.serial),
            false => text(note, layout.serial),
        },
        label: text(note, layout.label),
        temperature_c: word(note, layout.temperature_c)
            .map(|t| f64::from(t as i16))
            .filter(|t| (-60.0..=70.0).contains(t)),
        lamp_on: note.get(layout.lamp).filter(|l| **l <= 1).map(|l| *l == 1),
    })
}

fn word(note: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(*note.get(at..)?.first_chunk()?))
}

fn time(note: &[u8], layout: &Layout) -> Option<NaiveDateTime> {
    let words: [u16; 6] = match layout.time_in_words {
        true => {
            let mut words = [0; 6];
            for (i, w) in words.iter_mut().enumerate() {
                *w = word(note, layout.time + 2 * i)?;
            }
            // Some cameras wrote these six words the other way round; the year tells.
            let is_year = |y: u16| (1990..2100).contains(&y);
            if !is_year(words[5]) && is_year(words[5].swap_bytes()) {
                words = words.map(u16::swap_bytes);
            }
            words
        }
        false => {
            let bytes = note.get(layout.time..layout.time + 5)?;
            let year = word(note, layout.time + 5)?;
            [bytes[0], bytes[1], bytes[2], bytes[3], bytes[4]]
                .map(u16::from)
                .into_iter()
                .chain([year])
                .collect::<Vec<_>>()
                .try_into()
                .ok()?
        }
    };
    let [second, minute, hour, a, b, year] = words.map(u32::from);
    let (month, day) = if layout.month_first { (a, b) } else { (b, a) };
    NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)
        .filter(|d| d.year() >= 1970)?
        .and_hms_opt(hour, minute, second)
}

fn text(note: &[u8], (at, length): (usize, usize)) -> Option<String> {
    let field = note.get(at..)?;
    let field = &field[..length.min(field.len())];
    let end = field.iter().position(|b| *b == 0).unwrap_or(field.len());
    plain(&String::from_utf8_lossy(&field[..end]))
}

fn wide_text(note: &[u8], (at, length): (usize, usize)) -> Option<String> {
    let units: Vec<u16> = note
        .get(at..at + length)?
        .chunks_exact(2)
        .map(|u| u16::from_le_bytes([u[0], u[1]]))
        .take_while(|u| *u != 0)
        .collect();
    plain(&String::from_utf16_lossy(&units))
}

fn plain(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty() && !text.contains(char::is_control)).then(|| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_were_swapped_are_put_right_by_their_year() {
        let mut note = vec![0; 0x6c];
        note[..4].copy_from_slice(&[0x01, 0xf1, 3, 0]);
        let words: [u16; 6] = [0, 41, 6, 11, 8, 2025];
        for (i, w) in words.into_iter().enumerate() {
            note[0x16 + 2 * i..][..2].copy_from_slice(&w.to_be_bytes());
        }
        let read = read(&note, None).unwrap();
        assert_eq!(read.time.unwrap().to_string(), "2025-11-08 06:41:00");
        assert_eq!(super::read(&note[..20], None).unwrap().time, None);
        assert_eq!(super::read(b"\x01\xf1\x09\0", None), None);
        assert_eq!(super::read(b"SOMETHING", None), None);
    }
}
