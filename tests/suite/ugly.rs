//! The ugly cases: what people and cards really do.

use std::path::{Path, PathBuf};

use graylight::card::Glance;
use graylight::debrief::Debrief;
use graylight::practice::{Imprint, jpeg};
use graylight::shift::Verdict;
use graylight::visits::Kind;
use image::{Rgb, RgbImage};

use crate::support::{Place, good_picture, picture_at};

#[test]
fn a_sheet_from_a_spreadsheet_in_another_country() {
    let plain = "camera,time,who,count,age\nOak,2025-10-01T18:00:00,buck,1,3.5\nOak,2025-10-02T18:00,doe,2,\n";
    let crlf = format!("\u{feff}{}", plain.replace('\n', "\r\n"));
    let semicolons = plain.replace("3.5", "3,5").replace("1,3,5", "1;3,5");
    let semicolons: String = semicolons
        .lines()
        .map(|l| match l.strip_suffix(";3,5") {
            Some(start) => start.replace(',', ";") + ";3,5\n",
            None => l.replace(',', ";") + "\n",
        })
        .collect();
    for text in [plain.to_owned(), crlf, semicolons] {
        let place = Place::new();
        place.put("sightings.csv", &text);
        let debrief = place.debrief();
        assert!(debrief.problems.is_empty(), "{text}: {:?}", debrief.problems);
        let visits = |kind| debrief.daylight_of(None, kind).unwrap().visits;
        assert_eq!((visits(Kind::MatureBuck), visits(Kind::Doe)), (1, 1), "{text}");
    }
}

#[test]
fn rows_that_cannot_be_used_are_told_with_file_line_and_remedy() {
    let place = Place::new();
    place.put("cards/Oak/IMG_0001.JPG", good_picture());
    place.put(
        "tags.csv",
        "picture,who,count,age\n\
         cards/Oak/IMG_0001.JPG,buck,1,35\n\
         cards/Oak/IMG_0001.JPG,bukc,1,\n\
         cards/Oak/IMG_0002.JPG,doe,1,\n\
         cards/Oak/IMG_0001.JPG,doe,many,\n",
    );
    let debrief = place.debrief();
    let told: Vec<String> = debrief.problems.iter().map(ToString::to_string).collect();
    assert_eq!(told.len(), 4, "{told:#?}");
    for (line, word) in [(2, "35"), (3, "bukc"), (4, "IMG_0002"), (5, "many")] {
        assert!(
            told.iter()
                .any(|t| t.starts_with(&format!("tags.csv, line {line}")) && t.contains(word)),
            "{line}: {told:#?}"
        );
    }
    // The impossible age loses the age, not the buck.
    assert_eq!(debrief.daylight_of(None, Kind::Buck).unwrap().visits, 1);
    assert_eq!(debrief.daylight_of(None, Kind::MatureBuck).unwrap().visits, 0);
}

#[test]
fn a_picture_can_be_named_in_every_sensible_way() {
    let place = Place::new();
    place.put("cards/Oak/DCIM/100X/IMG_0001.JPG", picture_at("2025:11:08 06:00:00"));
    place.put("cards/Elm/DCIM/100X/IMG_0001.JPG", picture_at("2025:11:08 07:00:00"));
    place.put("cards/Elm/DCIM/100X/IMG_0002.JPG", picture_at("2025:11:08 09:00:00"));
    place.put(
        "tags.csv",
        "picture,who\n\
         cards/Oak/DCIM/100X/IMG_0001.JPG,buck\n\
         Elm/DCIM/100X/img_0001.jpg,doe\n\
         cards\\Elm\\DCIM\\100X\\IMG_0002.JPG,doe\n\
         IMG_0002.JPG,fawn\n\
         Oak/IMG_0001.JPG,doe\n\
         IMG_0001.JPG,buck\n",
    );
    let debrief = place.debrief();
    // Only the last, which fits two pictures, is refused.
    assert_eq!(debrief.problems.len(), 1, "{:?}", debrief.problems);
    assert_eq!(debrief.problems[0].line, Some(7));
    assert_eq!(debrief.tagged.pictures(), 3);
}

#[test]
fn gaps_make_visits_and_moments_make_groups() {
    let place = Place::new();
    place.put(
        "sightings.csv",
        "camera,time,who,count\n\
         Oak,2025-10-01T18:00:00,doe,1\n\
         Oak,2025-10-01T18:30:00,doe,2\n\
         Oak,2025-10-01T18:30:00,fawn,1\n\
         Oak,2025-10-01T19:00:01,doe,1\n\
         Elm,2025-10-01T18:05:00,doe,1\n",
    );
    let debrief = place.debrief();
    let answer = |kind| debrief.daylight_of(None, kind).unwrap();
    // 30 minutes is no gap over 30; 30 minutes and a second is; another camera is another visit.
    assert_eq!(answer(Kind::Doe).visits, 3);
    assert_eq!(answer(Kind::Doe).largest_group, 2);
    assert_eq!(answer(Kind::Deer).visits, 3);
    assert_eq!(answer(Kind::Deer).largest_group, 3);
}

#[test]
fn an_empty_property_a_single_visit_and_a_season_of_nights() {
    let empty = Place::new();
    assert!(empty.debrief().daylight.iter().all(|a| a.share.is_none()));

    let one = Place::new();
    one.put("sightings.csv", "camera,time,who\nOak,2025-10-01T18:00:00,doe\n");
    one.put("cameras.csv", "camera\nOak\nNever Used\n");
    one.put("disturbances.csv", "id,start,near\nx,2025-10-01,Oak\n");
    let debrief = one.debrief();
    let of = |name: &str, kind| {
        let place = debrief.season.place_of(name);
        debrief.daylight_of(place, kind).unwrap()
    };
    let share = of("Oak", Kind::Doe).share.unwrap();
    assert!(share.low < 0.25 && share.high == 1.0);
    assert_eq!(of("Never Used", Kind::Deer).nights, 0);
    assert!(debrief.shifts.rows.iter().all(|r| r.verdict == Verdict::TooFewVisits));

    let nights = Place::new();
    let rows: String =
        (1..=28).map(|d| format!("Oak,2025-10-{d:02}T23:30:00,buck,5.5\n")).collect();
    nights.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
    nights.put("disturbances.csv", "id,start,near\nx,2025-10-15,Oak\n");
    let debrief = nights.debrief();
    let answer = debrief.daylight_of(Some(0), Kind::MatureBuck).unwrap();
    assert_eq!((answer.visits, answer.legal), (28, 0));
    assert!(debrief.shifts.rows.iter().all(|r| !r.verdict.is_clear()));
}

#[test]
fn the_weekend_on_which_the_clock_goes_back() {
    let place = Place::new();
    // The same camera-clock digits, a day apart, either side of 2 November 2025, 02:00.
    place.put(
        "sightings.csv",
        "camera,time,who\nOak,2025-11-01T17:30:00,doe\nOak,2025-11-02T17:30:00,doe\n",
    );
    let debrief = place.debrief();
    let visits = debrief.season.cameras[0].visits(Kind::Doe);
    let change = visits[0].before_sunset_min - visits[1].before_sunset_min;
    assert!((change - 60.0).abs() < 3.0, "{change}");

    // A clock that stays on standard time shows 18:30 daylight time as 17:30.
    place.put("cameras.csv", "camera,clock\nOak,standard\n");
    let debrief = place.debrief();
    let visits = debrief.season.cameras[0].visits(Kind::Doe);
    let change = visits[0].before_sunset_min - visits[1].before_sunset_min;
    assert!(change.abs() < 3.0, "{change}");
}

#[test]
fn a_clock_correction_moves_the_analysis_and_not_the_file() {
    let place = Place::new();
    let path = place.put("cards/Oak/IMG_0001.JPG", picture_at("2025:11:08 18:00:00"));
    let before = std::fs::read(&path).unwrap();
    place.put("tags.csv", "picture,who\nIMG_0001.JPG,doe\n");
    place
        .put("clocks.csv", "camera,from,until,shift_minutes,why\nOak,2025-11-01,,-720,AM for PM\n");
    let debrief = place.debrief();
    let visit = debrief.season.cameras[0].visits(Kind::Doe)[0];
    assert_eq!(visit.first.shown().to_string(), "2025-11-08 06:00:00");
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn a_leap_day() {
    let place = Place::new();
    place.put("sightings.csv", "camera,time,who\nOak,2024-02-29T12:00:00,doe\n");
    let debrief = place.debrief();
    let visit = debrief.season.cameras[0].visits(Kind::Doe)[0];
    assert_eq!(visit.date().to_string(), "2024-02-29");
}

#[test]
fn a_property_where_the_sun_does_not_set() {
    let place = Place::new();
    place.put(
        "property.toml",
        "name = 'x'\nlatitude = 70\nlongitude = 25\ntime_zone = 'Europe/Oslo'\n",
    );
    place.put(
        "sightings.csv",
        "camera,time,who\nOak,2025-06-21T00:30:00,doe\nOak,2025-12-21T00:30:00,doe\n",
    );
    let debrief = place.debrief();
    let does = debrief.daylight_of(None, Kind::Doe).unwrap();
    assert_eq!((does.visits, does.daylight, does.legal), (2, 1, 1));
}

#[test]
fn copies_count_once_and_keep_their_tags() {
    let place = Place::new();
    place.put("cards/Oak/A.JPG", good_picture());
    place.put("cards/Oak/B.JPG", good_picture());
    place.put("cards/Oak/C.JPG", picture_at("2025:11:08 06:41:28"));
    place.put("tags.csv", "picture,who\nB.JPG,buck\n");
    let debrief = place.debrief();
    assert_eq!((debrief.crawl.found(), debrief.crawl.readable()), (3, 3));
    assert_eq!(debrief.crawl.duplicates.len(), 1);
    assert_eq!(debrief.crawl.timed(), 2);
    assert_eq!(debrief.daylight_of(None, Kind::Buck).unwrap().visits, 1);
}

#[cfg(unix)]
#[test]
fn loops_odd_names_and_things_that_are_no_files() {
    use std::os::unix::ffi::OsStrExt;
    let place = Place::new();
    place.put("cards/Oak ☂ & <b>/it's \"1\".JPG", good_picture());
    let odd = place.path().join("cards").join(std::ffi::OsStr::from_bytes(b"Bad\xff"));
    std::fs::create_dir_all(&odd).unwrap();
    std::fs::write(odd.join("x.JPG"), picture_at("2025:11:09 06:00:00")).unwrap();
    std::os::unix::fs::symlink("..", place.path().join("cards/Oak ☂ & <b>/loop")).unwrap();
    std::os::unix::fs::symlink("nowhere", place.path().join("cards/dangling")).unwrap();
    let pipe = place.path().join("cards/pipe.JPG");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.pictures.len(), 2);
    assert_eq!(debrief.crawl.problems.len(), 2, "{:?}", debrief.crawl.problems);
    assert!(debrief.crawl.pictures.iter().any(|p| &*p.camera == "Bad\\xff"));
    let out = place.path().join("reports");
    let options = graylight::report::ReportOptions { with_places: false, with_photos: true };
    let saved = graylight::report::save(&debrief, &out, options).unwrap();
    let page = std::fs::read_to_string(saved.page).unwrap();
    assert!(!page.contains("<b>") && page.contains("&lt;b&gt;"));
}

#[test]
fn names_in_any_capitals_are_one_camera() {
    let place = Place::new();
    place.put("cards/Oak/IMG_0001.JPG", picture_at("2025:11:08 18:00:00"));
    place.put("tags.csv", "picture,who\nIMG_0001.JPG,doe\n");
    place.put("cameras.csv", "camera,clock\noak,local\n");
    place.put("clocks.csv", "camera,shift_minutes\nOAK,-720\nElm,60\n");
    place.put("disturbances.csv", "id,start,near\nx,2025-11-01,OAK\n");
    place.put(
        "sightings.csv",
        "camera,time,who\nOak,2025-11-09T06:30:00,doe\nOAK,2025-11-09T08:30:00-06:00,doe\n",
    );
    let debrief = place.debrief();
    assert_eq!(debrief.season.cameras.len(), 1);
    let visits = debrief.season.cameras[0].visits(Kind::Doe);
    let times: Vec<String> = visits.iter().map(|v| v.first.shown().to_string()).collect();
    // The camera's clock is corrected; a time written with its offset is nobody's clock.
    assert_eq!(times, ["2025-11-08 06:00:00", "2025-11-08 18:30:00", "2025-11-09 08:30:00"]);
    let told: Vec<String> = debrief.problems.iter().map(ToString::to_string).collect();
    assert!(told.len() == 1 && told[0].contains("Elm"), "{told:?}");
}

#[test]
fn loose_pictures_and_clips_are_told() {
    let place = Place::new();
    place.put("cards/DCIM/100X/IMG_0001.JPG", good_picture());
    let clip = b"RIFF\x26\0\0\0AVI LIST\x1a\0\0\0hdrlIDIT\x0e\0\0\0not a date at!";
    place.put("cards/Oak/20251108_064127.AVI", clip);
    place.put("cards/Oak/BROKEN.AVI", b"RIFF");
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.clips(), 1);
    let clip = debrief.crawl.pictures.iter().find(|p| p.clip).unwrap();
    let stamp = clip.time.clone().unwrap();
    assert_eq!(stamp.origin.word(), "file name");
    assert_eq!(stamp.time.to_string(), "2025-11-08 06:41:27");
    assert_eq!(debrief.crawl.unreadable.len(), 1);
    assert!(debrief.problems[0].what().contains("no camera's folder"));
}

/// Two months of evenings: 8 of 10 visits in legal light, or 2 of 10 from a date on.
fn evenings(cameras: &[(&str, bool)], moved_on: u32) -> String {
    let mut rows = "camera,time,who,age\n".to_owned();
    for (camera, falls) in cameras {
        for day in 0..60_u32 {
            let date = chrono::NaiveDate::from_ymd_opt(2025, 9, 1).unwrap()
                + chrono::Days::new(u64::from(day));
            let one_in_five = day % 5 == 0;
            let light = if *falls && day >= moved_on { one_in_five } else { !one_in_five };
            let hour = if light { "17:00" } else { "22:00" };
            rows += &format!("{camera},{date}T{hour},buck,4.5\n");
        }
    }
    rows
}

#[test]
fn a_camera_that_was_moved_is_not_compared_with_itself() {
    let place = Place::new();
    let cameras = [("Oak", true), ("Elm", false), ("Ash", false), ("Fir", false)];
    place.put("sightings.csv", evenings(&cameras, 30));
    place.put("disturbances.csv", "id,start,near\nblind,2025-10-01,Oak\n");
    let oak = |place: &Place| {
        let debrief = place.debrief();
        let row = debrief
            .shifts
            .of("blind", Kind::MatureBuck)
            .find(|r| debrief.camera_name(r.camera) == "Oak");
        row.unwrap().verdict
    };
    assert_eq!(oak(&place), Verdict::ClearDrop);
    place.put(
        "cameras.csv",
        "camera,setting,from,until\nOak,food plot,2025-09-01,2025-09-30\nOak,bedding,2025-10-01,2025-10-30\n",
    );
    assert_eq!(oak(&place), Verdict::TooFewVisits);
}

#[test]
fn a_camera_that_stood_still_while_the_others_rose_did_not_drop() {
    let place = Place::new();
    let mut rows = evenings(&[("Oak", false)], 0);
    let others: String =
        evenings(&["Elm", "Ash", "Fir", "Gum", "Ivy", "Yew", "Box"].map(|name| (name, true)), 30)
            .lines()
            .skip(1)
            .map(|l| {
                // Turned round: the controls rise from 2 in 10 to 8 in 10.
                let turned = if l.contains("17:00") {
                    l.replace("17:00", "22:00")
                } else {
                    l.replace("22:00", "17:00")
                };
                turned + "\n"
            })
            .collect();
    rows += &others;
    place.put("sightings.csv", rows);
    place.put("disturbances.csv", "id,start,near\nblind,2025-10-01,Oak\n");
    let debrief = place.debrief();
    let row = debrief.shifts.of("blind", Kind::MatureBuck).find(|r| r.role.word() == "near");
    let row = row.unwrap();
    assert!(row.share_change_against_controls.unwrap().high < 0.0);
    assert_eq!(row.verdict, Verdict::NoClearChange);
}

#[test]
fn untagged_pictures_are_not_deer_that_stayed_away() {
    let place = Place::new();
    let mut tags = "picture,who,age\n".to_owned();
    for day in 1..=30 {
        let name = format!("cards/Oak/IMG_{day:04}.JPG");
        place.put(&name, picture_at(&format!("2025:10:{day:02} 17:00:00")));
        if day < 15 {
            tags += &format!("{name},buck,4.5\n");
        }
    }
    place.put("tags.csv", tags);
    place.put("disturbances.csv", "id,start,near\nblind,2025-10-15,Oak\n");
    let debrief = place.debrief();
    let answer = debrief.daylight_of(Some(0), Kind::MatureBuck).unwrap();
    assert!(answer.per_100_nights.is_none());
    assert!(debrief.shifts.rows.iter().all(|r| r.rate_ratio.is_none() && r.pattern.is_none()));
}

/// A name that is no text is written `\xNN`, and another may be spelt just so: neither what is remembered of one nor a
/// tag goes to the other.
#[cfg(target_os = "linux")]
#[test]
fn a_name_that_is_no_text_is_not_taken_for_one_that_is_spelt_like_it() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;

    const SPELT: &str = "cards/A/bad\\xe9.JPG";
    let place = Place::new();
    let raw = Path::new("cards/A").join(OsStr::from_bytes(b"bad\xe9.JPG"));
    let shot = |day: u32, tone: [u8; 3]| {
        let imprint = Imprint {
            time: Some(format!("2025-11-{day:02}T12:00:00").parse().unwrap()),
            label: "A",
            serial: "",
            position: None,
        };
        jpeg(&RgbImage::from_pixel(160, 120, Rgb(tone)), &imprint).unwrap()
    };
    place.put(SPELT, shot(1, [90; 3]));
    place.put("cards/A/plain\\x41.JPG", shot(2, [120, 90, 40]));
    let write_raw = || std::fs::write(place.path().join(&raw), shot(3, [120, 90, 40])).unwrap();
    write_raw();
    place.put("tags.csv", format!("picture,who\n{SPELT},buck\ncards/A/plain\\x41.JPG,doe\n"));

    let debrief = place.debrief();
    let pictures = &debrief.crawl.pictures;
    assert_eq!(pictures.len(), 3);
    for picture in pictures.iter().chain(pictures.iter().rev()) {
        let remembered = debrief.crawl.memory.glance(place.path(), picture);
        let anew = Glance::at(&place.path().join(picture.file()));
        assert_eq!(remembered, anew, "{picture:?}");
    }
    let tagged = |debrief: &Debrief| -> Vec<PathBuf> {
        let pictures = debrief.crawl.pictures.iter().zip(&debrief.tagged.tagged);
        let tagged = pictures.filter(|(_, t)| **t);
        tagged.map(|(p, _)| p.file().to_path_buf()).collect()
    };
    assert_eq!(tagged(&debrief), [Path::new("cards/A/plain\\x41.JPG")]);
    let told: Vec<String> = debrief.problems.iter().map(ToString::to_string).collect();
    assert!(told.iter().any(|p| p.contains("tags.csv") && p.contains("more than one")), "{told:?}");

    std::fs::remove_file(place.path().join(&raw)).unwrap();
    assert_eq!(tagged(&place.debrief()).len(), 2);
    write_raw();
    std::fs::remove_file(place.path().join(SPELT)).unwrap();
    let alone = tagged(&place.debrief());
    assert!(alone.contains(&raw), "{alone:?}");
}

#[test]
fn a_whole_path_means_the_picture_that_lies_there_and_no_other_folder_of_the_same_name() {
    let place = Place::new();
    place.put("cards/A/IMG_0001.JPG", picture_at("2025:11:01 07:00:00"));
    place.put("cards/B/IMG_0001.JPG", picture_at("2025:11:02 07:00:00"));
    let here = place.path().join("cards/B/IMG_0001.JPG");
    let here = here.display();
    place.put(
        "tags.csv",
        format!("picture,who\n{here},buck\n/elsewhere/cards/A/IMG_0001.JPG,doe\n"),
    );
    let debrief = place.debrief();
    assert_eq!(debrief.tagged.tagged, [false, true]);
    assert_eq!(debrief.problems.len(), 1, "{:?}", debrief.problems);
}
