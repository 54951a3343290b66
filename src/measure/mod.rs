//! Statistics on plain slices. Nothing here knows a table, a camera or a deer, so a statistician
//! can review the folder alone.
//!
//! Conventions: shares and probabilities are fractions of 1; intervals are two-sided 95 % and
//! given as `(low, high)`; p-values are two-sided; a quantity that the data do not define is
//! `None`, never a guess.

mod change_point;
mod circle;
mod circular_tests;
mod cluster;
mod multiplicity;
mod proportion;
mod quantiles;
mod rate;
mod resample;

pub use change_point::{ChangePoint, change_point};
pub use circle::{Density, density, overlap, overlap_of};
pub use circular_tests::{Direction, direction, uniform_scores};
pub use cluster::{DayCount, Runs, runs_of_counts, runs_of_shares};
pub use multiplicity::weighted_holm;
pub use proportion::{Counts, Estimate, change, change_against, change_p_value, wilson};
pub use quantiles::{median, median_interval, quantile, shift_between};
pub use rate::{Exposure, rate, rate_p_value, rate_ratio};
pub use resample::block_interval;

/// Degrees of freedom of a quantity whose variance is known: the normal distribution.
pub const KNOWN: f64 = f64::INFINITY;

/// The 97.5 % quantile of Student's t distribution; of the normal for [`KNOWN`].
fn critical(freedom: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF, StudentsT};
    const Z95: f64 = 1.959_963_984_540_054;
    if freedom > 1e6 {
        return Z95;
    }
    StudentsT::new(0.0, 1.0, freedom).map_or(Z95, |t| t.inverse_cdf(0.975))
}

/// Two-sided p-value of a statistic over its standard error.
fn two_sided(statistic: f64, freedom: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
    let tail = match StudentsT::new(0.0, 1.0, freedom) {
        Ok(t) if freedom <= 1e6 => t.sf(statistic.abs()),
        _ => Normal::standard().sf(statistic.abs()),
    };
    (2.0 * tail).min(1.0)
}
