//! What a comparison could find, and what it can rule out.

use super::{Counts, Expected, Exposure, Pair, predictive_p_value, two_sided, upper_quantile};
use statrs::distribution::{ContinuousCDF, Normal};

/// What a comparison's counts would be on average over its repeats, before and after a fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Repeated {
    /// Events in some effort.
    Rates([Exposure; 2]),
    /// Hits among trials.
    Shares([Counts; 2]),
}

impl Repeated {
    /// What the two sides know of their log rates, or log odds: the inverse of their variances.
    fn information(&self) -> [f64; 2] {
        match self {
            Self::Rates(sides) => sides.map(|s| s.events),
            Self::Shares(sides) => sides.map(|s| s.hits * (1.0 - s.hits / s.trials)),
        }
    }

    /// With other counts; after no more than the side before leads to expect, since what lies beyond is no fall.
    fn with(&self, more: [f64; 2]) -> Pair {
        match *self {
            Self::Rates([before, after]) => {
                let side = |events: f64, of: Exposure| Exposure { events, ..of };
                let events = (before.events + more[0]).max(0.0);
                let unchanged = events * after.effort / before.effort;
                let left = (after.events + more[1]).clamp(0.0, unchanged);
                Pair::Rates(side(events, before), side(left, after))
            }
            Self::Shares([before, after]) => {
                let side = |hits: f64, of: Counts| Counts { hits, ..of };
                let first = (before.hits + more[0]).clamp(0.0, before.trials);
                let unchanged = first / before.trials * after.trials;
                let second = (after.hits + more[1]).clamp(0.0, unchanged);
                Pair::Shares(side(first, before), side(second, after))
            }
        }
    }
}

/// The part of its repeats in which a comparison tells a fall at `level` from the change to be expected, by
/// [`predictive_p_value`] (Cohen 1988, Statistical Power Analysis, chapter 2, with that test in place of the
/// normal one). In repeats both sides' counts vary, and the unit's own change around the expected one; the repeat
/// that is just told is the likeliest of its sort (the design point of Hasofer & Lind 1974, ASCE Journal of the
/// Engineering Mechanics Division 100:111-121), and all nearer to the mean of the fall than it are told too.
pub fn power(repeated: Repeated, expected: &Expected, freedom: f64, level: f64) -> f64 {
    const FURTHEST: f64 = 5.0;
    const CLOSE: f64 = 0.005;
    const LEAST: f64 = 1e-6;
    let [before, after] = repeated.information().map(|i| i.max(LEAST));
    let beside = 1.0 / after + expected.between + expected.variance;
    let error = (1.0 / before + beside).sqrt();
    let is_told = |sd: f64| {
        let more = [-sd / error, sd * after * beside / error];
        predictive_p_value(&[repeated.with(more)], expected, freedom) <= level
    };
    let (mut told, mut lost) = (-FURTHEST, FURTHEST);
    while lost - told > CLOSE {
        let middle = f64::midpoint(told, lost);
        match is_told(middle) {
            true => told = middle,
            false => lost = middle,
        }
    }
    Normal::standard().cdf(f64::midpoint(told, lost))
}

/// P-value of two one-sided tests that an effect lies outside `margin` on either side of 0 (Schuirmann 1987,
/// Journal of Pharmacokinetics and Biopharmaceutics 15:657-680): small where it is shown to lie within.
pub fn equivalence_p_value(value: f64, variance: f64, margin: f64, freedom: f64) -> f64 {
    let error = variance.sqrt();
    let above = upper_tail((value + margin) / error, freedom);
    let below = upper_tail((margin - value) / error, freedom);
    above.max(below)
}

/// How far a one-sided interval at `level` reaches from its estimate, by Student's t (Student 1908, Biometrika
/// 6:1-25).
pub fn one_sided_reach(variance: f64, level: f64, freedom: f64) -> f64 {
    upper_quantile(level, freedom) * variance.sqrt()
}

/// One-sided tail of a statistic over its standard error.
fn upper_tail(statistic: f64, freedom: f64) -> f64 {
    let half = two_sided(statistic, freedom) / 2.0;
    if statistic >= 0.0 { half } else { 1.0 - half }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::KNOWN;

    #[test]
    fn more_is_seen_with_less_noise() {
        let expected = |between| Expected { mean: 0.0, variance: 1e-9, between, freedom: KNOWN };
        let side = |events| Exposure { events, effort: 21.0 };
        let seen = |loss: f64, between: f64| {
            let sides = [side(40.0), side(40.0 * (1.0 - loss))];
            power(Repeated::Rates(sides), &expected(between), KNOWN, 0.05)
        };
        assert!((seen(0.0, 0.0) - 0.025).abs() < 0.005, "{}", seen(0.0, 0.0));
        assert!(seen(0.5, 0.0) > seen(0.3, 0.0) && seen(0.5, 0.0) > seen(0.5, 0.2));
    }

    #[test]
    fn what_is_far_from_the_margin_lies_within() {
        assert!(equivalence_p_value(0.0, 0.01, 0.4, KNOWN) < 0.001);
        assert!(equivalence_p_value(0.4, 0.01, 0.4, KNOWN) > 0.49);
        assert!(equivalence_p_value(-0.9, 0.01, 0.4, KNOWN) > 0.99);
    }
}
