//! Tables as people save them, from the outside.

use std::process::Output;

use chrono::{NaiveDateTime, TimeDelta};
use graylight::visits::Kind;

use crate::support::{Place, graylight, picture_at};

fn debrief(place: &Place) -> Output {
    graylight().arg("shift").arg(place.path()).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn dates_of_a_us_spreadsheet_are_read() {
    let place = Place::new();
    place.put("cards/Oak/IMG_0001.JPG", picture_at("2025:11:08 06:41:27"));
    place.put(
        "disturbances.csv",
        "id,start,end,by,what\r\nblind,10/25/2025,,neighbour,A blind\r\nwork,11/2/2025 6:30 PM,11/3/2025,own,Lanes\r\n",
    );
    let debrief = place.debrief();
    let starts: Vec<String> =
        debrief.property.disturbances.iter().map(|d| d.start.to_string()).collect();
    assert_eq!(starts, ["2025-10-25 00:00:00", "2025-11-02 18:30:00"]);
    assert!(
        debrief.problems.iter().all(|p| p.file != "disturbances.csv"),
        "{:?}",
        debrief.problems
    );
}

#[test]
fn a_table_of_which_nothing_can_be_used_ends_the_run_and_says_so_first() {
    for (file, text) in [
        ("disturbances.csv", "id,start\na,10/11/2025\nb,9/8/2025\n"),
        ("cameras.csv", "camera,from\nOak,soon\n"),
        ("clocks.csv", "camera,shift_minutes\nOak,an hour\n"),
        ("tags.csv", "picture,who\ncards/Oak/IMG_0001.JPG,stag\n"),
        ("sightings.csv", "camera,time,who\nOak,25 o'clock,buck\n"),
    ] {
        let place = Place::new();
        place.put("cards/Oak/IMG_0001.JPG", picture_at("2025:11:08 06:41:27"));
        place.put(file, text);
        let output = debrief(&place);
        assert_eq!(output.status.code(), Some(1), "{file}");
        let words = said(&output);
        let first = words.lines().next().unwrap_or("");
        assert!(first.contains(&format!("no row of {file} can be used")), "{words}");
        assert!(first.contains("line 2"), "{words}");
    }
}

#[test]
fn an_order_of_day_and_month_is_asked_for_and_can_be_given() {
    let place = Place::new();
    place.put("disturbances.csv", "id,start\na,10/11/2025\nb,9/8/2025\n");
    assert!(said(&debrief(&place)).contains("date_order = \"day first\""));
    let settings = std::fs::read_to_string(place.path().join("property.toml")).unwrap();
    place.put("property.toml", settings + "date_order = \"day first\"\n");
    let debrief = place.debrief();
    let starts: Vec<String> =
        debrief.property.disturbances.iter().map(|d| d.start.date().to_string()).collect();
    assert_eq!(starts, ["2025-08-09", "2025-11-10"]);
}

/// A sheet in which several hands wrote their times in several ways gives what the same sheet gives
/// with ISO 8601 times.
#[test]
fn a_sheet_of_many_hands_counts_as_the_same_sheet_in_iso_times() {
    let first: NaiveDateTime = "2019-10-08T09:03:32".parse().unwrap();
    let moments: Vec<NaiveDateTime> =
        (0..400).map(|n| first + TimeDelta::minutes(n * 311)).collect();
    let shapes =
        ["%d-%b-%y %-H:%M:%S", "%Y-%m-%d %H:%M:%S", "%m/%d/%Y %-I:%M:%S %p", "%B %-d, %Y %H:%M:%S"];
    let sheet = |time: &dyn Fn(usize) -> String| {
        let mut table = "camera,time,who\n".to_owned();
        for n in 0..moments.len() {
            table += &format!("Oak,\"{}\",{}\n", time(n), ["buck", "doe"][n % 2]);
        }
        let place = Place::new();
        place.put("sightings.csv", table);
        place.debrief()
    };
    let iso = sheet(&|n| moments[n].format("%FT%T").to_string());
    let mixed = sheet(&|n| moments[n].format(shapes[n % shapes.len()]).to_string());
    assert!(mixed.problems.is_empty(), "{:?}", mixed.problems);
    for kind in Kind::ALL {
        let answer = |d: &graylight::debrief::Debrief| {
            d.daylight_of(None, kind).map(|a| (a.counted, a.visits))
        };
        assert_eq!(answer(&iso), answer(&mixed));
    }
    assert!(iso.daylight_of(None, Kind::Deer).unwrap().visits > 300);
}

#[test]
fn a_spreadsheets_unicode_text_is_read() {
    let place = Place::new();
    let table = "id\tstart\twhat\nb\u{f6}ck\t2025-10-25\tHochsitz f\u{fc}r B\u{f6}cke\n";
    let wide: Vec<u8> =
        std::iter::once(0xfeff).chain(table.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    place.put("disturbances.csv", wide);
    assert_eq!(place.debrief().property.disturbances[0].what, "Hochsitz für Böcke");
}

#[test]
fn many_problems_are_summed_up_first() {
    let place = Place::new();
    let rows: String =
        (0..300).map(|n| format!("Oak,2025-10-08T06:{:02}:00,stag\n", n % 60)).collect();
    place.put("sightings.csv", format!("camera,time,who\nOak,2025-10-08T06:00:00,buck\n{rows}"));
    let words = said(&debrief(&place));
    let first = words.lines().next().unwrap_or("");
    assert_eq!(first, "300 things could not be used: 300 in sightings.csv.", "{words}");
}

/// An inch mark within a cell opens nothing.
#[test]
fn a_quotation_mark_within_a_cell_is_a_mark() {
    let place = Place::new();
    place.put(
        "sightings.csv",
        "camera,time,who,count,age,name,note\nOak,2025-10-01T17:00,buck,1,4.5,,10\" spread\nOak,2025-10-02T17:00,buck,1,4.5,,tall \"brow\" tine\nOak,2025-10-03T17:00,buck,1,4.5,,\"open\nOak,2025-10-04T17:00,doe,1,,,\n",
    );
    let debrief = place.debrief();
    let bucks = debrief.daylight_of(None, graylight::visits::Kind::Buck).unwrap();
    assert_eq!(bucks.visits, 2);
    assert_eq!(debrief.problems.len(), 1, "{:?}", debrief.problems);
    assert_eq!(debrief.problems[0].line, Some(4));
}
