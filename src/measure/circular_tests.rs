//! Where points on a circle gather, whether they do, and whether two sets do so alike.

use std::f64::consts::TAU;

/// Where points gather and how closely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    /// Mean direction, from 0 up to the period; `None` where the points cancel out.
    pub mean: Option<f64>,
    /// Mean resultant length: 0 spread evenly or balanced, 1 all in one place.
    pub resultant: f64,
    /// Rayleigh's test of no direction: p-value by Zar (2010), Biostatistical Analysis, chapter 27:
    /// `exp(sqrt(1 + 4n + 4(n^2 - R_n^2)) - (1 + 2n))`.
    pub rayleigh_p: f64,
}

/// Mean direction and Rayleigh's test (Mardia & Jupp 2000, Directional Statistics, sections 2.2 and
/// 6.3). `None` without points. The test takes the points as independent, and two opposite gatherings
/// cancel out.
pub fn direction(points: &[f64], period: f64) -> Option<Direction> {
    if points.is_empty() {
        return None;
    }
    let n = points.len() as f64;
    let angle = TAU / period;
    let (s, c) = sums(points.iter().map(|p| p * angle));
    let length = s.hypot(c);
    let rayleigh_p =
        ((1.0 + 4.0 * n + 4.0 * (n * n - length * length)).sqrt() - (1.0 + 2.0 * n)).exp().min(1.0);
    Some(Direction {
        mean: (length > 1e-9 * n).then(|| (s.atan2(c) / angle).rem_euclid(period)),
        resultant: length / n,
        rayleigh_p,
    })
}

fn sums(angles: impl Iterator<Item = f64>) -> (f64, f64) {
    angles.fold((0.0, 0.0), |(s, c), a| (s + a.sin(), c + a.cos()))
}

/// The Mardia-Watson-Wheeler uniform-scores test of two sets of points having one pattern (Mardia &
/// Jupp 2000, section 8.3): the statistic `W` and its p-value by chi-squared with two degrees of
/// freedom, which wants about ten points a side. `None` where a side is empty. The points are taken
/// as independent.
pub fn uniform_scores(a: &[f64], b: &[f64], period: f64) -> Option<(f64, f64)> {
    if a.is_empty() || b.is_empty() {
        return None;
    }
    let mut all: Vec<(f64, bool)> = a
        .iter()
        .map(|p| (p.rem_euclid(period), true))
        .chain(b.iter().map(|p| (p.rem_euclid(period), false)))
        .collect();
    all.sort_by(|x, y| x.0.total_cmp(&y.0));
    let step = TAU / all.len() as f64;
    let scores = |first: bool| {
        let ranks = all.iter().enumerate().filter(move |(_, p)| p.1 == first);
        sums(ranks.map(move |(rank, _)| (rank + 1) as f64 * step))
    };
    let part = |(s, c): (f64, f64), n: usize| (s * s + c * c) / n as f64;
    let w = 2.0 * (part(scores(true), a.len()) + part(scores(false), b.len()));
    // The upper tail of chi-squared with two degrees of freedom.
    Some((w, (-w / 2.0).exp()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn balanced_points_have_no_direction() {
        let d = direction(&[0.0, 360.0, 720.0, 1080.0], 1440.0).unwrap();
        assert!(d.mean.is_none() && d.resultant < 1e-9 && d.rayleigh_p > 0.9);
        let one = direction(&[90.0], 360.0).unwrap();
        assert!((one.mean.unwrap() - 90.0).abs() < 1e-9 && (one.resultant - 1.0).abs() < 1e-12);
        assert!(direction(&[], 360.0).is_none() && uniform_scores(&[], &[1.0], 360.0).is_none());
    }
}
