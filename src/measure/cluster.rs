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
const RUN_DAYS: usize = 6;

/// What runs of days cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Runs {
    /// By what factor the variance exceeds that of independent events; never below 1, because luck
    /// in the data is not taken as precision.
    pub design_effect: f64,
    /// Degrees of freedom with which it is known: `3 N / 2 M` for `N` days and a Bartlett window of
    /// half-width `M` (Priestley 1981, Spectral Analysis and Time Series, table 6.1).
    pub freedom: f64,
}

/// Runs in shares estimated from days.
///
/// Each group is a stretch of days in order, with its own share. The variance of the ratio estimate
/// is linearised with the day as unit (Rao & Scott 1992, Biometrics 48:577-585), the products of
/// neighbouring days are added with weights that fall to zero past `RUN_DAYS` days (Newey & West
/// 1987, Econometrica 55:703-708), and the groups are pooled.
pub fn runs_of_shares(groups: &[&[DayCount]]) -> Runs {
    let (mut observed, mut expected, mut seen_days) = (0.0, 0.0, 0);
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
        seen_days += days.len();
    }
    runs(observed, expected, seen_days)
}

/// Runs in daily counts: their variance, with the products of neighbouring days as in [`runs_of_shares`]
/// (Newey & West 1987), over their mean, pooled over groups; a Poisson process has the design effect 1.
pub fn runs_of_counts(groups: &[&[f64]]) -> Runs {
    let (mut observed, mut expected, mut seen_days) = (0.0, 0.0, 0);
    for days in groups {
        let n = days.len() as f64;
        if n < 2.0 {
            continue;
        }
        let mean = days.iter().sum::<f64>() / n;
        let errors: Vec<f64> = days.iter().map(|c| c - mean).collect();
        observed += n / (n - 1.0) * long_run_sum(&errors);
        expected += n * mean;
        seen_days += days.len();
    }
    runs(observed, expected, seen_days)
}

fn runs(observed: f64, expected: f64, days: usize) -> Runs {
    let ratio = if expected > 0.0 {
        observed / expected
    } else {
        1.0
    };
    Runs {
        design_effect: ratio.max(1.0),
        freedom: (1.5 * days as f64 / (RUN_DAYS + 1) as f64).max(1.0),
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
        assert_eq!(runs_of_shares(&[&days(&turns)]).design_effect, 1.0);
    }

    #[test]
    fn runs_cost() {
        let blocks = [1, 1, 0, 1, 0, 0, 0, 1, 1, 0, 0, 1];
        let runs: Vec<(f64, f64)> = blocks
            .into_iter()
            .flat_map(|hit| [(f64::from(hit), 1.0); 5])
            .collect();
        assert!(runs_of_shares(&[&days(&runs)]).design_effect > 2.0);
        let lumps: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i % 2) * 5.0, 5.0)).collect();
        assert!(runs_of_shares(&[&days(&lumps)]).design_effect >= 1.0);
    }

    #[test]
    fn nothing_to_learn_from() {
        assert_eq!(runs_of_shares(&[]).design_effect, 1.0);
        let empty = days(&[(0.0, 0.0); 5]);
        assert_eq!(runs_of_shares(&[&empty]).design_effect, 1.0);
        let single = days(&[(1.0, 3.0)]);
        assert_eq!(runs_of_shares(&[&single]).design_effect, 1.0);
        assert_eq!(runs_of_counts(&[&[0.0; 9]]).design_effect, 1.0);
    }
}
