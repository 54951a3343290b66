//! `measure` against statsmodels and scipy (`reference/intervals.py`), and against published worked
//! examples (Newcombe 1998, both papers; each value's source stands beside it in
//! `reference/intervals.json`); circular statistics, change points and shifts against scipy, astropy
//! and brute force (`reference/circular.py`), sun-anchored time against its published definition.

use graylight::measure::{
    Counts, DayCount, Exposure, Family, KNOWN, Law, RUN_DAYS, change, change_p_value, change_point,
    density, direction, graph_adjusted, kept_of_noise, median_interval, overlap, rate_ratio,
    runs_of_shares, shift_between, uniform_scores, wilson,
};
use graylight::sun::MeanDay;
use serde_json::Value;

use crate::support::reference_json;

fn rows<'a>(all: &'a Value, key: &str) -> &'a Vec<Value> {
    let rows = all[key].as_array().unwrap();
    assert!(!rows.is_empty(), "{key} is empty");
    rows
}

fn f(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or_else(|| panic!("{key} in {row}"))
}

fn near(ours: f64, theirs: f64, tolerance: f64, what: &Value) {
    assert!((ours - theirs).abs() <= tolerance, "{ours} is not {theirs} in {what}");
}

fn counts(row: &Value, hits: &str, trials: &str) -> Counts {
    Counts { hits: f(row, hits), trials: f(row, trials) }
}

#[test]
fn wilson_intervals() {
    let all = reference_json("intervals.json");
    for (key, tolerance) in [("wilson", 1e-9), ("wilson_published", 5.1e-5)] {
        for row in rows(&all, key) {
            let ours = wilson(counts(row, "k", "n")).unwrap();
            near(ours.low, f(row, "low"), tolerance, row);
            near(ours.high, f(row, "high"), tolerance, row);
        }
    }
}

#[test]
fn differences_of_shares() {
    let all = reference_json("intervals.json");
    for (key, tolerance) in
        [("newcombe_difference", 1e-9), ("newcombe_difference_published", 5.1e-5)]
    {
        for row in rows(&all, key) {
            // The source subtracts the second group from the first; a change is after less before.
            let ours = change(counts(row, "k2", "n2"), counts(row, "k1", "n1"), KNOWN).unwrap();
            near(ours.low, f(row, "low"), tolerance, row);
            near(ours.high, f(row, "high"), tolerance, row);
        }
    }
}

#[test]
fn p_values_of_two_shares() {
    let all = reference_json("intervals.json");
    let mut checked = 0;
    for row in rows(&all, "newcombe_p") {
        // The source subtracts the second group from the first.
        let ours = change_p_value(counts(row, "k2", "n2"), counts(row, "k1", "n1"), KNOWN);
        near(ours.unwrap(), f(row, "p"), 1e-8, row);
        checked += 1;
    }
    assert!(checked > 3);
}

#[test]
fn ratios_of_rates() {
    let all = reference_json("intervals.json");
    let mut checked = 0;
    for row in rows(&all, "poisson_ratio") {
        let before = Exposure { events: f(row, "count2"), effort: f(row, "exposure2") };
        let after = Exposure { events: f(row, "count1"), effort: f(row, "exposure1") };
        let score = &row["interval"]["score"];
        let Some(ours) = rate_ratio(before, after, KNOWN) else {
            assert_eq!(before.events, 0.0);
            continue;
        };
        near(ours.value, f(row, "ratio"), 1e-9, row);
        near(ours.low, score[0].as_f64().unwrap(), 1e-6, row);
        match score[1].as_f64() {
            Some(high) => near(ours.high, high, 1e-6 * high.max(1.0), row),
            None => assert!(ours.high.is_infinite(), "{row}"),
        }
        checked += 1;
    }
    assert!(checked > 2);
}

#[test]
fn holm_adjustment() {
    let all = reference_json("intervals.json");
    for row in rows(&all, "holm") {
        let list = |key: &str| -> Vec<f64> {
            let values = row[key].as_array().unwrap();
            values.iter().map(|v| v.as_f64().unwrap()).collect()
        };
        let family = Family { p_values: list("p"), weight: 1.0, heirs: Vec::new() };
        for (ours, theirs) in graph_adjusted(&[family])[0].iter().zip(list("adjusted")) {
            near(*ours, theirs, 1e-12, row);
        }
    }
}

/// Days that are spread so that neighbours cannot matter: an empty stretch longer than a run stands
/// between them, which leaves Rao & Scott's design effect.
#[test]
fn design_effects() {
    let all = reference_json("intervals.json");
    let mut above_one = 0;
    for row in rows(&all, "clusters") {
        let mut days = Vec::new();
        for pair in row["counts"].as_array().unwrap() {
            days.push(DayCount {
                hits: pair[0].as_f64().unwrap(),
                trials: pair[1].as_f64().unwrap(),
            });
            days.extend([DayCount::default(); 40]);
        }
        let theirs = row["design_effect"].as_f64().unwrap();
        above_one += usize::from(theirs > 1.0);
        // Beside theirs, what their own mean takes out of the days is put back.
        let kept = kept_of_noise(days.len(), RUN_DAYS);
        near(runs_of_shares(&[&days], RUN_DAYS).design_effect, (theirs / kept).max(1.0), 1e-9, row);
    }
    assert!(above_one >= 1);
}

#[test]
fn ranks_of_the_median_interval() {
    let all = reference_json("intervals.json");
    for row in rows(&all, "median_ranks") {
        let n = row["n"].as_u64().unwrap();
        let values: Vec<f64> = (1..=n).map(|i| i as f64).collect();
        let theirs = row["low"].as_f64().zip(row["high"].as_f64());
        assert_eq!(median_interval(&values), theirs, "{row}");
    }
}

fn list(row: &Value, key: &str) -> Vec<f64> {
    let values = row[key].as_array().unwrap();
    values.iter().map(|v| v.as_f64().unwrap()).collect()
}

#[test]
fn densities_on_the_circle() {
    let all = reference_json("circular.json");
    for row in rows(&all, "von_mises_density") {
        let ours = density(&list(row, "minutes"), 1440.0, f(row, "kappa"), 14_400).unwrap();
        for (at, theirs) in list(row, "at").into_iter().zip(list(row, "density")) {
            let index = at * 10.0;
            assert!((index - index.round()).abs() < 1e-9, "{at} is not on the grid");
            // The series for the Bessel function is good to 2e-7 of the value.
            near(ours.values[index.round() as usize], theirs, 1e-6 * theirs + 1e-15, row);
        }
    }
}

#[test]
fn overlap_of_two_patterns() {
    let all = reference_json("circular.json");
    for row in rows(&all, "overlap") {
        let ours = overlap(&list(row, "a"), &list(row, "b"), 1440.0, f(row, "kappa"), 1440);
        near(ours.unwrap(), f(row, "dhat1"), 1e-6, row);
    }
}

#[test]
fn sun_anchored_time() {
    let all = reference_json("circular.json");
    for row in rows(&all, "anchored") {
        let (sunrise, mut sunset) = (f(row, "sunrise"), f(row, "sunset"));
        let (mean_rise, mut mean_set) = (f(row, "mean_sunrise"), f(row, "mean_sunset"));
        // After midnight on the clock is still the evening of that day.
        if sunset < sunrise {
            sunset += 1440.0;
        }
        if mean_set < mean_rise {
            mean_set += 1440.0;
        }
        let mean = MeanDay { sunrise_min: mean_rise, sunset_min: mean_set };
        let ours = mean.anchor(f(row, "time") - sunrise, sunset - sunrise);
        let apart = (ours - f(row, "anchored") + 720.0).rem_euclid(1440.0) - 720.0;
        assert!(apart.abs() < 1e-6, "{ours} in {row}");
    }
}

#[test]
fn change_points_of_a_share() {
    let all = reference_json("circular.json");
    for row in rows(&all, "change_point") {
        let days: Vec<DayCount> = row["series"]
            .as_array()
            .unwrap()
            .iter()
            .map(|d| DayCount { hits: d[0].as_f64().unwrap(), trials: d[1].as_f64().unwrap() })
            .collect();
        let best = list(row, "days");
        match change_point(&days, Law::Binomial, 1.0) {
            None => assert!(best.is_empty(), "{row}"),
            Some(found) => {
                assert!(best.contains(&(found.at as f64)), "{found:?} in {row}");
                assert!(found.interval.0 <= found.at && found.at <= found.interval.1);
            }
        }
    }
}

#[test]
fn shifts_of_location() {
    let all = reference_json("circular.json");
    for row in rows(&all, "mann_whitney") {
        let ours = shift_between(&list(row, "a"), &list(row, "b")).unwrap();
        near(ours, f(row, "shift"), 1e-9, row);
    }
}

#[test]
fn directions_and_the_rayleigh_test() {
    let all = reference_json("circular.json");
    for row in rows(&all, "circular_mean") {
        let ours = direction(&list(row, "minutes"), 1440.0).unwrap();
        near(ours.resultant, f(row, "resultant"), 1e-9, row);
        match row["mean"].as_f64() {
            None => assert_eq!(ours.mean, None, "{row}"),
            Some(theirs) => {
                let apart = (ours.mean.unwrap() - theirs + 720.0).rem_euclid(1440.0) - 720.0;
                assert!(apart.abs() < 1e-6, "{row}");
            }
        }
    }
    for row in rows(&all, "rayleigh") {
        let ours = direction(&list(row, "minutes"), 1440.0).unwrap();
        near(ours.rayleigh_p, f(row, "p_zar"), 1e-9, row);
        near(f(row, "n") * ours.resultant.powi(2), f(row, "z"), 1e-8, row);
    }
    for row in rows(&all, "rayleigh_published") {
        let ours = direction(&list(row, "degrees"), 360.0).unwrap();
        near(ours.mean.unwrap(), f(row, "mean_degrees"), 0.5, row);
        near(ours.resultant, f(row, "resultant"), 5.1e-4, row);
        if let Some((above, below)) = row["p_above"].as_f64().zip(row["p_below"].as_f64()) {
            assert!(ours.rayleigh_p > above && ours.rayleigh_p < below, "{row}");
        }
    }
}

#[test]
fn two_patterns_of_the_day() {
    let all = reference_json("circular.json");
    for row in rows(&all, "two_sample") {
        let (w, p) = uniform_scores(&list(row, "a"), &list(row, "b"), 1440.0).unwrap();
        near(w, f(row, "w"), 1e-9 * w.max(1.0), row);
        near(p, f(row, "p"), 1e-9, row);
    }
}
