//! Medians and quantiles.

use statrs::distribution::{Binomial, DiscreteCDF};

/// The quantile at `q` of values sorted upwards, by linear interpolation between order statistics
/// (definition 7 of Hyndman & Fan 1996, The American Statistician 50:361-365). `None` when empty.
pub fn quantile(sorted: &[f64], q: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let at = q.clamp(0.0, 1.0) * last as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(last);
    Some(sorted[below] + (at - below as f64) * (sorted[above] - sorted[below]))
}

/// The median of values sorted upwards.
pub fn median(sorted: &[f64]) -> Option<f64> {
    quantile(sorted, 0.5)
}

/// A distribution-free interval for the median, at least 95 %: the pair of order statistics that
/// leaves at most 2.5 % of a fair binomial on either side (Conover, Practical Nonparametric
/// Statistics, section 3.2). `None` for fewer than six values, where no such pair exists.
pub fn median_interval(sorted: &[f64]) -> Option<(f64, f64)> {
    let n = sorted.len();
    let fair = Binomial::new(0.5, n as u64).ok()?;
    // The tail grows with the rank, so halving finds the last that is small enough.
    let (mut rank, mut too_high) = (0, n / 2 + 1);
    while too_high - rank > 1 {
        let middle = usize::midpoint(rank, too_high);
        if fair.cdf(middle as u64 - 1) <= 0.025 {
            rank = middle;
        } else {
            too_high = middle;
        }
    }
    (rank > 0).then(|| (sorted[rank - 1], sorted[n - rank]))
}

/// How far the values of `b` lie above those of `a`: the median of all differences `b - a` (Hodges &
/// Lehmann 1963, Annals of Mathematical Statistics 34:598-611). `None` where a side is empty.
pub fn shift_between(a: &[f64], b: &[f64]) -> Option<f64> {
    let mut differences: Vec<f64> = a.iter().flat_map(|x| b.iter().map(move |y| y - x)).collect();
    let middle = differences.len().checked_sub(1)? / 2;
    let (_, &mut low, above) = differences.select_nth_unstable_by(middle, f64::total_cmp);
    if (a.len() * b.len()).is_multiple_of(2) {
        let high = above.iter().copied().fold(f64::INFINITY, f64::min);
        Some(f64::midpoint(low, high))
    } else {
        Some(low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_sets() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3.0]), Some(3.0));
        assert_eq!(median(&[1.0, 2.0]), Some(1.5));
        assert_eq!(quantile(&[0.0, 1.0, 2.0, 3.0, 4.0], 0.25), Some(1.0));
        assert_eq!(median_interval(&[1.0, 2.0, 3.0, 4.0, 5.0]), None);
        let six = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        assert_eq!(median_interval(&six), Some((1.0, 6.0)));
    }
}
