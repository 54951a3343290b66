//! Practice properties: the effect is found where it is and nothing where it is not.

use graylight::practice::Options;
use graylight::shift::{Shift, Verdict};
use graylight::visits::Kind;

use crate::support::Place;

const SEEDS: u64 = 12;

fn options(seed: u64, share_after: f64) -> Options {
    Options { seed, size: 2.0, share_after, pictures: false, ..Options::default() }
}

fn mature(rows: &[Shift]) -> impl Iterator<Item = &Shift> {
    rows.iter().filter(|s| s.kind == Kind::MatureBuck)
}

#[test]
fn the_known_effect_is_found_where_it_is_and_only_there() {
    let (mut light, mut share) = (0, 0);
    let mut false_alarms = 0;
    for seed in 1..=SEEDS {
        let debrief = Place::practice(&options(seed, 0.06)).debrief();
        let rows = &debrief.shifts.rows;
        let near = debrief.season.place_of("North Fence");
        let blind = |s: &&Shift| s.disturbance == "box-blind" && s.camera == near;
        let row = mature(rows).find(blind).unwrap();
        light += usize::from(row.light_verdict == Verdict::ClearDrop);
        share += usize::from(row.verdict == Verdict::ClearDrop);
        // Around the other disturbance nothing changed anywhere; around this one, at no other camera.
        false_alarms += mature(rows)
            .filter(|s| s.camera.is_some() && s.camera != near)
            .filter(|s| s.verdict.is_clear() || s.light_verdict.is_clear())
            .count();
    }
    // Where the near camera itself had weeks with and weeks without deer, 39 visits before and 3 after are not
    // called clear: that is the price of not calling a resident's leaving so.
    assert!(light + 2 >= SEEDS as usize, "found in {light} of {SEEDS} seasons");
    assert!(share + 2 >= SEEDS as usize, "found in {share} of {SEEDS} seasons");
    assert!(false_alarms <= 1, "{false_alarms} false alarms in {SEEDS} seasons");
}

#[test]
fn nothing_is_found_in_seasons_without_an_effect() {
    let mut alarmed = 0;
    for seed in 1..=SEEDS {
        let debrief = Place::practice(&options(seed, Options::default().share_before)).debrief();
        let clear = |s: &Shift| s.verdict.is_clear() || s.light_verdict.is_clear();
        alarmed += usize::from(debrief.shifts.rows.iter().any(clear));
    }
    // At 5 % a season, more than three of twelve has a chance of 1 in 450.
    assert!(alarmed <= 3, "{alarmed} of {SEEDS} seasons without an effect were called clear");
}

#[test]
fn pictures_and_sightings_of_one_season_agree() {
    let seen = Place::practice(&Options { weeks: 6, cameras: 2, size: 0.6, ..Options::default() });
    let debrief = seen.debrief();
    let answer: serde_json::Value =
        serde_json::from_slice(&std::fs::read(seen.path().join("answer.json")).unwrap()).unwrap();
    let files = &answer["files"];
    let expected = |key: &str| files[key].as_u64().unwrap() as usize;
    assert_eq!(debrief.crawl.found(), expected("found"));
    assert_eq!(debrief.crawl.unreadable.len(), expected("unreadable"));
    assert_eq!(debrief.crawl.duplicates.len(), expected("duplicate"));
    assert_eq!(debrief.tagged.pictures(), expected("tagged"));
    assert!(debrief.problems.is_empty(), "{:?}", debrief.problems);
    let rows_only = Place::practice(&Options {
        weeks: 6,
        cameras: 2,
        size: 0.6,
        pictures: false,
        ..Options::default()
    })
    .debrief();
    for camera in 0..2 {
        let truth = &answer["cameras"][camera];
        let ours = rows_only.daylight_of(Some(camera), Kind::MatureBuck).unwrap();
        assert_eq!(ours.visits as u64, truth["mature_buck_visits"].as_u64().unwrap());
        assert_eq!(ours.legal as u64, truth["mature_buck_legal_light_visits"].as_u64().unwrap());
    }
}
