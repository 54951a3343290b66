//! How far a clock is off, by the light alone.

use std::collections::BTreeMap;

use super::light_model::{STEP_MIN, STEPS, Shots, all_steps, fit, log_sum, plus};

/// An offset with its 95 % interval, minutes to add to the clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// Likeliest.
    pub minutes: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Offset {
    /// Whether the interval holds a value.
    pub fn holds(&self, minutes: f64) -> bool {
        (self.low..=self.high).contains(&minutes)
    }

    /// The interval made wide enough to hold a value.
    #[must_use]
    pub fn reaching(self, minutes: f64) -> Self {
        Self { low: self.low.min(minutes), high: self.high.max(minutes), ..self }
    }
}

/// The offset of shots over the whole day, by its posterior under a flat prior: the shortest stretch of
/// offsets that holds 95 % of it. `moves` is the reading that it is an offset from.
pub(super) fn offset(shots: &Shots, moves: &[i32]) -> Offset {
    // Every third offset first, and all of them where the posterior has its mass.
    const COARSE: i32 = 3;
    let log = |o: i32| fit(shots, &plus(moves, o)).log;
    let mut logs: BTreeMap<i32, f64> =
        all_steps().filter(|o| o % COARSE == 0).map(|o| (o, log(o))).collect();
    let most = logs.values().copied().fold(f64::NEG_INFINITY, f64::max);
    let telling: Vec<i32> =
        logs.iter().filter(|(_, l)| most - **l < 12.0).map(|(o, _)| *o).collect();
    for o in all_steps() {
        let near = telling.iter().any(|t| (t - o).abs() < COARSE);
        let alike = *logs.entry(o - o.rem_euclid(COARSE)).or_insert(f64::NEG_INFINITY);
        logs.entry(o).or_insert_with(|| if near { log(o) } else { alike });
    }
    logs.retain(|o, _| (-(STEPS as i32) / 2 < *o) && *o <= STEPS as i32 / 2);
    let total = log_sum(&logs.values().copied().collect::<Vec<_>>());
    let mut mass: Vec<(i32, f64)> = logs.iter().map(|(o, l)| (*o, (l - total).exp())).collect();
    mass.sort_by_key(|(o, _)| *o);
    let best = (0..mass.len()).max_by(|a, b| mass[*a].1.total_cmp(&mass[*b].1)).unwrap_or(0);
    // Grows from the likeliest towards the likelier neighbour; the day is a circle.
    let n = mass.len();
    let (mut low, mut high, mut sum) = (0, 0, mass[best].1);
    while sum < 0.95 && low + high + 1 < n {
        let below = mass[(best + n - low - 1) % n].1;
        let above = mass[(best + high + 1) % n].1;
        if below > above {
            low += 1;
            sum += below;
        } else {
            high += 1;
            sum += above;
        }
    }
    let around = |k: i32| mass[(best as i32 + k).rem_euclid(n as i32) as usize].1;
    let (step, middle) = (f64::from(STEP_MIN), f64::from(mass[best].0) * f64::from(STEP_MIN));
    // One hump, as it nearly always is, has a mean and a spread finer than the grid.
    const REACH: i32 = 9;
    let near = (-REACH..=REACH).map(|k| (f64::from(k), around(k)));
    let weight: f64 = near.clone().map(|(_, m)| m).sum();
    let mean = near.clone().map(|(k, m)| k * m).sum::<f64>() / weight;
    let variance = near.map(|(k, m)| (k - mean).powi(2) * m).sum::<f64>() / weight;
    let half = 1.96 * (variance + 1.0 / 12.0).sqrt();
    match weight > 0.97 {
        true => Offset {
            minutes: middle + mean * step,
            low: middle + (mean - half) * step,
            high: middle + (mean + half) * step,
        },
        false => Offset {
            minutes: middle,
            low: middle - (low as f64 + 0.5) * step,
            high: middle + (high as f64 + 0.5) * step,
        },
    }
}
