//! Shares, and changes of shares, that stay honest at small counts.

use super::{KNOWN, critical, two_sided};

/// Hits among trials. Either may be fractional: counts divided by a design effect are the effective
/// counts of Rao & Scott (1992), Biometrics 48:577-585.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Counts {
    /// Trials that were hits, 0 to `trials`.
    pub hits: f64,
    /// Trials.
    pub trials: f64,
}

impl Counts {
    /// Whole counts.
    pub fn new(hits: usize, trials: usize) -> Self {
        Self {
            hits: hits as f64,
            trials: trials as f64,
        }
    }

    /// The share of hits; `None` without trials.
    pub fn share(self) -> Option<f64> {
        (self.trials > 0.0).then(|| self.hits / self.trials)
    }

    /// Effective counts: both divided by a design effect.
    pub fn divided_by(self, design_effect: f64) -> Self {
        Self {
            hits: self.hits / design_effect,
            trials: self.trials / design_effect,
        }
    }

    /// Variance of the share after one success and one failure are added (Agresti & Caffo 2000,
    /// The American Statistician 54:280-288), so that a share of 0 or 1 keeps some uncertainty.
    fn variance(self) -> f64 {
        let trials = self.trials + 2.0;
        let share = (self.hits + 1.0) / trials;
        share * (1.0 - share) / trials
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

/// Wilson's score interval for a share (Wilson 1927, JASA 22:209-212; equation 2 of Newcombe 1998,
/// Statistics in Medicine 17:857-872). `None` without trials.
pub fn wilson(counts: Counts) -> Option<Estimate> {
    score_interval(counts, critical(KNOWN))
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
    Some(difference(
        score_interval(after, t)?,
        score_interval(before, t)?,
    ))
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

/// A change less the change elsewhere at the same time (difference of differences), with its
/// interval by MOVER (Zou & Donner 2008, Statistics in Medicine 27:1693-1702). Each argument is
/// `(before, after)`.
pub fn change_against(
    here: (Counts, Counts),
    elsewhere: (Counts, Counts),
    freedom: f64,
) -> Option<Estimate> {
    let t = critical(freedom);
    Some(difference(change_at(here, t)?, change_at(elsewhere, t)?))
}

/// P-value of no change. `None` where a side has no trials.
///
/// Without `elsewhere` the hypothesis is that both shares are equal: the "N - 1" chi-squared test
/// (Campbell 2007, Statistics in Medicine 26:3661-3675). With `elsewhere` it is that the share
/// stood still *or* changed as it did there (an intersection-union test: the larger of both
/// p-values), so that neither a camera that stood still while the others moved, nor one that moved
/// with them, is called changed.
///
/// `freedom` matters where the change stands alone: it is then referred to Student's t. Asking for
/// both p-values is strict enough without it; the error rates that follow are measured in
/// `tests/bench/error_rates.md`.
pub fn change_p_value(
    here: (Counts, Counts),
    elsewhere: Option<(Counts, Counts)>,
    freedom: f64,
) -> Option<f64> {
    match elsewhere {
        None => own_p_value(here, freedom),
        Some(there) => Some(own_p_value(here, KNOWN)?.max(contrast_p_value(here, there)?)),
    }
}

fn own_p_value((before, after): (Counts, Counts), freedom: f64) -> Option<f64> {
    let change = after.share()? - before.share()?;
    let trials = before.trials + after.trials;
    let pooled = (before.hits + after.hits) / trials;
    let variance = pooled * (1.0 - pooled) * (1.0 / before.trials + 1.0 / after.trials);
    if variance <= 0.0 || trials <= 1.0 {
        return Some(1.0);
    }
    let statistic = change / variance.sqrt() * ((trials - 1.0) / trials).sqrt();
    Some(two_sided(statistic, freedom))
}

/// The difference of differences over its standard error, with Agresti-Caffo variances.
fn contrast_p_value(here: (Counts, Counts), there: (Counts, Counts)) -> Option<f64> {
    let change = |(before, after): (Counts, Counts)| Some(after.share()? - before.share()?);
    let variance = here.0.variance() + here.1.variance() + there.0.variance() + there.1.variance();
    let contrast = change(here)? - change(there)?;
    Some(two_sided(contrast / variance.sqrt(), KNOWN))
}

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
        let half = Counts::new(5, 10);
        assert_eq!(change_p_value((half, half), None, KNOWN), Some(1.0));
        let none = Counts::new(0, 10);
        assert_eq!(change_p_value((none, none), None, KNOWN), Some(1.0));
        assert_eq!(
            change_p_value((half, half), Some((none, none)), KNOWN),
            Some(1.0)
        );
    }

    #[test]
    fn the_season_is_taken_out() {
        let (before, after) = (Counts::new(30, 60), Counts::new(12, 60));
        let alone = change_p_value((before, after), None, KNOWN).unwrap();
        let shared = change_p_value((before, after), Some((before, after)), KNOWN).unwrap();
        assert!(alone < 0.001 && shared > 0.99);
        let effect = change_against((before, after), (before, after), KNOWN).unwrap();
        assert!(effect.value.abs() < 1e-12 && effect.low < 0.0 && effect.high > 0.0);
    }
}
