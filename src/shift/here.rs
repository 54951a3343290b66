//! What one row is about, and what its own counts could show.

use super::effects::{Question, Sides};
use super::noise::Noise;
/// What one row is about: a camera, or all near cameras.
#[derive(Clone)]
pub(super) struct Here {
    pub cameras: Vec<usize>,
    pub sides: Vec<Sides>,
    pub noise: Vec<Noise>,
    /// Counts of all its cameras, and the noise of their sum.
    pub sum: Sides,
    pub sum_noise: Noise,
    /// See [`runs_together`].
    pub runs_together: [f64; Question::ALL.len()],
    pub clock_in_doubt: bool,
    pub is_tagged: bool,
}

impl Here {
    /// Degrees of freedom with which the row's own runs are known.
    pub fn freedom(&self, question: Question) -> f64 {
        let of = |n: &Noise| n.on(question).freedom;
        self.noise.iter().map(of).fold(f64::INFINITY, f64::min)
    }
}

/// The p-value of no change at a row's cameras, whatever others did.
pub(super) fn own_p_value(here: &Here, sides: &[Sides], question: Question) -> Option<f64> {
    Sides::sum(sides)?.own_p_value(question, &here.sum_noise)
}

/// How much more the days of some cameras vary together than each by itself, question by question: deer seen
/// by several of them on one day are one day's luck.
pub(super) fn runs_together(alone: &[Noise], together: &Noise) -> [f64; Question::ALL.len()] {
    Question::ALL.map(|question| {
        let sum: f64 = alone.iter().map(|n| n.on(question).design_effect).sum();
        (together.on(question).design_effect * alone.len() as f64 / sum).max(1.0)
    })
}
