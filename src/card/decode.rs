//! A picture decoded small: all that is needed to judge its light, or whether anything moved.

use std::fs::File;
use std::io::{BufRead, BufReader, Cursor, ErrorKind, Seek};
use std::path::Path;
use std::sync::{Condvar, Mutex};

use exif::{In, Tag};
use image::RgbImage;

use super::read_header;

/// A picture of more pixels than any trail camera writes, its own enlargement included, is not decoded.
pub const PIXELS_MAX: u64 = 200_000_000;
/// The same for the thumbnail in an EXIF block, which is 64 kilobytes long at most.
const THUMBNAIL_PIXELS_MAX: u64 = 4_000_000;
/// No picture of something packs more pixels into a byte; one that claims to says nothing true of its
/// size.
const PIXELS_IN_A_BYTE: u64 = 3000;
/// What decoding one picture may take of the memory.
const DECODING_BYTES_MAX: u64 = 300_000_000;
/// Every scan passes over the whole picture; a progressive one has a dozen, and a file can hold thousands that do
/// nothing.
const SCANNED_PIXELS_MAX: u64 = 2_000_000_000;
/// Whatever takes less is no burden, however many are decoded side by side.
const LIGHT_BYTES: u64 = 40_000_000;

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
        .and_then(|jpeg| {
            let bytes = jpeg.len() as u64;
            decode(&mut Cursor::new(jpeg), bytes, THUMBNAIL_PIXELS_MAX, across_px)
        })
        .or_else(|| decode_scaled(path, across_px))
}

/// Decodes a JPEG at the smallest scale (an eighth, a quarter, a half, whole) that leaves
/// `across_px` pixels across: the transform's low frequencies are all that is needed of it.
pub fn decode_scaled(path: &Path, across_px: u16) -> Option<RgbImage> {
    let file = File::open(path).ok()?;
    let bytes = file.metadata().ok()?.len();
    decode(&mut BufReader::new(file), bytes, PIXELS_MAX, across_px)
}

/// Decodes `bytes` bytes of JPEG, unless the size that it claims cannot be.
fn decode(
    jpeg: &mut (impl BufRead + Seek),
    bytes: u64,
    pixels_max: u64,
    across_px: u16,
) -> Option<RgbImage> {
    let mut decoder = jpeg_decoder::Decoder::new(&mut *jpeg);
    decoder.read_info().ok()?;
    let info = decoder.info()?;
    let pixels = u64::from(info.width) * u64::from(info.height);
    if pixels > pixels_max || pixels > bytes.saturating_mul(PIXELS_IN_A_BYTE) {
        return None;
    }
    drop(decoder);
    if scans(jpeg).ok()?.saturating_mul(pixels) > SCANNED_PIXELS_MAX {
        return None;
    }
    let mut decoder = jpeg_decoder::Decoder::new(&mut *jpeg);
    decoder.read_info().ok()?;
    decoder.set_max_decoding_buffer_size(DECODING_BYTES_MAX as usize);
    // The decoder is content when either side is as long as asked.
    let (width, height) = decoder.scale(across_px, u16::MAX).ok()?;
    let taken = bytes_taken(&info, u64::from(width) * u64::from(height));
    if taken > DECODING_BYTES_MAX {
        return None;
    }
    let _turn = (taken > LIGHT_BYTES).then(HeavyTurn::wait);
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
            drop(decoder);
            jpeg.rewind().ok()?;
            let whole = image::ImageReader::with_format(jpeg, image::ImageFormat::Jpeg);
            let across = u32::from(across_px);
            Some(whole.decode().ok()?.thumbnail(across, across).to_rgb8())
        }
    }
}

/// What decoding takes at the most: the scaled picture twice, as planes and as pixels; of a progressive
/// one every coefficient as well, in two bytes (ITU-T T.81, G.1: all scans come before the first pixel);
/// of one in other colours than red, green and blue every pixel, since those are not scaled.
fn bytes_taken(info: &jpeg_decoder::ImageInfo, scaled_pixels: u64) -> u64 {
    let pixels = u64::from(info.width) * u64::from(info.height);
    let channels = info.pixel_format.pixel_bytes() as u64;
    let scaled = 2 * scaled_pixels * channels;
    let is_progressive = info.coding_process == jpeg_decoder::CodingProcess::DctProgressive;
    let coefficients = if is_progressive { 2 * pixels * channels } else { 0 };
    let is_scaled = matches!(
        info.pixel_format,
        jpeg_decoder::PixelFormat::RGB24 | jpeg_decoder::PixelFormat::L8
    );
    let whole = if is_scaled { 0 } else { pixels * (channels + 3) + coefficients };
    scaled + coefficients.max(whole)
}

/// How many scans a JPEG begins up to its end mark (ITU-T T.81, B.1: segments say their length, and within a scan a
/// mark cannot be mistaken); it is at its start again then. What lies behind the end is not read.
fn scans(jpeg: &mut (impl BufRead + Seek)) -> std::io::Result<u64> {
    jpeg.rewind()?;
    jpeg.seek_relative(2)?;
    let mut head = [0; 4];
    // Until the first scan every segment is passed over by its length. Where one does not begin as it should,
    // everything from there on is looked at, and no end mark is believed.
    let is_regular = loop {
        match jpeg.read_exact(&mut head) {
            Err(e) if e.kind() == ErrorKind::UnexpectedEof => break false,
            read => read?,
        }
        match head[..2] {
            [0xff, 0xda] => break true,
            [0xff, 0x00 | 0xff] => break false,
            [0xff, _] => {}
            _ => break false,
        }
        let length = i64::from(u16::from_be_bytes([head[2], head[3]]));
        jpeg.seek_relative((length - 2).max(0))?;
    };
    let (mut scans, mut is_after_mark) = (1, false);
    'all: loop {
        let bytes = jpeg.fill_buf()?;
        if bytes.is_empty() {
            break;
        }
        let length = bytes.len();
        let carried = is_after_mark.then_some(bytes[0]);
        let marks = memchr::memchr_iter(0xff, bytes).filter_map(|at| bytes.get(at + 1).copied());
        for mark in carried.into_iter().chain(marks) {
            match mark {
                0xda => scans += 1,
                0xd9 if is_regular => break 'all,
                _ => {}
            }
        }
        is_after_mark = bytes.ends_with(b"\xff");
        jpeg.consume(length);
    }
    jpeg.rewind()?;
    Ok(scans)
}

/// A turn at decoding what takes much memory: two at a time.
struct HeavyTurn;

static HEAVY: (Mutex<usize>, Condvar) = (Mutex::new(0), Condvar::new());

impl HeavyTurn {
    const AT_A_TIME: usize = 2;

    fn wait() -> Self {
        let busy = HEAVY.0.lock().unwrap_or_else(|e| e.into_inner());
        let mut busy = HEAVY
            .1
            .wait_while(busy, |busy| *busy >= Self::AT_A_TIME)
            .unwrap_or_else(|e| e.into_inner());
        *busy += 1;
        Self
    }
}

impl Drop for HeavyTurn {
    fn drop(&mut self) {
        *HEAVY.0.lock().unwrap_or_else(|e| e.into_inner()) -= 1;
        HEAVY.1.notify_one();
    }
}

/// How many pixels a JPEG claims to have; `None` where its header does not say.
pub fn pixels_claimed(path: &Path) -> Option<u64> {
    let mut decoder = jpeg_decoder::Decoder::new(BufReader::new(File::open(path).ok()?));
    decoder.read_info().ok()?;
    let info = decoder.info()?;
    Some(u64::from(info.width) * u64::from(info.height))
}
