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
    let height = picture.height() as usize;
    let strip = (height as f64 * STRIP).ceil() as usize;
    let pixels = || {
        picture
            .rows()
            .skip(strip)
            .take(height.saturating_sub(2 * strip))
            .flatten()
            // Burnt-out and black pixels have lost their colour, or show the tint of one channel.
            .filter(|p| p.0.iter().all(|c| *c < 250) && p.0.iter().any(|c| *c > 12))
    };
    let mut sums = [0.0; 3];
    let mut n = 0.0_f64;
    for pixel in pixels() {
        for (sum, c) in sums.iter_mut().zip(pixel.0) {
            *sum += f64::from(c);
        }
        n += 1.0;
    }
    if n < 100.0 || sums.iter().any(|s| *s <= 0.0) {
        return None;
    }
    let mean = sums.iter().sum::<f64>() / 3.0;
    let gains = sums.map(|s| mean / s);
    let spread: f64 = pixels()
        .map(|p| {
            let [r, g, b] = [0, 1, 2].map(|i| f64::from(p.0[i]) * gains[i]);
            r.max(g).max(b) - r.min(g).min(b)
        })
        .sum();
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
            if y > 40 {
                [g, g, g - 14]
            } else {
                [g, g, g + 8]
            }
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
