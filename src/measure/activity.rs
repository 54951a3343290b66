//! How much the daily patterns of two kinds of animals overlap, as biologists tell it.
//!
//! Ridout & Linkie (2009), Journal of Agricultural, Biological, and Environmental Statistics 14:322-337, for the
//! estimators; Taylor (2008), Computational Statistics & Data Analysis 52:3493-3500, for the width of the kernel;
//! that an interval is to be moved by the resamples' bias is Meredith & Ridout's advice (from memory, as are the
//! factors of the width).

use std::f64::consts::{PI, TAU};
use std::sync::LazyLock;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::circle::{density_at, scaled_bessel_i0};
use super::{Density, Estimate, density, overlap_of, quantile};

/// An overlap, 0 (never together) to 1 (one pattern), and how it was estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ActivityOverlap {
    /// Estimator 1, the area under the lower of both curves, for small samples.
    pub delta1: f64,
    /// Estimator 4, the mean of what the curves' ratio says at the points themselves.
    pub delta4: f64,
    /// The one to be told: 4 where both samples have 50 points, else 1.
    pub is_delta4: bool,
    /// That one with its 95 % range; `None` for fewer than five points on a side.
    pub told: Option<Estimate>,
}

/// With as many points on both sides estimator 4 is taken.
const ENOUGH: usize = 50;
/// With fewer on a side there is no range.
const FEWEST: usize = 5;
/// Estimator 1 does best with a sharper kernel by this factor.
const SHARPER: f64 = 1.25;
/// Trigonometric moments by which the concentration is estimated: two or three peaks a day look flat by the first.
const MOMENTS: usize = 3;
/// Points of a curve.
const SAMPLES: usize = 128;
/// Cells of the circle in which resampled points are counted.
const CELLS: usize = 1440;
const RESAMPLES: usize = 1000;

/// The overlap of two sets of points on a circle of length `period`, with its range by `RESAMPLES` smoothed resamples
/// that follow from `seed` (Ridout & Linkie 2009, as above). `None` where a side is empty.
pub fn activity_overlap(a: &[f64], b: &[f64], period: f64, seed: u64) -> Option<ActivityOverlap> {
    let widths = [a, b].map(|points| kernel(points, period));
    let sharp = widths.map(|kappa| kappa * SHARPER);
    let curves = [density(a, period, sharp[0], SAMPLES)?, density(b, period, sharp[1], SAMPLES)?];
    let delta1 = overlap_of(&curves[0], &curves[1]);
    let delta4 = at_points(a, b, period, widths);
    let is_delta4 = a.len().min(b.len()) >= ENOUGH;
    let value = if is_delta4 { delta4 } else { delta1 };
    let draw = |i: usize| resampled([a, b], period, widths, is_delta4, seed.wrapping_add(i as u64));
    let told = (a.len().min(b.len()) >= FEWEST).then(|| {
        let mut drawn: Vec<f64> = (0..RESAMPLES).into_par_iter().map(draw).collect();
        drawn.sort_by(f64::total_cmp);
        let bias = drawn.iter().sum::<f64>() / drawn.len() as f64 - value;
        let end = |q: f64| (quantile(&drawn, q).unwrap_or(value) - bias).clamp(0.0, 1.0);
        Estimate { value, low: end(0.025), high: end(0.975) }
    });
    Some(ActivityOverlap { delta1, delta4, is_delta4, told })
}

/// Estimator 4: half the mean of min(1, g/f) at the points of one side, and half that of min(1, f/g) at the other's.
fn at_points(a: &[f64], b: &[f64], period: f64, [of_a, of_b]: [f64; 2]) -> f64 {
    let lower = |own: &[f64], kappa: f64, other: &[f64], other_kappa: f64| {
        let ratio = |x: &f64| {
            let f = density_at(*x, own, period, kappa);
            let g = density_at(*x, other, period, other_kappa);
            (g / f).min(1.0)
        };
        let ratios: Vec<f64> = own.par_iter().map(ratio).collect();
        ratios.iter().sum::<f64>() / ratios.len() as f64
    };
    f64::midpoint(lower(a, of_a, b, of_b), lower(b, of_b, a, of_a))
}

/// The concentration of the kernel for a sample (Taylor 2008, equation 7): from the sample's own concentration as a
/// von Mises distribution, the largest that one of its first moments speaks for.
fn kernel(points: &[f64], period: f64) -> f64 {
    const FLATTEST: f64 = 0.1;
    let n = points.len() as f64;
    let moment = |k: usize| {
        let (sin, cos) = points.iter().fold((0.0, 0.0), |(sin, cos), x| {
            let angle = k as f64 * x * TAU / period;
            (sin + angle.sin(), cos + angle.cos())
        });
        f64::hypot(sin, cos) / n
    };
    let kappa = (1..=MOMENTS).map(|k| concentration_of(moment(k), k)).fold(FLATTEST, f64::max);
    let i2 = scaled_bessel(2, 2.0 * kappa);
    let i0 = scaled_bessel_i0(kappa);
    (3.0 * n * kappa * kappa * i2 / (4.0 * PI.sqrt() * i0 * i0)).powf(0.4)
}

/// The concentration of the von Mises distribution whose `k`-th trigonometric moment, Ik over I0, is `moment`: between
/// the nearest two of many that are worked out once.
fn concentration_of(moment: f64, k: usize) -> f64 {
    const CURVE: usize = 400;
    const LEAST: f64 = 0.01;
    const MOST: f64 = 500.0;
    static CURVES: LazyLock<[Vec<(f64, f64)>; MOMENTS]> = LazyLock::new(|| {
        let kappa = |i: usize| LEAST * (MOST / LEAST).powf(i as f64 / (CURVE - 1) as f64);
        let at = |k: usize, kappa: f64| (scaled_bessel(k, kappa) / scaled_bessel(0, kappa), kappa);
        std::array::from_fn(|i| (0..CURVE).map(|c| at(i + 1, kappa(c))).collect())
    });
    let curve = &CURVES[k - 1];
    match curve.partition_point(|(m, _)| *m < moment) {
        0 => moment / curve[0].0 * LEAST,
        CURVE => MOST,
        above => {
            let ((m0, k0), (m1, k1)) = (curve[above - 1], curve[above]);
            k0 + (moment - m0) / (m1 - m0) * (k1 - k0)
        }
    }
}

/// exp(-x) Ik(x), by its integral over half a turn (Abramowitz & Stegun 1964, 9.6.19); exact to rounding, since the
/// integrand is smooth and periodic.
fn scaled_bessel(k: usize, x: f64) -> f64 {
    const STEPS: usize = 512;
    let at = |i: usize| {
        let angle = PI * (i as f64 + 0.5) / STEPS as f64;
        (x * (angle.cos() - 1.0)).exp() * (k as f64 * angle).cos()
    };
    (0..STEPS).map(at).sum::<f64>() / STEPS as f64
}

/// The estimate of one pair of smoothed resamples.
fn resampled(sides: [&[f64]; 2], period: f64, widths: [f64; 2], is_delta4: bool, seed: u64) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
    for (i, points) in sides.iter().enumerate() {
        for _ in 0..points.len() {
            let point = points[rng.random_range(0..points.len())];
            let turned = von_mises(widths[i], &mut rng) * period / TAU;
            drawn[i].push((point + turned).rem_euclid(period));
        }
    }
    let widths = [0, 1].map(|i| kernel(&drawn[i], period));
    let sharper = if is_delta4 { 1.0 } else { SHARPER };
    let curves = [0, 1].map(|i| counted_density(&drawn[i], period, widths[i] * sharper));
    match is_delta4 {
        false => overlap_of(&curves[0], &curves[1]),
        true => {
            let lower = |of: usize| {
                let ratio = |x: &f64| {
                    let [f, g] = [of, 1 - of].map(|i| between(&curves[i], *x));
                    (g / f).min(1.0)
                };
                drawn[of].iter().map(ratio).sum::<f64>() / drawn[of].len() as f64
            };
            f64::midpoint(lower(0), lower(1))
        }
    }
}

/// The same density of points counted in cells: for resamples, of which there are many. A cell's points are taken to
/// lie in its middle.
fn counted_density(points: &[f64], period: f64, kappa: f64) -> Density {
    const HALVES: usize = 2 * CELLS;
    let mut cells = vec![0_u32; CELLS];
    for x in points {
        cells[((x / period * CELLS as f64) as usize).min(CELLS - 1)] += 1;
    }
    let full: Vec<(usize, f64)> =
        (0..CELLS).filter(|c| cells[*c] > 0).map(|c| (c, f64::from(cells[c]))).collect();
    let weight = |halves: usize| {
        let angle = halves as f64 * TAU / HALVES as f64;
        (kappa * (angle.cos() - 1.0)).exp()
    };
    let kernel: Vec<f64> = (0..HALVES).map(weight).collect();
    let norm = 1.0 / (period * scaled_bessel_i0(kappa) * points.len() as f64);
    let value = |sample: usize| {
        let at = sample * HALVES / SAMPLES;
        let of_cell = |(cell, n): &(usize, f64)| n * kernel[(at + HALVES - 2 * cell - 1) % HALVES];
        full.iter().map(of_cell).sum::<f64>() * norm
    };
    Density { period, values: (0..SAMPLES).map(value).collect() }
}

/// A curve's value between its samples.
fn between(curve: &Density, x: f64) -> f64 {
    let at = x / curve.period * curve.values.len() as f64;
    let (below, part) = (at.floor(), at - at.floor());
    let value = |i: f64| curve.values[i as usize % curve.values.len()];
    (value(below) * (1.0 - part) + value(below + 1.0) * part).max(f64::MIN_POSITIVE)
}

/// A random angle about 0 by the von Mises distribution (Best & Fisher 1979, Applied Statistics 28:152-157).
fn von_mises(kappa: f64, rng: &mut ChaCha8Rng) -> f64 {
    let tau = 1.0 + (1.0 + 4.0 * kappa * kappa).sqrt();
    let rho = (tau - (2.0 * tau).sqrt()) / (2.0 * kappa);
    let r = (1.0 + rho * rho) / (2.0 * rho);
    loop {
        let z = (PI * rng.random::<f64>()).cos();
        let f = (1.0 + r * z) / (r + z);
        let c = kappa * (r - f);
        let u: f64 = rng.random();
        if c * (2.0 - c) > u || (c / u).ln() + 1.0 >= c {
            let angle = f.clamp(-1.0, 1.0).acos();
            return if rng.random::<bool>() { angle } else { -angle };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A point's own definition of everything, without cells or samples.
    #[test]
    fn counted_densities_are_the_densities() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let points: Vec<f64> = (0..300)
            .map(|_| (600.0 + von_mises(4.0, &mut rng) * 1440.0 / TAU).rem_euclid(1440.0))
            .collect();
        let counted = counted_density(&points, 1440.0, 20.0);
        // Cells are a minute wide and samples no whole number of cells apart.
        let whole: f64 = counted.values.iter().sum::<f64>() * 1440.0 / SAMPLES as f64;
        assert!((whole - 1.0).abs() < 0.01, "{whole}");
        let exact = density(&points, 1440.0, 20.0, SAMPLES).unwrap();
        for (a, b) in counted.values.iter().zip(&exact.values) {
            assert!((a - b).abs() < 0.03 * 1e-3 + 0.03 * b, "{a} {b}");
        }
    }

    #[test]
    fn random_angles_have_the_concentration_that_was_asked_for() {
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        for kappa in [0.5, 2.0, 40.0] {
            let n = 20_000;
            let mean = (0..n).map(|_| von_mises(kappa, &mut rng).cos()).sum::<f64>() / n as f64;
            let expected = scaled_bessel(1, kappa) / scaled_bessel_i0(kappa);
            assert!((mean - expected).abs() < 0.015, "{kappa}: {mean} {expected}");
        }
    }

    #[test]
    fn one_pattern_overlaps_and_two_do_not() {
        let at = |middle: f64| -> Vec<f64> {
            let mut rng = ChaCha8Rng::seed_from_u64(middle as u64);
            let point = |_| (middle + von_mises(30.0, &mut rng) * 1440.0 / TAU).rem_euclid(1440.0);
            (0..80).map(point).collect()
        };
        let (dawn, noon, again) = (at(360.0), at(720.0), at(361.0));
        let apart = activity_overlap(&dawn, &noon, 1440.0, 3).unwrap();
        assert!(apart.delta1 < 0.05 && apart.delta4 < 0.05, "{apart:?}");
        let same = activity_overlap(&dawn, &again, 1440.0, 3).unwrap();
        assert!(same.is_delta4 && same.delta4 > 0.85, "{same:?}");
        let range = same.told.unwrap();
        assert!(range.low < same.delta4 && range.high >= same.delta4, "{same:?}");
        assert_eq!(activity_overlap(&dawn, &[], 1440.0, 3), None);
        assert_eq!(activity_overlap(&dawn, &noon[..3], 1440.0, 3).unwrap().told, None);
    }
}
