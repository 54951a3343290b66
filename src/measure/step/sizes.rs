//! How large the season, the series' own ways and the luck of nights are, and how likely that is beforehand.

use super::latent::{Cell, Fit, Matrix, Model, Series, Vector};
use crate::measure::Law;

/// Standard deviations, in log units, and memories, in days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sizes {
    /// Of the season that all series share.
    pub season_sd: f64,
    /// Of each series' own drift.
    pub drift_sd: f64,
    /// How long a drift is remembered: its correlation is `exp(-days / drift_days)` (Uhlenbeck & Ornstein 1930,
    /// Physical Review 36:823-841).
    pub drift_days: f64,
    /// Of a single night.
    pub night_sd: f64,
    /// Of the step that every series takes by itself at the date.
    pub step_sd: f64,
    /// Of a series' own level from year to year; zero where there is one year.
    pub year_sd: f64,
}

const YEAR_DAYS: f64 = 365.25;
/// Memory of the shared season, in days.
const SEASON_DAYS: f64 = 21.0;
/// Standard deviation of series' levels: whatever a level is, it was not known beforehand.
const LEVEL_SD: f64 = 2.0;
/// Added to the shared season's variances, so that its matrix can be factored.
const JITTER: f64 = 1e-6;

impl Sizes {
    /// Covariance of the shared season at some moments.
    pub(super) fn season(&self, at_days: &[f64]) -> Matrix {
        let number = at_days.len();
        Matrix::from_fn(number, number, |i, j| {
            let same = if i == j { JITTER } else { 0.0 };
            let alike = self.remembered(at_days[i] - at_days[j], SEASON_DAYS);
            self.season_sd.powi(2) * alike + same
        })
    }

    /// Covariance of one series' own way between some of its cells and others.
    pub(super) fn between(&self, wildness: f64, some: &[Cell], others: &[Cell]) -> Matrix {
        let square = |sd: f64| (wildness * sd).powi(2);
        let (drift, step, year) =
            (square(self.drift_sd), square(self.step_sd), square(self.year_sd));
        Matrix::from_fn(some.len(), others.len(), |i, j| {
            let (a, b) = (&some[i], &others[j]);
            let mut sum = drift * self.remembered(a.at_days - b.at_days, self.drift_days);
            if a.unit == b.unit {
                sum += LEVEL_SD * LEVEL_SD;
            }
            if a.at_days > 0.0 && b.at_days > 0.0 {
                sum += step;
            }
            if a.year == b.year {
                sum += year;
            }
            sum
        })
    }

    /// The correlation of two moments so far apart. Where there are several years half of every drift comes again with
    /// the year: what a series does every October is its own season, and nobody's doing.
    fn remembered(&self, apart_days: f64, memory_days: f64) -> f64 {
        let over = |days: f64| (-days.abs() / memory_days).exp();
        match self.year_sd > 0.0 {
            true => {
                let of_year = apart_days - YEAR_DAYS * (apart_days / YEAR_DAYS).round();
                f64::midpoint(over(apart_days), over(of_year))
            }
            false => over(apart_days),
        }
    }

    /// The same of a series' cells with themselves, with the luck of their nights.
    pub(super) fn own(&self, wildness: f64, cells: &[Cell]) -> Matrix {
        let mut all = self.between(wildness, cells, cells);
        for (i, cell) in cells.iter().enumerate() {
            all[(i, i)] += self.night_sd.powi(2) / cell.nights.max(0.5);
        }
        all
    }
}

/// The values that are tried of one size, and the standard deviation of the half-normal that says how likely each
/// is beforehand (Gelman 2006, Bayesian Analysis 1:515-534, recommends a weak prior on the standard deviation);
/// `None` where all are as likely.
struct Axis {
    values: &'static [f64],
    prior_sd: Option<f64>,
}

const AXES: [Axis; 6] = [
    Axis { values: &[0.25, 0.6, 1.2], prior_sd: Some(1.0) },
    Axis { values: &[0.1, 0.3, 0.6, 1.0], prior_sd: Some(0.5) },
    Axis { values: &[8.0, 30.0], prior_sd: None },
    Axis { values: &[0.1, 0.8, 1.6], prior_sd: Some(1.0) },
    Axis { values: &[0.05, 0.2, 0.4, 0.7, 1.1], prior_sd: Some(0.35) },
    Axis { values: &[0.1, 0.3, 0.6, 1.0], prior_sd: Some(0.5) },
];
/// The axis that one year leaves out.
const YEAR: usize = 5;
/// Where the search begins.
const BEGIN: Point = [1, 1, 1, 0, 1, 0];
/// How many of the likeliest sizes are averaged over, and by how much the log of the likeliest may exceed theirs.
const MOST: usize = 8;
const REACH: f64 = 5.0;
const ROUNDS: usize = 3;

type Point = [usize; AXES.len()];

impl Axis {
    /// Log of the part of the prior that stands around a value.
    fn log_prior(&self, place: usize) -> f64 {
        let Some(sd) = self.prior_sd else { return 0.0 };
        let v = self.values;
        let low = if place == 0 { 0.0 } else { f64::midpoint(v[place - 1], v[place]) };
        let high = match v.get(place + 1) {
            Some(next) => f64::midpoint(v[place], *next),
            None => v[place] + (v[place] - v[place - 1]) / 2.0,
        };
        (high - low).ln() - 0.5 * (v[place] / sd).powi(2)
    }
}

fn sizes(point: Point, has_years: bool) -> Sizes {
    let [season_sd, drift_sd, drift_days, night_sd, step_sd, year_sd] =
        std::array::from_fn(|axis| AXES[axis].values[point[axis]]);
    let year_sd = if has_years { year_sd } else { 0.0 };
    Sizes { season_sd, drift_sd, drift_days, night_sd, step_sd, year_sd }
}

/// Sizes, with the log of how likely they are beforehand.
pub(super) struct Likely {
    pub sizes: Sizes,
    pub log_prior: f64,
}

/// The sizes that series speak for, the likeliest first: a search along one axis after the other, of which everything
/// that was tried is a candidate.
pub(super) fn likely(law: Law, stretches: &[f64], series: &[Series], mean: f64) -> Vec<Likely> {
    let mut years: Vec<i32> = series.iter().flat_map(|s| s.cells).map(|c| c.year).collect();
    years.sort_unstable();
    years.dedup();
    let has_years = years.len() > 1;
    let log_prior =
        |point: Point| -> f64 { AXES.iter().zip(point).map(|(axis, at)| axis.log_prior(at)).sum() };
    let mut tried: Vec<(Point, f64)> = Vec::new();
    let mut stood: Option<Vec<Vector>> = None;
    let mut value = |point: Point, tried: &mut Vec<(Point, f64)>| {
        if let Some(known) = tried.iter().find(|t| t.0 == point) {
            return known.1;
        }
        let sizes = sizes(point, has_years);
        let model = Model { law, stretches, series, sizes: &sizes, mean };
        let Fit { log_marginal, f, .. } = model.fit(stood.as_deref());
        stood = Some(f);
        tried.push((point, log_marginal + log_prior(point)));
        log_marginal + log_prior(point)
    };
    let mut at = BEGIN;
    let mut best = value(at, &mut tried);
    for _ in 0..ROUNDS {
        let begun = at;
        for axis in (0..AXES.len()).filter(|axis| *axis != YEAR || has_years) {
            for place in 0..AXES[axis].values.len() {
                let mut point = at;
                point[axis] = place;
                let here = value(point, &mut tried);
                if here > best {
                    (best, at) = (here, point);
                }
            }
        }
        if at == begun {
            break;
        }
    }
    tried.sort_by(|a, b| b.1.total_cmp(&a.1));
    tried.truncate(MOST);
    tried.retain(|t| t.1 > best - REACH);
    let of = |(point, _): (Point, f64)| Likely {
        sizes: sizes(point, has_years),
        log_prior: log_prior(point),
    };
    tried.into_iter().map(of).collect()
}
