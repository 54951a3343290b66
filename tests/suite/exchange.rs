//! Packages by the open standard, out of a property and into one.
//!
//! Sources: the camera-trap data package of Biodiversity Information Standards (TDWG), 1.0.2, for tables, fields
//! and constraints; the `frictionless` library (PyPI) for what a valid package is; counts by SQL in DuckDB (PyPI),
//! written independently in `tests/reference/exchange.py`.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use graylight::debrief::Debrief;
use graylight::practice::Options;
use graylight::visits::Kind;
use serde_json::Value;

use crate::scripts;
use crate::support::{Ends, Place, graylight};

fn by_script(what: &str, path: &Path) -> Value {
    scripts::by_script("exchange.py", what, path)
}

/// A package out of a property.
fn share(property: &Path, to: &Path, more: &[&str]) {
    graylight()
        .arg("share")
        .arg(property)
        .arg("--to")
        .arg(to)
        .arg("--package")
        .args(more)
        .succeeds();
}

/// What taking a package in says, on whichever stream, and how it ended.
fn receive(package: &Path, to: &Path, more: &[&str]) -> (bool, String) {
    let output =
        graylight().arg("receive").arg(package).arg("--to").arg(to).args(more).output().unwrap();
    let said = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8_lossy(&said).into_owned())
}

fn received(package: &Path, more: &[&str]) -> (Place, String) {
    let place = Place::empty();
    let (is_done, said) = receive(package, place.path(), more);
    assert!(is_done, "{said}");
    (place, said)
}

type Visits = BTreeMap<(String, &'static str), (usize, usize)>;

/// All visits, and those in legal light, by camera and kind.
fn visits(debrief: &Debrief) -> Visits {
    let cameras = debrief.season.cameras.iter();
    let of = |kind: Kind| {
        cameras.clone().map(move |c| {
            let light = c.visits(kind).iter().filter(|v| v.light.is_legal()).count();
            ((c.name.clone(), kind.word()), (c.visits(kind).len(), light))
        })
    };
    Kind::ALL.into_iter().flat_map(of).filter(|(_, n)| n.0 > 0).collect()
}

fn practice() -> Place {
    Place::practice(&Options { seasons: 2, weeks: 5, pixel: 2, ..Options::default() })
}

#[test]
fn a_property_goes_out_and_comes_back_with_the_same_counts() {
    let place = practice();
    let (first, second) = (Place::empty(), Place::empty());
    share(place.path(), first.path(), &["--coordinates", "exact"]);
    let rows = by_script("validate", first.path());
    let debrief = place.debrief();
    let timed = debrief.crawl.timed() as u64;
    assert_eq!(rows["media"], timed, "{rows}");

    let (back, said) = received(first.path(), &[]);
    let returned = back.debrief();
    let (out, home) = (visits(&debrief), visits(&returned));
    assert!(out.len() > 20);
    assert_eq!(out, home, "{said}");
    let ids = |d: &Debrief| {
        d.property
            .disturbances
            .iter()
            .map(|x| (x.id.clone(), x.start, x.near.clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(ids(&debrief), ids(&returned));
    assert_eq!(debrief.property.deer, returned.property.deer);
    let settings = |d: &Debrief| {
        let s = &d.property.settings;
        (s.time_zone, s.legal_before_sunrise_min, s.mature_age, s.gap_min, s.year_start)
    };
    assert_eq!(settings(&debrief), settings(&returned));
    let named = |d: &Debrief| {
        d.known_deer.iter().map(|k| (k.name.clone(), k.visits.len())).collect::<Vec<_>>()
    };
    assert_eq!(named(&debrief), named(&returned));

    // Notes of rows without pictures go out as well.
    let rows = fs::read_to_string(back.path().join("sightings.csv")).unwrap();
    let noted = rows.replacen(",,,\n", ",,,\"limping, left\"\n", 1);
    back.put("sightings.csv", &noted);
    // And once more: what came in goes out and comes in as it was.
    share(back.path(), second.path(), &["--coordinates", "exact"]);
    by_script("validate", second.path());
    let (again, _) = received(second.path(), &[]);
    let returned = fs::read_to_string(again.path().join("sightings.csv")).unwrap();
    assert!(returned.contains("\"limping, left\""));
    assert_eq!(visits(&again.debrief()), home);
}

#[test]
fn places_are_told_as_exactly_as_is_chosen() {
    let place = practice();
    let refused =
        graylight().arg("share").arg(place.path()).args(["--to", "/nowhere", "--package"]).ends();
    assert_eq!(refused, 2, "how places are told must be chosen");
    let exact = fs::read_to_string(place.path().join("cameras.csv")).unwrap();
    let secret: Vec<String> =
        exact.lines().skip(1).filter_map(|l| Some(l.split(',').nth(1)?.to_owned())).collect();
    let secret: Vec<&String> = secret.iter().filter(|s| s.len() > 5).collect();
    assert!(!secret.is_empty());
    for (how, column) in [("0.1", "43."), ("none", "")] {
        let package = Place::empty();
        share(place.path(), package.path(), &["--coordinates", how]);
        by_script("validate", package.path());
        for entry in fs::read_dir(package.path()).unwrap().flatten() {
            let text = fs::read_to_string(entry.path()).unwrap();
            for s in &secret {
                assert!(!text.contains(&s[..6]), "{s} stands in {:?}", entry.path());
            }
        }
        let mut deployments =
            csv::Reader::from_path(package.path().join("deployments.csv")).unwrap();
        for row in deployments.deserialize::<BTreeMap<String, String>>() {
            let row = row.unwrap();
            assert!(
                row["latitude"].starts_with(column)
                    && row["latitude"].is_empty() == column.is_empty()
            );
            let uncertainty: f64 = row["coordinateUncertainty"].parse().unwrap_or(0.0);
            assert_eq!(uncertainty > 5000.0, how == "0.1");
        }
    }
}

#[test]
fn pictures_can_come_along_but_for_those_of_people() {
    let place = Place::practice(&Options { weeks: 2, size: 0.5, pixel: 2, ..Options::default() });
    let tags = fs::read_to_string(place.path().join("tags.csv")).unwrap();
    let mut lines: Vec<&str> = tags.lines().collect();
    let person = lines[1].split(',').next().unwrap().to_owned();
    let row = format!("{person},person,1,,,{}", ",".repeat(lines[0].matches(',').count() - 5));
    lines[1] = &row;
    place.put("tags.csv", lines.join("\n") + "\n");
    let package = Place::empty();
    share(place.path(), package.path(), &["--coordinates", "exact", "--files", "copied"]);
    by_script("validate", package.path());
    // Where places are blurred the pictures' own headers, which may hold them, stay behind.
    let blurred = Place::empty();
    share(place.path(), blurred.path(), &["--coordinates", "0.1", "--files", "copied"]);
    let mut media = csv::Reader::from_path(package.path().join("media.csv")).unwrap();
    let (mut copied, mut private, mut left_behind) = (0, 0, Vec::new());
    for row in media.deserialize::<BTreeMap<String, String>>() {
        let row = row.unwrap();
        let file = package.path().join(&row["filePath"]);
        let is_bare = |bytes: &[u8]| !bytes.windows(4).any(|w| w == b"Exif");
        match row["filePublic"].as_str() {
            "true" => {
                copied += 1;
                let bytes = fs::read(&file).unwrap();
                assert!(bytes.starts_with(&[0xff, 0xd8]) && !is_bare(&bytes));
                match fs::read(blurred.path().join(&row["filePath"])) {
                    Ok(blurred) => assert!(blurred.starts_with(&[0xff, 0xd8]) && is_bare(&blurred)),
                    // One that is cut short cannot be parted from its header.
                    Err(_) => left_behind.push(row["mediaID"].clone()),
                }
            }
            _ => {
                private += 1;
                assert!(!file.exists());
            }
        }
    }
    assert!(copied > 50 && private >= 1, "{copied} {private}");
    assert!(left_behind.len() < 4, "{left_behind:?}");
    let said = fs::read_to_string(blurred.path().join("media.csv")).unwrap();
    for id in &left_behind {
        let row = said.lines().find(|l| l.starts_with(id.as_str())).unwrap();
        assert!(row.contains(",false,"), "{row}");
    }
}

/// A package that another program could have written, against counts that were made by SQL.
#[test]
fn a_package_of_another_program_is_counted_as_sql_counts_it() {
    let package = Place::empty();
    by_script("write", package.path());
    let (place, said) = received(package.path(), &[]);
    let counted = by_script("count", package.path());
    let expected: Visits = counted
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let kind = Kind::parse(row["kind"].as_str().unwrap()).unwrap();
            let place = row["place"].as_str().unwrap().to_owned();
            ((place, kind.word()), (row["visits"].as_u64().unwrap() as usize, 0))
        })
        .collect();
    let debrief = place.debrief();
    let found: Visits = visits(&debrief).into_iter().map(|(k, (n, _))| (k, (n, 0))).collect();
    assert!(expected.len() > 15);
    assert_eq!(found, expected, "{said}");
    assert!(debrief.season.cameras.iter().any(|c| c.name == "Old orchard"));
    // Two deployments at one pond are one camera's placements; two cameras at one ridge are two cameras.
    let placements = |name: &str| {
        debrief.season.cameras.iter().find(|c| c.name == name).unwrap().placements.len()
    };
    assert_eq!(
        (placements("Beaver pond"), placements("Ridge (C3)"), placements("Ridge (C4)")),
        (2, 1, 1)
    );
    assert_eq!(debrief.property.settings.time_zone.name(), "America/New_York");
    for told in
        ["time-lapse", "timestampIssues", "unclassified", "whole events", "bboxX", "unknown"]
    {
        assert!(said.contains(told), "{told}: {said}");
    }
    let account = fs::read_to_string(place.path().join("received.txt")).unwrap();
    assert!(said.starts_with(&account), "{said}");

    // Words for species: what the mapping calls deer is deer, with its sex and life stage.
    place.put(
        "words.csv",
        "\u{feff}scientificName;who\r\nProcyon lotor;buck\r\nOdocoileus virginianus;other\r\n",
    );
    let words = place.path().join("words.csv");
    let (mapped, _) = received(package.path(), &["--words", words.to_str().unwrap()]);
    let rows = fs::read_to_string(mapped.path().join("sightings.csv")).unwrap();
    assert!(
        rows.contains(",buck,")
            && rows.contains("Odocoileus virginianus")
            && !rows.contains("Procyon")
    );
    place.put("words.csv", "scientificName,who\nProcyon lotor,racoon\n");
    let (is_done, said) =
        receive(package.path(), Place::empty().path(), &["--words", words.to_str().unwrap()]);
    assert!(!is_done && said.contains("line 2") && said.contains("racoon"), "{said}");

    // As an archive, with all of it in a folder of its own, it says the same.
    let archive = place.path().join("package.zip");
    zipped(&archive, package.path(), "within/");
    let (from_archive, _) = received(&archive, &[]);
    let sightings = |p: &Place| fs::read(p.path().join("sightings.csv")).unwrap();
    assert_eq!(sightings(&from_archive), sightings(&place));
}

fn zipped(archive: &Path, folder: &Path, below: &str) {
    let mut zip = zip::ZipWriter::new(fs::File::create(archive).unwrap());
    let options = zip::write::SimpleFileOptions::default();
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let name = format!("{below}{}", entry.file_name().to_str().unwrap());
        zip.start_file(name, options).unwrap();
        zip.write_all(&fs::read(entry.path()).unwrap()).unwrap();
    }
    zip.finish().unwrap();
}

/// What is broken is told with file and line, and nothing is written.
#[test]
fn broken_packages_are_refused_line_by_line() {
    let whole = Place::empty();
    by_script("write", whole.path());
    type Break = fn(&Path);
    let cases: [(&str, Break, &[&str]); 13] = [
        (
            "a missing table",
            |p| fs::remove_file(p.join("observations.csv")).unwrap(),
            &["observations.csv is not there"],
        ),
        (
            "no such deployment",
            |p| change(p, "observations.csv", ",d1,", ",d99,"),
            &["observations.csv, line", "d99", "no deployment"],
        ),
        (
            "no such picture",
            |p| change(p, "observations.csv", ",d1-m1,", ",d1-m0,"),
            &["observations.csv, line 2", "d1-m0"],
        ),
        (
            "another version",
            |p| {
                change(
                    p,
                    "datapackage.json",
                    "/1.0.1/camtrap-dp-profile",
                    "/2.0/camtrap-dp-profile",
                )
            },
            &["version 2.0", "1.0.2"],
        ),
        (
            "no distance from UTC",
            |p| change(p, "deployments.csv", "-04:00", ""),
            &["deployments.csv, line 2, deploymentStart", "distance from UTC"],
        ),
        (
            "days side by side",
            |p| {
                change(
                    p,
                    "deployments.csv",
                    "2024-10-20T23:00:00-05:00",
                    "2024-10-09T23:00:00-05:00",
                )
            },
            &["deployments.csv, line 3", "same days"],
        ),
        (
            "a word that is none",
            |p| change(p, "observations.csv", ",male,", ",buck,"),
            &["observations.csv, line", "sex", "female, male"],
        ),
        (
            "a path that leaves",
            |p| change(p, "datapackage.json", "\"observations.csv\"", "\"../observations.csv\""),
            &["leaves the package"],
        ),
        (
            "a clock of another part of the world",
            |p| change(p, "deployments.csv", "-04:00", "+08:00"),
            &["deployments.csv, line 2, deploymentStart", "no clock there"],
        ),
        (
            "an offset that no clock has",
            |p| change(p, "deployments.csv", "-04:00", "-18:00"),
            &["deployments.csv, line 2, deploymentStart", "no moment"],
        ),
        (
            "a year that has not come",
            |p| change(p, "deployments.csv", "2024-10-20", "9999-10-20"),
            &["deployments.csv, line", "no moment"],
        ),
        (
            "an observation of one picture without a picture",
            |p| change(p, "observations.csv", ",d1-m1,", ",,"),
            &["observations.csv, line 2, mediaID"],
        ),
        ("not JSON", |p| fs::write(p.join("datapackage.json"), "{").unwrap(), &["is not JSON"]),
    ];
    for (what, break_it, told) in cases {
        let package = Place::empty();
        for entry in fs::read_dir(whole.path()).unwrap().flatten() {
            fs::copy(entry.path(), package.path().join(entry.file_name())).unwrap();
        }
        break_it(package.path());
        let into = package.path().join("property");
        let (is_done, said) = receive(package.path(), &into, &[]);
        assert!(!is_done && !into.exists(), "{what}: {said}");
        for words in told {
            assert!(said.contains(words), "{what}: {said}");
        }
    }
}

fn change(folder: &Path, file: &str, from: &str, to: &str) {
    let path = folder.join(file);
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(from), "{from} in {file}");
    fs::write(path, text.replacen(from, to, 1)).unwrap();
}

/// What is no file of the package is not read, however it got there.
#[cfg(unix)]
#[test]
fn links_and_things_that_are_no_files_are_refused() {
    let whole = Place::empty();
    by_script("write", whole.path());
    let outside = Place::empty();
    outside.put("observations.csv", fs::read(whole.path().join("observations.csv")).unwrap());
    let table = whole.path().join("observations.csv");
    for (leads_to, told) in [
        (outside.path().join("observations.csv"), "leaves the package"),
        ("/dev/zero".into(), "leaves the package"),
    ] {
        fs::remove_file(&table).unwrap();
        std::os::unix::fs::symlink(leads_to, &table).unwrap();
        let into = whole.path().join("property");
        let (is_done, said) = receive(whole.path(), &into, &[]);
        assert!(!is_done && said.contains(told) && !into.exists(), "{said}");
    }
    // A packed table that never ends.
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    for _ in 0..600 {
        packed.write_all(&[b'0'; 1 << 20]).unwrap();
    }
    fs::write(whole.path().join("media.csv.gz"), packed.finish().unwrap()).unwrap();
    fs::remove_file(&table).unwrap();
    fs::copy(outside.path().join("observations.csv"), &table).unwrap();
    let (is_done, said) = receive(whole.path(), &whole.path().join("property"), &[]);
    assert!(!is_done && said.contains("swells to more than"), "{said}");
}

/// Archives that would write elsewhere, or never end.
#[test]
fn hostile_archives_are_refused() {
    let place = Place::empty();
    let options = zip::write::SimpleFileOptions::default();
    let archive = |name: &str, file: &str, bytes: &[u8], times: usize| -> PathBuf {
        let path = place.path().join(name);
        let mut zip = zip::ZipWriter::new(fs::File::create(&path).unwrap());
        zip.start_file(file, options).unwrap();
        for _ in 0..times {
            zip.write_all(bytes).unwrap();
        }
        zip.finish().unwrap();
        path
    };
    let leaves = archive("leaves.zip", "../../escaped.csv", b"x", 1);
    let swells = archive("swells.zip", "media.csv", &[b'0'; 1 << 20], 3000);
    assert!(fs::metadata(&swells).unwrap().len() < 10_000_000);
    for (package, told) in [(leaves, "leaves the package"), (swells, "swells to more than")] {
        let into = place.path().join("property");
        let (is_done, said) = receive(&package, &into, &[]);
        assert!(!is_done && said.contains(told), "{said}");
        assert!(!into.exists());
    }
    assert!(!place.path().parent().unwrap().join("escaped.csv").exists());
}
