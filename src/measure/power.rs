//! What a comparison could find, and what it can rule out.

use super::{two_sided, upper_quantile};
use statrs::distribution::{ContinuousCDF, Normal};

/// The chance that a true effect is called clear: `Phi(|effect| / sqrt(variance) - critical)`, the other tail
/// left out (Cohen 1988, Statistical Power Analysis, chapter 2). `level` is two-sided; `freedom` is that of
/// the variance.
pub fn power(effect: f64, variance: f64, level: f64, freedom: f64) -> f64 {
    let critical = upper_quantile(level / 2.0, freedom);
    Normal::standard().cdf(effect.abs() / variance.sqrt() - critical)
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
        assert!((power(0.0, 1.0, 0.05, KNOWN) - 0.025).abs() < 1e-9);
        assert!((power(2.801_585_2, 1.0, 0.05, KNOWN) - 0.8).abs() < 1e-6);
        assert!(power(1.0, 0.1, 0.05, KNOWN) > power(1.0, 0.1, 0.05, 5.0));
    }

    #[test]
    fn what_is_far_from_the_margin_lies_within() {
        assert!(equivalence_p_value(0.0, 0.01, 0.4, KNOWN) < 0.001);
        assert!(equivalence_p_value(0.4, 0.01, 0.4, KNOWN) > 0.49);
        assert!(equivalence_p_value(-0.9, 0.01, 0.4, KNOWN) > 0.99);
    }
}
