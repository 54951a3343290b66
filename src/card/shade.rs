//! Colour or grey: whether a picture was taken by daylight or under the camera's infrared lamp.
//!
//! Trail cameras shoot in colour by day and without colour under infrared (common trade practice).
//! A night picture may carry a tint, the same over the whole frame; a day in fog or snow has little
//! colour, but not one tint. So the tint is taken out first (each channel scaled to the same mean,
//! the grey-world assumption of Buchsbaum 1980, J. Franklin Institute 310:1-26) and what colour is
//! left is measured.

use image::RgbImage;

/// What a picture's colours say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shade {
    /// Taken by daylight.
    Colour,
    /// Taken under infrared.
    Grey,
}

/// Below this much colour a picture is grey, above the other it is in colour; between them nobody
/// can say. Fractions of full brightness.
const GREY_BELOW: f64 = 0.012;
const COLOUR_ABOVE: f64 = 0.020;

/// What the colours of a decoded picture say; `None` where it cannot be told.
pub fn shade_of(picture: &RgbImage) -> Option<Shade> {
    match colour_left(picture)? {
        c if c < GREY_BELOW => Some(Shade::Grey),
        c if c > COLOUR_ABOVE => Some(Shade::Colour),
        _ => None,
    }
}

/// Mean distance between the largest and the smallest channel, the tint taken out; fraction of full
/// brightness. The strips at the top and the bottom, where cameras print the date in colour, are left out.
fn colour_left(picture: &RgbImage) -> Option<f64> {
    const STRIP: f64 = 0.12;
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let strip = (height as f64 * STRIP).ceil() as usize;
    let rows = strip..height.saturating_sub(strip).max(strip);
    let middle = picture.as_raw().get(rows.start * width * 3..rows.end * width * 3)?;
    let (pixels, _) = middle.as_chunks::<3>();
    // Burnt-out and black pixels have lost their colour, or show the tint of one channel.
    let is_telling = |[r, g, b]: &&[u8; 3]| r.max(g).max(b) > &12 && r.max(g).max(b) < &250;
    let (mut sums, mut n) = ([0_u64; 3], 0_u32);
    for [r, g, b] in pixels.iter().filter(is_telling) {
        sums[0] += u64::from(*r);
        sums[1] += u64::from(*g);
        sums[2] += u64::from(*b);
        n += 1;
    }
    if n < 100 || sums.contains(&0) {
        return None;
    }
    let n = f64::from(n);
    let mean = sums.iter().sum::<u64>() as f64 / 3.0;
    let [red, green, blue] = sums.map(|s| mean / s as f64);
    let mut spread = 0.0;
    for [r, g, b] in pixels.iter().filter(is_telling) {
        let (r, g, b) = (f64::from(*r) * red, f64::from(*g) * green, f64::from(*b) * blue);
        spread += r.max(g).max(b) - r.min(g).min(b);
    }
    Some(spread / n / 255.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(of: impl Fn(u32, u32) -> [u8; 3]) -> RgbImage {
        RgbImage::from_fn(80, 60, |x, y| image::Rgb(of(x, y)))
    }

    #[test]
    fn a_tint_is_no_colour_and_a_grey_day_is_some() {
        let grey = |x: u32, y: u32| (40 + (x * 2 + y) % 120) as u8;
        let night = picture(|x, y| [grey(x, y); 3]);
        let violet = picture(|x, y| {
            let g = f64::from(grey(x, y));
            [g, g * 0.85, g * 1.1].map(|c| c as u8)
        });
        let fog = picture(|x, y| {
            let g = grey(x, y);
            if y > 40 { [g, g, g - 14] } else { [g, g, g + 8] }
        });
        // Six of sixty rows at the top and at the bottom are printed in colour.
        let dated = picture(|x, y| match (6..54).contains(&y) {
            true => [grey(x, y); 3],
            false => [20, 60, 200],
        });
        assert!(colour_left(&night).unwrap() < 1e-9);
        assert!(colour_left(&dated).unwrap() < GREY_BELOW);
        assert!(colour_left(&violet).unwrap() < GREY_BELOW);
        assert!(colour_left(&fog).unwrap() > COLOUR_ABOVE);
    }
}
