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
const RUN_DAYS: usize = 4;

/// The design effect of shares estimated from days: by what factor their variance exceeds that of
/// independent trials. Never below 1: luck in the data is not taken as precision.
///
/// Each group is a stretch of days in order, with its own share. The variance of the ratio estimate
/// is linearised with the day as unit (Rao & Scott 1992, Biometrics 48:577-585), the products of
/// neighbouring days are added with weights that fall to zero past `RUN_DAYS` days (Newey & West
/// 1987, Econometrica 55:703-708), and the groups are pooled.
pub fn design_effect(groups: &[&[DayCount]]) -> f64 {
    let (mut observed, mut expected) = (0.0, 0.0);
    for days in groups {
        let total = total(days);
        let Some(share) = total.share() else { continue };
        let units = days.iter().filter(|d| d.trials > 0.0).count() as f64;
        if units < 2.0 {
            continue;
        }
        let errors: Vec<f64> = days.iter().map(|d| d.hits - share * d.trials).collect();
        observed += units / (units - 1.0) * long_run_sum(&errors);
        expected += total.trials * share * (1.0 - share);
    }
    if expected > 0.0 {
        (observed / expected).max(1.0)
    } else {
        1.0
    }
}

/// Dispersion of daily counts: their variance over their mean, runs included, pooled over groups;
/// 1 for a Poisson process and never below it.
pub fn count_dispersion(groups: &[&[f64]]) -> f64 {
    let (mut observed, mut expected) = (0.0, 0.0);
    for days in groups {
        let n = days.len() as f64;
        if n < 2.0 {
            continue;
        }
        let mean = days.iter().sum::<f64>() / n;
        let errors: Vec<f64> = days.iter().map(|c| c - mean).collect();
        observed += n / (n - 1.0) * long_run_sum(&errors);
        expected += n * mean;
    }
    if expected > 0.0 {
        (observed / expected).max(1.0)
    } else {
        1.0
    }
}

/// All trials and hits of some days.
fn total(days: &[DayCount]) -> Counts {
    Counts {
        hits: days.iter().map(|d| d.hits).sum(),
        trials: days.iter().map(|d| d.trials).sum(),
    }
}

/// Squares plus Bartlett-weighted products of neighbours; not negative.
fn long_run_sum(errors: &[f64]) -> f64 {
    let products = |lag: usize| -> f64 {
        errors
            .iter()
            .zip(errors.iter().skip(lag))
            .map(|(a, b)| a * b)
            .sum()
    };
    let neighbours: f64 = (1..=RUN_DAYS)
        .map(|lag| 2.0 * (1.0 - lag as f64 / (RUN_DAYS + 1) as f64) * products(lag))
        .sum();
    (products(0) + neighbours).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(pairs: &[(f64, f64)]) -> Vec<DayCount> {
        pairs
            .iter()
            .map(|&(hits, trials)| DayCount { hits, trials })
            .collect()
    }

    #[test]
    fn one_event_a_day_in_turns_is_no_run() {
        let turns: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i % 2), 1.0)).collect();
        assert_eq!(design_effect(&[&days(&turns)]), 1.0);
    }

    #[test]
    fn runs_cost() {
        let runs: Vec<(f64, f64)> = (0..20).map(|i| (f64::from((i / 5) % 2), 1.0)).collect();
        assert!(design_effect(&[&days(&runs)]) > 2.0);
        let lumps: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i % 2) * 5.0, 5.0)).collect();
        assert!(design_effect(&[&days(&lumps)]) >= 1.0);
    }

    #[test]
    fn nothing_to_learn_from() {
        assert_eq!(design_effect(&[]), 1.0);
        assert_eq!(design_effect(&[&days(&[(0.0, 0.0); 5])]), 1.0);
        assert_eq!(design_effect(&[&days(&[(1.0, 3.0)])]), 1.0);
        assert_eq!(count_dispersion(&[&[0.0; 9]]), 1.0);
    }
}
