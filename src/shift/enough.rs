//! What these visits could have shown, how many would show more, and what they rule out.

use statrs::distribution::{ContinuousCDF, Normal};

use super::contrast::Contrast;

/// What a comparison was able to see, had it been as likely as [`POWER`] to call it clear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Enough {
    /// The level at which a first question is asked.
    pub level: f64,
    /// The smallest drop of the share, as a positive fraction, that would have been found; `None` where not
    /// even a fall to nothing would.
    pub smallest_drop: Option<f64>,
    /// The smallest loss of visits in light per night, as a part of what it was, that would have been found.
    pub smallest_loss: Option<f64>,
    /// How likely it was that the loss of half of the visits in light is found.
    pub power_for_half: Option<f64>,
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

/// An effect in log units, and the variance that more nights make smaller.
struct Effect {
    size: f64,
    of_counts: f64,
}

/// Asks what counts like these could have shown. `None` where they could not be compared.
pub(super) fn enough(
    share: Option<Contrast>,
    light: Option<Contrast>,
    level: f64,
) -> Option<Enough> {
    share.or(light)?;
    let percent = |p: usize| p as f64 / 100.0;
    let sees_loss = |c: &Contrast, p| power(c, &loss(c, percent(p)), 1.0, level) >= POWER;
    let sees_drop = |c: &Contrast, p| {
        drop(c, percent(p)).is_some_and(|effect| power(c, &effect, 1.0, level) >= POWER)
    };
    let times = |c: &Contrast, effect: Effect| {
        let found = |t: usize| power(c, &effect, t as f64 / 10.0, level) >= POWER;
        let tenths = (10..=(MOST_TIMES * 10.0) as usize).find(|t| found(*t));
        tenths.map(|t| t as f64 / 10.0)
    };
    let half = light.map(|c| loss(&c, WORTH_KNOWING_LOSS));
    Some(Enough {
        level,
        smallest_drop: share.and_then(|c| (1..=100).find(|p| sees_drop(&c, *p))).map(percent),
        smallest_loss: light.and_then(|c| (1..=100).find(|p| sees_loss(&c, *p))).map(percent),
        power_for_half: light.zip(half.as_ref()).map(|(c, half)| power(&c, half, 1.0, level)),
        times_nights: light.zip(half).and_then(|(c, half)| times(&c, half)),
        times_nights_for_drop: share
            .and_then(|c| Some((c, drop(&c, WORTH_KNOWING_DROP)?)))
            .and_then(|(c, drop)| times(&c, drop)),
    })
}

/// The loss of a part of the visits that were to be expected; half a visit is added to every count, so that a loss of
/// all has a size (Gart & Zweifel 1967, Biometrika 54:181-187).
fn loss(c: &Contrast, part: f64) -> Effect {
    let (expected, left) = (c.expected[0] + 0.5, c.expected[0] * (1.0 - part) + 0.5);
    Effect { size: (left / expected).ln(), of_counts: 1.0 / (c.before[0] + 0.5) + 1.0 / left }
}

/// The drop of the share by so much; `None` where there is less of it.
fn drop(c: &Contrast, by: f64) -> Option<Effect> {
    let [hits, trials] = c.expected;
    let left = hits - by * trials;
    if trials <= 0.0 || left < -0.005 * trials {
        return None;
    }
    let log_odds = |hits: f64| ((hits + 0.5) / (trials - hits + 0.5)).ln();
    let variance = |hits: f64, trials: f64| 1.0 / (hits + 0.5) + 1.0 / (trials - hits + 0.5);
    let left = left.max(0.0);
    Some(Effect {
        size: log_odds(left) - log_odds(hits),
        of_counts: variance(left, trials) + variance(c.before[0], c.before[1]),
    })
}

/// How likely an effect is found at a level with so many times as many nights, its estimate being normal.
fn power(c: &Contrast, effect: &Effect, times: f64, level: f64) -> f64 {
    let normal = Normal::standard();
    let sd = (c.drift_variance + effect.of_counts / times).sqrt();
    normal.cdf(effect.size.abs() / sd - normal.inverse_cdf(1.0 - level / 2.0))
}

/// The part of the visits in light that is not lost, with 95 % confidence: a larger loss is ruled out.
/// `None` where no loss is.
pub(super) fn fall_ruled_out(contrast: &Contrast) -> Option<f64> {
    let loss = 1.0 - contrast.ends_90[0].exp();
    Some(loss.max(0.0)).filter(|l| *l < LEAST_RULED_OUT)
}

/// To rule out that more than this is lost is to rule out nothing.
const LEAST_RULED_OUT: f64 = 0.99;

/// Whether it is ruled out, with 95 % confidence, that half of what was to be expected in light is lost, and that half of
/// what was to be expected in the dark is.
pub(super) fn keeps_half(contrast: &Contrast) -> bool {
    let [hits, trials] = contrast.expected;
    let before = (hits + 0.5) / (trials + 1.0);
    let log_odds = (before / (1.0 - before)).ln();
    let [low, high] = contrast.ends_90.map(|end| 1.0 / (1.0 + (-(log_odds + end)).exp()));
    let kept = 1.0 - WORTH_KNOWING_LOSS;
    low > before * kept && 1.0 - high > (1.0 - before) * kept
}
