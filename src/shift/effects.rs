//! What changed at one camera from one stretch of days to another, as numbers that cameras can be
//! compared by.

use super::noise::Noise;
use super::window::Sums;
use crate::measure::{Counts, Effect, Exposure, Pair, change_p_value, rate_p_value};

/// What is asked of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Question {
    /// Visits in light, per camera-night: what a hunter gains or loses.
    LightVisits,
    /// The daylight share: the part of the visits that came in light.
    Share,
    /// Visits at all hours, per camera-night.
    AllVisits,
}

impl Question {
    /// All of them, in the order in which they are asked.
    pub const ALL: [Self; 3] = [Self::LightVisits, Self::Share, Self::AllVisits];
}

/// One camera's counts on two sides.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sides {
    pub before: Sums,
    pub after: Sums,
}

impl Sides {
    fn both(&self) -> [&Sums; 2] {
        [&self.before, &self.after]
    }

    /// Whether the camera worked on at least `nights` of each side.
    pub fn worked(&self, nights: usize) -> bool {
        self.both().iter().all(|s| s.nights >= nights.max(1))
    }

    /// The fewer visits of the two sides.
    pub fn fewest_visits(&self) -> usize {
        self.before.visits.min(self.after.visits)
    }

    /// Visits in light on both sides together.
    pub fn light_visits(&self) -> usize {
        self.before.counted + self.after.counted
    }

    /// Whether enough of the pictures are tagged for rates.
    pub fn are_tagged(&self) -> bool {
        self.both().iter().all(|s| s.pictures.are_tagged())
    }

    /// The change that a question is about: a difference of log odds for the share, of log rates for
    /// visits, half a visit added to every count (Gart & Zweifel 1967, Biometrika 54:181-187), its variance
    /// that of independent visits times what runs of days cost. `None` where a side has nothing to count by,
    /// or where nothing is known because pictures have no tag yet: whoever tags by day first, or at night, moves the
    /// share as well as the rate.
    pub fn effect(&self, question: Question, noise: &Noise) -> Option<Effect> {
        match question {
            Question::Share => self.share_effect(noise),
            Question::LightVisits => self.rate_effect(|s| s.counted, noise.light.design_effect),
            Question::AllVisits => self.rate_effect(|s| s.visits, noise.visits.design_effect),
        }
    }

    /// The counts of a question as pairs to be tested, divided by what runs of days cost and by `more`. `None`
    /// under the same conditions as [`Self::effect`].
    pub fn pair(&self, question: Question, noise: &Noise, more: f64) -> Option<Pair> {
        self.effect(question, noise)?;
        Some(match question {
            Question::Share => {
                let [before, after] = self.shares(noise).map(|c| c.divided_by(more));
                Pair::Shares(before, after)
            }
            _ => {
                let fewer = |e: Exposure| Exposure { events: e.events / more, ..e };
                let [before, after] = self.exposures(question, noise).map(fewer);
                Pair::Rates(before, after)
            }
        })
    }

    fn share_effect(&self, noise: &Noise) -> Option<Effect> {
        let log_odds = |c: Counts| ((c.hits + 0.5) / (c.trials - c.hits + 0.5)).ln();
        let errors = |c: Counts| 1.0 / (c.hits + 0.5) + 1.0 / (c.trials - c.hits + 0.5);
        let [before, after] = self.both().map(Sums::share);
        // Where all visits or none came in light on both sides there is no change to be seen.
        let hits = before.hits + after.hits;
        let varies = hits > 0.0 && hits < before.trials + after.trials;
        let is_known = self.are_tagged() && before.trials > 0.0 && after.trials > 0.0;
        (varies && is_known).then(|| Effect {
            value: log_odds(after) - log_odds(before),
            variance: noise.share.design_effect * (errors(before) + errors(after)),
        })
    }

    fn rate_effect(&self, events: fn(&Sums) -> usize, design_effect: f64) -> Option<Effect> {
        let counts = self.both().map(|s| events(s) as f64);
        let is_known = self.worked(1) && self.are_tagged() && counts.iter().sum::<f64>() > 0.0;
        is_known.then(|| {
            let [before, after] = counts.map(|c| c + 0.5);
            let effort = self.after.nights as f64 / self.before.nights as f64;
            Effect {
                value: (after / before / effort).ln(),
                variance: design_effect * (1.0 / before + 1.0 / after),
            }
        })
    }

    /// The p-value of no change here, whatever others did.
    pub fn own_p_value(&self, question: Question, noise: &Noise) -> Option<f64> {
        let freedom = noise.on(question).freedom;
        match question {
            Question::Share => {
                let [before, after] = self.shares(noise);
                change_p_value(before, after, freedom)
            }
            _ => {
                let [before, after] = self.exposures(question, noise);
                rate_p_value(before, after, freedom)
            }
        }
    }

    /// Several cameras' counts added up; `None` without any.
    pub fn sum(all: &[Self]) -> Option<Self> {
        let (first, rest) = all.split_first()?;
        let mut sum = *first;
        for more in rest {
            sum.before += more.before;
            sum.after += more.after;
        }
        Some(sum)
    }

    /// Effective counts of the share.
    pub fn shares(&self, noise: &Noise) -> [Counts; 2] {
        self.both().map(|s| s.share().divided_by(noise.share.design_effect))
    }

    /// Effective events and effort of a question about visits.
    pub fn exposures(&self, question: Question, noise: &Noise) -> [Exposure; 2] {
        let runs = noise.on(question);
        self.both().map(|s| Exposure {
            events: match question {
                Question::AllVisits => s.visits,
                _ => s.counted,
            } as f64
                / runs.design_effect,
            effort: s.nights as f64,
        })
    }
}
