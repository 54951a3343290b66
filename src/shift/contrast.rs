//! A change less that of the controls, as a person is told it.

use crate::measure::{Counts, Estimate, Expected};

/// A change less that of the controls.
#[derive(Debug, Clone, Copy)]
pub(super) struct Contrast {
    /// On the scale of [`Sides::effect`], with its interval.
    pub estimate: Estimate,
    /// Its variance where both sides are far from zero, and the degrees of freedom.
    pub variance: f64,
    pub freedom: f64,
    /// What the controls lead to expect.
    pub expected: Expected,
    /// The part of its variance that more nights do not make smaller.
    pub of_number: f64,
    /// Degrees of freedom of the row's own runs of days.
    pub of_counts: f64,
}

impl Contrast {
    /// As a ratio; an end beyond all bounds is infinite.
    pub fn ratio(&self) -> Estimate {
        let Estimate { value, low, high } = self.estimate;
        let bounded = |x: f64| if x > 11.9 { f64::INFINITY } else { x.exp() };
        Estimate { value: value.exp(), low: low.exp(), high: bounded(high) }
    }

    /// In points of the share.
    pub fn points(&self, after: Counts) -> Estimate {
        Estimate {
            value: points(self.estimate.value, after),
            low: points(self.estimate.low, after),
            high: points(self.estimate.high, after),
        }
    }
}

/// A value that is not asked how certain it is.
pub(super) fn exactly(value: f64) -> Estimate {
    Estimate { value, low: value, high: value }
}

/// A change of log odds in points: what the share is, less what it would be without the change.
pub(super) fn points(change: f64, after: Counts) -> f64 {
    let share = (after.hits + 0.5) / (after.trials + 1.0);
    let log_odds = (share / (1.0 - share)).ln();
    share - 1.0 / (1.0 + (change - log_odds).exp())
}
