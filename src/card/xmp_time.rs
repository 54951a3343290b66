//! When a picture was taken by its XMP packet: for pictures whose EXIF block has lost its own time.
//!
//! Properties `exif:DateTimeOriginal`, `photoshop:DateCreated` and `xmp:CreateDate` (CIPA DC-010, Exif
//! metadata for XMP; ISO 16684-1), as attributes or as elements.

use chrono::{FixedOffset, NaiveDateTime};
use roxmltree::{Document, ParsingOptions};

const PROPERTIES: [(&str, &str); 3] = [
    ("http://ns.adobe.com/exif/1.0/", "DateTimeOriginal"),
    ("http://ns.adobe.com/photoshop/1.0/", "DateCreated"),
    ("http://ns.adobe.com/xap/1.0/", "CreateDate"),
];

/// The first of the properties that holds a time; with its offset from UTC where it is written.
pub(super) fn original(packet: &[u8]) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    let text = std::str::from_utf8(packet).ok()?;
    let options = ParsingOptions { nodes_limit: 20_000, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text.trim_matches('\0').trim(), options).ok()?;
    PROPERTIES.iter().find_map(|&property| {
        document.descendants().find_map(|node| {
            let value = node
                .attribute(property)
                .or_else(|| node.text().filter(|_| node.has_tag_name(property)))?;
            moment(value.trim())
        })
    })
}

fn moment(text: &str) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    if let Ok(time) = chrono::DateTime::parse_from_rfc3339(text) {
        return Some((time.naive_local(), Some(*time.offset())));
    }
    let shapes = ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%dT%H:%M"];
    let time = shapes.iter().find_map(|s| NaiveDateTime::parse_from_str(text, s).ok())?;
    Some((time, None))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn attributes_and_elements() {
        let packet = |inside: &str| {
            format!(
                "<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#' xmlns:exif='http://ns.adobe.com/exif/1.0/' xmlns:xmp='http://ns.adobe.com/xap/1.0/'>{inside}</rdf:RDF></x:xmpmeta>"
            )
        };
        let read = |inside: &str| {
            original(packet(inside).as_bytes()).map(|(t, o)| (t.to_string(), o.is_some()))
        };
        let want = |offset| Some(("2025-11-08 06:41:27".to_owned(), offset));
        assert_eq!(
            read("<rdf:Description exif:DateTimeOriginal='2025-11-08T06:41:27'/>"),
            want(false)
        );
        assert_eq!(
            read(
                "<rdf:Description xmp:CreateDate='2026-01-01T00:00:00'><exif:DateTimeOriginal>2025-11-08T06:41:27-06:00</exif:DateTimeOriginal></rdf:Description>"
            ),
            want(true)
        );
        assert_eq!(read("<rdf:Description/>"), None);
        assert_eq!(original(b"no xml"), None);
    }
}
