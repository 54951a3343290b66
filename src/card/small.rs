//! A picture decoded small: all that is needed to judge its light, or whether anything moved.

use std::fs::File;
use std::io::{BufReader, Cursor};
use std::path::Path;

use exif::{In, Tag};
use image::RgbImage;

use super::read_header;

/// A picture of more pixels than any camera takes is not decoded.
const PIXELS_MAX: usize = 400_000_000;

/// The EXIF thumbnail as it is in the file, a JPEG itself; `None` where there is none.
pub fn thumbnail(path: &Path) -> Option<Vec<u8>> {
    let mut file = File::open(path).ok()?;
    let bytes = file.metadata().ok()?.len();
    let exif = read_header(&mut file, bytes).ok()?.exif?.ok()?;
    let number = |tag| {
        let field = exif.get_field(tag, In::THUMBNAIL)?;
        Some(field.value.get_uint(0)? as usize)
    };
    let at = number(Tag::JPEGInterchangeFormat)?;
    let length = number(Tag::JPEGInterchangeFormatLength)?;
    let jpeg = exif.buf().get(at..at.checked_add(length)?)?;
    jpeg.starts_with(&[0xff, 0xd8]).then(|| jpeg.to_vec())
}

/// Decodes the thumbnail where there is one, else the picture itself at the smallest scale that
/// leaves `across_px` pixels across. `None` where neither can be decoded.
pub fn decode_small(path: &Path, across_px: u16) -> Option<RgbImage> {
    thumbnail(path)
        .and_then(|jpeg| image::load_from_memory(&jpeg).ok())
        .map(|i| i.to_rgb8())
        .or_else(|| decode_scaled(path, across_px))
}

/// Decodes a JPEG at the smallest scale (an eighth, a quarter, a half, whole) that leaves
/// `across_px` pixels across: the transform's low frequencies are all that is needed of it.
pub fn decode_scaled(path: &Path, across_px: u16) -> Option<RgbImage> {
    let mut decoder = jpeg_decoder::Decoder::new(BufReader::new(File::open(path).ok()?));
    decoder.set_max_decoding_buffer_size(PIXELS_MAX);
    // The decoder is content when either side is as long as asked.
    let (width, height) = decoder.scale(across_px, u16::MAX).ok()?;
    let pixels = decoder.decode().ok()?;
    match decoder.info()?.pixel_format {
        jpeg_decoder::PixelFormat::RGB24 => {
            RgbImage::from_raw(u32::from(width), u32::from(height), pixels)
        }
        jpeg_decoder::PixelFormat::L8 => {
            let grey = image::GrayImage::from_raw(u32::from(width), u32::from(height), pixels)?;
            Some(image::DynamicImage::ImageLuma8(grey).to_rgb8())
        }
        _ => {
            let bytes = std::fs::read(path).ok()?;
            let whole = image::ImageReader::new(Cursor::new(bytes));
            let whole = whole.with_guessed_format().ok()?.decode().ok()?;
            let across = u32::from(across_px);
            Some(whole.thumbnail(across, across).to_rgb8())
        }
    }
}
