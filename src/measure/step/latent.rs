//! Counts whose log rates, or log odds, hang together: one season that all series share, and each series' own way
//! about it. Gaussian beforehand, fitted by Laplace's approximation.
//!
//! Tierney & Kadane 1986, Journal of the American Statistical Association 81:82-86; the equations are those of
//! Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, section 3.4, with the shared season taken out
//! by Schur complements, so that the cost grows with the number of series and not with its cube.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use statrs::function::gamma::ln_gamma;

use super::sizes::Sizes;
use crate::measure::Law;

pub(super) type Matrix = DMatrix<f64>;
pub(super) type Vector = DVector<f64>;

/// What one series counted in some days in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// The middle of its days, in days from the date that is asked about; negative before it.
    pub at_days: f64,
    /// Which stretch of the shared season it belongs to.
    pub stretch: usize,
    /// Which of several units that go together counted it; each has a level of its own.
    pub unit: usize,
    /// In which year.
    pub year: i32,
    /// Nights counted on.
    pub nights: f64,
    /// Events.
    pub hits: f64,
    /// Among so many; not looked at for rates.
    pub trials: f64,
}

/// One series in a fit.
pub(super) struct Series<'a> {
    pub cells: &'a [Cell],
    /// How many times as wild it is as the others.
    pub wildness: f64,
}

/// Mean and covariance of what is expected of some cells.
#[derive(Debug, Clone)]
pub(super) struct Expected {
    pub mean: Vector,
    pub covariance: Matrix,
}

/// Log likelihood of a cell at a log rate or log odds, its slope and its curvature downwards.
struct Terms {
    value: f64,
    slope: f64,
    weight: f64,
}

/// Below this a cell tells nothing, and its weight must not be divided by.
const LEAST_WEIGHT: f64 = 1e-9;
/// No step of Newton's method is longer than this.
const LONGEST_STEP: f64 = 2.0;
const MOST_STEPS: usize = 30;
/// A fit that moves by less than this, in log units, stands.
const STILL: f64 = 0.01;

fn terms(law: Law, cell: &Cell, f: f64) -> Terms {
    match law {
        Law::Poisson => {
            let mean = cell.nights * f.clamp(-30.0, 12.0).exp();
            let constant = cell.hits * cell.nights.ln() - ln_gamma(cell.hits + 1.0);
            Terms {
                value: cell.hits * f - mean + constant,
                slope: cell.hits - mean,
                weight: mean.max(LEAST_WEIGHT),
            }
        }
        Law::Binomial => {
            let share = 1.0 / (1.0 + (-f).exp());
            let log_share = if f > 0.0 { -(-f).exp().ln_1p() } else { f - f.exp().ln_1p() };
            let misses = cell.trials - cell.hits;
            Terms {
                value: cell.hits * log_share + misses * (log_share - f),
                slope: cell.hits - cell.trials * share,
                weight: (cell.trials * share * (1.0 - share)).max(LEAST_WEIGHT),
            }
        }
    }
}

fn log_likelihood(law: Law, cells: &[Cell], f: &Vector) -> f64 {
    cells.iter().zip(f.iter()).map(|(c, f)| terms(law, c, *f).value).sum()
}

/// `(I + W^½ K W^½)`, factored, with the square roots of `W` and Newton's target `f - mean + slope / W`.
struct Target {
    roots: Vector,
    target: Vector,
    factor: Cholesky<f64, Dyn>,
}

impl Target {
    fn of(law: Law, cells: &[Cell], f: &Vector, mean: &Vector, covariance: &Matrix) -> Self {
        let number = cells.len();
        let (mut roots, mut target) = (Vector::zeros(number), Vector::zeros(number));
        for (i, cell) in cells.iter().enumerate() {
            let at = terms(law, cell, f[i]);
            roots[i] = at.weight.sqrt();
            target[i] = f[i] - mean[i] + at.slope / at.weight;
        }
        let mut inner = covariance.clone();
        for j in 0..number {
            for i in 0..number {
                inner[(i, j)] *= roots[i] * roots[j];
            }
            inner[(j, j)] += 1.0;
        }
        let factor = Cholesky::new(inner).unwrap_or_else(|| identity(number));
        Self { roots, target, factor }
    }

    /// `(K + W^-1)^-1`.
    fn precision(&self) -> Matrix {
        let mut inverse = self.factor.inverse();
        for j in 0..self.roots.len() {
            for i in 0..self.roots.len() {
                inverse[(i, j)] *= self.roots[i] * self.roots[j];
            }
        }
        inverse
    }
}

fn identity(number: usize) -> Cholesky<f64, Dyn> {
    Cholesky::new_unchecked(Matrix::identity(number, number))
}

fn log_determinant(factor: &Cholesky<f64, Dyn>) -> f64 {
    2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>()
}

/// Series fitted together under given sizes.
pub(super) struct Fit {
    /// Log of the likelihood with everything but the sizes integrated out.
    pub log_marginal: f64,
    /// The log rates or log odds, series by series.
    pub f: Vec<Vector>,
    mean: f64,
    season: Vector,
    season_covariance: Matrix,
    precisions: Vec<Matrix>,
    targets: Vec<Vector>,
}

/// One step of Newton's method.
struct Step {
    fit: Fit,
    f: Vec<Vector>,
}

/// What stays the same through all steps of a fit.
pub(super) struct Model<'a> {
    pub law: Law,
    /// The middle of each stretch of the shared season, in days from the date.
    pub stretches: &'a [f64],
    pub series: &'a [Series<'a>],
    pub sizes: &'a Sizes,
    /// The log rate or log odds of all together.
    pub mean: f64,
}

impl Model<'_> {
    /// Fits, from where another fit of the same series stood if there is one.
    pub fn fit(&self, start: Option<&[Vector]>) -> Fit {
        let season = self.sizes.season(self.stretches);
        let root = Cholesky::new(season).unwrap_or_else(|| identity(self.stretches.len())).l();
        let own = |s: &Series| self.sizes.own(s.wildness, s.cells);
        let covariances: Vec<Matrix> = self.series.iter().map(own).collect();
        let mut f = start.map_or_else(|| self.level_of_each(), <[Vector]>::to_vec);
        let mut step = self.step(&f, &root, &covariances);
        for _ in 1..MOST_STEPS {
            let mut farthest: f64 = 0.0;
            for (here, there) in f.iter_mut().zip(&step.f) {
                for (x, y) in here.iter_mut().zip(there.iter()) {
                    let away = *y - *x;
                    farthest = farthest.max(away.abs());
                    *x += away.clamp(-LONGEST_STEP, LONGEST_STEP);
                }
            }
            if farthest < STILL {
                break;
            }
            step = self.step(&f, &root, &covariances);
        }
        Fit { f, ..step.fit }
    }

    fn level_of_each(&self) -> Vec<Vector> {
        let level = |s: &Series| Vector::from_element(s.cells.len(), level(self.law, s.cells));
        self.series.iter().map(level).collect()
    }

    fn step(&self, f: &[Vector], root: &Matrix, covariances: &[Matrix]) -> Step {
        let number = self.stretches.len();
        let (mut shared, mut right) = (Matrix::zeros(number, number), Vector::zeros(number));
        let (mut precisions, mut targets, mut log_det) = (Vec::new(), Vec::new(), 0.0);
        for ((series, f), covariance) in self.series.iter().zip(f).zip(covariances) {
            let mean = Vector::from_element(f.len(), self.mean);
            let at = Target::of(self.law, series.cells, f, &mean, covariance);
            log_det += log_determinant(&at.factor);
            let precision = at.precision();
            let pull = &precision * &at.target;
            for (j, of) in series.cells.iter().enumerate() {
                right[of.stretch] += pull[j];
                for (i, with) in series.cells.iter().enumerate() {
                    shared[(with.stretch, of.stretch)] += precision[(i, j)];
                }
            }
            precisions.push(precision);
            targets.push(at.target);
        }
        let mut inner = root.tr_mul(&(&shared * root));
        for i in 0..number {
            inner[(i, i)] += 1.0;
        }
        let factor = Cholesky::new(inner).unwrap_or_else(|| identity(number));
        log_det += log_determinant(&factor);
        let white = factor.solve(&root.tr_mul(&right));
        let season = root * &white;
        let mut squares = white.norm_squared();
        let mut value = 0.0;
        let mut fitted = Vec::new();
        for (c, series) in self.series.iter().enumerate() {
            let shared =
                Vector::from_fn(series.cells.len(), |i, _| season[series.cells[i].stretch]);
            let pull = &precisions[c] * (&targets[c] - &shared);
            let own = &covariances[c] * &pull;
            squares += own.dot(&pull);
            let f = (shared + own).add_scalar(self.mean);
            value += log_likelihood(self.law, series.cells, &f);
            fitted.push(f);
        }
        let fit = Fit {
            log_marginal: value - 0.5 * (squares + log_det),
            f: Vec::new(),
            mean: self.mean,
            season,
            season_covariance: root * factor.inverse() * root.transpose(),
            precisions,
            targets,
        };
        Step { fit, f: fitted }
    }
}

/// The log rate or log odds of some cells together, half an event added.
pub(super) fn level(law: Law, cells: &[Cell]) -> f64 {
    let sum = |of: fn(&Cell) -> f64| cells.iter().map(of).sum::<f64>();
    let (hits, trials, nights) = (sum(|c| c.hits), sum(|c| c.trials), sum(|c| c.nights));
    match law {
        Law::Poisson => ((hits + 0.5) / nights.max(1.0)).ln(),
        Law::Binomial => ((hits + 0.5) / (trials - hits + 0.5)).ln(),
    }
}

impl Fit {
    /// What the fit leads to expect of other cells of its first series.
    pub fn expected(&self, model: &Model, ahead: &[Cell]) -> Expected {
        let first = &model.series[0];
        let shared =
            |cells: &[Cell]| Vector::from_fn(cells.len(), |i, _| self.season[cells[i].stretch]);
        let between = model.sizes.between(first.wildness, ahead, first.cells);
        let gain = &between * &self.precisions[0];
        let own = &gain * (&self.targets[0] - shared(first.cells));
        let mut of_season = Matrix::zeros(ahead.len(), self.season.len());
        for (i, cell) in ahead.iter().enumerate() {
            of_season[(i, cell.stretch)] += 1.0;
            for (j, known) in first.cells.iter().enumerate() {
                of_season[(i, known.stretch)] -= gain[(i, j)];
            }
        }
        let left = model.sizes.own(first.wildness, ahead) - &gain * between.transpose();
        Expected {
            mean: (shared(ahead) + own).add_scalar(self.mean),
            covariance: left + &of_season * &self.season_covariance * of_season.transpose(),
        }
    }
}

impl Expected {
    /// Log likelihood of cells that are expected so, shifted by so much each; `start` is where another shift's own
    /// fit stood.
    pub fn log_likelihood(
        &self,
        law: Law,
        cells: &[Cell],
        shift: &Vector,
        start: &mut Option<Vector>,
    ) -> f64 {
        let mean = &self.mean + shift;
        let mut away = start.take().unwrap_or_else(|| Vector::zeros(cells.len()));
        let mut result = 0.0;
        for _ in 0..MOST_STEPS {
            let at = Target::of(law, cells, &(&mean + &away), &mean, &self.covariance);
            let pull = at.factor.solve(&at.roots.component_mul(&at.target));
            let pull = at.roots.component_mul(&pull);
            let fitted = &self.covariance * &pull;
            let value = log_likelihood(law, cells, &(&mean + &fitted));
            result = value - 0.5 * (fitted.dot(&pull) + log_determinant(&at.factor));
            let step = fitted - &away;
            let farthest = step.amax();
            away += step.map(|d| d.clamp(-LONGEST_STEP, LONGEST_STEP));
            if farthest < STILL {
                break;
            }
        }
        *start = Some(away);
        result
    }
}
