//! Whether a JPEG file is whole to its end, told from its bytes as they pass by.
//!
//! Segments after ITU-T T.81 (JPEG) annex B: marker segments with a length, then entropy-coded data in
//! which every 0xFF is followed by 0x00 or by a restart marker, then the end-of-image marker. What
//! stands behind that (padding, another picture) is the camera's own business.

use std::fmt;

/// What is wrong with the bytes of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// The file ends before the picture does.
    CutShort,
    /// A stretch of zeros where the picture should be: bytes that the card or disk has lost.
    Zeroed,
    /// Marks in it that no picture has.
    Broken,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::CutShort => "the end of the picture is missing",
            Self::Zeroed => "part of the picture is nothing but zeros",
            Self::Broken => "the picture is broken off in the middle",
        })
    }
}

/// A disk loses whole sectors; no picture has as many zeros in a row (common practice, no source).
const LOST_BYTES: usize = 4096;

/// Follows the bytes of one file.
#[derive(Debug, Clone)]
pub struct Structure {
    state: State,
    /// Zeros in a row.
    zeros: usize,
    /// Zeros in long rows, and all entropy-coded bytes.
    lost: usize,
    coded: usize,
    damage: Option<Damage>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// The first bytes: how many have passed.
    Start(u8),
    /// Not a JPEG: nothing can be said.
    Foreign,
    /// Before a marker's 0xFF.
    Marker,
    /// Behind it.
    Code,
    /// The length's first byte, then its second.
    LengthHigh(u8),
    LengthLow(u8, u8),
    /// Bytes of a segment still to come, and whether entropy-coded data follows.
    Skip(usize, bool),
    /// Entropy-coded data.
    Scan,
    /// Behind a 0xFF in it.
    ScanCode,
    /// The end-of-image marker has passed.
    Ended,
}

impl Default for Structure {
    fn default() -> Self {
        Self { state: State::Start(0), zeros: 0, lost: 0, coded: 0, damage: None }
    }
}

impl Structure {
    /// Takes in the next bytes.
    pub fn feed(&mut self, bytes: &[u8]) {
        let mut at = 0;
        while at < bytes.len() {
            match self.state {
                State::Foreign | State::Ended => return,
                State::Skip(left, scan) => {
                    let step = left.min(bytes.len() - at);
                    at += step;
                    self.state = match (left - step, scan) {
                        (0, true) => State::Scan,
                        (0, false) => State::Marker,
                        (left, _) => State::Skip(left, scan),
                    };
                }
                State::Scan => {
                    let rest = &bytes[at..];
                    let run = memchr::memchr(0xff, rest).unwrap_or(rest.len());
                    self.count_zeros(&rest[..run]);
                    at += run;
                    if at < bytes.len() {
                        self.state = State::ScanCode;
                        at += 1;
                    }
                }
                _ => {
                    self.step(bytes[at]);
                    at += 1;
                }
            }
        }
    }

    fn step(&mut self, byte: u8) {
        self.state = match (self.state, byte) {
            (State::Start(0), 0xff) => State::Start(1),
            (State::Start(1), 0xd8) => State::Marker,
            (State::Start(_), _) => State::Foreign,
            (State::Marker, 0xff) => State::Code,
            (State::Marker, _) => self.broken(),
            (State::Code, 0xff) => State::Code,
            (State::Code, 0x01 | 0xd0..=0xd7) => State::Marker,
            (State::Code, 0xd9) => State::Ended,
            (State::Code, 0x00 | 0xd8) => self.broken(),
            (State::Code, code) => State::LengthHigh(code),
            (State::LengthHigh(code), high) => State::LengthLow(code, high),
            (State::LengthLow(code, high), low) => {
                match usize::from(u16::from_be_bytes([high, low])).checked_sub(2) {
                    None => self.broken(),
                    Some(0) if code == 0xda => State::Scan,
                    Some(0) => State::Marker,
                    Some(left) => State::Skip(left, code == 0xda),
                }
            }
            (State::ScanCode, 0xff) => State::ScanCode,
            (State::ScanCode, 0x00 | 0xd0..=0xd7) => {
                self.zeros = 0;
                State::Scan
            }
            (State::ScanCode, 0xd9) => State::Ended,
            // Tables and further scans of a progressive picture.
            (State::ScanCode, code @ (0xc4 | 0xda | 0xdb | 0xdc | 0xdd | 0xfe)) => {
                State::LengthHigh(code)
            }
            (State::ScanCode, _) => self.broken(),
            (state, _) => state,
        };
    }

    fn broken(&mut self) -> State {
        self.damage.get_or_insert(Damage::Broken);
        State::Foreign
    }

    fn count_zeros(&mut self, bytes: &[u8]) {
        // Most stretches hold none at their beginning, and long runs are rare.
        self.coded += bytes.len();
        let mut rest = bytes;
        while let Some(at) = memchr::memchr(0, rest) {
            if at > 0 {
                self.zeros = 0;
            }
            let run = rest[at..].iter().take_while(|b| **b == 0).count();
            let before = self.zeros;
            self.zeros += run;
            if self.zeros >= LOST_BYTES {
                self.lost += if before < LOST_BYTES { self.zeros } else { run };
            }
            rest = &rest[at + run..];
        }
        if !rest.is_empty() {
            self.zeros = 0;
        }
    }

    /// What was wrong, once the last byte has passed; `None` for a whole picture and for a file that is
    /// no JPEG.
    pub fn finish(&self) -> Option<Damage> {
        let is_whole = matches!(self.state, State::Foreign | State::Ended | State::Start(0));
        // The picture of a covered lens may be coded in hardly anything but zeros, and ends as it should.
        let is_flat = is_whole && self.lost * 10 > self.coded * 9;
        if self.damage.is_none() && self.lost > 0 && !is_flat {
            return Some(Damage::Zeroed);
        }
        self.damage.or((!is_whole).then_some(Damage::CutShort))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;

    fn picture() -> Vec<u8> {
        let noisy = image::RgbImage::from_fn(320, 240, |x, y| {
            image::Rgb([(x * 7 % 251) as u8, (y * 13 % 241) as u8, (x * y % 239) as u8])
        });
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 90).encode_image(&noisy).unwrap();
        bytes
    }

    fn damage(bytes: &[u8], step: usize) -> Option<Damage> {
        let mut structure = Structure::default();
        bytes.chunks(step).for_each(|c| structure.feed(c));
        structure.finish()
    }

    #[test]
    fn whole_pictures_are_whole_however_they_come() {
        let bytes = picture();
        for step in [1, 7, 512, bytes.len()] {
            assert_eq!(damage(&bytes, step), None);
        }
        let padded = [bytes, vec![0; 9000]].concat();
        assert_eq!(damage(&padded, 4096), None, "padding behind the end is no damage");
        assert_eq!(damage(b"only text", 3), None);
    }

    #[test]
    fn every_way_to_lose_bytes_shows() {
        let bytes = picture();
        for cut in (4..bytes.len() - 1).step_by(97) {
            assert_eq!(damage(&bytes[..cut], 512), Some(Damage::CutShort), "{cut}");
        }
        let middle = bytes.len() / 2;
        let mut zeroed = bytes.clone();
        zeroed[middle..middle + 8192].fill(0);
        assert_eq!(damage(&zeroed, 1000), Some(Damage::Zeroed));
        let mut tail = bytes.clone();
        tail[middle..].fill(0);
        assert_eq!(damage(&tail, 1000), Some(Damage::Zeroed));
        let mut foreign = bytes;
        foreign[middle..middle + 512].fill(0xff);
        foreign[middle + 512] = 0x13;
        assert_eq!(damage(&foreign, 512), Some(Damage::Broken));
    }
}
