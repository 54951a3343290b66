//! Statistics on plain slices. Nothing here knows a table, a camera or a deer, so a statistician
//! can review the folder alone.
//!
//! Conventions: shares and probabilities are fractions of 1; intervals are two-sided 95 % and
//! given as `(low, high)`; p-values are two-sided; a quantity that the data do not define is
//! `None`, never a guess.

mod abundance;
mod activity;
mod change_point;
mod circle;
mod circular_tests;
mod cluster;
mod conditional;
mod graph;
mod lasting;
mod pooled;
mod power;
mod predictive;
mod proportion;
mod quantiles;
mod rate;
mod resample;
mod shrink;
mod spline;
mod spread;
mod step;
mod turned;

pub use abundance::{chao1, chapman};
pub use activity::{ActivityOverlap, activity_overlap};
pub use change_point::{ChangePoint, Law, change_point};
pub use circle::{Density, density, overlap, overlap_of};
pub use circular_tests::{Direction, direction, uniform_scores};
pub use cluster::{
    Blocks, DayCount, RUN_DAYS, Runs, count_in_blocks, kept_of_noise, lasting_runs_of_counts,
    lasting_runs_of_shares, runs_of_counts, runs_of_shares, share_in_blocks, share_in_clusters,
};
pub use conditional::{MatchedDay, MatchedRatio, matched_ratio};
pub use graph::{Family, graph_adjusted, holm_adjusted};
pub use lasting::{LongRun, Usually};
pub use pooled::{Pooled, Stratified, mean_of, pooled, stratified_rates, stratified_shares};
pub use power::{Repeated, equivalence_p_value, one_sided_reach, power};
pub use predictive::{Expected, Pair, predictive_interval, predictive_p_value, score_statistic};
pub use proportion::{Counts, Estimate, change, change_p_value, share_interval, wilson};
pub use quantiles::{median, median_interval, quantile, shift_between};
pub use rate::{Exposure, rate, rate_across, rate_one_sided, rate_p_value, rate_ratio};
pub use resample::{block_interval, block_variance, ratio_interval};
pub use shrink::{Believed, log_marginal, shrunk};
pub use spline::{Seasonal, natural_spline};
pub use spread::{Effect, Moderation, Unlike, between_variance, mean_effect, moderation, unlike};
pub use step::{Cell, Record, StepFit};
pub use turned::{GoesWith, Stretch, goes_with};

/// Degrees of freedom of a quantity whose variance is known: the normal distribution.
pub const KNOWN: f64 = f64::INFINITY;

/// The 97.5 % quantile of Student's t distribution (Student 1908, Biometrika 6:1-25); of the normal for
/// [`KNOWN`].
pub fn critical(freedom: f64) -> f64 {
    const Z95: f64 = 1.959_963_984_540_054;
    if freedom > 1e6 {
        return Z95;
    }
    upper_quantile(0.025, freedom)
}

/// Where something stops holding, between an end at which it holds and one at which it does not, by halving.
fn last_that_holds(
    mut holds_at: f64,
    mut fails_at: f64,
    halvings: usize,
    holds: impl Fn(f64) -> bool,
) -> f64 {
    for _ in 0..halvings {
        let middle = f64::midpoint(holds_at, fails_at);
        if holds(middle) {
            holds_at = middle;
        } else {
            fails_at = middle;
        }
    }
    f64::midpoint(holds_at, fails_at)
}

/// Where a rising function is 0, between two places with their values, the first not over it and the second not under:
/// false position with halved ends (Dowell & Jarratt 1971, BIT 11:168-174). Ends where the value is within `close`, or
/// the two are closer together than `narrow`.
fn rising_root(
    [(mut low, mut at_low), (mut high, mut at_high)]: [(f64, f64); 2],
    close: f64,
    narrow: f64,
    function: impl Fn(f64) -> f64,
) -> f64 {
    const STEPS: usize = 60;
    for _ in 0..STEPS {
        if high <= low || at_high <= at_low {
            break;
        }
        let middle = (low * at_high - high * at_low) / (at_high - at_low);
        let at = function(middle);
        if at < 0.0 {
            (low, at_low) = (middle, at);
            at_high /= 2.0;
        } else {
            (high, at_high) = (middle, at);
            at_low /= 2.0;
        }
        if at.abs() < close || high - low < narrow {
            return middle;
        }
    }
    f64::midpoint(low, high)
}

/// What a statistic over its standard error exceeds with a chance of `tail`, by Student's t; by the normal
/// for [`KNOWN`].
fn upper_quantile(tail: f64, freedom: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
    match StudentsT::new(0.0, 1.0, freedom) {
        Ok(t) if freedom <= 1e6 => t.inverse_cdf(1.0 - tail),
        _ => Normal::standard().inverse_cdf(1.0 - tail),
    }
}

/// Two-sided p-value of a statistic over its standard error, by Student's t (Student 1908, Biometrika 6:1-25).
pub fn two_sided(statistic: f64, freedom: f64) -> f64 {
    use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
    let tail = match StudentsT::new(0.0, 1.0, freedom) {
        Ok(t) if freedom <= 1e6 => t.sf(statistic.abs()),
        _ => Normal::standard().sf(statistic.abs()),
    };
    (2.0 * tail).min(1.0)
}
