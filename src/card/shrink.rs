//! A picture made small for a screen or a page: turned as it was held, without anything but its pixels.

use std::fs::File;
use std::path::Path;

use exif::{In, Tag};
use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U8x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::metadata::Orientation;
use image::{DynamicImage, RgbImage};
use jpeg_encoder::{ColorType, Encoder};

use super::{decode_scaled, read_header};

/// A small JPEG and its size in pixels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Small {
    /// The file's bytes: no metadata is in it.
    pub jpeg: Vec<u8>,
    /// Pixels across and down.
    pub size: (u32, u32),
}

/// A picture with its longer side at most `most_px` long, as a JPEG of some quality (1 to 100). `None` where it
/// cannot be decoded.
pub fn shrunk(path: &Path, most_px: u16, quality: u8) -> Option<Small> {
    // The decoder looks at the width alone, so an upright picture is decoded larger than it will be.
    let mut picture = decode_scaled(path, most_px)?;
    let longer = picture.width().max(picture.height());
    if longer > u32::from(most_px) {
        let side = |px: u32| (px * u32::from(most_px)).div_ceil(longer).max(1);
        let (across, down) = (side(picture.width()), side(picture.height()));
        picture = smaller(&picture, across, down)?;
    }
    let picture = as_held(picture, path);
    let mut jpeg = Vec::new();
    let side = |px: u32| u16::try_from(px).ok();
    let (width, height) = (side(picture.width())?, side(picture.height())?);
    let encoder = Encoder::new(&mut jpeg, quality);
    encoder.encode(picture.as_raw(), width, height, ColorType::Rgb).ok()?;
    Some(Small { jpeg, size: picture.dimensions() })
}

/// Turned and mirrored as its EXIF orientation says.
fn as_held(picture: RgbImage, path: &Path) -> RgbImage {
    match orientation(path) {
        None | Some(Orientation::NoTransforms) => picture,
        Some(orientation) => {
            let mut turned = DynamicImage::ImageRgb8(picture);
            turned.apply_orientation(orientation);
            turned.into_rgb8()
        }
    }
}

fn orientation(path: &Path) -> Option<Orientation> {
    let mut file = File::open(path).ok()?;
    let bytes = file.metadata().ok()?.len();
    let exif = read_header(&mut file, bytes).ok()?.exif?.ok()?;
    let field = exif.get_field(Tag::Orientation, In::PRIMARY)?;
    Orientation::from_exif(u8::try_from(field.value.get_uint(0)?).ok()?)
}

/// A box on a picture as it is in its file (left, top, width and height as parts), on the picture as it was held.
pub fn box_as_held([left, top, width, height]: [f32; 4], path: &Path) -> [f32; 4] {
    let (right, bottom) = (1.0 - left - width, 1.0 - top - height);
    match orientation(path) {
        None | Some(Orientation::NoTransforms) => [left, top, width, height],
        Some(Orientation::FlipHorizontal) => [right, top, width, height],
        Some(Orientation::Rotate180) => [right, bottom, width, height],
        Some(Orientation::FlipVertical) => [left, bottom, width, height],
        Some(Orientation::Rotate90FlipH) => [top, left, height, width],
        Some(Orientation::Rotate90) => [bottom, left, height, width],
        Some(Orientation::Rotate270FlipH) => [bottom, right, height, width],
        Some(Orientation::Rotate270) => [top, right, height, width],
    }
}

/// Scaled down so that every pixel of the large picture counts. The kind of pixel is a type, since the library's
/// code for all kinds of them was a quarter of what this crate took to build.
fn smaller(large: &RgbImage, across: u32, down: u32) -> Option<RgbImage> {
    let (width, height) = large.dimensions();
    let from = TypedImageRef::<U8x3>::from_buffer(width, height, large.as_raw()).ok()?;
    let mut small = RgbImage::new(across, down);
    let mut to = TypedImage::<U8x3>::from_buffer(across, down, &mut small).ok()?;
    let by_area = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Box));
    Resizer::new().resize_typed(&from, &mut to, &by_area).ok()?;
    Some(small)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture 64 by 32 whose left half is white, with an EXIF orientation (Exif 2.32, tag 0112).
    fn written(folder: &Path, orientation: u8) -> std::path::PathBuf {
        let mut exif = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
        exif.extend([orientation, 0, 0, 0, 0, 0, 0]);
        let pixels: Vec<u8> =
            (0..64 * 32).flat_map(|i| [if i % 64 < 32 { 255 } else { 0 }; 3]).collect();
        let path = folder.join("a.jpg");
        let mut encoder = Encoder::new_file(&path, 95).unwrap();
        encoder.add_app_segment(1, exif).unwrap();
        encoder.encode(&pixels, 64, 32, ColorType::Rgb).unwrap();
        path
    }

    #[test]
    fn pictures_stand_as_they_were_held() {
        let folder = tempfile::tempdir().unwrap();
        let made = |orientation, most_px| {
            let small = shrunk(&written(folder.path(), orientation), most_px, 90).unwrap();
            let picture = image::load_from_memory(&small.jpeg).unwrap().into_rgb8();
            assert_eq!(picture.dimensions(), small.size);
            picture
        };
        let is_white = |picture: &RgbImage, x: u32, y: u32| picture.get_pixel(x, y).0[0] > 200;
        let plain = made(1, 64);
        assert_eq!(plain.dimensions(), (64, 32));
        assert!(is_white(&plain, 5, 16) && !is_white(&plain, 60, 16));
        // Turned a quarter to the right: what was left is up.
        let turned = made(6, 64);
        assert_eq!(turned.dimensions(), (32, 64));
        assert!(is_white(&turned, 16, 5) && !is_white(&turned, 16, 60));
        assert_eq!(made(6, 16).dimensions(), (8, 16));
        // A box in the upper left of the file lies in the upper right of a picture turned to the right.
        let path = written(folder.path(), 6);
        assert_eq!(box_as_held([0.0, 0.0, 0.25, 0.5], &path), [0.5, 0.0, 0.5, 0.25]);
        // Of what the file says beside its pixels nothing is left.
        let small = shrunk(&written(folder.path(), 6), 64, 90).unwrap();
        assert!(!small.jpeg.windows(4).any(|w| w == b"Exif"));
    }
}
