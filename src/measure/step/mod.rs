//! Whether some series took a step at a date that the others, the season and their own past do not explain.
//!
//! One model of the whole record. The log rate (or log odds) of series `c` on day `t` is
//!
//! ```text
//! level[c] + year[c, year of t] + season[t] + drift[c, t] + night[c, t] + (own[c] + step) if t is after the date
//! ```
//!
//! The season is shared by all; it and the drifts are Ornstein-Uhlenbeck processes, of which half comes again every year
//! where the record has several; every series takes an own step at the date
//! also when nothing happens; `step` is what is asked about, and only of the series in question. Sizes and memories of
//! all of it are learned from the record and averaged over. The series in question may be wilder than the others, up
//! to four times. What happened may have lasted to the end of the record or for some weeks; both are averaged over, so
//! that a return does not hide that something was gone.
//!
//! The likelihood of a step is that of the counts after the date given all other counts. Its root is referred to the
//! normal distribution (Wilks 1938, Annals of Mathematical Statistics 9:60-62), p-value and interval alike, so that
//! an interval never disagrees with its p-value. How often that is wrong is measured in `tests/bench/error_rates.md`.

mod latent;
mod sizes;

use statrs::distribution::{ContinuousCDF, Normal};

pub use latent::Cell;
use latent::{Expected, Fit, Model, Series, Vector, level};
use sizes::likely;

use super::{Estimate, Law};

/// The counts that a question about a step is asked of.
#[derive(Debug, Clone)]
pub struct Record {
    /// Rates or shares.
    pub law: Law,
    /// The middle of each stretch of days that the series share, in days from the date.
    pub stretches: Vec<f64>,
    /// Cells of the series in question, before the date and after it. Several units of it (near cameras, say) lie close
    /// together and may go their own way together, so they drift as one and their number makes no chance smaller.
    pub asked: [Vec<Cell>; 2],
    /// Cells of the other series.
    pub others: Vec<Vec<Cell>>,
}

/// How many times as wild as the others a series in question may be, and how likely that is beforehand. Chosen by
/// measurement (`tests/bench/error_rates.md`).
const WILDNESS: [(f64, f64); 3] = [(1.0, 0.4), (2.0, 0.3), (4.0, 0.3)];
/// How many days what happened may have lasted; as likely all together as that it lasted to the end.
const LASTED_DAYS: [f64; 4] = [15.0, 30.0, 45.0, 60.0];
/// So many days of the record must follow, or it cannot be told from one that lasted.
const FOLLOWED_DAYS: f64 = 5.0;
/// Sizes whose weight is less than this part of the largest, as a log, are left out.
const NEGLIGIBLE: f64 = 6.0;
/// Steps that are tried, in log units: from a ten-thousandth to ten thousand times as much.
const STEP: f64 = 0.45;
const STEPS: i32 = 20;

/// One way in which the record may have come about, with its weight.
struct Way {
    log_weight: f64,
    expected: Expected,
}

/// A question about a step, fitted.
pub struct StepFit {
    law: Law,
    after: Vec<Cell>,
    ways: Vec<Way>,
    /// Log likelihoods of the steps that were tried.
    curve: Vec<(f64, f64)>,
    /// Hits and trials of the series in question before the date.
    before: [f64; 2],
    others: usize,
}

impl Record {
    /// Fits the record; `None` where the series in question have no cell after the date.
    pub fn fit(&self) -> Option<StepFit> {
        let [before, after] = self.asked.clone();
        if after.is_empty() {
            return None;
        }
        let ways = self.ways();
        let curve = curve(self.law, &after, &ways);
        let before = before.iter().fold([0.0; 2], |sum, c| [sum[0] + c.hits, sum[1] + c.trials]);
        Some(StepFit { law: self.law, after, ways, curve, before, others: self.others.len() })
    }

    fn ways(&self) -> Vec<Way> {
        let mean = self.mean();
        let series = |wildness: f64| -> Vec<Series> {
            let asked = Series { cells: &self.asked[0], wildness };
            let others = self.others.iter().map(|cells| Series { cells, wildness: 1.0 });
            std::iter::once(asked).chain(others).collect()
        };
        let alike = series(1.0);
        let mut ways: Vec<Way> = Vec::new();
        for likely in likely(self.law, &self.stretches, &alike, mean) {
            let mut stood: Option<Vec<Vector>> = None;
            for (wildness, weight) in WILDNESS {
                let series = series(wildness);
                let model = Model {
                    law: self.law,
                    stretches: &self.stretches,
                    series: &series,
                    sizes: &likely.sizes,
                    mean,
                };
                let fit = model.fit(stood.as_deref());
                ways.push(Way {
                    log_weight: fit.log_marginal + likely.log_prior + weight.ln(),
                    expected: fit.expected(&model, &self.asked[1]),
                });
                let Fit { f, .. } = fit;
                stood = Some(f);
            }
        }
        let largest = ways.iter().map(|w| w.log_weight).fold(f64::NEG_INFINITY, f64::max);
        ways.retain(|w| w.log_weight > largest - NEGLIGIBLE);
        ways
    }

    fn mean(&self) -> f64 {
        let asked = self.asked.iter().flatten();
        let all: Vec<Cell> = asked.chain(self.others.iter().flatten()).copied().collect();
        level(self.law, &all)
    }
}

/// How long what happened may have lasted, in days, with the log of how likely that is beforehand.
fn lasted(after: &[Cell]) -> Vec<(f64, f64)> {
    let last = after.iter().map(|c| c.at_days).fold(0.0, f64::max);
    let ended = LASTED_DAYS.into_iter().filter(|days| days + FOLLOWED_DAYS < last);
    let ended: Vec<f64> = ended.collect();
    if ended.is_empty() {
        return vec![(f64::INFINITY, 0.0)];
    }
    let each = (0.5 / ended.len() as f64).ln();
    let to_the_end = (f64::INFINITY, 0.5_f64.ln());
    std::iter::once(to_the_end).chain(ended.into_iter().map(|days| (days, each))).collect()
}

fn curve(law: Law, after: &[Cell], ways: &[Way]) -> Vec<(f64, f64)> {
    let lasted = lasted(after);
    let mut stood: Vec<Option<Vector>> = vec![None; ways.len() * lasted.len()];
    let mut value = |step: f64| {
        let mut logs = Vec::new();
        for (w, way) in ways.iter().enumerate() {
            for (l, (days, log_prior)) in lasted.iter().enumerate() {
                let shift = shift(after, step, (0.0, *days));
                let start = &mut stood[w * lasted.len() + l];
                let log = way.expected.log_likelihood(law, after, &shift, start);
                logs.push(way.log_weight + log_prior + log);
            }
        }
        log_sum(&logs)
    };
    let steps = (-STEPS / 2..=STEPS / 2).map(|i| f64::from(i) * STEP);
    steps.map(|step| (step, value(step))).collect()
}

/// A step on the days from one to another after the date.
fn shift(cells: &[Cell], step: f64, (from, until): (f64, f64)) -> Vector {
    let is_within = |c: &Cell| (from..until).contains(&c.at_days);
    Vector::from_fn(cells.len(), |i, _| if is_within(&cells[i]) { step } else { 0.0 })
}

fn log_sum(logs: &[f64]) -> f64 {
    let largest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    largest + logs.iter().map(|log| (log - largest).exp()).sum::<f64>().ln()
}

/// Where a parabola through the largest of some points and its neighbours is highest, and how high.
fn highest(curve: &[(f64, f64)]) -> (f64, f64) {
    let place = (0..curve.len()).max_by(|a, b| curve[*a].1.total_cmp(&curve[*b].1)).unwrap_or(0);
    let (at, value) = curve[place];
    let sides = place.checked_sub(1).zip(curve.get(place + 1));
    let Some((left, right)) = sides.map(|(l, r)| (curve[l].1, r.1)) else {
        return (at, value);
    };
    let bend = left - 2.0 * value + right;
    if bend >= -1e-12 {
        return (at, value);
    }
    let off = 0.5 * (left - right) / bend;
    (at + off * STEP, value - 0.25 * (left - right) * off)
}

impl StepFit {
    /// Two-sided p-value of no step.
    pub fn p_value(&self) -> f64 {
        let none = self.curve[self.curve.len() / 2].1;
        let root = (2.0 * (highest(&self.curve).1 - none)).max(0.0).sqrt();
        statrs::function::erf::erfc(root / std::f64::consts::SQRT_2)
    }

    /// The step with its two-sided 95 % interval, in log units; an end that the counts do not bound is infinite.
    pub fn step(&self) -> Estimate {
        let (value, _) = highest(&self.curve);
        let [low, high] = self.reach(0.025);
        Estimate { value, low, high }
    }

    /// The ends beyond which the step lies with a chance of `tail` each.
    pub fn reach(&self, tail: f64) -> [f64; 2] {
        let (at, most) = highest(&self.curve);
        let z = Normal::standard().inverse_cdf(1.0 - tail);
        let least = most - 0.5 * z * z;
        let crossing = |outward: &mut dyn Iterator<Item = &(f64, f64)>, none: f64| {
            let mut inner = (at, most);
            for point in outward {
                if point.1 < least {
                    let part = (least - inner.1) / (point.1 - inner.1);
                    return inner.0 + part * (point.0 - inner.0);
                }
                inner = *point;
            }
            none
        };
        let mut below = self.curve.iter().rev().filter(|p| p.0 < at);
        let mut above = self.curve.iter().filter(|p| p.0 > at);
        [crossing(&mut below, f64::NEG_INFINITY), crossing(&mut above, f64::INFINITY)]
    }

    /// How many events, or hits, are expected after the date without a step.
    pub fn expected_hits(&self) -> f64 {
        let weights = self.weights();
        let of_way = |way: &Way| -> f64 {
            let cells = self.after.iter().zip(way.expected.mean.iter());
            let hits = cells.map(|(cell, f)| match self.law {
                Law::Poisson => cell.nights * f.exp(),
                Law::Binomial => cell.trials / (1.0 + (-f).exp()),
            });
            hits.sum()
        };
        self.ways.iter().zip(weights).map(|(way, weight)| weight * of_way(way)).sum()
    }

    /// Variance of the step that more nights do not make smaller, as far as the season, drifts and own steps say.
    pub fn drift_variance(&self) -> f64 {
        let weights = self.weights();
        let total: f64 = self.after.iter().map(|c| c.nights).sum();
        let of_way = |way: &Way| -> f64 {
            let part = Vector::from_fn(self.after.len(), |i, _| self.after[i].nights / total);
            (part.transpose() * &way.expected.covariance * &part)[(0, 0)]
        };
        let all: f64 = self.ways.iter().zip(weights).map(|(w, weight)| weight * of_way(w)).sum();
        (all - self.variance_before()).max(0.0)
    }

    /// The part of the expectation's variance that the counts before make.
    fn variance_before(&self) -> f64 {
        let [hits, trials] = self.before;
        match self.law {
            Law::Poisson => 1.0 / (hits + 0.5),
            Law::Binomial => 1.0 / (hits + 0.5) + 1.0 / (trials - hits + 0.5),
        }
    }

    /// Events, or hits, before the date, and trials.
    pub fn before(&self) -> [f64; 2] {
        self.before
    }

    /// Trials after it.
    pub fn trials_after(&self) -> f64 {
        self.after.iter().map(|c| c.trials).sum()
    }

    /// How many other series it was set against.
    pub fn others(&self) -> usize {
        self.others
    }

    fn weights(&self) -> Vec<f64> {
        let logs: Vec<f64> = self.ways.iter().map(|w| w.log_weight).collect();
        let all = log_sum(&logs);
        logs.into_iter().map(|log| (log - all).exp()).collect()
    }

    /// When what happened ended, in days after the date: the median and the 95 % range of where a step as large as the
    /// fitted one ends. `None` unless it ended within the record with a chance of 95 %.
    pub fn ended(&self) -> Option<[f64; 3]> {
        let (step, _) = highest(&self.curve);
        let mut ends: Vec<f64> = self.after.iter().map(|c| c.at_days + 0.5).collect();
        ends.sort_by(f64::total_cmp);
        ends.dedup();
        let last = *ends.last()?;
        let logs = self.log_likelihoods(step, ends.iter().map(|end| (0.0, *end)));
        // Beforehand it is as likely to last as to end.
        let before_end = (0.5 / (logs.len() - 1).max(1) as f64).ln();
        let last_of = logs.len() - 1;
        let prior = |i: usize| if i == last_of { 0.5_f64.ln() } else { before_end };
        let logs: Vec<f64> = logs.iter().enumerate().map(|(i, log)| log + prior(i)).collect();
        let chances = chances(&logs);
        let lasts: f64 = chances.last().copied().unwrap_or(1.0);
        (lasts < 0.05).then(|| quantiles(&ends, &chances).map(|day| day.min(last)))
    }

    fn log_likelihoods(&self, step: f64, spans: impl Iterator<Item = (f64, f64)>) -> Vec<f64> {
        let mut stood: Vec<Option<Vector>> = vec![None; self.ways.len()];
        let mut value = |span: (f64, f64)| {
            let shift = shift(&self.after, step, span);
            let ways = self.ways.iter().zip(&mut stood);
            let log = |(way, start): (&Way, &mut Option<Vector>)| {
                way.log_weight + way.expected.log_likelihood(self.law, &self.after, &shift, start)
            };
            log_sum(&ways.map(log).collect::<Vec<f64>>())
        };
        spans.map(&mut value).collect()
    }

    /// When a step of this size that lasted until a day began, in days from the date that the record is cut at: median and
    /// 95 % range. Ask it of a record that is cut well before the date in question.
    pub fn began(&self, step: f64, until: f64) -> Option<[f64; 3]> {
        let mut begins: Vec<f64> = self.after.iter().map(|c| c.at_days - 0.5).collect();
        begins.sort_by(f64::total_cmp);
        begins.dedup();
        begins.retain(|begin| *begin < until);
        let spans = begins.iter().map(|begin| (*begin, until));
        let logs = self.log_likelihoods(step, spans);
        (!begins.is_empty()).then(|| quantiles(&begins, &chances(&logs)))
    }
}

fn chances(logs: &[f64]) -> Vec<f64> {
    let all = log_sum(logs);
    logs.iter().map(|log| (log - all).exp()).collect()
}

/// The 50 %, 2.5 % and 97.5 % quantiles of values with chances, in order.
fn quantiles(values: &[f64], chances: &[f64]) -> [f64; 3] {
    let at = |part: f64| {
        let mut sum = 0.0;
        let passed = chances.iter().position(|c| {
            sum += c;
            sum >= part
        });
        values[passed.unwrap_or(values.len() - 1)]
    };
    [at(0.5), at(0.025), at(0.975)]
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::sizes::Sizes;
    use super::*;

    fn number(value: &Value) -> f64 {
        value.as_f64().unwrap()
    }

    fn numbers(value: &Value) -> Vec<f64> {
        value.as_array().unwrap().iter().map(number).collect()
    }

    fn cells(series: &Value) -> Vec<Cell> {
        let cell = |row: &Value| {
            let [at_days, stretch, year, nights, hits, trials] = numbers(row)[..] else {
                panic!("{row}");
            };
            let (stretch, year) = (stretch as usize, year as i32);
            Cell { at_days, stretch, unit: 0, year, nights, hits, trials }
        };
        series.as_array().unwrap().iter().map(cell).collect()
    }

    fn sizes(value: &Value) -> Sizes {
        let of = |key: &str| number(&value[key]);
        Sizes {
            season_sd: of("season_sd"),
            drift_sd: of("drift_sd"),
            drift_days: of("drift_days"),
            night_sd: of("night_sd"),
            step_sd: of("step_sd"),
            year_sd: of("year_sd"),
        }
    }

    fn is_close(ours: f64, theirs: f64) -> bool {
        (ours - theirs).abs() <= 0.02 * theirs.abs().max(0.5)
    }

    /// Against a dense fit by scipy's optimiser of everything at once (`tests/reference/step.py`): the likelihood, what
    /// is expected after the date, and the likelihood of steps, within 2 %.
    #[test]
    fn fits_are_those_of_a_general_library() {
        let all: Value =
            serde_json::from_str(include_str!("../../../tests/reference/step.json")).unwrap();
        for (n, row) in all.as_array().unwrap().iter().enumerate() {
            let law = if row["law"] == "poisson" { Law::Poisson } else { Law::Binomial };
            let series: Vec<Vec<Cell>> =
                row["series"].as_array().unwrap().iter().map(cells).collect();
            let (before, after): (Vec<Cell>, Vec<Cell>) =
                series[0].iter().partition(|c| c.at_days < 0.0);
            let asked = Series { cells: &before, wildness: number(&row["wildness"]) };
            let others = series[1..].iter().map(|cells| Series { cells, wildness: 1.0 });
            let series: Vec<Series> = std::iter::once(asked).chain(others).collect();
            let stretches = numbers(&row["stretches"]);
            let sizes = sizes(&row["sizes"]);
            let mean = number(&row["mean"]);
            let model = Model { law, stretches: &stretches, series: &series, sizes: &sizes, mean };
            let fit = model.fit(None);
            let theirs = number(&row["log_marginal"]);
            assert!((fit.log_marginal - theirs).abs() < 0.02, "{n}: {} {theirs}", fit.log_marginal);
            let expected = fit.expected(&model, &after);
            for (ours, theirs) in expected.mean.iter().zip(numbers(&row["expected_mean"])) {
                assert!(is_close(*ours, theirs), "{n}: mean {ours} {theirs}");
            }
            for (i, theirs) in row["expected_covariance"].as_array().unwrap().iter().enumerate() {
                for (j, theirs) in numbers(theirs).into_iter().enumerate() {
                    let ours = expected.covariance[(i, j)];
                    assert!(is_close(ours, theirs), "{n}: covariance {ours} {theirs}");
                }
            }
            let logs = numbers(&row["step_log_likelihoods"]);
            for (step, theirs) in numbers(&row["steps"]).into_iter().zip(logs) {
                let shift = Vector::from_element(after.len(), step);
                let ours = expected.log_likelihood(law, &after, &shift, &mut None);
                assert!((ours - theirs).abs() < 0.02, "{n}: step {step}: {ours} {theirs}");
            }
        }
    }

    /// What chance has no part in: a loss of everything is a step downwards without a lower end, and as many as ever are
    /// no step.
    #[test]
    fn a_loss_of_everything_has_no_lower_end() {
        let cells = |after: f64, n: usize| -> [Vec<Cell>; 2] {
            let cell = |i: i32| Cell {
                at_days: f64::from(i) * 5.0 + 2.5,
                stretch: (i + 6) as usize,
                unit: 0,
                year: 2025,
                nights: 5.0,
                hits: if i < 0 { 5.0 + ((i + n as i32) % 2) as f64 } else { after },
                trials: 10.0,
            };
            [(-6..0).map(cell).collect(), (0..6).map(cell).collect()]
        };
        let fit = |after: f64| {
            let record = Record {
                law: Law::Poisson,
                stretches: (-6..6).map(|i| f64::from(i) * 5.0 + 2.5).collect(),
                asked: cells(after, 0),
                others: (1..5).map(|n| cells(5.0, n).concat()).collect(),
            };
            record.fit().unwrap()
        };
        let (gone, same) = (fit(0.0), fit(5.0));
        assert!(gone.p_value() < 0.01 && gone.step().high < -1.5, "{:?}", gone.step());
        assert_eq!(gone.step().low, f64::NEG_INFINITY);
        assert!(same.p_value() > 0.5 && (same.step().low..same.step().high).contains(&0.0));
        assert!((same.expected_hits() - 30.0).abs() < 6.0, "{}", same.expected_hits());
        assert!(gone.ended().is_none());
    }
}
