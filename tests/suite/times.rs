//! Times that do not stand where they should: in maker notes, in XMP, in clips that hold UTC, and on
//! cards that carry none.

use std::fs;
use std::process::{Command, Output};
use std::time::{Duration, SystemTime};

use exif::experimental::Writer;
use exif::{Context, Field, In, Tag, Value};
use graylight::card::TimeOrigin;
use image::ImageEncoder;
use serde_json::Value as Json;

use crate::support::{Place, graylight, picture_at, reference_json};

/// A picture with nothing but some fields.
fn jpeg_with(fields: &[Field], tone: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new(&mut bytes);
    let mut writer = Writer::new();
    fields.iter().for_each(|f| writer.push_field(f));
    if !fields.is_empty() {
        let mut block = std::io::Cursor::new(Vec::new());
        writer.write(&mut block, true).unwrap();
        encoder.set_exif_metadata(block.into_inner()).unwrap();
    }
    let picture = image::RgbImage::from_pixel(32, 24, image::Rgb([tone, 90, 60]));
    encoder.encode_image(&picture).unwrap();
    bytes
}

fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

fn text(tag: Tag, value: &str) -> Field {
    field(tag, Value::Ascii(vec![value.as_bytes().to_vec()]))
}

fn bytes_of(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(&hex[i..i + 2], 16).unwrap()).collect()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

/// Layouts after ExifTool's public tag tables (`reference/maker_notes.json`); where the installed
/// ExifTool knows a layout, it must read the same.
#[test]
fn times_serials_and_labels_of_maker_notes() {
    let wanted = reference_json("maker_notes.json");
    let place = Place::new();
    let mut compared = 0;
    for (i, note) in wanted["notes"].as_array().unwrap().iter().enumerate() {
        let bytes = bytes_of(note["hex"].as_str().unwrap());
        let fields =
            [text(Tag::Make, "RECONYX"), field(Tag::MakerNote, Value::Undefined(bytes, 0))];
        let path = place.put(&format!("cards/Oak/IMG_{i:04}.JPG"), jpeg_with(&fields, i as u8));
        let output = Command::new("exiftool")
            .args(["-json", "-Reconyx:DateTimeOriginal", "-Reconyx:UserLabel"])
            .arg(&path)
            .output()
            .unwrap();
        let read: Json = serde_json::from_slice(&output.stdout).unwrap();
        if let Some(time) = read[0]["DateTimeOriginal"].as_str()
            && !note["layout"].as_str().unwrap().contains("sec0")
        {
            assert_eq!(
                time.replacen(':', "-", 2),
                note["time"].as_str().unwrap(),
                "exiftool: {note}"
            );
            assert_eq!(read[0]["UserLabel"], wanted["label"]);
            compared += 1;
        }
    }
    assert!(compared >= 3, "exiftool knew {compared} layouts");
    let debrief = place.debrief();
    for (picture, note) in debrief.crawl.pictures.iter().zip(wanted["notes"].as_array().unwrap()) {
        let stamp = picture.time.as_ref().unwrap();
        assert_eq!(stamp.origin, TimeOrigin::MakerNote);
        assert_eq!(stamp.time.to_string(), note["time"].as_str().unwrap(), "{note}");
        assert_eq!(picture.body.serial.as_deref(), note["serial"].as_str(), "{note}");
        assert_eq!(picture.body.label.as_deref(), wanted["label"].as_str(), "{note}");
        assert_eq!(picture.temperature_c(), wanted["temperature_c"].as_f64(), "{note}");
        assert_eq!(picture.light.flash_fired, Some(true), "{note}");
    }
}

#[test]
fn a_time_in_the_wrong_directory_and_a_time_of_change_alone() {
    let place = Place::new();
    let misplaced = Tag(Context::Tiff, Tag::DateTimeOriginal.number());
    place.put("cards/Oak/1.jpg", jpeg_with(&[text(misplaced, "2025-11-08T06:41:27Z")], 1));
    place.put("cards/Oak/2.jpg", jpeg_with(&[text(Tag::DateTime, "2025:11:09 06:41:27")], 2));
    let debrief = place.debrief();
    let origins: Vec<_> =
        debrief.crawl.pictures.iter().map(|p| p.time.as_ref().unwrap().origin).collect();
    assert_eq!(origins, [TimeOrigin::Original, TimeOrigin::Changed]);
    let told =
        |p: &graylight::property::Problem| p.what().contains("only the time of their last change");
    assert!(debrief.problems.iter().any(told), "{:?}", debrief.problems);
}

/// A program has rewritten the picture: its EXIF has only the change, its XMP still the capture.
#[test]
fn xmp_remembers_what_exif_has_lost() {
    let place = Place::new();
    let path =
        place.put("cards/Oak/1.jpg", jpeg_with(&[text(Tag::DateTime, "2026:01:20 20:00:00")], 1));
    let written = Command::new("exiftool")
        .args(["-overwrite_original", "-XMP-exif:DateTimeOriginal=2025:11:08 06:41:27"])
        .arg(&path)
        .output()
        .unwrap();
    assert!(written.status.success(), "{}", said(&written));
    let debrief = place.debrief();
    let stamp = debrief.crawl.pictures[0].time.as_ref().unwrap();
    assert_eq!(
        (stamp.origin, stamp.time.to_string()),
        (TimeOrigin::Xmp, "2025-11-08 06:41:27".to_owned())
    );
}

/// Stills by the camera's clock and clips in UTC are the same visits, not twice as many.
#[test]
fn clips_in_utc_beside_stills_are_one_visit_each() {
    let place = Place::new();
    let clip = |utc: &str| -> Vec<u8> {
        let file = place.path().join("made.mp4");
        let output = Command::new("ffmpeg")
            .args(["-y", "-f", "lavfi", "-i", "color=c=gray:s=32x24:d=0.2", "-metadata"])
            .arg(format!("creation_time={utc}"))
            .arg(&file)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", said(&output));
        let bytes = fs::read(&file).unwrap();
        fs::remove_file(file).unwrap();
        bytes
    };
    let mut tags = "picture,who\n".to_owned();
    // Both sides of the weekend on which daylight time ended, 2 November 2025.
    for (n, (local, utc)) in [
        ("2025:10:30 06:41:27", "2025-10-30T11:41:40Z"),
        ("2025:10:31 17:11:27", "2025-10-31T22:11:40Z"),
        ("2025:11:03 06:41:27", "2025-11-03T12:41:40Z"),
        ("2025:11:04 16:41:27", "2025-11-04T22:41:40Z"),
    ]
    .into_iter()
    .enumerate()
    {
        let n = 2 * n + 1;
        place.put(&format!("cards/Oak/IMG_{n:04}.JPG"), picture_at(local));
        place.put(&format!("cards/Oak/IMG_{:04}.MP4", n + 1), clip(utc));
        tags += &format!("cards/Oak/IMG_{n:04}.JPG,doe\ncards/Oak/IMG_{:04}.MP4,doe\n", n + 1);
    }
    place.put("tags.csv", tags);
    let debrief = place.debrief();
    let visits = debrief.season.cameras[0].visits(graylight::visits::Kind::Doe);
    assert_eq!(visits.len(), 4, "{visits:?}");
    assert!(debrief.crawl.problems.iter().any(|p| p.what().contains("UTC")));
}

/// A card without a single time: told first, and one known picture gives all of them their times.
#[test]
fn a_card_without_times_gets_them_from_one_known_picture() {
    let place = Place::new();
    let true_time: chrono::DateTime<chrono::Utc> = "2025-11-08T12:41:00Z".parse().unwrap();
    for n in 0..20 {
        let path = place.put(&format!("cards/Oak/IMG_{n:04}.JPG"), jpeg_with(&[], 12 * n as u8));
        // The files' dates run on a clock that is 100 minutes behind.
        let behind =
            SystemTime::from(true_time) + Duration::from_secs(3600 * n) - Duration::from_secs(6000);
        fs::File::options().write(true).open(&path).unwrap().set_modified(behind).unwrap();
    }
    let before = place.debrief();
    assert_eq!(before.crawl.timed(), 0);
    assert!(before.problems.iter().any(|p| p.what().contains("20 of 20 pictures carry no time")));
    let output = graylight()
        .arg("clock")
        .arg(place.path())
        .args(["--picture", "IMG_0003.JPG", "--shows", "2025-11-08T09:41", "--accept"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", said(&output));
    let after = place.debrief();
    assert_eq!(after.crawl.timed(), 20, "{}", said(&output));
    let shown: Vec<String> =
        after.crawl.pictures.iter().map(|p| p.time.as_ref().unwrap().time.to_string()).collect();
    assert_eq!(
        (shown[0].as_str(), shown[19].as_str()),
        ("2025-11-08 06:41:00", "2025-11-09 01:41:00")
    );
}

#[test]
fn a_leap_day_a_year_to_come_and_the_polar_day() {
    let place = Place::new();
    place.put("cards/Oak/1.jpg", picture_at("2024:02:29 06:41:27"));
    place.put("cards/Oak/2.jpg", picture_at("2031:10:08 06:41:27"));
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.timed(), 1);
    let finding = debrief.wrong_clocks().next().unwrap();
    assert_eq!(finding.fault.word(), "set to a date that has not come");

    let north = Place::new();
    north
        .put("property.toml", "name='x'\nlatitude=68\nlongitude=25\ntime_zone='Europe/Helsinki'\n");
    for (n, time) in
        ["2025:06:21 00:41:27", "2025:12:21 12:05:27", "2025:12:21 00:41:27"].iter().enumerate()
    {
        north.put(&format!("cards/Oak/{n}.jpg"), picture_at(time));
    }
    north.put("tags.csv", "picture,who\n0.jpg,doe\n1.jpg,doe\n2.jpg,doe\n");
    let debrief = north.debrief();
    let does = debrief.daylight_of(None, graylight::visits::Kind::Doe).unwrap();
    assert_eq!((does.visits, does.daylight, does.legal), (3, 1, 2));
}
