//! Days, not events, are the units: how much less a run of events is worth than as many
//! independent ones.

use super::Counts;

/// Hits and trials of one day.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DayCount {
    /// Trials that were hits.
    pub hits: f64,
    /// Trials.
    pub trials: f64,
}

/// Days over which a run is followed: the covariance of days further apart is taken as zero.
pub const RUN_DAYS: usize = 6;

/// What runs of days cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Runs {
    /// By what factor the variance exceeds that of independent events; never below 1, because luck
    /// in the data is not taken as precision. At 1 nothing was estimated, and the freedom is [`super::KNOWN`].
    pub design_effect: f64,
    /// Degrees of freedom with which it is known: `3 N / 2 M` for `N` days and a Bartlett window of
    /// half-width `M` (Priestley 1981, Spectral Analysis and Time Series, table 6.1).
    pub freedom: f64,
}

impl Runs {
    /// The more costly of two estimates.
    #[must_use]
    pub fn or_worse(self, other: Self) -> Self {
        if other.design_effect > self.design_effect { other } else { self }
    }

    /// Events that stand for themselves.
    pub const NONE: Self = Self { design_effect: 1.0, freedom: super::KNOWN };
}

/// Runs in shares estimated from days, each followed over `run_days`.
///
/// Each group is a stretch of days in order, with its own share. The variance of the ratio estimate
/// is linearised with the day as unit (Rao & Scott 1992, Biometrics 48:577-585), the products of
/// neighbouring days are added with weights that fall to zero past `run_days` days (Newey & West
/// 1987, Econometrica 55:703-708), and the groups are pooled. A group's own share takes some of the
/// variation with it; what is left is divided by [`kept_of_noise`].
pub fn runs_of_shares<G: AsRef<[DayCount]>>(groups: &[G], run_days: usize) -> Runs {
    let (mut observed, mut expected, mut seen_days) = (0.0, 0.0, 0);
    for days in groups.iter().map(AsRef::as_ref) {
        let Some(errors) = Errors::of_shares(days) else {
            continue;
        };
        let units = days.iter().filter(|d| d.trials > 0.0).count() as f64;
        if units < 2.0 {
            continue;
        }
        observed += units / (units - 1.0) * long_run_sum(&errors.of_days, run_days)
            / kept_of_noise(days.len(), run_days);
        expected += errors.expected;
        seen_days += days.len();
    }
    runs(observed, expected, seen_days, run_days)
}

/// Runs in daily counts: their variance, with the products of neighbouring days as in [`runs_of_shares`]
/// (Newey & West 1987), over their mean, pooled over groups; a Poisson process has the design effect 1.
pub fn runs_of_counts<G: AsRef<[f64]>>(groups: &[G], run_days: usize) -> Runs {
    let (mut observed, mut expected, mut seen_days) = (0.0, 0.0, 0);
    for days in groups.iter().map(AsRef::as_ref) {
        let n = days.len() as f64;
        if n < 2.0 {
            continue;
        }
        let errors = Errors::of_counts(days);
        observed += n / (n - 1.0) * long_run_sum(&errors.of_days, run_days)
            / kept_of_noise(days.len(), run_days);
        expected += errors.expected;
        seen_days += days.len();
    }
    runs(observed, expected, seen_days, run_days)
}

/// Runs in daily counts that may last for weeks, followed further where two weeks show some (after Newey & West
/// 1994, as in [`lasting_runs_of_shares`]).
pub fn lasting_runs_of_counts<G: AsRef<[f64]>>(groups: &[G], longest: usize) -> Runs {
    followed(longest, |run_days| runs_of_counts(groups, run_days))
}

/// Runs in shares that may last for weeks: followed over two weeks, and where that shows some, the further the more
/// it shows, up to `longest` days, so that days without any are not made to pay for what only the furthest could
/// tell (how far is read off the data as in Newey & West 1994, Review of Economic Studies 61:631-653; the rule itself
/// is chosen by measurement, `tests/bench/error_rates.md`).
pub fn lasting_runs_of_shares<G: AsRef<[DayCount]>>(groups: &[G], longest: usize) -> Runs {
    followed(longest, |run_days| runs_of_shares(groups, run_days))
}

fn followed(longest: usize, runs: impl Fn(usize) -> Runs) -> Runs {
    const FIRST_DAYS: usize = 14;
    /// Design effects at which runs begin to be followed further, and are followed to the end.
    const FROM: f64 = 1.5;
    const FULLY: f64 = 2.5;
    let first = runs(FIRST_DAYS.min(longest));
    let part = ((first.design_effect - FROM) / (FULLY - FROM)).clamp(0.0, 1.0);
    let further = part * longest.saturating_sub(FIRST_DAYS) as f64;
    match further.round() as usize {
        0 => first,
        days => runs(FIRST_DAYS + days),
    }
}

/// Days of a block within which everything may hang together.
const BLOCK_DAYS: usize = 14;
/// Two blocks would tell nearly nothing of how far they differ.
const FEWEST_BLOCKS: usize = 4;

/// Runs in a share over a whole record, however long they last within a block of two weeks, or of a quarter of a
/// shorter stretch: the variance between the blocks' errors, the ratio estimate linearised (batch means:
/// Schmeiser 1982, Operations Research 30:556-568). Each stretch of days has its own share, so that a change
/// between two of them is no run.
pub fn share_in_blocks<G: AsRef<[DayCount]>>(stretches: &[G]) -> Runs {
    let mut sum = Blocks::default();
    for days in stretches {
        sum.add_shares(days.as_ref());
    }
    sum.runs()
}

/// The same of counts on days: batch means (Schmeiser 1982), over what a Poisson count would vary by.
pub fn count_in_blocks<G: AsRef<[f64]>>(stretches: &[G]) -> Runs {
    let mut sum = Blocks::default();
    for days in stretches {
        sum.add_counts(days.as_ref());
    }
    sum.runs()
}

/// Runs in a share whose trials fall into clusters, each `(hits, trials)`: the ratio estimate of Rao & Scott
/// (1992, Biometrics 48:577-585), every cluster independent of the others. Fewer than two clusters tell
/// nothing.
pub fn share_in_clusters(clusters: &[DayCount]) -> Runs {
    let total = total(clusters);
    let n = clusters.len() as f64;
    let Some(share) = total.share().filter(|_| n > 1.0) else {
        return Runs::NONE;
    };
    let squares = clusters.iter().map(|c| (c.hits - share * c.trials).powi(2));
    let sum = Blocks {
        observed: n / (n - 1.0) * squares.sum::<f64>(),
        expected: total.trials * share * (1.0 - share),
        freedom: n - 1.0,
    };
    sum.runs()
}

/// What blocks vary by, and what independent events would; those of several records can be added up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Blocks {
    /// The variance that was seen, summed.
    pub observed: f64,
    /// What it would be on average.
    pub expected: f64,
    /// Degrees of freedom.
    pub freedom: f64,
}

impl Blocks {
    /// Takes in a stretch of days with a share of its own; see [`share_in_blocks`].
    pub fn add_shares(&mut self, days: &[DayCount]) {
        if let Some(errors) = Errors::of_shares(days) {
            self.take_in(&errors);
        }
    }

    /// Takes in a stretch of daily counts with a mean of its own; see [`count_in_blocks`].
    pub fn add_counts(&mut self, days: &[f64]) {
        self.take_in(&Errors::of_counts(days));
    }

    fn take_in(&mut self, Errors { of_days: errors, expected }: &Errors) {
        let number = (errors.len() / BLOCK_DAYS).max(FEWEST_BLOCKS).min(errors.len());
        if number < 2 {
            return;
        }
        let begin = |i: usize| i * errors.len() / number;
        let sums = (0..number).map(|i| errors[begin(i)..begin(i + 1)].iter().sum::<f64>());
        let n = number as f64;
        self.observed += n / (n - 1.0) * sums.map(|s| s * s).sum::<f64>();
        self.expected += *expected;
        self.freedom += n - 1.0;
    }

    /// What it costs.
    pub fn runs(&self) -> Runs {
        if self.expected <= 0.0 || self.observed <= self.expected {
            return Runs::NONE;
        }
        Runs { design_effect: self.observed / self.expected, freedom: self.freedom }
    }
}

fn runs(observed: f64, expected: f64, days: usize, run_days: usize) -> Runs {
    let ratio = if expected > 0.0 { observed / expected } else { 1.0 };
    if ratio <= 1.0 {
        return Runs::NONE;
    }
    Runs { design_effect: ratio, freedom: (1.5 * days as f64 / (run_days + 1) as f64).max(1.0) }
}

/// What part of the long-run variance (Newey & West 1987, Econometrica 55:703-708) of independent days is left in
/// them once their own mean is taken out: the expected value of that quadratic form, the trace of the Bartlett
/// weights times the centring matrix, over `days - 1`. For a run of 6 days
/// .63 of 14 days, .74 of 21, .81 of 30 and .90 of 60.
pub fn kept_of_noise(days: usize, run_days: usize) -> f64 {
    let n = days as f64;
    let lags = 1..=run_days.min(days.saturating_sub(1));
    let pairs: f64 = lags.map(|lag| 2.0 * bartlett(lag, run_days) * (n - lag as f64)).sum();
    ((n - (n + pairs) / n) / (n - 1.0)).max(LEAST_KEPT)
}

/// Of fewer days than a run is followed over nearly nothing is left, and a correction is none.
const LEAST_KEPT: f64 = 0.2;

fn bartlett(lag: usize, run_days: usize) -> f64 {
    1.0 - lag as f64 / (run_days + 1) as f64
}

/// How far each day of a stretch lies from what the stretch as a whole leads to expect.
pub(super) struct Errors {
    pub of_days: Vec<f64>,
    /// The variance of their sum, if events were independent.
    pub expected: f64,
}

impl Errors {
    /// Of hits, by the stretch's own share; `None` without a trial.
    pub fn of_shares(days: &[DayCount]) -> Option<Self> {
        let total = total(days);
        let share = total.share()?;
        Some(Self {
            of_days: days.iter().map(|d| d.hits - share * d.trials).collect(),
            expected: total.trials * share * (1.0 - share),
        })
    }

    /// Of counts, by their own mean.
    pub fn of_counts(days: &[f64]) -> Self {
        let events: f64 = days.iter().sum();
        let mean = events / days.len().max(1) as f64;
        Self { of_days: days.iter().map(|d| d - mean).collect(), expected: events }
    }
}

/// All trials and hits of some days.
fn total(days: &[DayCount]) -> Counts {
    Counts { hits: days.iter().map(|d| d.hits).sum(), trials: days.iter().map(|d| d.trials).sum() }
}

/// Squares plus Bartlett-weighted products of neighbours; not negative.
fn long_run_sum(errors: &[f64], run_days: usize) -> f64 {
    weighted_products(errors, run_days, |lag| bartlett(lag, run_days)).max(0.0)
}

/// Squares of days, and the products of days up to `furthest` apart, both ways round, by their distance's weight.
pub(super) fn weighted_products(
    errors: &[f64],
    furthest: usize,
    weight: impl Fn(usize) -> f64,
) -> f64 {
    let products = |lag: usize| -> f64 {
        let later = errors.get(lag..).unwrap_or_default();
        errors.iter().zip(later).map(|(a, b)| a * b).sum()
    };
    let neighbours: f64 = (1..=furthest).map(|lag| 2.0 * weight(lag) * products(lag)).sum();
    products(0) + neighbours
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(pairs: &[(f64, f64)]) -> Vec<DayCount> {
        pairs.iter().map(|&(hits, trials)| DayCount { hits, trials }).collect()
    }

    #[test]
    fn one_event_a_day_in_turns_is_no_run() {
        let turns: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i % 2), 1.0)).collect();
        assert_eq!(runs_of_shares(&[days(&turns)], RUN_DAYS).design_effect, 1.0);
    }

    #[test]
    fn runs_cost() {
        let blocks = [1, 1, 0, 1, 0, 0, 0, 1, 1, 0, 0, 1];
        let runs: Vec<(f64, f64)> =
            blocks.into_iter().flat_map(|hit| [(f64::from(hit), 1.0); 5]).collect();
        assert!(runs_of_shares(&[days(&runs)], RUN_DAYS).design_effect > 2.0);
        let lumps: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i % 2) * 5.0, 5.0)).collect();
        assert!(runs_of_shares(&[days(&lumps)], RUN_DAYS).design_effect >= 1.0);
    }

    #[test]
    fn nothing_to_learn_from() {
        assert_eq!(runs_of_shares::<Vec<DayCount>>(&[], RUN_DAYS).design_effect, 1.0);
        let empty = days(&[(0.0, 0.0); 5]);
        assert_eq!(runs_of_shares(&[&empty], RUN_DAYS).design_effect, 1.0);
        let single = days(&[(1.0, 3.0)]);
        assert_eq!(runs_of_shares(&[&single], RUN_DAYS).design_effect, 1.0);
        assert_eq!(runs_of_counts(&[[0.0; 9]], RUN_DAYS).design_effect, 1.0);
    }
}
