//! What these visits could have shown, how many would show more, and what they rule out.

use super::contrast::Contrast;
use super::effects::{Question, Sides};
use super::noise::Noise;
use crate::measure::{
    Counts, Expected, Exposure, Repeated, equivalence_p_value, one_sided_reach, power,
};

/// What a comparison was able to see, had it been as likely as [`POWER`] to call it clear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Enough {
    /// The level at which the first question is asked.
    pub level: f64,
    /// The smallest drop of the share, as a positive fraction, that would have been found; `None` where not
    /// even a fall to nothing would.
    pub smallest_drop: Option<f64>,
    /// The smallest loss of visits in light per night, as a part of what it was, that would have been found.
    pub smallest_loss: Option<f64>,
    /// How many times as many camera-nights as now, on either side and at every camera, it takes to find
    /// that half of the visits in light are lost; `None` beyond [`MOST_TIMES`], or where the cameras differ too much
    /// for any number of nights.
    pub times_nights: Option<f64>,
    /// The same for a drop of the share by [`WORTH_KNOWING_DROP`].
    pub times_nights_for_drop: Option<f64>,
}

/// The part of its repeats in which a change must be found before a comparison is said to be able to see it.
pub const POWER: f64 = 0.8;
/// A loss of visits in light that would change where a person sits.
pub const WORTH_KNOWING_LOSS: f64 = 0.5;
/// The same of the share.
pub const WORTH_KNOWING_DROP: f64 = 0.25;
/// More camera-nights than so many times as now are no advice.
pub const MOST_TIMES: f64 = 20.0;
/// Visits in light per night are called alike where their ratio against the controls is shown to lie between
/// two thirds and one and a half.
pub const MARGIN: f64 = 1.5;
/// The level of [`is_alike`] and [`fall_ruled_out`].
const ONE_SIDED: f64 = 0.05;

/// A row's counts as they are tested: divided by what runs of days cost, all its cameras together.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Effective {
    pub share: [Counts; 2],
    pub light: [Exposure; 2],
}

impl Effective {
    /// Of some cameras with the noise of each; `more` is what they cost for varying together.
    pub fn of(sides: &[Sides], noise: &[Noise], more: [f64; Question::ALL.len()]) -> Self {
        let mut all = Self::default();
        for (sides, noise) in sides.iter().zip(noise) {
            let shares = sides.shares(noise);
            let light = sides.exposures(Question::LightVisits, noise);
            for i in 0..2 {
                let share = shares[i].divided_by(more[Question::Share as usize]);
                all.share[i].hits += share.hits;
                all.share[i].trials += share.trials;
                all.light[i].events += light[i].events / more[Question::LightVisits as usize];
                all.light[i].effort += light[i].effort;
            }
        }
        all
    }
}

/// A question as it is asked: the counts, what the controls lead to expect, and at which level.
pub(super) struct Asked<'a> {
    pub counts: &'a Effective,
    pub expected: Expected,
    /// The part of the variance of what is expected that more nights do not make smaller.
    pub of_number: f64,
    /// Degrees of freedom of what runs of days cost.
    pub of_counts: f64,
    pub level: f64,
    /// How many times as many nights.
    pub times: f64,
}

/// Asks of a row's counts what they could have shown. `None` where it could not be compared.
pub(super) fn enough(
    counts: &Effective,
    share: Option<Contrast>,
    light: Option<Contrast>,
    level: f64,
) -> Option<Enough> {
    share.or(light)?;
    let asked = |contrast: Contrast, times| Asked {
        counts,
        expected: contrast.expected,
        of_number: contrast.of_number,
        of_counts: contrast.of_counts,
        level,
        times,
    };
    let sees_loss = |c, times, loss| asked(c, times).power_of_loss(loss) >= POWER;
    let sees_drop = |c, times, drop| asked(c, times).power_of_drop(drop) >= POWER;
    // No share can drop by more than there is of it.
    let before = counts.share[0];
    let all = ((before.hits + 0.5) / (before.trials + 1.0) * 100.0).floor() as usize;
    let drop = |c: Contrast| least(all, |p| sees_drop(c, 1.0, p as f64 / 100.0));
    let loss = |c: Contrast| least(100, |p| sees_loss(c, 1.0, p as f64 / 100.0));
    let tenths = (MOST_TIMES * 10.0) as usize;
    let times = |sees: &dyn Fn(f64) -> bool| {
        let found = least(tenths, |t| sees((t as f64 / 10.0).max(1.0)));
        found.map(|t| (t as f64 / 10.0).max(1.0))
    };
    let for_loss = |c| times(&|t| sees_loss(c, t, WORTH_KNOWING_LOSS));
    let for_drop = |c| times(&|t| sees_drop(c, t, WORTH_KNOWING_DROP));
    let percent = |p: usize| p as f64 / 100.0;
    Some(Enough {
        level,
        smallest_drop: share.and_then(drop).map(percent),
        smallest_loss: light.and_then(loss).map(percent),
        times_nights: light.and_then(for_loss),
        times_nights_for_drop: share.and_then(for_drop),
    })
}

/// The least of 1 to `most` of which something holds, if it holds of all that are larger.
fn least(most: usize, holds: impl Fn(usize) -> bool) -> Option<usize> {
    let (mut no, mut yes) = (0, most);
    if most == 0 || !holds(most) {
        return None;
    }
    while yes - no > 1 {
        let middle = usize::midpoint(no, yes);
        if holds(middle) {
            yes = middle;
        } else {
            no = middle;
        }
    }
    Some(yes)
}

impl Asked<'_> {
    /// The part of its repeats in which a drop of the share would be found. The controls are taken to stand
    /// still, so that only their number and unlikeness matter.
    pub fn power_of_drop(&self, drop: f64) -> f64 {
        let [before, after] = self.counts.share;
        let share = (before.hits + 0.5) / (before.trials + 1.0);
        let left = share - drop;
        if after.trials <= 0.0 || left < -0.005 {
            return 0.0;
        }
        let sides = [
            Counts { hits: self.times * before.trials * share, trials: self.times * before.trials },
            Counts {
                hits: self.times * after.trials * left.max(0.0),
                trials: self.times * after.trials,
            },
        ];
        power(Repeated::Shares(sides), &self.expected(), self.of_counts, self.level)
    }

    /// The same of a loss of visits in light.
    pub fn power_of_loss(&self, loss: f64) -> f64 {
        let [before, after] = self.counts.light;
        let events = self.times * before.events;
        if events <= 0.0 || before.effort <= 0.0 || after.effort <= 0.0 {
            return 0.0;
        }
        let left = events * after.effort / before.effort * (1.0 - loss);
        let side = |events: f64, of: Exposure| Exposure { events, ..of };
        let sides = [side(events, before), side(left, after)];
        power(Repeated::Rates(sides), &self.expected(), self.of_counts, self.level)
    }

    fn expected(&self) -> Expected {
        let counted = (self.expected.variance - self.of_number).max(0.0);
        Expected { mean: 0.0, variance: self.of_number + counted / self.times, ..self.expected }
    }
}

/// Whether visits in light are shown to be what they were, within [`MARGIN`]: two one-sided tests.
pub(super) fn is_alike(contrast: &Contrast) -> bool {
    let p = equivalence_p_value(
        contrast.estimate.value,
        contrast.variance,
        MARGIN.ln(),
        contrast.freedom,
    );
    p <= ONE_SIDED
}

/// The part of the visits in light that is not lost, with 95 % confidence: a larger loss is ruled out.
/// `None` where no loss is.
pub(super) fn fall_ruled_out(contrast: &Contrast) -> Option<f64> {
    let lowest =
        contrast.estimate.value - one_sided_reach(contrast.variance, ONE_SIDED, contrast.freedom);
    let loss = 1.0 - lowest.exp();
    Some(loss.max(0.0)).filter(|l| *l < LEAST_RULED_OUT)
}

/// To rule out that more than this is lost is to rule out nothing.
const LEAST_RULED_OUT: f64 = 0.99;
