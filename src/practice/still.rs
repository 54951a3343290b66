//! A JPEG file as a trail camera writes it, EXIF and all.

use std::io::Cursor;

use anyhow::Result;
use chrono::NaiveDateTime;
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::RgbImage;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

use crate::property::Position;

const QUALITY: u8 = 55;
/// Of pictures so small that a block of pixels holds many things: coarser steps would take their colours.
const QUALITY_OF_SMALL: u8 = 85;
/// Pixels across, from which on a picture is not small.
const SMALL_PX: u32 = 120;

/// What the camera writes beside the picture.
pub struct Imprint<'a> {
    /// What its clock shows; `None` writes zeros, as a camera does whose clock was never set.
    pub time: Option<NaiveDateTime>,
    /// Its name in its own menu.
    pub label: &'a str,
    /// Its serial number.
    pub serial: &'a str,
    /// Where it is, if it knows.
    pub position: Option<Position>,
}

/// Encodes a picture.
///
/// # Errors
/// When the encoder refuses, which it does not for pictures of this size.
pub fn jpeg(picture: &RgbImage, imprint: &Imprint) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let quality = match picture.width() < SMALL_PX {
        true => QUALITY_OF_SMALL,
        false => QUALITY,
    };
    let mut encoder = Encoder::new(&mut bytes, quality);
    encoder.set_sampling_factor(SamplingFactor::F_1_1);
    encoder.add_exif_metadata(&exif(imprint)?)?;
    let side = |px: u32| u16::try_from(px);
    let (width, height) = (side(picture.width())?, side(picture.height())?);
    encoder.encode(picture.as_raw(), width, height, ColorType::Rgb)?;
    Ok(bytes)
}

fn exif(imprint: &Imprint) -> Result<Vec<u8>> {
    let time = imprint.time.map_or_else(
        || "0000:00:00 00:00:00".to_owned(),
        |t| t.format("%Y:%m:%d %H:%M:%S").to_string(),
    );
    let mut fields = vec![
        text(Tag::Make, "Practice"),
        text(Tag::Model, "Practice 1"),
        text(Tag::DateTime, &time),
        text(Tag::DateTimeOriginal, &time),
        text(Tag::DateTimeDigitized, &time),
        text(Tag::CameraOwnerName, imprint.label),
        text(Tag::BodySerialNumber, imprint.serial),
    ];
    if let Some(place) = imprint.position {
        let (north, east) = (place.latitude_deg >= 0.0, place.longitude_deg >= 0.0);
        fields.extend([
            text(Tag::GPSLatitudeRef, if north { "N" } else { "S" }),
            degrees(Tag::GPSLatitude, place.latitude_deg),
            text(Tag::GPSLongitudeRef, if east { "E" } else { "W" }),
            degrees(Tag::GPSLongitude, place.longitude_deg),
        ]);
    }
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, true)?;
    Ok(block.into_inner())
}

fn text(tag: Tag, value: &str) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value: Value::Ascii(vec![value.as_bytes().to_vec()]) }
}

fn degrees(tag: Tag, value: f64) -> Field {
    let hundred_thousandths = (value.abs() * 100_000.0).round() as u32;
    let whole = |num| Rational { num, denom: 1 };
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Rational(vec![
            Rational { num: hundred_thousandths, denom: 100_000 },
            whole(0),
            whole(0),
        ]),
    }
}
