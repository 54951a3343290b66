//! The findings file keeps its keys, and is the same on any number of threads.

use serde_json::Value;

use crate::support::{Ends, Place, graylight};
use graylight::practice::Options;

fn small() -> Options {
    Options { weeks: 8, cameras: 3, pictures: false, ..Options::default() }
}

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

fn has(value: &Value, wanted: &[&str]) {
    for key in wanted {
        assert!(keys(value).contains(key), "{key} is missing in {value}");
    }
}

#[test]
fn every_key_of_the_contract() {
    let place = Place::practice(&small());
    graylight().arg("debrief").arg(place.path()).succeeds();
    let path = place.path().join("reports/findings.json");
    let findings: Value = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    has(
        &findings,
        &[
            "property",
            "settings",
            "pictures",
            "cameras",
            "daylight",
            "shifts",
            "years",
            "deer",
            "herd",
            "conditions",
            "stands",
            "own",
            "grounds",
            "plan",
        ],
    );
    has(
        &findings["pictures"],
        &["found", "readable", "timed", "tagged", "unreadable", "duplicate"],
    );
    has(&findings["cameras"][0], &["camera", "nights", "visits"]);
    has(
        &findings["daylight"][0],
        &["camera", "who", "visits", "legal_light_visits", "share", "low", "high"],
    );
    let shift = &findings["shifts"][0];
    has(
        shift,
        &[
            "disturbance",
            "camera",
            "who",
            "role",
            "before",
            "after",
            "share_change",
            "share_change_low",
            "share_change_high",
            "rate_ratio",
            "rate_ratio_low",
            "rate_ratio_high",
            "p_value",
            "p_adjusted",
            "verdict",
            "pattern",
        ],
    );
    for side in ["before", "after"] {
        has(&shift[side], &["from", "until", "nights", "visits", "legal_light_visits", "share"]);
    }
    let who: Vec<&str> = findings["daylight"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|a| a["camera"] == "*")
        .map(|a| a["who"].as_str().unwrap())
        .collect();
    assert_eq!(who, ["mature buck", "buck", "doe", "fawn", "deer"]);
    assert!(findings["property"].get("latitude").is_none());
    for shift in findings["shifts"].as_array().unwrap() {
        if shift["verdict"].as_str().unwrap().starts_with("clear") {
            assert!(shift["p_adjusted"].as_f64().unwrap() <= 0.05);
        }
    }
}

#[test]
fn commands_print_their_own_key() {
    let place = Place::practice(&small());
    for (command, key) in [("daylight", "daylight"), ("shift", "shifts")] {
        let out = graylight().args([command, "--json"]).arg(place.path()).output().unwrap();
        let value: Value = serde_json::from_slice(&out.stdout).unwrap();
        assert_eq!(keys(&value), [key]);
    }
}

#[test]
fn the_same_bytes_on_any_number_of_threads() {
    let place = Place::practice(&Options {
        weeks: 6,
        cameras: 2,
        size: 0.5,
        pixel: 2,
        ..Options::default()
    });
    let run = |threads: &str| {
        let out = place.path().join(format!("out-{threads}"));
        graylight()
            .env("RAYON_NUM_THREADS", threads)
            .arg("debrief")
            .arg(place.path())
            .arg("--out")
            .arg(&out)
            .succeeds();
        let mut files: Vec<_> = std::fs::read_dir(&out)
            .unwrap()
            .map(|e| e.unwrap())
            .map(|e| (e.file_name(), std::fs::read(e.path()).unwrap()))
            .collect();
        files.sort();
        files
    };
    let (one, four) = (run("1"), run("4"));
    assert!(one.len() > 8);
    assert!(one == four);
}
