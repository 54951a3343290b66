//! Rates of events per unit of effort.

use super::proportion::score_interval;
use super::{Counts, Estimate, critical, two_sided};

/// Events in some effort. Events may be fractional: divided by their dispersion.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Exposure {
    /// Events.
    pub events: f64,
    /// Effort, in any unit; the same for both sides of a ratio.
    pub effort: f64,
}

impl Exposure {
    /// Events per unit of effort; `None` without effort.
    pub fn rate(self) -> Option<f64> {
        (self.effort > 0.0).then(|| self.events / self.effort)
    }
}

/// A rate with the score interval for a Poisson mean: the rates `r` with `(x - r)^2 = z^2 r`, scaled
/// by the effort (Barker 2002, The American Statistician 56:85-89). `freedom` is that of the events'
/// dispersion, [`KNOWN`](super::KNOWN) for a Poisson process. `None` without effort.
pub fn rate(exposure: Exposure, freedom: f64) -> Option<Estimate> {
    let value = exposure.rate()?;
    let x = exposure.events;
    let t = critical(freedom);
    let middle = x + t * t / 2.0;
    let half = t * (x + t * t / 4.0).sqrt();
    Some(Estimate {
        value,
        low: ((middle - half) / exposure.effort).max(0.0),
        high: (middle + half) / exposure.effort,
    })
}

/// The rate of several units together, with what they differ by allowed for: the ratio of two sums and its large-sample
/// variance (Cochran 1977, Sampling Techniques, 3rd ed., section 6.3), by Student's t with one fewer degrees of freedom
/// than units. Of one unit alone [`rate`]'s interval. `None` without effort.
pub fn rate_across(units: &[Exposure]) -> Option<Estimate> {
    let worked: Vec<Exposure> = units.iter().copied().filter(|u| u.effort > 0.0).collect();
    let together = Exposure {
        events: worked.iter().map(|u| u.events).sum(),
        effort: worked.iter().map(|u| u.effort).sum(),
    };
    if worked.len() < 2 {
        return rate(together, super::KNOWN);
    }
    let value = together.rate()?;
    let n = worked.len() as f64;
    let off = |u: &Exposure| (u.events - value * u.effort).powi(2);
    let variance = worked.iter().map(off).sum::<f64>() / (n - 1.0) * n / together.effort.powi(2);
    let half = critical(n - 1.0) * variance.sqrt();
    Some(Estimate { value, low: (value - half).max(0.0), high: value + half })
}

/// P-value of an unchanged rate by the conditional score test (the condition is that of Przyborowski & Wilenski 1940,
/// Biometrika 31:313-323): given all events, the share that fell after
/// is binomial with the effort's share. The interval of [`rate_ratio`] holds 1 where this is over 5 %. `None`
/// where a side has no effort, or neither any event.
pub fn rate_p_value(before: Exposure, after: Exposure, freedom: f64) -> Option<f64> {
    let events = before.events + after.events;
    let expected = after.effort / (before.effort + after.effort);
    let defined = before.effort > 0.0 && after.effort > 0.0 && events > 0.0;
    defined.then(|| {
        let variance = expected * (1.0 - expected) / events;
        two_sided((after.events / events - expected) / variance.sqrt(), freedom)
    })
}

/// P-value of `after` having no higher rate than `before`, one-sided, by the same test.
pub fn rate_one_sided(before: Exposure, after: Exposure, freedom: f64) -> Option<f64> {
    let both = rate_p_value(before, after, freedom)?;
    let is_higher = after.rate()? > before.rate()?;
    Some(if is_higher { both / 2.0 } else { 1.0 - both / 2.0 })
}

/// Ratio of two rates, `after / before`, with a score interval.
///
/// Given the total of events, the share of them that fell after is binomial; Wilson's interval (1927,
/// JASA 22:209-212) for that share, turned into odds, is the score interval for the ratio of two Poisson rates. An end
/// may be infinite. `None` where the ratio is undefined: a side without effort, or no events before.
pub fn rate_ratio(before: Exposure, after: Exposure, freedom: f64) -> Option<Estimate> {
    let value = after.rate()? / before.rate().filter(|r| *r > 0.0)?;
    let counts = Counts { hits: after.events, trials: before.events + after.events };
    let share = score_interval(counts, critical(freedom))?;
    let ratio = |p: f64| p / (1.0 - p) * before.effort / after.effort;
    Some(Estimate { value, low: ratio(share.low), high: ratio(share.high) })
}
