//! Whether the counts of some units belong to a change that is itself only expected, and how far from it they
//! lie.

use std::f64::consts::PI;
use std::sync::LazyLock;

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

use super::{Counts, Estimate, Exposure, rising_root};

/// One unit's counts before and after.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pair {
    /// Events in some effort; their change is a log ratio of rates.
    Rates(Exposure, Exposure),
    /// Hits among trials; their change is a log odds ratio.
    Shares(Counts, Counts),
}

/// A change to be expected: where it lies, and how far that is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The mean change of the units that show what to expect.
    pub mean: f64,
    /// The variance of that mean.
    pub variance: f64,
    /// The variance of one unit's true change around it.
    pub between: f64,
    /// Degrees of freedom of both.
    pub freedom: f64,
}

/// What is seen of `after` less what a change would lead to expect, in units of its variance, and that
/// variance, which is the information on the change.
struct Score {
    excess: f64,
    information: f64,
}

impl Pair {
    /// For a change by so much, as a ratio.
    fn score(&self, ratio: f64) -> Score {
        match self {
            Self::Rates(before, after) => {
                let all = before.events + after.events;
                let odds = after.effort / before.effort * ratio;
                let part = odds / (1.0 + odds);
                Score { excess: after.events - all * part, information: all * part / (1.0 + odds) }
            }
            Self::Shares(before, after) => {
                let (first, second) = constrained(*before, *after, ratio);
                let of = |n: f64, p: f64| n * p * (1.0 - p);
                let (a, b) = (of(before.trials, first), of(after.trials, second));
                Score {
                    excess: after.hits - after.trials * second,
                    information: if a + b > 0.0 { a * b / (a + b) } else { 0.0 },
                }
            }
        }
    }
}

/// The most likely shares before and after if the odds ratio is `ratio` (Miettinen & Nurminen 1985,
/// Statistics in Medicine 4:213-226, the constrained estimate for the odds ratio).
fn constrained(before: Counts, after: Counts, ratio: f64) -> (f64, f64) {
    let hits = before.hits + after.hits;
    let b = before.trials + after.trials * ratio - hits * (ratio - 1.0);
    let root = (b * b + 4.0 * before.trials * (ratio - 1.0) * hits).max(0.0).sqrt();
    let first = if hits > 0.0 { 2.0 * hits / (b + root) } else { 0.0 };
    let first = first.clamp(0.0, 1.0);
    (first, ratio * first / (1.0 - first + ratio * first))
}

/// The score statistic of no more than `change`: the stratified score test of Cochran (1954, Biometrics
/// 10:417-451), for one pair of shares and no change the Pearson test of a fourfold table. Positive where more
/// is seen.
pub fn score_statistic(pairs: &[Pair], change: f64) -> f64 {
    statistic_by(pairs, change.exp())
}

/// The same for a change by so much, as a ratio.
fn statistic_by(pairs: &[Pair], ratio: f64) -> f64 {
    let (mut excess, mut information) = (0.0, 0.0);
    for pair in pairs {
        let score = pair.score(ratio);
        excess += score.excess;
        information += score.information;
    }
    match information > 0.0 {
        true => excess / information.sqrt(),
        false => 0.0,
    }
}

/// The chances of counts under the changes to be expected.
struct Prediction<'a> {
    pairs: &'a [Pair],
    mean: f64,
    /// Degrees of freedom of the counts' design effect.
    freedom: f64,
    /// The changes to be expected, each as a ratio to their mean, with their chances.
    changes: Vec<(f64, f64)>,
}

impl<'a> Prediction<'a> {
    fn of(pairs: &'a [Pair], expected: &Expected, freedom: f64) -> Self {
        // Units that are looked at together lie close together and share what they do by themselves, so their
        // number makes it no smaller.
        let scale = (expected.variance + expected.between).sqrt();
        let ratio = |u: f64| (scale * u).clamp(-FURTHEST_LOG, FURTHEST_LOG).exp();
        let nodes = nodes(expected.freedom).into_iter();
        let changes = nodes.filter(|(_, weight)| *weight > LEAST_WEIGHT);
        Self {
            pairs,
            mean: expected.mean,
            freedom,
            changes: changes.map(|(u, weight)| (ratio(u), weight)).collect(),
        }
    }

    /// How likely as little would be seen after: the chance of the score averaged over the changes to be
    /// expected and `beyond`, Student's t around their mean (the predictive distribution of Higgins, Thompson &
    /// Spiegelhalter 2009, JRSS A 172:137-159, with counts in place of a normal outcome).
    fn as_little(&self, beyond: f64) -> f64 {
        let centre = (self.mean + beyond).exp();
        let chance = |(ratio, weight): &(f64, f64)| {
            let z = statistic_by(self.pairs, centre * ratio);
            weight * normal(as_normal(z, self.freedom))
        };
        self.changes.iter().map(chance).sum()
    }

    /// The distance at which so little would be seen with a chance of `tail`: it falls with the distance.
    /// Looked for from `near` on; over `step` the chance changes by about one standard deviation.
    fn distance(&self, tail: f64, near: f64, step: f64) -> f64 {
        // On the scale of a normal statistic the curve is nearly straight.
        let wanted = quantile(tail);
        let over = |beyond: f64| quantile(self.as_little(beyond)) - wanted;
        let (mut low, mut at_low) = (near, over(near));
        let (mut high, mut at_high) = (low, at_low);
        // A little further than a straight line would lead, so that the place sought mostly lies between the two.
        let mut reach = step * (1.25 * at_low.abs()).clamp(0.05, 2.0);
        while at_low < 0.0 || at_high > 0.0 {
            let is_low = at_low < 0.0;
            let next = if is_low { low - reach } else { high + reach };
            if next.abs() > FURTHEST {
                return next.signum() * FURTHEST;
            }
            let at = over(next);
            if is_low {
                (high, at_high) = (low, at_low);
                (low, at_low) = (next, at);
            } else {
                (low, at_low) = (high, at_high);
                (high, at_high) = (next, at);
            }
            reach *= 2.0;
        }
        let falls = |beyond: f64| -over(beyond);
        rising_root([(low, -at_low), (high, -at_high)], CLOSE, CLOSE, falls)
    }
}

/// Two-sided p-value of the counts belonging to the expected change (Higgins, Thompson & Spiegelhalter 2009, JRSS A
/// 172:137-159, with a score test in place of a normal outcome). `freedom` is that of the counts' design
/// effect.
pub fn predictive_p_value(pairs: &[Pair], expected: &Expected, freedom: f64) -> f64 {
    let below = Prediction::of(pairs, expected, freedom).as_little(0.0);
    2.0 * below.min(1.0 - below).max(0.0)
}

/// The 95 % interval of how far from the expected change the counts lie, on its scale, by inverting the test (Higgins
/// et al. 2009, as there): the distances at which
/// [`predictive_p_value`] would be over 5 %. The search begins at `near`, whose standard error is `error`; an end
/// of 12 is as good as infinite.
pub fn predictive_interval(
    pairs: &[Pair],
    expected: &Expected,
    freedom: f64,
    (near, error): (f64, f64),
) -> Estimate {
    let prediction = Prediction::of(pairs, expected, freedom);
    let near = near.clamp(-FURTHEST, FURTHEST);
    let end = |tail: f64, side: f64| {
        prediction.distance(tail, near + side * 2.0 * error, error.max(0.05))
    };
    let (low, high) = (end(0.975, -1.0), end(0.025, 1.0));
    Estimate { value: near.clamp(low, high), low, high }
}

const FURTHEST: f64 = 12.0;
const CLOSE: f64 = 1e-7;

/// A ratio that counts could not tell from none or from everything, as a logarithm.
const FURTHEST_LOG: f64 = 300.0;
/// Changes less likely than this move no chance that is told.
const LEAST_WEIGHT: f64 = 1e-14;

const STEP: f64 = 0.3;
/// Points on either side of the middle.
const REACH: usize = 15;
type Nodes = [(f64, f64); 2 * REACH + 1];

/// Points on the upper half of Student's t, from the middle on, and how densely they stand: evenly spaced in the
/// inverse hyperbolic sine, which reaches far into the tails.
static POINTS: LazyLock<[(f64, f64); REACH + 1]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let v = STEP * i as f64;
        (v.sinh(), v.cosh() * STEP)
    })
});

/// Points along Student's t with their weights, which add up to 1.
fn nodes(freedom: f64) -> Nodes {
    let freedom = freedom.min(1e6);
    let norm =
        ln_gamma((freedom + 1.0) / 2.0) - ln_gamma(freedom / 2.0) - 0.5 * (freedom * PI).ln();
    let upper = POINTS.map(|(u, apart)| {
        let density = (norm - (freedom + 1.0) / 2.0 * (u * u / freedom).ln_1p()).exp();
        (u, density * apart)
    });
    let mut nodes = std::array::from_fn(|i| {
        let (u, weight) = upper[i.abs_diff(REACH)];
        (if i < REACH { -u } else { u }, weight)
    });
    // The last of them stands for everything further out.
    let sum: f64 = nodes.iter().map(|n: &(f64, f64)| n.1).sum();
    for last in [0, 2 * REACH] {
        nodes[last].1 += (1.0 - sum) / 2.0;
    }
    nodes
}

/// A statistic of Student's t as one of the normal with nearly the same tail (Abramowitz & Stegun 1964,
/// 26.7.8).
fn as_normal(z: f64, freedom: f64) -> f64 {
    if freedom > 1e6 {
        return z;
    }
    z * (1.0 - 1.0 / (4.0 * freedom)) / (1.0 + z * z / (2.0 * freedom)).sqrt()
}

/// The normal statistic of a lower tail; bounded, so that a line can be drawn through it.
fn quantile(tail: f64) -> f64 {
    const LEAST: f64 = 1e-15;
    Normal::standard().inverse_cdf(tail.clamp(LEAST, 1.0 - LEAST))
}

fn normal(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::KNOWN;

    fn rates(before: f64, after: f64) -> [Pair; 1] {
        let side = |events| Exposure { events, effort: 21.0 };
        [Pair::Rates(side(before), side(after))]
    }

    fn known(mean: f64) -> Expected {
        Expected { mean, variance: 1e-12, between: 0.0, freedom: KNOWN }
    }

    /// A normal chance averaged over a normal distribution has a closed form; Student's t reaches further out.
    #[test]
    fn weights_are_a_distribution() {
        let average = |freedom: f64, a: f64, b: f64| -> f64 {
            let nodes = nodes(freedom).into_iter();
            nodes.map(|(u, weight)| weight * normal(a + b * u)).sum()
        };
        for (a, b) in [(-1.0_f64, 0.5_f64), (-3.0, 1.0), (-4.0, 0.2), (0.5, 2.0)] {
            let exact = normal(a / (1.0 + b * b).sqrt());
            let ours = average(KNOWN, a, b);
            assert!((ours / exact - 1.0).abs() < 1e-3, "{a} {b}: {ours} {exact}");
            assert!(a > 0.0 || average(5.0, a, b) > ours);
        }
        for freedom in [2.0, 5.0, 30.0, KNOWN] {
            let sum: f64 = nodes(freedom).iter().map(|n| n.1).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{freedom}: {sum}");
        }
    }

    /// A change that is known for certain leaves the score test of two Poisson counts.
    #[test]
    fn nothing_expected_is_the_score_test() {
        let p = predictive_p_value(&rates(16.0, 4.0), &known(0.0), KNOWN);
        let z = (4.0_f64 - 10.0) / 5.0_f64.sqrt();
        assert!((p - 2.0 * normal(z)).abs() < 1e-4, "{p}");
        assert!(predictive_p_value(&rates(16.0, 8.0), &known(0.5_f64.ln()), KNOWN) > 0.99);
    }

    #[test]
    fn test_and_interval_agree() {
        let expected = Expected { mean: -0.1, variance: 0.05, between: 0.1, freedom: 7.0 };
        for (a, b) in [(16.0, 1.0), (16.0, 5.0), (3.0, 9.0), (0.0, 6.0), (7.0, 0.0)] {
            let pairs = rates(a, b);
            let near = ((b + 0.5) / (a + 0.5_f64)).ln() + 0.1;
            let interval = predictive_interval(&pairs, &expected, 9.0, (near, 0.6));
            let p = predictive_p_value(&pairs, &expected, 9.0);
            let excludes = interval.low > 0.0 || interval.high < 0.0;
            assert_eq!(excludes, p < 0.05, "{a}, {b}: {p} {interval:?}");
            assert!(interval.low <= interval.value && interval.value <= interval.high);
        }
    }

    #[test]
    fn unlike_units_are_worth_less() {
        let unlike = |between| Expected { mean: 0.0, variance: 0.02, between, freedom: 20.0 };
        let p = |between| predictive_p_value(&rates(40.0, 12.0), &unlike(between), KNOWN);
        assert!(p(0.0) < 0.001 && p(0.5) > 0.05);
    }
}
