//! Whether two series that both have a memory go together: one of them is turned against the other.

use super::{Estimate, two_sided, upper_quantile};

/// One stretch of days: what was seen beyond what was expected, and something else that the season does not
/// explain. Days follow on each other; a day has a fixed number of units, a morning and an evening say.
#[derive(Debug, Clone, Copy)]
pub struct Stretch<'a> {
    /// Counts less what was expected, unit by unit.
    pub excess: &'a [f64],
    /// The expected counts.
    pub expected: &'a [f64],
    /// The other series, its season taken out.
    pub other: &'a [f64],
    /// Units of a day.
    pub units: usize,
}

/// How counts go with another series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoesWith {
    /// Change of the log rate for one unit of the other series.
    pub slope: f64,
    /// Its standard error.
    pub error: f64,
    /// Degrees of freedom of that.
    pub freedom: f64,
    /// Two-sided p-value of no connection.
    pub p_value: f64,
}

impl GoesWith {
    /// The 95 % interval of the ratio of rates for so many units of the other series.
    pub fn ratio(&self, units: f64) -> Estimate {
        let reach = upper_quantile(0.025, self.freedom) * self.error;
        let ends = [((self.slope - reach) * units).exp(), ((self.slope + reach) * units).exp()];
        Estimate {
            value: (self.slope * units).exp(),
            low: ends[0].min(ends[1]),
            high: ends[0].max(ends[1]),
        }
    }

    /// The smallest ratio over 1, for so many units of the other series, that is told from none at `level` in `power`
    /// of the repeats (Cohen 1988, Statistical Power Analysis, chapter 2).
    pub fn smallest_ratio(&self, units: f64, level: f64, power: f64) -> f64 {
        let reach =
            upper_quantile(level / 2.0, self.freedom) + upper_quantile(1.0 - power, self.freedom);
        (reach * self.error * units.abs()).exp()
    }
}

/// The products of a stretch for every number of days that the other series is turned by.
struct Turned {
    products: Vec<f64>,
    information: f64,
}

impl Turned {
    fn of(stretch: &Stretch) -> Self {
        let days = stretch.excess.len() / stretch.units;
        let product = |turn: usize| {
            let mut sum = 0.0;
            for day in 0..days {
                let other = (day + turn) % days * stretch.units;
                for unit in 0..stretch.units {
                    sum += stretch.excess[day * stretch.units + unit] * stretch.other[other + unit];
                }
            }
            sum
        };
        let squares = stretch.expected.iter().zip(stretch.other);
        Self {
            products: (0..days).map(product).collect(),
            information: squares.map(|(m, x)| m * x * x).sum(),
        }
    }

    /// The variance of the product of two series that have nothing to do with each other.
    fn variance(&self) -> f64 {
        let others = &self.products[1..];
        others.iter().map(|p| p * p).sum::<f64>() / others.len() as f64
    }

    /// Degrees of freedom of that variance: products of neighbouring turns hang together (Bartlett 1946, Journal of the
    /// Royal Statistical Society, Supplement 8:27-41).
    fn freedom(&self) -> f64 {
        let n = self.products.len();
        let squares: f64 = self.products.iter().map(|p| p * p).sum();
        let at = |lag: usize| -> f64 {
            let both = (0..n).map(|i| self.products[i] * self.products[(i + lag) % n]);
            both.sum::<f64>() / squares
        };
        n as f64 / (0..n).map(|lag| at(lag).powi(2)).sum::<f64>()
    }
}

/// Fewer days than this cannot be turned against each other.
const FEWEST_DAYS: usize = 14;

/// Whether counts go with another series: the score of a Poisson regression (Cox & Hinkley 1974, Theoretical
/// Statistics, section 9.3) against the scores that come about when the other series is turned by every number of
/// days, so that the memory of both is kept (random circular shifts: Lotwick & Silverman 1982, Journal of the Royal
/// Statistical Society B 44:406-413). Several stretches, seasons say, are turned each by itself and added up, with
/// degrees of freedom after Satterthwaite (1946, Biometrics Bulletin 2:110-114). The p-value is by Student's t, and
/// never less than the part of all turns that goes together better.
///
/// `None` where nothing varies or every stretch is too short.
pub fn goes_with(stretches: &[Stretch]) -> Option<GoesWith> {
    let turned: Vec<Turned> = stretches
        .iter()
        .filter(|s| s.excess.len() / s.units >= FEWEST_DAYS)
        .map(Turned::of)
        .filter(|t| t.information > 0.0 && t.products.iter().any(|p| *p != 0.0))
        .collect();
    let sum = |of: &dyn Fn(&Turned) -> f64| turned.iter().map(of).sum::<f64>();
    let information = sum(&|t| t.information);
    let variance = sum(&Turned::variance);
    if information <= 0.0 || variance <= 0.0 {
        return None;
    }
    let freedom = variance.powi(2) / sum(&|t| t.variance().powi(2) / t.freedom());
    let product = sum(&|t| t.products[0]);
    let longest = turned.iter().map(|t| t.products.len()).max()?;
    let turn = |by: usize| sum(&|t| t.products[by % t.products.len()]);
    let better = (1..longest).filter(|by| turn(*by).abs() >= product.abs());
    let part = better.count() as f64 / longest as f64;
    Some(GoesWith {
        slope: product / information,
        error: variance.sqrt() / information,
        freedom,
        p_value: two_sided(product / variance.sqrt(), freedom).max(part),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(seed: u64, n: usize) -> Vec<f64> {
        use rand::{RngExt, SeedableRng};
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        (0..n).map(|_| rng.random_range(-1.0..1.0)).collect()
    }

    #[test]
    fn what_follows_is_found_and_what_does_not_is_not() {
        let other = noise(1, 120);
        let expected = vec![2.0; 120];
        let follows: Vec<f64> = other.iter().map(|x| 2.0 * ((0.7 * x).exp() - 1.0)).collect();
        let beside = noise(2, 120);
        let of = |excess: &[f64]| {
            let stretch = Stretch { excess, expected: &expected, other: &other, units: 2 };
            goes_with(&[stretch]).unwrap()
        };
        let found = of(&follows);
        assert!(found.p_value < 0.001 && (found.slope - 0.7).abs() < 0.15, "{found:?}");
        assert!(of(&beside).p_value > 0.05);
        let ratio = found.ratio(1.0);
        assert!(ratio.low > 1.0 && ratio.low < ratio.value && ratio.value < ratio.high);
        assert!(found.smallest_ratio(1.0, 0.05, 0.8) > 1.0);
    }

    /// Two waves of one length go together at some turn, whatever they are: nothing can be told from three of them.
    #[test]
    fn slow_waves_tell_nothing() {
        let wave = |phase: f64| -> Vec<f64> {
            (0..90).map(|d| (f64::from(d) / 29.5 * std::f64::consts::TAU + phase).cos()).collect()
        };
        let (excess, other) = (wave(0.0), wave(0.0));
        let stretch = Stretch { excess: &excess, expected: &[1.0; 90], other: &other, units: 1 };
        let found = goes_with(&[stretch]).unwrap();
        assert!(found.freedom < 4.0 && found.p_value > 0.1, "{found:?}");
    }
}
