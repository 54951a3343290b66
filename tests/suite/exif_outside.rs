//! EXIF as ExifRead reads it from pictures that Pillow and piexif wrote (`reference/exif.py`), and
//! from pictures that real cameras took.

use std::fs;

use graylight::card::{Picture, TimeOrigin, Untimed};
use serde_json::Value;

use crate::support::{Place, real_cameras, reference, reference_json};

#[test]
fn every_field_as_an_independent_reader_has_it() {
    let expected = reference_json("exif.json");
    let expected = expected["pictures"].as_array().unwrap();
    let place = Place::new();
    for row in expected {
        let file = row["file"].as_str().unwrap();
        place.put(
            &format!("cards/A/{}", file.trim_start_matches("exif/")),
            fs::read(reference(file)).unwrap(),
        );
    }
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.pictures.len(), expected.len());
    for row in expected {
        let name = row["file"].as_str().unwrap().replace("exif/", "cards/A/");
        let picture = debrief.crawl.pictures.iter().find(|p| p.path == name).unwrap();
        check(picture, row);
    }
}

/// A field's text, `None` where it is absent or holds no digit or letter.
fn text<'a>(row: &'a Value, key: &str) -> Option<&'a str> {
    row[key].as_str().filter(|t| t.chars().any(char::is_alphanumeric))
}

fn check(picture: &Picture, row: &Value) {
    let fields = [
        ("DateTimeOriginal", TimeOrigin::Original),
        ("DateTimeDigitized", TimeOrigin::Digitized),
        ("DateTime", TimeOrigin::Changed),
    ];
    let first = fields.iter().find_map(|(key, origin)| Some((text(row, key)?, *origin)));
    match (&picture.time, first) {
        (Err(Untimed::Absent), None) => {}
        (Err(Untimed::Zero), Some((t, _))) => assert!(t.starts_with("0000")),
        (Err(Untimed::TooEarly(_)), Some((t, _))) => assert!(t.starts_with("1970")),
        (Err(Untimed::Future(_)), Some((t, _))) => assert!(t.starts_with("2099")),
        (Ok(stamp), Some((t, origin))) => {
            assert_eq!(stamp.origin, origin, "{row}");
            let shown = stamp.time.shown();
            assert_eq!(shown.format("%Y:%m:%d %H:%M:%S").to_string(), t, "{row}");
            if origin == TimeOrigin::Original {
                let fraction = text(row, "SubSecTimeOriginal")
                    .map_or(0.0, |s| format!("0.{s}").parse::<f64>().unwrap());
                let ours = f64::from(shown.and_utc().timestamp_subsec_millis()) / 1000.0;
                assert!((ours - fraction).abs() < 1e-9, "{row}");
                let offset = stamp.offset.map(|o| o.to_string());
                assert_eq!(offset.as_deref(), text(row, "OffsetTimeOriginal"), "{row}");
            }
        }
        other => panic!("{other:?} for {row}"),
    }
    assert_eq!(picture.body.model.as_deref(), text(row, "Model"), "{row}");
    assert_eq!(picture.body.serial.as_deref(), text(row, "BodySerialNumber"), "{row}");
    if row["undecoded"].as_object().is_none_or(|u| u.is_empty()) {
        assert_eq!(picture.body.make.as_deref(), text(row, "Make"), "{row}");
    } else {
        assert!(picture.body.make.is_some(), "text in an old encoding is kept");
    }
    same_position(picture, row);
}

fn same_position(picture: &Picture, row: &Value) {
    let theirs = row["latitude"].as_f64().zip(row["longitude"].as_f64());
    match (picture.position(), theirs) {
        (None, None) => {}
        (Some(ours), Some((latitude, longitude))) => {
            assert!((ours.latitude_deg - latitude).abs() < 1e-9, "{row}");
            assert!((ours.longitude_deg - longitude).abs() < 1e-9, "{row}");
        }
        other => panic!("{other:?} for {row}"),
    }
}

/// Pictures that cameras of nine makers took, from the tests of packages on PyPI
/// (`reference/real_cameras.py` names them and their licences; nothing of them is kept here).
#[test]
fn real_cameras_pictures_as_an_independent_reader_has_them() {
    let place = Place::new();
    let folder = place.path().join("cards/A");
    real_cameras(&folder);
    let records = fs::read(folder.join("real.json")).unwrap();
    let records: Vec<Value> = serde_json::from_slice(&records).unwrap();
    let debrief = place.debrief();
    let crawl = &debrief.crawl;
    assert_eq!(crawl.found(), records.len());
    assert_eq!(crawl.readable(), records.len(), "{:?}", crawl.unreadable);
    let mut compared = 0;
    for row in &records {
        let path = format!("cards/A/{}", row["file"].as_str().unwrap());
        let Some(picture) = crawl.pictures.iter().find(|p| p.path == path) else {
            assert!(crawl.duplicates.iter().any(|(copy, _)| *copy == path), "{path}");
            continue;
        };
        let shown = picture.time.as_ref().ok().map(|stamp| {
            let time = stamp.time.shown();
            time.format("%Y:%m:%d %H:%M:%S").to_string()
        });
        let first = ["date_time_original", "date_time"].iter().find_map(|key| text(row, key));
        assert_eq!(shown.as_deref(), first, "{row}");
        if row["undecoded"].as_object().unwrap().is_empty() {
            assert_eq!(picture.body.make.as_deref(), text(row, "make"), "{row}");
            assert_eq!(picture.body.model.as_deref(), text(row, "model"), "{row}");
        }
        assert_eq!(picture.body.serial.as_deref(), text(row, "serial"), "{row}");
        same_position(picture, row);
        compared += usize::from(first.is_some());
    }
    assert!(compared >= 10, "{compared} with a time");
}
