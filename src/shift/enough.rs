//! What these visits could have shown, how many would show more, and what they rule out.

use super::contrast::Contrast;
use super::effects::Sides;
use super::noise::Noise;
use crate::measure::{
    Counts, Expected, Exposure, Pair, equivalence_p_value, one_sided_reach, predictive_p_value,
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

/// A question as it was asked: what the controls lead to expect, and how the row's own counts vary.
struct Asked<'a> {
    sides: &'a Sides,
    noise: &'a Noise,
    contrast: Contrast,
    level: f64,
    /// How many times as many nights.
    times: f64,
}

/// Asks of a row's counts what they could have shown. `None` where it could not be compared.
pub(super) fn enough(
    sides: &Sides,
    noise: &Noise,
    share: Option<Contrast>,
    light: Option<Contrast>,
    level: f64,
) -> Option<Enough> {
    share.or(light)?;
    let asked = |contrast, times| Asked {
        sides,
        noise,
        contrast,
        level,
        times,
    };
    // No share can drop by more than there is of it.
    let before = sides.before.share();
    let all = ((before.hits + 0.5) / (before.trials + 1.0) * 100.0).floor() as usize;
    let drop = |c: Contrast| least(all, |p| asked(c, 1.0).sees_drop(p as f64 / 100.0));
    let loss = |c: Contrast| least(100, |p| asked(c, 1.0).sees_loss(p as f64 / 100.0));
    let tenths = (MOST_TIMES * 10.0) as usize;
    let times = |sees: &dyn Fn(f64) -> bool| {
        let found = least(tenths, |t| sees((t as f64 / 10.0).max(1.0)));
        found.map(|t| (t as f64 / 10.0).max(1.0))
    };
    let for_loss = |c| times(&|t| asked(c, t).sees_loss(WORTH_KNOWING_LOSS));
    let for_drop = |c| times(&|t| asked(c, t).sees_drop(WORTH_KNOWING_DROP));
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
    /// Whether a drop of the share would be found: by the count in light after that only one repeat in five
    /// exceeds. The controls are taken to stand still, so that only their number and unlikeness matter.
    fn sees_drop(&self, drop: f64) -> bool {
        let (before, after) = (self.sides.before.share(), self.sides.after.share());
        let share = (before.hits + 0.5) / (before.trials + 1.0);
        let left = share - drop;
        if after.trials <= 0.0 || left < -0.005 {
            return false;
        }
        let left = left.max(0.0);
        let scale = self.times / self.noise.share.design_effect;
        let (first, second) = (scale * before.trials, scale * after.trials);
        let information = second * left * (1.0 - left);
        let hits = second * left + self.worst(information);
        let counts = |hits, trials| Counts { hits, trials };
        self.is_found(Pair::Shares(
            counts(share * first, first),
            counts(hits.min(second), second),
        ))
    }

    /// The same of a loss of visits in light.
    fn sees_loss(&self, loss: f64) -> bool {
        let (before, after) = (self.sides.before.nights, self.sides.after.nights);
        let events = self.times * self.sides.before.counted as f64 / self.noise.light.design_effect;
        if events <= 0.0 || after == 0 {
            return false;
        }
        let left = events * after as f64 / before as f64 * (1.0 - loss);
        let exposure = |events, nights: usize| Exposure {
            events,
            effort: nights as f64,
        };
        self.is_found(Pair::Rates(
            exposure(events, before),
            exposure(left + self.worst(left), after),
        ))
    }

    /// By how much a count exceeds its mean in one repeat of five: its own variation, and that of the cameras'
    /// own changes.
    fn worst(&self, information: f64) -> f64 {
        const ONE_IN_FIVE: f64 = 0.841_621_233_572_914;
        let unlike = self.contrast.lasting + self.contrast.expected.variance / self.times;
        ONE_IN_FIVE * (information + information * information * unlike).sqrt()
    }

    fn is_found(&self, pair: Pair) -> bool {
        let expected = Expected {
            mean: 0.0,
            variance: self.contrast.expected.variance / self.times,
            ..self.contrast.expected
        };
        predictive_p_value(&[pair], &expected, self.contrast.of_counts) <= self.level
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
