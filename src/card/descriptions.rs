//! What a photo manager has written into a JPEG: its XMP packet and its IPTC records, raw.

use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::Path;

use super::header::{FIRST_READ, Next, Pieces, SEGMENTS_MAX, is_jpeg, read_head};

/// Descriptions as they stand in a file.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Packets {
    /// The XMP packet: XML text (ISO 16684-1; where it lies in a JPEG, ISO 16684-3).
    pub xmp: Option<Vec<u8>>,
    /// The IPTC-IIM records (IPTC Information Interchange Model 4.2), which lie in a JPEG in block
    /// 0x0404 of its APP13 segment (IPTC Photo Metadata Standard, "IIM in JPEG").
    pub iptc: Option<Vec<u8>>,
}

const XMP_ID: &[u8] = b"http://ns.adobe.com/xap/1.0/\0";
const APP13_ID: &[u8] = b"Photoshop 3.0\0";

/// Reads the packets of a JPEG file; none where it has none or cannot be read.
pub fn read_packets(path: &Path) -> Packets {
    let read = |mut file: File| {
        let mut head = [0; FIRST_READ];
        let head = read_head(&mut file, &mut head)?;
        packets_of(&mut Pieces::of(&mut file, head))
    };
    File::open(path).and_then(read).unwrap_or_default()
}

/// The packets of a file whose first bytes are read.
pub(super) fn packets_of(pieces: &mut Pieces<impl Read + Seek>) -> io::Result<Packets> {
    let mut packets = Packets::default();
    let mut at = 2;
    if !is_jpeg(pieces.head()) {
        return Ok(packets);
    }
    for _ in 0..SEGMENTS_MAX {
        let Next::Segment(segment) = pieces.next_segment(&mut at)? else {
            break;
        };
        let id = match segment.marker {
            0xe1 if packets.xmp.is_none() => XMP_ID,
            0xed if packets.iptc.is_none() => APP13_ID,
            _ => continue,
        };
        // The EXIF block lies in an APP1 segment too, and is long.
        if !pieces.begins_with(&segment, id)? {
            continue;
        }
        let body = pieces.body(&segment)?;
        let behind = body.get(id.len()..).unwrap_or_default();
        match segment.marker {
            0xe1 => packets.xmp = Some(behind.to_vec()),
            _ => packets.iptc = iptc_block(behind),
        }
    }
    Ok(packets)
}

/// The block 0x0404 among the blocks `8BIM`, number, padded name, length, padded data.
fn iptc_block(mut blocks: &[u8]) -> Option<Vec<u8>> {
    while let Some(rest) = blocks.strip_prefix(b"8BIM") {
        let number = u16::from_be_bytes(*rest.first_chunk()?);
        let name = usize::from(*rest.get(2)?) + 1;
        let at = 2 + name + name % 2;
        let length = u32::from_be_bytes(*rest.get(at..)?.first_chunk()?) as usize;
        let data = rest.get(at + 4..)?.get(..length)?;
        if number == 0x0404 {
            return Some(data.to_vec());
        }
        blocks = rest.get(at + 4 + length + length % 2..)?;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keywords_behind_long_segments_are_found() {
        let segment = |marker: u8, body: &[u8]| {
            let length = u16::try_from(body.len() + 2).unwrap().to_be_bytes();
            [&[0xff, marker][..], &length, body].concat()
        };
        let records = b"\x1c\x02\x19\x00\x04buck";
        let length = (records.len() as u32).to_be_bytes();
        let block = [b"8BIM\x04\x04\0\0", &length[..], records, b"\0"].concat();
        let mut jpeg = vec![0xff, 0xd8];
        for _ in 0..3 {
            jpeg.extend(segment(0xe2, &[7; 65_000]));
        }
        jpeg.extend(segment(0xed, &[APP13_ID, &block].concat()));
        jpeg.extend([0xff, 0xda, 0, 2, 0xff, 0xd9]);
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), &jpeg).unwrap();
        let packets = read_packets(file.path());
        assert_eq!(packets.iptc.as_deref(), Some(&records[..]));
        assert_eq!(packets.xmp, None);
    }
}
