//! What the control cameras did, all of them alike on both sides.
//!
//! Controls' visits are not simply added up: a control that died in between, or had a good week,
//! would change the mix and with it the pooled share, though no camera changed. Each control is
//! weighted so that it counts the same before and after (the Mantel-Haenszel weights of Greenland &
//! Robins 1985, Biometrics 41:55-68), and one without visits on both sides does not count.

use super::compare::Around;
use super::window::Tally;
use crate::measure::{Counts, DayCount, Exposure, runs_of_counts, runs_of_shares};

/// Counts for two sides.
pub(super) type Sides<T> = (T, T);

/// The controls' effective counts before and after; their visits are added day by day, so that deer
/// seen by several cameras on one day count as one day's luck. `None` without a usable control.
pub(super) fn shares(controls: &[&Around]) -> Option<Sides<Counts>> {
    let usable: Vec<&Around> = controls
        .iter()
        .copied()
        .filter(|c| c.before.side.visits > 0 && c.after.side.visits > 0)
        .collect();
    if usable.is_empty() {
        return None;
    }
    let weights: Vec<f64> = usable
        .iter()
        .map(|c| weight(c.before.side.visits as f64, c.after.side.visits as f64))
        .collect();
    let stretches = [0, 1, 2, 3].map(|which| {
        let tallies: Vec<&Tally> = usable.iter().map(|c| c.stretches()[which]).collect();
        together(&tallies, &weights)
    });
    let [earlier, before, after, later] = &stretches;
    let runs = runs_of_shares(&[earlier, before, after, later]);
    let effective = |days: &[DayCount]| {
        Counts {
            hits: days.iter().map(|d| d.hits).sum(),
            trials: days.iter().map(|d| d.trials).sum(),
        }
        .divided_by(runs.design_effect)
    };
    Some((effective(before), effective(after)))
}

/// The harmonic weight of two sides' numbers.
fn weight(before: f64, after: f64) -> f64 {
    before * after / (before + after)
}

/// Days of several cameras added up, each camera scaled to its weight and its own share moved to
/// the common one, so that the mix of cameras is no variation. The scale is Kish's effective size:
/// the trials add up to as many equal ones as would be known as well.
fn together(tallies: &[&Tally], weights: &[f64]) -> Vec<DayCount> {
    let scale = |t: &Tally, w: f64| {
        let visits = t.side.visits as f64;
        if visits > 0.0 { w / visits } else { 0.0 }
    };
    let scales: Vec<f64> = tallies
        .iter()
        .zip(weights)
        .map(|(t, w)| scale(t, *w))
        .collect();
    let sum = |of: &dyn Fn(&Tally, f64) -> f64| -> f64 {
        tallies.iter().zip(&scales).map(|(t, s)| of(t, *s)).sum()
    };
    let trials = sum(&|t, s| s * t.side.visits as f64);
    let squares = sum(&|t, s| s * s * t.side.visits as f64);
    if trials <= 0.0 {
        return Vec::new();
    }
    let common = sum(&|t, s| s * t.side.counted as f64) / trials;
    let kish = trials / squares;
    let length = tallies.iter().map(|t| t.days.len()).max().unwrap_or(0);
    let mut days = vec![DayCount::default(); length];
    for (tally, scale) in tallies.iter().zip(&scales) {
        let own = tally.counts().share().unwrap_or(common);
        for (sum, day) in days.iter_mut().zip(&tally.days) {
            sum.trials += kish * scale * day.trials;
            sum.hits += kish * scale * (day.hits + (common - own) * day.trials);
        }
    }
    days
}

/// The controls' effective visits at all hours and effort before and after. `None` without a control
/// that worked on both sides and is tagged.
pub(super) fn rates(controls: &[&Around]) -> Option<Sides<Exposure>> {
    let mut sums = [Standard::default(), Standard::default()];
    for control in controls {
        let (before, after) = (&control.before, &control.after);
        let efforts = [before, after].map(|t| t.visits_per_night.len() as f64);
        let tagged = before.side.pictures.are_tagged() && after.side.pictures.are_tagged();
        if !tagged || efforts.contains(&0.0) {
            continue;
        }
        let weight = weight(efforts[0], efforts[1]);
        let nightly = control.stretches().map(|t| t.visits_per_night.as_slice());
        let runs = runs_of_counts(&nightly);
        for ((sum, tally), effort) in sums.iter_mut().zip([before, after]).zip(efforts) {
            let scale = weight / effort;
            let events: f64 = tally.visits_per_night.iter().sum();
            sum.effort += weight;
            sum.events += scale * events;
            sum.variance += scale * scale * events * runs.design_effect;
        }
    }
    let [before, after] = sums;
    Some((before.exposure()?, after.exposure()?))
}

/// Events as they would be in a standard effort, and their variance.
#[derive(Default)]
struct Standard {
    effort: f64,
    events: f64,
    variance: f64,
}

impl Standard {
    /// As many independent events in as much effort as give the same rate, known as well.
    fn exposure(&self) -> Option<Exposure> {
        let size = if self.variance > 0.0 {
            self.events / self.variance
        } else {
            1.0
        };
        (self.effort > 0.0).then_some(Exposure {
            events: self.events * size,
            effort: self.effort * size,
        })
    }
}
