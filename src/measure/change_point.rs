//! When a share or a rate changed.

use super::DayCount;

/// The day on which a share or rate most likely changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChangePoint {
    /// Index of the first day of the second part.
    pub at: usize,
    /// First and last index that the data do not speak against.
    pub interval: (usize, usize),
}

/// What days count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// Hits among trials.
    Binomial,
    /// Events, as hits, in nights, as trials.
    Poisson,
}

/// By how much the best division's log likelihood may exceed that of the true one: far from the true day the
/// gains of either side are random walks with a drift, whose highest points are exponential with mean 1, so
/// that both stay under `c` with a chance of `(1 - exp(-c))^2` (Siegmund 1988, International Statistical
/// Review 56:31-48). 95 % at 3.676; whole days make it a little more.
const SUPPORTED: f64 = 3.676;

/// The single change point of daily counts by maximum likelihood (Hinkley & Hinkley 1970, Biometrika
/// 57:477-488). The interval holds the days whose log likelihood, divided by the design effect, is
/// within 3.676 of the best: at least 95 %. Both parts need at least one trial; of equals the first is taken.
/// `None` where no division is better than none.
pub fn change_point(days: &[DayCount], law: Law, design_effect: f64) -> Option<ChangePoint> {
    let gains = gains(days, law);
    let best = gains.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if best.is_nan() || best <= 1e-9 {
        return None;
    }
    let within = |g: f64| (best - g) / design_effect <= SUPPORTED;
    let supported = || (0..gains.len()).filter(|&i| within(gains[i]));
    Some(ChangePoint {
        at: gains.iter().position(|g| *g >= best - 1e-9)?,
        interval: (supported().next()?, supported().next_back()?),
    })
}

/// For every day, the log likelihood gained by a change on it; minus infinity where a part would
/// have no trial.
fn gains(days: &[DayCount], law: Law) -> Vec<f64> {
    let (hits, trials): (f64, f64) =
        days.iter().fold((0.0, 0.0), |s, d| (s.0 + d.hits, s.1 + d.trials));
    let whole = law.log_likelihood(hits, trials);
    let (mut k, mut n) = (0.0, 0.0);
    days.iter()
        .map(|day| {
            let gain = if n > 0.0 && trials - n > 0.0 {
                law.log_likelihood(k, n) + law.log_likelihood(hits - k, trials - n) - whole
            } else {
                f64::NEG_INFINITY
            };
            k += day.hits;
            n += day.trials;
            gain
        })
        .collect()
}

impl Law {
    /// The log likelihood at its own best share or rate, the constant left out.
    fn log_likelihood(self, hits: f64, trials: f64) -> f64 {
        let term = |x: f64| if x > 0.0 { x * (x / trials).ln() } else { 0.0 };
        match self {
            Self::Binomial => term(hits) + term(trials - hits),
            Self::Poisson => term(hits),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clear_step_is_found_with_a_short_interval() {
        let days: Vec<DayCount> = (0..40)
            .map(|d| DayCount { hits: if d < 15 { 2.0 } else { 0.0 }, trials: 2.0 })
            .collect();
        let found = change_point(&days, Law::Binomial, 1.0).unwrap();
        assert_eq!((found.at, found.interval), (15, (15, 15)));
        assert!(change_point(&days[..15], Law::Binomial, 1.0).is_none());
        assert!(change_point(&[], Law::Poisson, 1.0).is_none());
    }
}
