//! The help in sorting, on practice properties whose truth is known.

use std::collections::{HashMap, HashSet};

use graylight::card::crawl;
use graylight::desk::probably_nothing;
use graylight::practice::{self, Options};
use graylight::property::Property;
use indicatif::ProgressBar;

use crate::support::{Place, today};

/// At least six of ten visits with nothing are put together, and at most one of two hundred visits
/// of deer is among them. The limits in the program were set on other seeds.
#[test]
fn what_is_put_together_is_nearly_always_nothing() {
    let (mut nothing, mut deer) = ([0, 0], [0, 0]);
    for seed in [31, 32] {
        let folder = tempfile::tempdir().unwrap();
        let options = Options { seed, ..Options::default() };
        practice::write(folder.path(), &options, &ProgressBar::hidden()).unwrap();
        let mut truth: HashMap<String, HashSet<String>> = HashMap::new();
        let mut tags = csv::Reader::from_path(folder.path().join("tags.csv")).unwrap();
        for row in tags.records().map(Result::unwrap) {
            truth.entry(row[0].to_owned()).or_default().insert(row[1].to_owned());
        }
        let property = Property::open(folder.path()).unwrap();
        let crawl = crawl(&property, today(), &ProgressBar::hidden());
        for (pictures, quiet) in probably_nothing(&property, &crawl).unwrap() {
            let paths = pictures.iter().map(|p| &crawl.pictures[*p as usize].path);
            let kinds: HashSet<&String> = paths.filter_map(|p| truth.get(p)).flatten().collect();
            let is = |kind: &str| kinds.iter().any(|k| *k == kind);
            let count = if is("buck") || is("doe") || is("fawn") {
                &mut deer
            } else if is("empty") {
                &mut nothing
            } else {
                continue;
            };
            count[0] += 1;
            count[1] += usize::from(quiet == Some(true));
        }
    }
    println!("{} of {} with nothing, {} of {} with deer", nothing[1], nothing[0], deer[1], deer[0]);
    assert!(nothing[0] > 400 && deer[0] > 2000);
    assert!(nothing[1] * 10 >= nothing[0] * 6);
    assert!(deer[1] * 200 <= deer[0]);
}

/// Rates of a season of which the pictures of nothing, and a fifth of those of deer, have no tag: what is told lies
/// on either side of the truth, and closer together than if every picture without a tag could be a deer.
#[test]
fn rates_survive_untagged_pictures_of_wind() {
    let place = Place::practice(&Options { seed: 34, weeks: 6, ..Options::default() });
    let truth = place.debrief();
    let tags = std::fs::read_to_string(place.path().join("tags.csv")).unwrap();
    let mut pictures = 0;
    let mut last = "";
    let kept = tags.lines().filter(|line| {
        let picture = line.split(',').next().unwrap();
        pictures += usize::from(std::mem::replace(&mut last, picture) != picture);
        !line.contains(",empty") && pictures % 5 != 2
    });
    let kept = kept.collect::<Vec<_>>().join("\n");
    place.put("tags.csv", kept);
    let told = place.debrief();
    let mut asked = 0;
    for (is, told) in truth.daylight.iter().zip(&told.daylight) {
        assert_eq!((is.camera, is.kind), (told.camera, told.kind));
        let counted = 100.0 * is.counted as f64 / is.nights as f64;
        let Some((least, most)) = told.per_100_nights_between else {
            continue;
        };
        asked += 1;
        assert!(least <= counted + 1e-9 && counted <= most + 1e-9, "{counted}: {least} to {most}");
        let on = told.pictures;
        if told.camera.is_none() {
            assert!(on.probably_nothing * 4 > on.untagged, "{on:?}");
        }
        assert!(on.untagged_visits + on.probably_nothing <= on.untagged, "{on:?}");
    }
    assert!(asked >= 30, "{asked}");
}
