//! Changes of many units, each by its own counts, and what they come to together: the units are a sample, and what is
//! told is the mean of all that there might be and where a new one may lie.

use super::{Counts, Effect, Estimate, Exposure, between_variance, critical, mean_effect, unlike};

/// The change of one unit whose counts fall into strata that are alike within only, such as cameras.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stratified {
    /// The log of the ratio, after over before.
    pub log_ratio: f64,
    /// One over its variance for independent events where there is no change: it rests on the sums of both sides alone,
    /// so that a unit does not gain weight by what it happened to show.
    pub information: f64,
}

impl Stratified {
    /// As an effect, with the variance of independent events.
    pub fn effect(self) -> Effect {
        Effect { value: self.log_ratio, variance: 1.0 / self.information }
    }
}

/// The log odds ratio of shares before and after, stratum by stratum, and its information (Mantel & Haenszel 1959,
/// Journal of the National Cancer Institute 22:719-748, both). Half an event is added to each cell of the unit's whole
/// table, spread over its strata (Gart & Zweifel 1967, Biometrika 54:181-187). `None` where no change could have been
/// seen.
pub fn stratified_shares(strata: &[(Counts, Counts)]) -> Option<Stratified> {
    let told = |(before, after): &&(Counts, Counts)| {
        before.trials > 0.0 && after.trials > 0.0 && before.trials + after.trials > 1.0
    };
    let told: Vec<_> = strata.iter().filter(told).collect();
    let part = 0.5 / told.len() as f64;
    let (mut up, mut down, mut information) = (0.0, 0.0, 0.0);
    for (before, after) in told {
        let all = before.trials + after.trials;
        let hits = before.hits + after.hits;
        information +=
            hits * (all - hits) * before.trials * after.trials / (all * all * (all - 1.0));
        let misses = |c: &Counts| c.trials - c.hits + part;
        let wide = all + 4.0 * part;
        up += (after.hits + part) * misses(before) / wide;
        down += (before.hits + part) * misses(after) / wide;
    }
    (information > 0.0).then(|| Stratified { log_ratio: (up / down).ln(), information })
}

/// The same of events in some effort: the log ratio of rates (the estimator of Mantel & Haenszel 1959 for person-time,
/// Rothman & Boice 1979, Epidemiologic Analysis with a Programmable Calculator, from memory), and the information of
/// the binomial that all events together leave.
pub fn stratified_rates(strata: &[(Exposure, Exposure)]) -> Option<Stratified> {
    let told = |(before, after): &&(Exposure, Exposure)| before.effort > 0.0 && after.effort > 0.0;
    let told: Vec<_> = strata.iter().filter(told).collect();
    let part = 0.5 / told.len() as f64;
    let (mut up, mut down, mut information) = (0.0, 0.0, 0.0);
    for (before, after) in told {
        let later = after.effort / (before.effort + after.effort);
        information += (before.events + after.events) * later * (1.0 - later);
        up += (after.events + part) * (1.0 - later);
        down += (before.events + part) * later;
    }
    (information > 0.0).then(|| Stratified { log_ratio: (up / down).ln(), information })
}

/// The mean of units that differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// The mean.
    pub mean: f64,
    /// Its standard error.
    pub error: f64,
    /// Degrees of freedom of that.
    pub freedom: f64,
    /// The variance between the units' true values.
    pub between: f64,
}

/// The mean of effects whose true values differ: weights with the variance between them by Paule & Mandel (see
/// [`between_variance`]), standard error by Hartung & Knapp (2001, Statistics in Medicine 20:3875-3889) with Student's
/// t, never smaller than without their factor (Rover, Knapp & Friede 2015, BMC Medical Research Methodology 15:99).
/// `None` for fewer than two.
pub fn pooled(effects: &[Effect]) -> Option<Pooled> {
    if effects.len() < 2 {
        return None;
    }
    let between = between_variance(&[effects]);
    let mean = mean_effect(effects.iter().copied(), between)?;
    let unlike = unlike(effects, between);
    let factor = (unlike.squares / unlike.freedom).max(1.0);
    Some(Pooled {
        mean: mean.value,
        error: (mean.variance * factor).sqrt(),
        freedom: unlike.freedom,
        between,
    })
}

impl Pooled {
    /// The mean with its 95 % range.
    pub fn estimate(self) -> Estimate {
        around(self.mean, critical(self.freedom) * self.error)
    }

    /// The same less another mean, of other units (degrees of freedom: Welch 1947, Biometrika 34:28-35).
    #[must_use]
    pub fn less(self, other: Self) -> Self {
        self.less_by(self.mean - other.mean, other.error, other.freedom)
    }

    /// The same with another mean and an error that comes to its own.
    #[must_use]
    pub fn less_by(self, mean: f64, error: f64, freedom: f64) -> Self {
        let [own, more] = [self.error, error].map(|e| e * e);
        let all = own + more;
        let parts = own * own / self.freedom + more * more / freedom;
        Self {
            mean,
            error: all.sqrt(),
            freedom: if parts > 0.0 { all * all / parts } else { self.freedom },
            between: self.between,
        }
    }

    /// Where the true value of one more unit lies, at 95 % (Higgins, Thompson & Spiegelhalter 2009, JRSS A 172:137-159):
    /// Student's t with two fewer degrees of freedom than `units`, or those of the mean if they are fewer. `None` for
    /// fewer than three.
    pub fn of_a_new_one(self, units: usize) -> Option<Estimate> {
        (units > 2).then(|| {
            let freedom = (units as f64 - 2.0).min(self.freedom);
            let spread = (self.between + self.error * self.error).sqrt();
            around(self.mean, critical(freedom) * spread)
        })
    }
}

fn around(value: f64, half: f64) -> Estimate {
    Estimate { value, low: value - half, high: value + half }
}

/// The mean of units' values with its 95 % range, by Student's t (Student 1908, Biometrika 6:1-25); `None` for fewer
/// than two.
pub fn mean_of(values: &[f64]) -> Option<Estimate> {
    let n = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    let error = (squares / (n - 1.0) / n).sqrt();
    Some(around(mean, critical(n - 1.0) * error))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four of ten and one of ten, by hand.
    #[test]
    fn one_stratum_by_hand() {
        let one = (Counts::new(4, 10), Counts::new(1, 10));
        let change = stratified_shares(&[one]).unwrap();
        assert!((change.log_ratio - (1.5 * 6.5 / (4.5 * 9.5_f64)).ln()).abs() < 1e-12);
        assert!((change.information - 5.0 * 15.0 * 100.0 / (400.0 * 19.0)).abs() < 1e-12);
        let one_side = (Counts::new(3, 3), Counts::new(0, 0));
        assert_eq!(stratified_shares(&[one, one_side]), Some(change));
        let of = |events, effort| Exposure { events, effort };
        let change = stratified_rates(&[(of(8.0, 14.0), of(2.0, 7.0))]).unwrap();
        assert!((change.log_ratio - (2.5 * 14.0 / (8.5 * 7.0_f64)).ln()).abs() < 1e-12);
        assert!((change.information - 10.0 * 2.0 / 9.0).abs() < 1e-12);
        assert_eq!(stratified_shares(&[]), None);
    }

    /// Equal variances that explain nothing: the plain mean and its standard error.
    #[test]
    fn equal_units_are_a_sample() {
        let of = |value| Effect { value, variance: 1e-9 };
        let effects: Vec<Effect> = [0.1, 0.5, -0.2, 0.7, 0.4].map(of).to_vec();
        let pooled = pooled(&effects).unwrap();
        let plain = mean_of(&[0.1, 0.5, -0.2, 0.7, 0.4]).unwrap();
        let told = pooled.estimate();
        assert!((told.low - plain.low).abs() < 1e-6 && (told.high - plain.high).abs() < 1e-6);
        assert!(super::pooled(&effects[..1]).is_none());
    }
}
