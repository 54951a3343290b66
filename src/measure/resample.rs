//! Intervals by resampling whole blocks of days, so that runs stay together.

use std::ops::Range;

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
    let drawn = draws(before, after, statistic, resamples, seed)?;
    let value = drawn.iter().sum::<f64>() / drawn.len() as f64;
    let (low, high) = ends(drawn)?;
    Some(Estimate { value, low, high })
}

/// The same (Politis & Romano 1992) of a ratio of two counts over one stretch of days, each day `(count, of)`: blocks are added up from what was
/// counted until each day, so that a draw costs as many steps as it has blocks. The value is the days' own ratio;
/// `None` also where that is undefined.
pub fn ratio_interval(days: &[(u64, u64)], resamples: usize, seed: u64) -> Option<Estimate> {
    let ratio = |(count, of): (u64, u64)| (of > 0).then(|| count as f64 / of as f64);
    let plus = |a: (u64, u64), b: (u64, u64)| (a.0 + b.0, a.1 + b.1);
    // Twice around, since a block may begin at the end.
    let mut until = vec![(0, 0)];
    for day in days.iter().chain(days) {
        until.push(plus(until[until.len() - 1], *day));
    }
    let value = ratio(until[days.len()])?;
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn = Vec::new();
    for _ in 0..resamples {
        let mut sum = (0, 0);
        for block in blocks(days.len(), &mut rng) {
            let (to, from) = (until[block.end], until[block.start]);
            sum = plus(sum, (to.0 - from.0, to.1 - from.1));
        }
        drawn.extend(ratio(sum));
    }
    let (low, high) = ends(enough_of(drawn, resamples)?)?;
    Some(Estimate { value, low, high })
}

/// Between which 95 % of the draws lie.
fn ends(mut drawn: Vec<f64>) -> Option<(f64, f64)> {
    drawn.sort_by(f64::total_cmp);
    Some((quantile(&drawn, 0.025)?, quantile(&drawn, 0.975)?))
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

/// The statistic of the days drawn.
fn draws(
    before: usize,
    after: usize,
    statistic: impl Fn(&[usize], &[usize]) -> Option<f64>,
    resamples: usize,
    seed: u64,
) -> Option<Vec<f64>> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let draw = |days: usize, rng: &mut ChaCha8Rng| -> Vec<usize> {
        let drawn = blocks(days, rng).into_iter().flatten();
        drawn.map(|day| day % days).collect()
    };
    let drawn = (0..resamples).filter_map(|_| {
        let before = draw(before, &mut rng);
        let after = draw(after, &mut rng);
        statistic(&before, &after)
    });
    enough_of(drawn.collect(), resamples)
}

/// The draws; `None` where a statistic was undefined for more than half of them.
fn enough_of(drawn: Vec<f64>, resamples: usize) -> Option<Vec<f64>> {
    (drawn.len() * 2 >= resamples.max(1)).then_some(drawn)
}

/// Blocks with as many days as there are, by their places; past the end they go on at the beginning.
fn blocks(days: usize, rng: &mut ChaCha8Rng) -> Vec<Range<usize>> {
    let mut blocks = Vec::with_capacity(days / BLOCK_DAYS + 1);
    let mut drawn = 0;
    while drawn < days {
        let start = rng.random_range(0..days);
        let length = BLOCK_DAYS.min(days - drawn);
        blocks.push(start..start + length);
        drawn += length;
    }
    blocks
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

    #[test]
    fn a_ratio_is_drawn_as_any_statistic() {
        let days: Vec<(u64, u64)> = (0..23).map(|i| (i * 7 % 5, i * 3 % 4)).collect();
        let sum = |drawn: &[usize], of: fn(&(u64, u64)) -> u64| -> u64 {
            drawn.iter().map(|i| of(&days[*i])).sum()
        };
        let ratio = |drawn: &[usize], _: &[usize]| {
            let of = sum(drawn, |d| d.1);
            (of > 0).then(|| sum(drawn, |d| d.0) as f64 / of as f64)
        };
        let plainly = block_interval(days.len(), 0, ratio, 500, 9).unwrap();
        let ours = ratio_interval(&days, 500, 9).unwrap();
        assert_eq!((ours.low, ours.high), (plainly.low, plainly.high));
        assert!(ours.low < ours.value && ours.value < ours.high);
        assert!(ratio_interval(&[(1, 0); 9], 500, 9).is_none());
        assert!(ratio_interval(&[], 500, 9).is_none());
    }
}
