//! Rates of several units, each told with what the others say of it.

use statrs::distribution::{ContinuousCDF, Gamma};
use statrs::function::gamma::ln_gamma;

use super::{Estimate, Exposure, rising_root};

/// One unit's rate as it is believed after all units were seen: gamma distributions with their weights, which add up
/// to 1.
#[derive(Debug, Clone)]
pub struct Believed {
    parts: Vec<(f64, Gamma)>,
}

/// Log probability of a unit's events, its rate drawn from a gamma distribution with this mean and shape: the negative
/// binomial (Greenwood & Yule 1920, Journal of the Royal Statistical Society 83:255-279). Events may be fractional.
pub fn log_marginal(unit: Exposure, mean: f64, shape: f64) -> f64 {
    let expected = unit.effort * mean;
    ln_gamma(shape + unit.events) - ln_gamma(shape) - ln_gamma(unit.events + 1.0)
        + shape * (shape / (shape + expected)).ln()
        + unit.events * (expected / (shape + expected)).max(f64::MIN_POSITIVE).ln()
}

/// The rates of several units that are believed to be of one sort: gamma-Poisson with a mean and a spread that are not
/// known either and are averaged over (Gaver & O'Muircheartaigh 1987, Technometrics 29:1-15; the spread, as a part of
/// the mean, is taken as equally likely from nothing to twice it, after Gelman 2006, Bayesian Analysis 1:515-534; the
/// mean on its logarithm). Units without effort are believed to be like the others. Empty where none has any.
pub fn shrunk(units: &[Exposure]) -> Vec<Believed> {
    const MEANS: i32 = 40;
    const SPREADS: i32 = 16;
    const LEAST_WEIGHT: f64 = 2e-4;
    let events: f64 = units.iter().map(|u| u.events).sum();
    let effort: f64 = units.iter().map(|u| u.effort).sum();
    if effort <= 0.0 {
        return Vec::new();
    }
    let pooled = (events + 0.5) / effort;
    // From a thirtieth to thirty times the rate of all.
    let mean = |i: i32| pooled * (3.4 * (f64::from(2 * i) / f64::from(MEANS) - 1.0)).exp();
    let spread = |i: i32| 2.0 * (f64::from(i) + 0.5) / f64::from(SPREADS);
    let mut grid = Vec::new();
    for (m, s) in (0..=MEANS).flat_map(|m| (0..SPREADS).map(move |s| (m, s))) {
        let (mean, shape) = (mean(m), spread(s).powi(-2));
        let chance: f64 = units.iter().map(|u| log_marginal(*u, mean, shape)).sum();
        grid.push((chance, mean, shape));
    }
    let best = grid.iter().map(|g| g.0).fold(f64::NEG_INFINITY, f64::max);
    let all: f64 = grid.iter().map(|g| (g.0 - best).exp()).sum();
    let mut weighted: Vec<(f64, f64, f64)> = grid
        .into_iter()
        .map(|(chance, mean, shape)| ((chance - best).exp() / all, mean, shape))
        .filter(|g| g.0 > LEAST_WEIGHT)
        .collect();
    let kept: f64 = weighted.iter().map(|g| g.0).sum();
    weighted.iter_mut().for_each(|g| g.0 /= kept);
    let of_unit = |unit: &Exposure| Believed {
        parts: weighted
            .iter()
            .filter_map(|&(weight, mean, shape)| {
                let rate = shape / mean + unit.effort;
                Some((weight, Gamma::new(shape + unit.events, rate).ok()?))
            })
            .collect(),
    };
    units.iter().map(of_unit).collect()
}

impl Believed {
    /// The chance of a rate of no more than this.
    pub fn at_most(&self, rate: f64) -> f64 {
        self.parts.iter().map(|(w, g)| w * g.cdf(rate)).sum()
    }

    /// The mean.
    pub fn mean(&self) -> f64 {
        let mean = |(w, g): &(f64, Gamma)| w * g.shape() / g.rate();
        self.parts.iter().map(mean).sum()
    }

    /// The rate below which it lies with a chance of `part`.
    pub fn quantile(&self, part: f64) -> f64 {
        const CLOSE: f64 = 1e-5;
        let over = |rate: f64| self.at_most(rate) - part;
        let (mut low, mut at_low) = (0.0, -part);
        let mut high = self.mean() * 2.0;
        let mut at_high = over(high);
        while at_high < 0.0 {
            (low, at_low) = (high, at_high);
            high *= 2.0;
            at_high = over(high);
        }
        rising_root([(low, at_low), (high, at_high)], CLOSE, 0.0, over)
    }

    /// The mean with the range that holds it with a chance of 95 %.
    pub fn estimate(&self) -> Estimate {
        Estimate { value: self.mean(), low: self.quantile(0.025), high: self.quantile(0.975) }
    }

    /// The chance that this rate is higher than another, the two taken as independent of each other: the sum over
    /// small steps of this one's chance of lying in a step and the other's of lying below it.
    pub fn chance_over(&self, other: &Self) -> f64 {
        const STEPS: i32 = 48;
        let highest = 6.0 * self.mean().max(other.mean());
        // Steps that grow with the square: rates near 0 are the likeliest.
        let at = |i: i32| highest * (f64::from(i) / f64::from(STEPS)).powi(2);
        let (mut here, mut there) = (0.0, 0.0);
        let mut chance = 0.0;
        for i in 1..=STEPS {
            let (now, other_now) = (self.at_most(at(i)), other.at_most(at(i)));
            chance += (now - here) * f64::midpoint(there, other_now);
            (here, there) = (now, other_now);
        }
        chance + (1.0 - here)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(events: f64, effort: f64) -> Exposure {
        Exposure { events, effort }
    }

    #[test]
    fn little_is_drawn_to_the_others_and_much_is_not() {
        let believed =
            shrunk(&[unit(0.0, 3.0), unit(40.0, 100.0), unit(45.0, 100.0), unit(38.0, 100.0)]);
        let little = believed[0].estimate();
        assert!(little.value > 0.1 && little.low < little.value && little.high > 0.4);
        let much = believed[2].estimate();
        assert!((much.value - 0.44).abs() < 0.03, "{much:?}");
        assert!(believed[2].chance_over(&believed[0]) > 0.5);
        assert!(shrunk(&[unit(0.0, 0.0)]).is_empty());
    }

    #[test]
    fn a_chance_and_its_opposite() {
        let believed = shrunk(&[unit(5.0, 50.0), unit(20.0, 50.0), unit(9.0, 50.0)]);
        let (one, other) = (&believed[0], &believed[1]);
        assert!((one.chance_over(other) + other.chance_over(one) - 1.0).abs() < 0.02);
        assert!((one.at_most(one.quantile(0.3)) - 0.3).abs() < 1e-4);
    }
}
