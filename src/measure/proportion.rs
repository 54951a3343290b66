//! Shares, and changes of shares, that stay honest at small counts.

use super::{KNOWN, critical, last_that_holds, two_sided};

/// Hits among trials. Either may be fractional: counts divided by a design effect are the effective
/// counts of Rao & Scott (1992), Biometrics 48:577-585.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Counts {
    /// Trials that were hits, 0 to `trials`.
    pub hits: f64,
    /// Trials.
    pub trials: f64,
}

impl Counts {
    /// Whole counts.
    pub fn new(hits: usize, trials: usize) -> Self {
        Self { hits: hits as f64, trials: trials as f64 }
    }

    /// The share of hits; `None` without trials.
    pub fn share(self) -> Option<f64> {
        (self.trials > 0.0).then(|| self.hits / self.trials)
    }

    /// Effective counts: both divided by a design effect.
    pub fn divided_by(self, design_effect: f64) -> Self {
        Self { hits: self.hits / design_effect, trials: self.trials / design_effect }
    }
}

/// A value and its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Estimate {
    /// The same of so many times as much; the factor is positive.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { value: self.value * factor, low: self.low * factor, high: self.high * factor }
    }
}

/// Wilson's score interval for a share (Wilson 1927, JASA 22:209-212; equation 2 of Newcombe 1998,
/// Statistics in Medicine 17:857-872). `None` without trials.
pub fn wilson(counts: Counts) -> Option<Estimate> {
    score_interval(counts, critical(KNOWN))
}

/// Wilson's interval (Wilson 1927, JASA 22:209-212) for the effective counts of Rao & Scott (1992): Student's t with the degrees of freedom of their design effect in
/// place of the normal. `None` without trials.
pub fn share_interval(counts: Counts, freedom: f64) -> Option<Estimate> {
    score_interval(counts, critical(freedom))
}

/// Wilson's interval with another quantile in place of the normal one: that of Student's t, for counts
/// whose design effect was estimated with some degrees of freedom.
pub(super) fn score_interval(counts: Counts, t: f64) -> Option<Estimate> {
    let n = counts.trials;
    let p = counts.share()?;
    let t2 = t * t;
    let middle = 2.0 * n * p + t2;
    let half = t * (t2 + 4.0 * n * p * (1.0 - p)).sqrt();
    let denominator = 2.0 * (n + t2);
    Some(Estimate {
        value: p,
        low: ((middle - half) / denominator).max(0.0),
        high: ((middle + half) / denominator).min(1.0),
    })
}

/// Change of a share, `after - before`, with the hybrid score interval: method 10 of Newcombe 1998,
/// Statistics in Medicine 17:873-890. `None` where a side has no trials.
///
/// `freedom` is that of the counts' design effect, [`KNOWN`] for independent trials.
pub fn change(before: Counts, after: Counts, freedom: f64) -> Option<Estimate> {
    change_at((before, after), critical(freedom))
}

fn change_at((before, after): (Counts, Counts), t: f64) -> Option<Estimate> {
    Some(difference(score_interval(after, t)?, score_interval(before, t)?))
}

/// `a - b` of two independent estimates whose intervals need not be symmetric (MOVER: Zou & Donner
/// 2008, Statistics in Medicine 27:1693-1702; method 10 above is its special case).
fn difference(a: Estimate, b: Estimate) -> Estimate {
    let value = a.value - b.value;
    Estimate {
        value,
        low: value - (a.value - a.low).hypot(b.high - b.value),
        high: value + (a.high - a.value).hypot(b.value - b.low),
    }
}

/// P-value of an unchanged share: the level at which the interval of [`change`] just touches 0, so that test
/// and interval never contradict each other. `None` where a side has no trials.
pub fn change_p_value(before: Counts, after: Counts, freedom: f64) -> Option<f64> {
    if before.share()? == after.share()? {
        return Some(1.0);
    }
    let excludes_zero = |t: f64| {
        let interval = change_at((before, after), t);
        interval.is_some_and(|i| i.low > 0.0 || i.high < 0.0)
    };
    let furthest = last_that_holds(0.0, FURTHEST, HALVINGS, excludes_zero);
    Some(two_sided(furthest, freedom))
}

/// A change so many standard errors from 0 is as far as one can be.
const FURTHEST: f64 = 100.0;
const HALVINGS: usize = 50;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_of_the_scale() {
        let none = wilson(Counts::new(0, 10)).unwrap();
        let all = wilson(Counts::new(10, 10)).unwrap();
        assert_eq!((none.low, all.high), (0.0, 1.0));
        assert!((none.high - (1.0 - all.low)).abs() < 1e-12);
        assert!(wilson(Counts::new(0, 0)).is_none());
    }

    #[test]
    fn no_visible_change_is_no_evidence() {
        for same in [Counts::new(5, 10), Counts::new(0, 10), Counts::new(10, 10)] {
            assert_eq!(change_p_value(same, same, KNOWN), Some(1.0));
        }
        assert_eq!(change_p_value(Counts::new(0, 0), Counts::new(1, 2), KNOWN), None);
    }

    /// What the test says at 5 % the interval says too.
    #[test]
    fn test_and_interval_agree() {
        for (a, b) in [(3, 9), (9, 3), (0, 6), (7, 1), (5, 4), (10, 2)] {
            for freedom in [4.0, 12.5, KNOWN] {
                let (before, after) = (Counts::new(a, 11), Counts::new(b, 10));
                let interval = change(before, after, freedom).unwrap();
                let excludes = interval.low > 0.0 || interval.high < 0.0;
                let p = change_p_value(before, after, freedom).unwrap();
                assert_eq!(excludes, p < 0.05, "{a} of 11, {b} of 10: {p}, {interval:?}");
            }
        }
    }
}
