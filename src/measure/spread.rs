//! Effects that should be alike, how much more they differ than their own errors explain, and whether a
//! new one belongs to them.

use statrs::function::gamma::digamma;

/// A change measured at one unit, with the variance that its own counts give it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// The change.
    pub value: f64,
    /// Its sampling variance; positive.
    pub variance: f64,
}

impl Effect {
    fn weight(self, between: f64) -> f64 {
        1.0 / (self.variance + between)
    }
}

/// The weighted mean of effects whose true values differ with the variance `between` (the weights of DerSimonian & Laird
/// 1986, Controlled Clinical Trials 7:177-188); its variance is one
/// over the sum of the weights. `None` without effects.
pub fn mean_effect(effects: impl IntoIterator<Item = Effect>, between: f64) -> Option<Effect> {
    let (mut weights, mut sum) = (0.0, 0.0);
    for effect in effects {
        let weight = effect.weight(between);
        weights += weight;
        sum += weight * effect.value;
    }
    (weights > 0.0).then(|| Effect { value: sum / weights, variance: 1.0 / weights })
}

/// How unequal a group of effects is: the sum of their squared distances from their mean, each over its
/// variance (Cochran 1954, Biometrics 10:101-129), and what it would be on average if `between` were right, one less
/// than their number.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Unlike {
    /// Cochran's Q at `between`.
    pub squares: f64,
    /// Its degrees of freedom.
    pub freedom: f64,
}

/// See [`Unlike`].
pub fn unlike(effects: &[Effect], between: f64) -> Unlike {
    if effects.is_empty() {
        return Unlike::default();
    }
    Unlike { squares: squares(effects, between).0, freedom: effects.len() as f64 - 1.0 }
}

/// The variance between the true values of effects, by the estimator of Paule & Mandel (1982, Journal of
/// Research of the National Bureau of Standards 87:377-385): the one at which the squares of [`unlike`] add
/// up to their degrees of freedom; 0 where they never exceed them. Groups have means of their own and share
/// the variance.
pub fn between_variance<G: AsRef<[Effect]>>(groups: &[G]) -> f64 {
    let groups = || groups.iter().map(AsRef::as_ref).filter(|g| g.len() > 1);
    let freedom: f64 = groups().map(|g| g.len() as f64 - 1.0).sum();
    // What the squares lie over their degrees of freedom falls ever more slowly as the variance grows, so Newton's
    // steps from 0 come nearer from one side and never pass the root (DerSimonian & Kacker 2007, Contemporary Clinical
    // Trials 28:105-114, appendix).
    let mut between = 0.0;
    for _ in 0..MOST_STEPS {
        let (mut excess, mut slope) = (-freedom, 0.0);
        for (squares, fall) in groups().map(|g| squares(g, between)) {
            excess += squares;
            slope += fall;
        }
        let step = excess / slope;
        if excess <= 0.0 || step <= between * CLOSE {
            break;
        }
        between += step;
    }
    between
}

/// The squares of [`unlike`], and how fast they fall as `between` grows.
fn squares(effects: &[Effect], between: f64) -> (f64, f64) {
    let mean = mean_effect(effects.iter().copied(), between).map_or(0.0, |m| m.value);
    effects.iter().fold((0.0, 0.0), |(squares, slope), e| {
        let weight = e.weight(between);
        let square = weight * (e.value - mean).powi(2);
        (squares + square, slope + weight * square)
    })
}

/// Errors a million millionth of the spread of the effects take forty steps at most.
const MOST_STEPS: usize = 100;
/// A step smaller than this part of the variance changes no digit that is ever shown.
const CLOSE: f64 = 1e-14;

/// Variances that were estimated in groups, as if drawn from one distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moderation {
    /// The variance that a group would be given without any data of its own.
    pub prior: f64,
    /// What that is worth, in degrees of freedom; infinite where the groups differ no more than their
    /// freedom explains.
    pub freedom: f64,
}

/// How far the variances of groups speak for each other: the empirical Bayes estimate of Smyth (2004,
/// Statistical Applications in Genetics and Molecular Biology 3:3, section 6.2), from the mean and variance
/// of the groups' log variances. Each group is `(variance, degrees of freedom)`. `None` for fewer than two.
pub fn moderation(groups: &[(f64, f64)]) -> Option<Moderation> {
    let n = groups.len() as f64;
    if groups.len() < 2 {
        return None;
    }
    let log = |&(variance, freedom): &(f64, f64)| {
        variance.ln() - digamma(freedom / 2.0) + (freedom / 2.0).ln()
    };
    let logs: Vec<f64> = groups.iter().map(log).collect();
    let mean = logs.iter().sum::<f64>() / n;
    let seen = logs.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let expected = groups.iter().map(|g| trigamma(g.1 / 2.0)).sum::<f64>() / n;
    let beyond = seen - expected;
    if beyond <= 0.0 {
        return Some(Moderation { prior: mean.exp(), freedom: f64::INFINITY });
    }
    let half = trigamma_inverse(beyond);
    Some(Moderation { prior: (mean + digamma(half) - half.ln()).exp(), freedom: 2.0 * half })
}

/// The second derivative of the log gamma function: its asymptotic series, reached by the recurrence
/// (Abramowitz & Stegun 1964, 6.4.6 and 6.4.12).
fn trigamma(mut x: f64) -> f64 {
    let mut sum = 0.0;
    while x < 20.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let square = 1.0 / (x * x);
    let series = 1.0 / 6.0 - square * (1.0 / 30.0 - square * (1.0 / 42.0 - square / 30.0));
    sum + 1.0 / x + square / 2.0 + series * square / x
}

/// The `x` with that trigamma, by halving: it falls from infinity to 0.
fn trigamma_inverse(value: f64) -> f64 {
    let (mut low, mut high) = (1e-8_f64, 1e8_f64);
    for _ in 0..200 {
        let middle = (low * high).sqrt();
        if trigamma(middle) > value {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low * high).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn effects(values: &[f64], variance: f64) -> Vec<Effect> {
        let effect = |value: &f64| Effect { value: *value, variance };
        values.iter().map(effect).collect()
    }

    /// With equal variances the estimate is the plain sample variance less that variance.
    #[test]
    fn equal_errors_have_a_closed_form() {
        let all = effects(&[0.0, 1.0, 2.0, 3.0], 0.5);
        assert!((between_variance(&[&all]) - (5.0 / 3.0 - 0.5)).abs() < 1e-9);
        assert_eq!(between_variance(&[effects(&[0.0, 0.1], 1.0)]), 0.0);
        assert_eq!(between_variance::<Vec<Effect>>(&[]), 0.0);
        assert_eq!(between_variance(&[effects(&[1.0], 1.0)]), 0.0);
    }

    #[test]
    fn groups_keep_their_own_means() {
        let (a, b) = (effects(&[0.0, 2.0], 0.5), effects(&[10.0, 12.0], 0.5));
        assert!((between_variance(&[a, b]) - 1.5).abs() < 1e-9);
    }

    /// trigamma(1) = pi^2 / 6 and trigamma(1/2) = pi^2 / 2 (Abramowitz & Stegun 1964, 6.4.2 and 6.4.4).
    #[test]
    fn trigamma_and_its_inverse() {
        let square = std::f64::consts::PI.powi(2);
        assert!((trigamma(1.0) - square / 6.0).abs() < 1e-13);
        assert!((trigamma(0.5) - square / 2.0).abs() < 1e-12);
        for x in [0.01, 0.7, 3.0, 400.0] {
            assert!((trigamma_inverse(trigamma(x)) / x - 1.0).abs() < 1e-9);
        }
    }
}
