//! The measured error rates (`tests/bench/error_rates.md`), on few enough seasons for a test.

#[path = "../bench/seasons.rs"]
mod seasons;

use graylight::practice::Trouble;
use seasons::{Outcome, fisher_table, power, sorts, without_effect};

use crate::support::reference_json;

const SEASONS: u64 = 60;
/// At a rate of 6 % more than 10 of 60 wrong seasons have a chance of 1 in 2,000.
const MOST_WRONG: u64 = 10;

#[test]
fn seasons_without_an_effect_are_seldom_called_clear() {
    for (sort, options) in sorts() {
        let Outcome {
            wrong,
            alarm,
            own,
            against,
        } = without_effect(&options, SEASONS);
        assert!(wrong.hits <= MOST_WRONG, "{sort}: {wrong:?}");
        assert!(alarm.hits <= MOST_WRONG, "{sort}: {alarm:?}");
        let covered = 0.90..=0.995;
        assert!(covered.contains(&against.share()), "{sort}: {against:?}");
        if options.trouble != Trouble::StrongSeason {
            assert!(covered.contains(&own.share()), "{sort}: {own:?}");
        }
    }
}

#[test]
fn an_effect_is_found_nearly_as_often_as_by_an_exact_test() {
    let p = power(3.0, SEASONS);
    assert!(p.before > 60.0 && p.after > 25.0);
    assert!(p.found.hits * 100 >= p.fisher.hits * 75, "{p:?}");
    assert!(p.verdict.hits <= p.found.hits);
}

/// Against scipy (`reference/intervals.py`).
#[test]
fn the_exact_test_compared_with_is_right() {
    for row in reference_json("intervals.json")["fisher"]
        .as_array()
        .unwrap()
    {
        let cell = |key: &str| row[key].as_u64().unwrap();
        let ours = fisher_table(cell("a"), cell("b"), cell("c"), cell("d"));
        let theirs = row["p"].as_f64().unwrap();
        assert!((ours - theirs).abs() < 1e-9, "{ours} in {row}");
    }
}
