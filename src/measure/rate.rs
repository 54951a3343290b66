//! Rates of events per unit of effort.

use super::{Counts, Estimate, Z95, wilson};

/// Events in some effort. Events may be fractional: divided by their dispersion.
#[derive(Debug, Clone, Copy, PartialEq)]
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
/// by the effort (Barker 2002, The American Statistician 56:85-89). `None` without effort.
pub fn rate(exposure: Exposure) -> Option<Estimate> {
    let value = exposure.rate()?;
    let x = exposure.events;
    let middle = x + Z95 * Z95 / 2.0;
    let half = Z95 * (x + Z95 * Z95 / 4.0).sqrt();
    Some(Estimate {
        value,
        low: ((middle - half) / exposure.effort).max(0.0),
        high: (middle + half) / exposure.effort,
    })
}

/// Ratio of two rates, `after / before`, with a score interval.
///
/// Given the total of events, the share of them that fell after is binomial; Wilson's interval for
/// that share, turned into odds, is the score interval for the ratio of two Poisson rates. An end
/// may be infinite. `None` where the ratio is undefined: a side without effort, or no events before.
pub fn rate_ratio(before: Exposure, after: Exposure) -> Option<Estimate> {
    let value = after.rate()? / before.rate().filter(|r| *r > 0.0)?;
    let share = wilson(Counts {
        hits: after.events,
        trials: before.events + after.events,
    })?;
    let ratio = |p: f64| p / (1.0 - p) * before.effort / after.effort;
    Some(Estimate {
        value,
        low: ratio(share.low),
        high: ratio(share.high),
    })
}
