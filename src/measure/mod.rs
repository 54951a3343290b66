//! Statistics on plain slices. Nothing here knows a table, a camera or a deer, so a statistician
//! can review the folder alone.
//!
//! Conventions: shares and probabilities are fractions of 1; intervals are two-sided 95 % and
//! given as `(low, high)`; p-values are two-sided; a quantity that the data do not define is
//! `None`, never a guess.

mod circle;
mod cluster;
mod multiplicity;
mod order;
mod proportion;
mod rate;

pub use circle::{Density, density};
pub use cluster::{DayCount, count_dispersion, design_effect};
pub use multiplicity::weighted_holm;
pub use order::{median, median_interval, quantile};
pub use proportion::{Counts, Estimate, change, change_against, change_p_value, wilson};
pub use rate::{Exposure, rate, rate_ratio};

/// The 97.5 % quantile of the standard normal distribution.
pub const Z95: f64 = 1.959_963_984_540_054;

/// Two-sided p-value of a standard normal statistic.
fn two_sided(z: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF, Normal};
    (2.0 * Normal::standard().sf(z.abs())).min(1.0)
}
