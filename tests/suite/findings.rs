//! The findings file keeps its keys, and is the same on any number of threads.

use std::collections::{BTreeMap, BTreeSet};

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

/// Every key of the committed findings, with the sorts of values that it holds. A key that goes, or holds something
/// else, must be changed in `findings_keys.txt` too, and told in the list of changes in `src/report/findings.rs`.
#[test]
fn keys_and_their_values_are_those_that_are_written_down() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let findings = std::fs::read(root.join("reports/findings.json")).unwrap();
    let findings: Value = serde_json::from_slice(&findings).unwrap();
    let mut paths = BTreeMap::new();
    gather("", &findings, &mut paths);
    let now: String = paths
        .iter()
        .map(|(path, sorts)| {
            let sorts: Vec<&str> = sorts.iter().copied().collect();
            format!("{path}: {}\n", sorts.join(", "))
        })
        .collect();
    let written = include_str!("findings_keys.txt");
    let lines = |text: &str| text.lines().map(str::to_owned).collect::<BTreeSet<String>>();
    let (now, written) = (lines(&now), lines(written));
    let new: Vec<&String> = now.difference(&written).collect();
    let gone: Vec<&String> = written.difference(&now).collect();
    assert!(new.is_empty() && gone.is_empty(), "new: {new:#?}\ngone: {gone:#?}");
}

fn gather<'a>(path: &str, value: &'a Value, paths: &mut BTreeMap<String, BTreeSet<&'a str>>) {
    let sort = match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "number",
        Value::String(_) => "text",
        Value::Array(_) => "list",
        Value::Object(_) => "object",
    };
    paths.entry(path.to_owned()).or_default().insert(sort);
    match value {
        Value::Array(all) => all.iter().for_each(|v| gather(&format!("{path}[]"), v, paths)),
        Value::Object(all) => {
            all.iter().for_each(|(key, v)| gather(&format!("{path}.{key}"), v, paths));
        }
        _ => {}
    }
}
