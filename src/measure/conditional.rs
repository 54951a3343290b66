//! Days after something happened against other days that they are matched with.

use std::collections::BTreeMap;

use super::last_that_holds;

/// One day of a stratum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MatchedDay {
    /// Whether it follows what happened.
    pub exposed: bool,
    /// Events.
    pub count: f64,
    /// Effort, in any unit.
    pub effort: f64,
}

/// A ratio of rates within strata.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MatchedRatio {
    /// Logarithm of the rate on exposed days over that on the others.
    pub log_ratio: f64,
    /// Its variance if the counts were Poisson.
    pub variance: f64,
    /// Pearson's dispersion of the days' counts.
    pub dispersion: f64,
    /// Degrees of freedom of the dispersion.
    pub freedom: f64,
    /// Its variance with the groups of strata as units, whatever hangs together within one: the sandwich of
    /// Liang & Zeger (1986, Biometrika 73:13-22) times groups over groups less one.
    pub robust_variance: f64,
    /// Groups that tell something.
    pub groups: f64,
}

/// The ratio of rates on exposed days and on the others of the same stratum, every stratum with a rate of its
/// own: conditional Poisson regression (Armstrong, Gasparrini & Tobias 2014, BMC Medical Research Methodology
/// 14:122). Strata without events tell nothing and are left out. `None` where no stratum has events and both
/// sorts of days, or where all events fall on one sort.
///
/// Each stratum is `(group, days)`; strata of one group may hang together.
pub fn matched_ratio(strata: &[(i64, Vec<MatchedDay>)]) -> Option<MatchedRatio> {
    let with_events = strata.iter().filter(|(_, days)| events(days) > 0.0);
    let told: Vec<&Vec<MatchedDay>> = with_events.clone().map(|(_, days)| days).collect();
    let log_ratio = solve(&told)?;
    let information: f64 = told.iter().map(|s| score(s, log_ratio).1).sum();
    let days: usize = told.iter().map(|s| s.len()).sum();
    let freedom = days as f64 - told.len() as f64 - 1.0;
    let squares: f64 = told.iter().map(|s| pearson(s, log_ratio)).sum();
    let mut scores: BTreeMap<i64, f64> = BTreeMap::new();
    for (group, days) in with_events {
        *scores.entry(*group).or_default() += score(days, log_ratio).0;
    }
    let groups = scores.len() as f64;
    let spread: f64 = scores.values().map(|u| u * u).sum();
    Some(MatchedRatio {
        log_ratio,
        variance: 1.0 / information,
        dispersion: if freedom > 0.0 { squares / freedom } else { 1.0 },
        freedom: freedom.max(1.0),
        robust_variance: spread / information.powi(2) * groups / (groups - 1.0).max(1.0),
        groups,
    })
}

fn events(days: &[MatchedDay]) -> f64 {
    days.iter().map(|d| d.count).sum()
}

/// Effort of exposed and of other days.
fn efforts(days: &[MatchedDay]) -> (f64, f64) {
    let of = |exposed: bool| {
        let days = days.iter().filter(|d| d.exposed == exposed);
        days.map(|d| d.effort).sum::<f64>()
    };
    (of(true), of(false))
}

/// Events on exposed days beyond those that a log ratio leads to expect, and the information on it: given all
/// events of a stratum, those on exposed days are binomial.
fn score(days: &[MatchedDay], log_ratio: f64) -> (f64, f64) {
    let (exposed, others) = efforts(days);
    let odds = exposed * log_ratio.exp();
    let part = odds / (odds + others);
    let all = events(days);
    let seen: f64 = days.iter().filter(|d| d.exposed).map(|d| d.count).sum();
    (seen - all * part, all * part * (1.0 - part))
}

fn solve(strata: &[&Vec<MatchedDay>]) -> Option<f64> {
    const FURTHEST: f64 = 20.0;
    const HALVINGS: usize = 60;
    let excess = |log_ratio: f64| strata.iter().map(|s| score(s, log_ratio).0).sum::<f64>();
    // At an end all events fall on one sort of days, or nothing depends on the ratio.
    if excess(-FURTHEST) <= 1e-6 || excess(FURTHEST) >= -1e-6 {
        return None;
    }
    let root = last_that_holds(-FURTHEST, FURTHEST, HALVINGS, |ratio| excess(ratio) > 0.0);
    Some(root)
}

/// Squared distances of a stratum's days from what its rate and the ratio lead to expect, over that.
fn pearson(days: &[MatchedDay], log_ratio: f64) -> f64 {
    let (exposed, others) = efforts(days);
    let ratio = log_ratio.exp();
    let rate = events(days) / (others + ratio * exposed);
    days.iter()
        .map(|d| {
            let mean = rate * d.effort * if d.exposed { ratio } else { 1.0 };
            (d.count - mean).powi(2) / mean
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(counts: &[(bool, f64)]) -> Vec<MatchedDay> {
        let day = |&(exposed, count): &(bool, f64)| MatchedDay { exposed, count, effort: 1.0 };
        counts.iter().map(day).collect()
    }

    #[test]
    fn strata_keep_their_own_rates() {
        // Half as many on exposed days, in a busy stratum and in a quiet one.
        let strata = [
            (0, days(&[(true, 4.0), (false, 8.0)])),
            (1, days(&[(true, 1.0), (false, 2.0)])),
            (2, days(&[(true, 0.0), (false, 0.0)])),
        ];
        let found = matched_ratio(&strata).unwrap();
        assert!((found.log_ratio - 0.5_f64.ln()).abs() < 1e-9);
        // Both groups show the same, so nothing varies between them.
        assert!(found.groups == 2.0 && found.robust_variance < 1e-9);
        assert!(matched_ratio(&[(0, days(&[(true, 3.0), (true, 1.0)]))]).is_none());
        assert!(matched_ratio(&[(0, days(&[(true, 0.0), (false, 5.0)]))]).is_none());
        assert!(matched_ratio(&[]).is_none());
    }
}
