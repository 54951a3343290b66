//! What was read of the pictures is remembered, and no answer depends on it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use graylight::practice::Options;

use crate::support::{Ends, PROGRAM, Place, graylight};

/// A file is remembered once a change to it would show.
const SETTLED: Duration = Duration::from_millis(2200);

type Report = BTreeMap<String, Vec<u8>>;

fn report(place: &Place) -> Report {
    let out = tempfile::tempdir().unwrap();
    let mut debrief = graylight();
    debrief.arg("debrief").arg(place.path()).arg("--out").arg(out.path());
    debrief.succeeds();
    let entries = fs::read_dir(out.path()).unwrap().map(Result::unwrap);
    let read =
        |e: fs::DirEntry| (e.file_name().into_string().unwrap(), fs::read(e.path()).unwrap());
    entries.map(read).collect()
}

fn forget(place: &Place) {
    fs::remove_dir_all(place.path().join("catalogue/read")).unwrap();
}

fn settled() -> Place {
    let place = Place::practice(&Options { weeks: 3, ..Options::default() });
    std::thread::sleep(SETTLED);
    place
}

/// Pictures that a debrief opens, by the system's own account.
fn opened(place: &Place) -> usize {
    let log = place.path().join("strace.txt");
    let traced = Command::new("strace")
        .args(["-f", "-qq", "-e", "trace=openat", "-o"])
        .arg(&log)
        .args([&*PROGRAM, "daylight"])
        .arg(place.path())
        .output()
        .unwrap();
    assert!(traced.status.success());
    let text = fs::read_to_string(&log).unwrap();
    fs::remove_file(log).unwrap();
    text.lines().filter(|l| l.contains(".JPG") && l.contains("cards/")).count()
}

#[test]
fn pictures_are_opened_once_and_the_answers_are_the_same() {
    let place = settled();
    let fresh = report(&place);
    let again = opened(&place);
    assert!(again <= 8, "{again}: only files that are no pictures, or copies");
    assert_eq!(report(&place), fresh);
    forget(&place);
    assert!(opened(&place) > 300);
    // A memory that is no table is none.
    fs::write(place.path().join("catalogue/read/pictures.parquet"), "PAR1 not").unwrap();
    assert_eq!(report(&place), fresh);
}

/// What the desk opens from at once must be all of it, or visits would be others a moment later.
#[test]
fn what_is_remembered_of_new_pictures_is_whole() {
    let place = Place::practice(&Options { weeks: 3, ..Options::default() });
    let property = graylight::property::Property::open(place.path()).unwrap();
    let today = chrono::NaiveDate::from_ymd_opt(2030, 1, 1).unwrap();
    let crawl = graylight::card::crawl(&property, today, &indicatif::ProgressBar::hidden());
    crawl.memory.keep();
    let remembered = graylight::card::remembered(&property, today).unwrap();
    let facts = |c: &graylight::card::Crawl| -> Vec<_> {
        let of = |p: &graylight::card::Picture| (p.path.clone(), p.time.clone());
        c.pictures.iter().map(of).collect()
    };
    assert!(!crawl.pictures.is_empty());
    assert_eq!(facts(&remembered), facts(&crawl));
    // None of them is old enough to be taken for known.
    assert!(opened(&place) >= crawl.pictures.len());
}

/// A file that is changed where it lies, with its size and its date put back, is read anew.
#[test]
fn a_change_in_place_is_seen() {
    let place = settled();
    let before = report(&place);
    let oldest = |folder: &Path| {
        let mut all: Vec<_> = walkdir::WalkDir::new(folder)
            .into_iter()
            .map(|e| e.unwrap().into_path())
            .filter(|p| p.extension().is_some_and(|e| e == "JPG"))
            .collect();
        all.sort();
        all
    };
    let pictures = oldest(&place.path().join("cards"));
    let mut changed = 0;
    for picture in pictures.iter().take(40) {
        let written = fs::metadata(picture).unwrap().modified().unwrap();
        let mut bytes = fs::read(picture).unwrap();
        // An hour later by the camera's clock, wherever the time stands.
        for at in 0..bytes.len().saturating_sub(19) {
            let text = &bytes[at..at + 19];
            let is_time = text.starts_with(b"20") && text[4] == b':' && text[10] == b' ';
            if is_time && text[12] < b'9' {
                bytes[at + 12] += 1;
                changed += 1;
            }
        }
        fs::write(picture, bytes).unwrap();
        File::options().write(true).open(picture).unwrap().set_modified(written).unwrap();
    }
    assert!(changed > 40, "{changed}");
    let with_memory = report(&place);
    forget(&place);
    assert_eq!(report(&place), with_memory);
    assert!(with_memory != before);
}

/// A picture whose pixels are changed and whose header is not.
#[test]
fn a_change_of_the_pixels_is_seen() {
    let place = settled();
    report(&place);
    for entry in walkdir::WalkDir::new(place.path().join("cards")) {
        let path = entry.unwrap().into_path();
        if path.extension().is_none_or(|e| e != "JPG") {
            continue;
        }
        let facts = fs::metadata(&path).unwrap();
        let mut bytes = fs::read(&path).unwrap();
        if bytes.len() < 9000 {
            continue;
        }
        // Between the beginning and the end that are known by their hash.
        let middle = 4096..bytes.len() - 2048;
        bytes[middle].iter_mut().for_each(|b| *b = 0x2a);
        fs::write(&path, bytes).unwrap();
        let file = File::options().write(true).open(&path).unwrap();
        file.set_modified(facts.modified().unwrap()).unwrap();
    }
    let with_memory = report(&place);
    forget(&place);
    assert_eq!(report(&place), with_memory);
}

/// Pictures without a tag are compared with their neighbours once, and anew after any of those has changed.
#[test]
fn what_shows_probably_nothing_is_remembered_with_its_neighbours() {
    let place = Place::practice(&Options { weeks: 3, seed: 5, ..Options::default() });
    let tags = fs::read_to_string(place.path().join("tags.csv")).unwrap();
    let is_deer = |l: &&str| !l.contains(",empty");
    let deer: Vec<&str> = tags.lines().filter(is_deer).collect();
    place.put("tags.csv", deer.join("\n"));
    std::thread::sleep(SETTLED);
    let fresh = report(&place);
    let nothing = |report: &Report| {
        let findings: serde_json::Value = serde_json::from_slice(&report["findings.json"]).unwrap();
        let rows = findings["daylight"].as_array().unwrap().iter();
        let all = rows.map(|r| r["probably_nothing"].as_u64().unwrap());
        all.max().unwrap()
    };
    assert!(nothing(&fresh) > 20, "{}", nothing(&fresh));
    assert!(opened(&place) <= 8);
    assert_eq!(report(&place), fresh);
    forget(&place);
    assert_eq!(report(&place), fresh);
    // Every picture of a deer shows a branch from now on, its length and its date kept.
    let mut changed = 0;
    for file in walkdir::WalkDir::new(place.path().join("cards")) {
        let path = file.unwrap().into_path();
        let below = path.strip_prefix(place.path()).unwrap().to_str().unwrap();
        if path.is_file() && deer.iter().any(|l| l.starts_with(below)) && changed < 60 {
            let facts = fs::metadata(&path).unwrap();
            let mut bytes = fs::read(&path).unwrap();
            let until = bytes.len() - 2048;
            bytes[4096.min(until)..until].fill(0x2a);
            fs::write(&path, bytes).unwrap();
            let file = File::options().write(true).open(&path).unwrap();
            file.set_modified(facts.modified().unwrap()).unwrap();
            changed += 1;
        }
    }
    assert_eq!(changed, 60);
    let with_memory = report(&place);
    forget(&place);
    assert_eq!(report(&place), with_memory);
}
