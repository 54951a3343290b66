//! A picture made small and even, so that pictures of one scene can be compared whatever their light.

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U16x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::{GrayImage, RgbImage};

/// Pixels of a frame across.
pub const ACROSS: usize = 48;
/// Pixels of a frame down.
pub const DOWN: usize = 32;
/// Most cameras print date and time along the top or the bottom, and that differs always.
pub const STRIP: f32 = 0.10;
/// Pixels around one that tell how bright it is there.
const AROUND: usize = 8;
/// Grey levels added before the logarithm, so that black does not become endless.
const BLACK: f32 = 8.0;

/// A picture made small and even.
#[derive(Debug, Clone)]
pub struct Frame {
    /// Logarithm of the light, less its mean around each pixel: a brighter exposure, or a lamp that
    /// burns less, is gone.
    pub light: Vec<f32>,
    /// Logarithm of red over green, likewise: a brown coat on green grass may be as bright as the
    /// grass.
    pub hue: Vec<f32>,
    /// What a grey level of noise makes in those logarithms.
    pub grain: Vec<f32>,
}

impl Frame {
    /// Makes a frame of a decoded picture.
    pub fn of(picture: &RgbImage) -> Self {
        let small = small(picture);
        let light = |p: &image::Rgb<u8>| luma(p) + BLACK;
        let hue = |p: &image::Rgb<u8>| {
            let [r, g, _] = p.0;
            ((f32::from(r) + BLACK) / (f32::from(g) + BLACK)).ln()
        };
        Self {
            light: evened(small.pixels().map(|p| light(p).ln()).collect()),
            hue: evened(small.pixels().map(hue).collect()),
            grain: small.pixels().map(|p| 1.0 / light(p)).collect(),
        }
    }
}

/// A decoded picture at the size of a frame, without the strips.
fn small(picture: &RgbImage) -> RgbImage {
    scaled(picture).unwrap_or_else(|| RgbImage::new(ACROSS as u32, DOWN as u32))
}

/// In 16 bits, since what is rounded to grey levels between rows and columns is noise to a comparison.
fn scaled(picture: &RgbImage) -> Option<RgbImage> {
    const FINER: u16 = 257;
    let (width, height) = picture.dimensions();
    let strip = (f64::from(height) * f64::from(STRIP)) as u32;
    let finer = |&[r, g, b]: &[u8; 3]| {
        let finer = |v| u16::from(v) * FINER;
        U16x3::new([finer(r), finer(g), finer(b)])
    };
    let (pixels, _) = picture.as_raw().as_chunks::<3>();
    let middle = (strip * width) as usize..((height - strip) * width) as usize;
    let middle: Vec<U16x3> = pixels.get(middle)?.iter().map(finer).collect();
    let from = TypedImageRef::new(width, height - 2 * strip, &middle).ok()?;
    let mut to = TypedImage::<U16x3>::new(ACROSS as u32, DOWN as u32);
    let how = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Bilinear));
    Resizer::new().resize_typed(&from, &mut to, &how).ok()?;
    let level = |v: u16| ((u32::from(v) + u32::from(FINER) / 2) / u32::from(FINER)) as u8;
    let mut small = RgbImage::new(ACROSS as u32, DOWN as u32);
    for (small, finer) in small.pixels_mut().zip(to.pixels()) {
        let [r, g, b] = finer.0;
        small.0 = [level(r), level(g), level(b)];
    }
    Some(small)
}

/// How light a pixel is, in grey levels (ITU-R BT.601).
fn luma(pixel: &image::Rgb<u8>) -> f32 {
    let [r, g, b] = pixel.0;
    0.299 * f32::from(r) + 0.587 * f32::from(g) + 0.114 * f32::from(b)
}

/// The light alone of a decoded picture at the size of a frame, in whole grey levels.
pub fn small_light(picture: &RgbImage) -> GrayImage {
    let small = small(picture);
    let pixels: Vec<u8> = small.pixels().map(|p| luma(p).round() as u8).collect();
    GrayImage::from_raw(ACROSS as u32, DOWN as u32, pixels).unwrap_or_default()
}

/// The logarithm of the light less its mean around each pixel, as [`Frame::light`] is.
pub fn view(small: &GrayImage) -> Vec<f32> {
    let light = |p: &image::Luma<u8>| (f32::from(p.0[0]) + BLACK).ln();
    evened(small.pixels().map(light).collect())
}

/// Less the mean over a square around each pixel.
fn evened(values: Vec<f32>) -> Vec<f32> {
    let around = mean_around(&values, AROUND);
    values.iter().zip(around).map(|(v, a)| v - a).collect()
}

/// The mean over a square of pixels up to `reach` away, along rows first and then along columns. At
/// the edge the square is cut off.
pub fn mean_around(values: &[f32], reach: usize) -> Vec<f32> {
    let mean = |from: &[f32], at: usize, i: usize, count: usize, step: usize| {
        let (low, high) = (i.saturating_sub(reach), (i + reach + 1).min(count));
        let first = at - i * step;
        let sum: f32 = (low..high).map(|k| from[first + k * step]).sum();
        sum / (high - low) as f32
    };
    let pixels = 0..values.len();
    let rows: Vec<f32> =
        pixels.clone().map(|at| mean(values, at, at % ACROSS, ACROSS, 1)).collect();
    pixels.map(|at| mean(&rows, at, at / ACROSS, DOWN, ACROSS)).collect()
}
