//! Smooth curves on the circle of the day.

use std::f64::consts::TAU;

/// A density over one turn of a circle, sampled at evenly spaced points.
#[derive(Debug, Clone, PartialEq)]
pub struct Density {
    /// Length of the turn, in the unit of the data.
    pub period: f64,
    /// Density per unit at `i * period / values.len()`; it integrates to 1 over the turn.
    pub values: Vec<f64>,
}

/// Kernel density of points on a circle with a von Mises kernel of concentration `kappa` (Mardia &
/// Jupp, Directional Statistics, 2000, section 12; larger is sharper). `None` without points.
///
/// `points` are in the unit of `period` and may lie outside one turn; `samples` is the number of
/// points of the curve.
pub fn density(points: &[f64], period: f64, kappa: f64, samples: usize) -> Option<Density> {
    if points.is_empty() || samples == 0 {
        return None;
    }
    let at = |i: usize| i as f64 * period / samples as f64;
    let values = (0..samples).map(|i| density_at(at(i), points, period, kappa)).collect();
    Some(Density { period, values })
}

/// The same at one place; `points` must hold one at least.
pub(super) fn density_at(at: f64, points: &[f64], period: f64, kappa: f64) -> f64 {
    let angle = TAU / period;
    let norm = angle / (TAU * scaled_bessel_i0(kappa) * points.len() as f64);
    let weight = |p: &f64| (kappa * (((at - p) * angle).cos() - 1.0)).exp();
    points.iter().map(weight).sum::<f64>() * norm
}

/// How much two sets of points on a circle overlap, from 0 (never together) to 1 (the same pattern):
/// the area under the lower of their two densities, estimator 1 of Ridout & Linkie (2009), Journal
/// of Agricultural, Biological, and Environmental Statistics 14:322-337, which they advise for small
/// samples. `None` where a side is empty.
pub fn overlap(a: &[f64], b: &[f64], period: f64, kappa: f64, samples: usize) -> Option<f64> {
    let (f, g) = (density(a, period, kappa, samples)?, density(b, period, kappa, samples)?);
    Some(overlap_of(&f, &g))
}

/// The same of two densities that are sampled alike (Ridout & Linkie 2009, as above).
pub fn overlap_of(f: &Density, g: &Density) -> f64 {
    let lower = f.values.iter().zip(&g.values).map(|(f, g)| f.min(*g));
    let step = f.period / f.values.len() as f64;
    (lower.sum::<f64>() * step).min(1.0)
}

impl Density {
    /// The density of several sets of points together, from the density and number of each; `None`
    /// without points. The densities must be sampled alike.
    pub fn together<'a>(parts: impl Iterator<Item = (&'a Self, usize)>) -> Option<Self> {
        let mut sum: Option<Self> = None;
        let mut points = 0;
        for (part, n) in parts {
            let sum = sum.get_or_insert_with(|| Self {
                period: part.period,
                values: vec![0.0; part.values.len()],
            });
            for (total, value) in sum.values.iter_mut().zip(&part.values) {
                *total += value * n as f64;
            }
            points += n;
        }
        let mut sum = sum?;
        for value in &mut sum.values {
            *value /= points as f64;
        }
        Some(sum)
    }
}

/// exp(-x) I0(x): Abramowitz & Stegun (1964), 9.8.1 and 9.8.2, relative error below 2e-7.
pub(super) fn scaled_bessel_i0(x: f64) -> f64 {
    let horner =
        |coefficients: &[f64], t: f64| coefficients.iter().rev().fold(0.0, |s, c| s * t + c);
    if x < 3.75 {
        let t = (x / 3.75).powi(2);
        const SMALL: [f64; 7] =
            [1.0, 3.515_622_9, 3.089_942_4, 1.206_749_2, 0.265_973_2, 0.036_076_8, 0.004_581_3];
        (-x).exp() * horner(&SMALL, t)
    } else {
        const LARGE: [f64; 9] = [
            0.398_942_28,
            0.013_285_92,
            0.002_253_19,
            -0.001_575_65,
            0.009_162_81,
            -0.020_577_06,
            0.026_355_37,
            -0.016_476_33,
            0.003_923_77,
        ];
        horner(&LARGE, 3.75 / x) / x.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_integrates_to_one_and_wraps() {
        for kappa in [0.5, 5.0, 60.0] {
            let d = density(&[10.0, 1430.0, 700.0], 1440.0, kappa, 720).unwrap();
            let integral: f64 = d.values.iter().sum::<f64>() * 2.0;
            assert!((integral - 1.0).abs() < 1e-6, "{integral}");
        }
        let d = density(&[0.0], 1440.0, 20.0, 144).unwrap();
        assert!((d.values[1] - d.values[143]).abs() < 1e-12);
        assert!(density(&[], 1440.0, 20.0, 144).is_none());
    }
}
