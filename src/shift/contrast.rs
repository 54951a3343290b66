//! A change less that of the controls, as a person is told it.

use crate::measure::{Counts, Estimate, StepFit};

/// A change that the controls, the season and the camera's own past do not explain.
#[derive(Debug, Clone, Copy)]
pub(super) struct Contrast {
    /// A difference of log rates or log odds, with its 95 % interval.
    pub estimate: Estimate,
    /// The ends beyond which it lies with a chance of 5 % each.
    pub ends_90: [f64; 2],
    /// The part of its variance that more nights do not make smaller.
    pub drift_variance: f64,
    /// Counted visits before, and all.
    pub before: [f64; 2],
    /// Counted visits that were to be expected after, and all that came.
    pub expected: [f64; 2],
}

impl Contrast {
    pub fn of(fit: &StepFit) -> Self {
        Self {
            estimate: fit.step(),
            ends_90: fit.reach(0.05),
            drift_variance: fit.drift_variance(),
            before: fit.before(),
            expected: [fit.expected_hits(), fit.trials_after()],
        }
    }

    /// As a ratio; an end beyond all bounds is infinite.
    pub fn ratio(&self) -> Estimate {
        let Estimate { value, low, high } = self.estimate;
        Estimate { value: value.exp(), low: low.exp(), high: high.exp() }
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

/// A change of log odds in points: what the share is, less what it would be without the change.
pub(super) fn points(change: f64, after: Counts) -> f64 {
    let share = (after.hits + 0.5) / (after.trials + 1.0);
    let log_odds = (share / (1.0 - share)).ln();
    share - 1.0 / (1.0 + (change - log_odds).exp())
}
