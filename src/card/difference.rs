//! Whether anything in a picture differs from what the camera sees when nothing is there.
//!
//! Within a stretch of hours the scene in front of a camera hardly moves. The pictures nearest in
//! time, taken in the same sort of light, give what stands there and how much that varies anyway
//! (wind in the leaves, a lamp that flickers): pixel by pixel the middle and the length of the
//! shortest half of their values, which deer in fewer than half of them do not move (Rousseeuw &
//! Leroy 1988, Statistica Neerlandica 42:103-116). A picture is quiet when it differs from that
//! nowhere by more than things differ there. How bright the picture is, as a whole and from one side
//! to the other, is taken out first, since that changes from one picture to the next.

use super::frame::{ACROSS, DOWN, Frame, mean_around};

/// Fewer neighbours than this do not show what stands there.
pub const FEWEST: usize = 6;

/// How a picture differs from its neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// How strongly where it differs most.
    pub most: f32,
    /// Whether colour was compared too, as by day.
    pub by_day: bool,
    /// Where that is: left, top, width and height as parts of the frame.
    pub place: [f32; 4],
}

/// How strongly a picture differs from its neighbours where it differs most, and where that is: over a patch of 5 by 5
/// pixels the mean distance, in standard deviations of what varies there anyway, in light and, where
/// the pictures have colour, in hue. `None` with fewer than [`FEWEST`] neighbours.
pub fn difference(picture: &Frame, neighbours: &[&Frame], has_colour: bool) -> Option<Difference> {
    if neighbours.len() < FEWEST {
        return None;
    }
    let light = distances(picture, neighbours, |f| &f.light);
    let mut all: Vec<f32> = light.into_iter().map(|d| d * d).collect();
    if has_colour {
        let hue = distances(picture, neighbours, |f| &f.hue);
        all.iter_mut().zip(hue).for_each(|(a, h)| *a += h * h);
    }
    let most = all.iter().copied().reduce(f32::max)?;
    Some(Difference { most: most.sqrt(), by_day: has_colour, place: around_the_most(&all, most) })
}

/// The box around what hangs together with the place of the largest value, of at least a quarter of it (half the
/// distance, since these are squares).
fn around_the_most(all: &[f32], most: f32) -> [f32; 4] {
    let from = all.iter().position(|v| *v == most).unwrap_or(0);
    let mut seen = vec![false; all.len()];
    let mut next = vec![from];
    let (mut left, mut right, mut top, mut bottom) = (ACROSS, 0, DOWN, 0);
    while let Some(i) = next.pop() {
        if std::mem::replace(&mut seen[i], true) || all[i] < most / 4.0 {
            continue;
        }
        let (x, y) = (i % ACROSS, i / ACROSS);
        (left, right) = (left.min(x), right.max(x + 1));
        (top, bottom) = (top.min(y), bottom.max(y + 1));
        next.extend((x > 0).then(|| i - 1));
        next.extend((x + 1 < ACROSS).then_some(i + 1));
        next.extend((y > 0).then(|| i - ACROSS));
        next.extend((y + 1 < DOWN).then_some(i + ACROSS));
    }
    let part = |n: usize, of: usize| n as f32 / of as f32;
    [
        part(left, ACROSS),
        part(top, DOWN),
        part(right.saturating_sub(left), ACROSS),
        part(bottom.saturating_sub(top), DOWN),
    ]
}

/// Mean distance around each pixel, in standard deviations.
fn distances(
    picture: &Frame,
    neighbours: &[&Frame],
    part: impl Fn(&Frame) -> &Vec<f32>,
) -> Vec<f32> {
    /// Noise of a sensor, in grey levels of the small frame, and what a handful of neighbours happened
    /// not to show, in logarithms.
    const GRAIN: f32 = 1.5;
    const UNSEEN: f32 = 0.02;
    const PATCH_REACH: usize = 2;
    let mut there = vec![0.0; neighbours.len()];
    let apart: Vec<f32> = (0..ACROSS * DOWN)
        .map(|i| {
            for (value, neighbour) in there.iter_mut().zip(neighbours) {
                *value = part(neighbour)[i];
            }
            let usual = shortest_half(&mut there);
            let grain = GRAIN * picture.grain[i];
            let sd = (usual.sd.powi(2) + UNSEEN.powi(2) + grain.powi(2)).sqrt();
            (part(picture)[i] - usual.middle).abs() / sd
        })
        .collect();
    mean_around(&apart, PATCH_REACH)
}

struct Usual {
    middle: f32,
    sd: f32,
}

/// The middle of the shortest interval that holds half of the values, and the standard deviation of
/// normal noise that would make it as long.
fn shortest_half(values: &mut [f32]) -> Usual {
    /// Length of the middle half of a standard normal distribution.
    const NORMAL_HALF: f32 = 1.349;
    values.sort_unstable_by(f32::total_cmp);
    let half = values.len() / 2 + 1;
    let ends = values.windows(half).map(|w| (w[0], w[half - 1]));
    let (low, high) = ends.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0))).unwrap_or_default();
    Usual { middle: f32::midpoint(low, high), sd: (high - low) / NORMAL_HALF }
}

#[cfg(test)]
mod tests {
    use super::super::frame::STRIP;
    use super::*;
    use image::{Rgb, RgbImage};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn hillside(gain: f32, seed: u64, deer: bool) -> Frame {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        Frame::of(&RgbImage::from_fn(160, 120, |x, y| {
            let body = deer && (60..84).contains(&x) && (70..80).contains(&y);
            let base = 60.0 + 40.0 * ((x as f32 / 9.0).sin() + (y as f32 / 13.0).cos());
            let light = if body { 25.0 } else { base } * gain + rng.random_range(-6.0..6.0);
            Rgb([light.clamp(0.0, 255.0) as u8; 3])
        }))
    }

    #[test]
    fn a_deer_stands_out_and_a_change_of_exposure_does_not() {
        let frames: Vec<Frame> =
            (0..9).map(|i| hillside(0.8 + 0.05 * i as f32, i, false)).collect();
        let neighbours: Vec<&Frame> = frames.iter().collect();
        let nothing = difference(&hillside(1.3, 50, false), &neighbours, false).unwrap();
        let deer = difference(&hillside(0.9, 51, true), &neighbours, false).unwrap();
        assert!(deer.most > 2.0 * nothing.most, "{deer:?} against {nothing:?}");
        // The box holds the deer's middle, without the strips that are not looked at.
        let [left, top, width, height] = deer.place;
        let (x, y) = (72.0 / 160.0, (75.0 / 120.0 - STRIP) / (1.0 - 2.0 * STRIP));
        assert!((left..left + width).contains(&x) && (top..top + height).contains(&y), "{deer:?}");
        assert!(width < 0.5 && height < 0.5, "{deer:?}");
        assert_eq!(difference(&frames[0], &neighbours[..3], false), None);
    }
}
