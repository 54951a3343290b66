//! Intervals by resampling whole blocks of days, so that runs stay together.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{Estimate, quantile};

/// Days that stay together when resampled.
const BLOCK_DAYS: usize = 5;

/// The 95 % percentile interval of a statistic of two stretches of days, by a circular block
/// bootstrap of each (Politis & Romano 1992, in LePage & Billard, Exploring the Limits of Bootstrap).
///
/// The stretches have `before` and `after` days; the statistic is given the indices of the days
/// drawn from each. Draws for which it is undefined are left out; `None` when more than half are.
/// The value returned is the mean of the draws, to tell a biased statistic by. The result follows
/// from the seed alone.
pub fn block_interval(
    before: usize,
    after: usize,
    statistic: impl Fn(&[usize], &[usize]) -> Option<f64>,
    resamples: usize,
    seed: u64,
) -> Option<Estimate> {
    let mut drawn = draws(before, after, statistic, resamples, seed)?;
    drawn.sort_by(f64::total_cmp);
    Some(Estimate {
        value: drawn.iter().sum::<f64>() / drawn.len() as f64,
        low: quantile(&drawn, 0.025)?,
        high: quantile(&drawn, 0.975)?,
    })
}

/// The variance of such a statistic by the same draws (Kuensch 1989, Annals of Statistics 17:1217-1241), and its degrees of freedom, one fewer than the blocks
/// of each stretch. A handful of blocks varies less about its own mean than about the true one: the variance
/// is multiplied by their number over one fewer.
pub fn block_variance(
    before: usize,
    after: usize,
    statistic: impl Fn(&[usize], &[usize]) -> Option<f64>,
    resamples: usize,
    seed: u64,
) -> Option<(f64, f64)> {
    let drawn = draws(before, after, statistic, resamples, seed)?;
    let n = drawn.len() as f64;
    let mean = drawn.iter().sum::<f64>() / n;
    let variance = drawn.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let blocks = |days: usize| (days as f64 / BLOCK_DAYS as f64).max(2.0);
    let fewer = blocks(before.min(after));
    let freedom = blocks(before) + blocks(after) - 2.0;
    Some((variance * fewer / (fewer - 1.0), freedom))
}

/// The statistic of the days drawn; `None` when it is undefined for more than half of the draws.
fn draws(
    before: usize,
    after: usize,
    statistic: impl Fn(&[usize], &[usize]) -> Option<f64>,
    resamples: usize,
    seed: u64,
) -> Option<Vec<f64>> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let drawn: Vec<f64> = (0..resamples)
        .filter_map(|_| {
            let before = draw(before, &mut rng);
            let after = draw(after, &mut rng);
            statistic(&before, &after)
        })
        .collect();
    (drawn.len() * 2 >= resamples.max(1)).then_some(drawn)
}

fn draw(days: usize, rng: &mut ChaCha8Rng) -> Vec<usize> {
    let mut drawn = Vec::with_capacity(days);
    while drawn.len() < days {
        let start = rng.random_range(0..days);
        let length = BLOCK_DAYS.min(days - drawn.len());
        drawn.extend((0..length).map(|day| (start + day) % days));
    }
    drawn
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A mean of 20 days whose values are 0 to 6 in turn has the standard error 2 / sqrt(20); four of
    /// those, times the square root of 2, are 2.5. Neighbours differ, so blocks vary a little less.
    #[test]
    fn the_width_is_that_of_the_standard_error() {
        let value = |day: &usize| (day * 3 % 7) as f64;
        let mean = |days: &[usize]| days.iter().map(value).sum::<f64>() / days.len() as f64;
        let difference = |a: &[usize], b: &[usize]| Some(mean(b) - mean(a));
        let drawn = block_interval(20, 20, difference, 4000, 1).unwrap();
        let Estimate { value, low, high } = drawn;
        assert!(value.abs() < 0.05 && low < -0.4 && high > 0.4 && high - low < 3.0);
        assert_eq!(block_interval(20, 20, difference, 4000, 1), Some(drawn));
        assert!(block_interval(20, 20, |_, _| None, 100, 1).is_none());
    }
}
