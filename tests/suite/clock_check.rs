//! Wrong clocks named from the pictures, right clocks left alone, and nothing changed unasked.

use graylight::card;
use graylight::clock_check::{CameraClock, Fault, check};
use graylight::practice::{ClockFault, Options};
use graylight::property::Property;
use graylight::visits::Kind;
use indicatif::ProgressBar;
use rayon::prelude::*;

use crate::support::{Place, graylight, picture_at, today};

/// The second camera's clock is the one with the fault.
const FAULTY: &str = "Walnut Draw";

/// A quarter of the pixels is enough: all that a picture tells a clock is whether it is grey.
const SEEN_AS_GREY_OR_NOT: u32 = 2;

fn options(seed: u64, clock: ClockFault, weeks: u32) -> Options {
    Options {
        seed,
        clock,
        weeks,
        cameras: 2,
        // About five triggers a day.
        size: 2.0,
        pixel: SEEN_AS_GREY_OR_NOT,
        ..Options::default()
    }
}

fn clocks(place: &Place) -> Vec<CameraClock> {
    let property = Property::open(place.path()).unwrap();
    let crawl = card::crawl(&property, today(), &ProgressBar::hidden());
    check(&property, &crawl).unwrap()
}

fn of(clocks: &[CameraClock], camera: &str) -> CameraClock {
    clocks.iter().find(|c| c.camera == camera).unwrap().clone()
}

/// How a hundred practice seasons with one fault came out.
#[derive(Debug, Default)]
struct Score {
    named: usize,
    within_12_min: usize,
    healthy_accused: usize,
    healthy: usize,
    missed: Vec<String>,
}

const SEEDS: u64 = 100;

fn score(fault: ClockFault, weeks: u32, named: Fault, truth_min: Option<f64>) -> Score {
    let found: Vec<Vec<CameraClock>> = (0..SEEDS)
        .into_par_iter()
        .map(|seed| clocks(&Place::practice(&options(seed, fault, weeks))))
        .collect();
    let mut score = Score::default();
    for (seed, clocks) in found.iter().enumerate() {
        let wrong = of(clocks, FAULTY);
        match &wrong.findings[..] {
            [finding] if finding.fault == named => score.named += 1,
            other => score.missed.push(format!(
                "{seed}: {:?}",
                other.iter().map(|f| (f.fault, f.shift_min)).collect::<Vec<_>>()
            )),
        }
        let middle = |f: &graylight::clock_check::Finding| (f.low_min + f.high_min) / 2.0;
        if let (Some(truth), [finding]) = (truth_min, &wrong.findings[..]) {
            score.within_12_min += usize::from((middle(finding).abs() - truth).abs() <= 12.0);
        }
        let healthy = of(clocks, "North Fence");
        score.healthy += 1;
        score.healthy_accused += usize::from(!healthy.findings.is_empty());
    }
    score
}

#[test]
fn twelve_hours_are_named_from_two_weeks_of_pictures() {
    let score = score(ClockFault::HalfDay, 2, Fault::HalfDay, Some(720.0));
    println!("{score:?}");
    assert!(score.named >= 95 && score.within_12_min >= 95, "{score:?}");
    assert!(score.healthy_accused < 2, "{score:?}");
}

/// Two weeks before the daylight-time weekend and two weeks after it.
#[test]
fn an_hour_is_named_from_two_weeks_of_pictures() {
    let score = score(ClockFault::NotReset, 4, Fault::NotReset, Some(60.0));
    println!("{score:?}");
    assert!(score.named >= 95 && score.within_12_min >= 95, "{score:?}");
    assert!(score.healthy_accused < 2, "{score:?}");
}

#[test]
fn a_wrong_date_is_named_from_two_weeks_of_pictures() {
    let score = score(ClockFault::WrongDate, 2, Fault::WrongDate, None);
    println!("{score:?}");
    assert!(score.named >= 95, "{score:?}");
    assert!(score.healthy_accused < 2, "{score:?}");
}

#[test]
fn right_clocks_are_left_alone() {
    const PROPERTIES: u64 = 25;
    let accused: usize = (0..PROPERTIES)
        .into_par_iter()
        .map(|seed| {
            let place = Place::practice(&options(seed + 1000, ClockFault::None, 8));
            clocks(&place).iter().filter(|c| !c.findings.is_empty()).count()
        })
        .sum();
    println!("{accused} of {} healthy cameras accused over twelve weeks", 2 * SEEDS);
    assert!(accused < 1, "{accused} of {}", 2 * PROPERTIES);
}

/// A camera whose owner did not reset it over the daylight-time weekend, and a disturbance on the
/// very day: no shift until the clock is settled, and the row that settles it is added unharmed.
#[test]
fn a_clock_left_alone_makes_no_shift_and_is_settled_by_its_row() {
    let place = Place::practice(&Options {
        seed: 3,
        clock: ClockFault::NotReset,
        cameras: 3,
        size: 2.0,
        pixel: SEEN_AS_GREY_OR_NOT,
        ..Options::default()
    });
    place.put(
        "disturbances.csv",
        "id,start,end,by,what,latitude,longitude,near\nweekend,2025-11-02,,nature,Clocks changed,,,Walnut Draw\n",
    );
    let before = place.debrief();
    let rows = || before.shifts.of("weekend", Kind::MatureBuck);
    let faulty = before.season.cameras.iter().position(|c| c.name == FAULTY);
    let row = rows().find(|r| r.camera == faulty).unwrap();
    assert!(row.clock_in_doubt && !row.verdict.is_clear());
    assert!(rows().filter(|r| r.camera != faulty).all(|r| !r.clock_in_doubt));

    let written = "\u{feff}camera;why;shift_minutes;until;from\r\nOak;\"set; by hand\";5;;\r\n";
    let path = place.put("clocks.csv", written);
    let asked =
        |more: &[&str]| graylight().arg("clock").arg(place.path()).args(more).output().unwrap();
    let told = String::from_utf8(asked(&[]).stdout).unwrap();
    assert!(told.contains("one hour off since a daylight-time weekend"), "{told}");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), written, "changed unasked");

    assert!(asked(&["--accept"]).status.success());
    let now = std::fs::read_to_string(&path).unwrap();
    let added = now.strip_prefix(written).unwrap();
    assert!(added.starts_with("Walnut Draw;") && added.ends_with("\r\n"), "{added}");
    assert!(added.contains(";-60;"), "{added}");
    let after = place.debrief();
    assert_eq!(after.wrong_clocks().count(), 0, "{:?}", after.wrong_clocks().next());
    assert!(after.shifts.rows.iter().all(|r| !r.clock_in_doubt));
}

/// A battery change: the clock falls back to a factory date before 2000 or after it.
#[test]
fn a_reset_is_put_back_to_within_a_day() {
    let place = Place::practice(&options(5, ClockFault::Reset, 8));
    let found = of(&clocks(&place), FAULTY);
    let finding = found.findings.first().unwrap();
    assert_eq!(finding.fault, Fault::Reset);
    // 34 hours more than from 1 January 2019 to 13 September 2025 (see practice/plan.rs).
    let factory = chrono::NaiveDate::from_ymd_opt(2019, 1, 1).unwrap();
    let day = chrono::NaiveDate::from_ymd_opt(2025, 9, 13).unwrap();
    let truth_min = (day - factory).num_minutes() as f64 + 34.0 * 60.0;
    let off = finding.shift_min - truth_min;
    assert!(off.abs() <= 1500.0, "{off} minutes off: {finding:?}");
    let hour = off.rem_euclid(1440.0);
    assert!(hour.min(1440.0 - hour) < 20.0, "{off} minutes off: {finding:?}");
}

#[test]
fn drift_year_and_a_known_moment() {
    let drift = of(&clocks(&Place::practice(&options(1, ClockFault::Drift, 12))), FAULTY);
    assert_eq!(drift.findings[0].fault, Fault::Drift, "{:?}", drift.findings);
    let year = of(&clocks(&Place::practice(&options(1, ClockFault::WrongYear, 8))), FAULTY);
    assert_eq!(year.findings[0].fault, Fault::WrongYear);
    assert_eq!(year.findings[0].shift_min, 365.0 * 1440.0);

    let place = Place::new();
    place.put("cards/Oak/IMG_0001.JPG", picture_at("2025:11:08 06:41:27"));
    let args = ["--picture", "IMG_0001.JPG", "--shows", "2025-11-08T06:11:27", "--accept"];
    let output = graylight().arg("clock").arg(place.path()).args(args).output().unwrap();
    assert!(output.status.success());
    let rows = std::fs::read_to_string(place.path().join("clocks.csv")).unwrap();
    assert!(rows.contains("Oak,2025-11-08T06:41:27,2025-11-08T06:41:27,-30,"), "{rows}");
}

/// A remedy that is accepted stands: the clock is right afterwards, and the same row is not offered anew.
#[test]
fn an_accepted_remedy_is_the_end_of_it() {
    for clock in [ClockFault::WrongYear, ClockFault::HalfDay, ClockFault::Drift, ClockFault::Reset]
    {
        let place = Place::practice(&options(2, clock, 12));
        let asked = |more: &[&str]| {
            let output = graylight().arg("clock").arg(place.path()).args(more).output().unwrap();
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            serde_json::from_slice::<serde_json::Value>(&output.stdout).unwrap()
        };
        let accepted = asked(&["--accept", "--json"]);
        assert!(accepted["accepted"][0]["done"].is_string(), "{clock:?}: {accepted}");
        let after = asked(&["--json"]);
        for camera in after["clocks"].as_array().unwrap() {
            assert_eq!(camera["findings"].as_array().unwrap().len(), 0, "{clock:?}: {camera}");
        }
        let rows = std::fs::read_to_string(place.path().join("clocks.csv")).unwrap();
        asked(&["--accept", "--json"]);
        let again = std::fs::read_to_string(place.path().join("clocks.csv")).unwrap();
        assert_eq!(rows, again, "{clock:?}");
        asked(&["--undo", "2", "--json"]);
        let undone = std::fs::read_to_string(place.path().join("clocks.csv")).unwrap();
        assert_eq!(undone.lines().count() + 1, rows.lines().count());
    }
}

/// A watch on a camera that is kept on standard time: its clock is right, and stays so.
#[test]
fn a_true_watch_on_a_standard_camera_changes_nothing() {
    let place = Place::new();
    place.put("cameras.csv", "camera,clock\nOak,standard\n");
    place.put("cards/Oak/IMG_0001.JPG", picture_at("2025:09:08 06:41:27"));
    place.put("cards/Oak/IMG_0002.JPG", picture_at("2025:09:18 06:41:27"));
    let asked = |shows: &[&str]| {
        let mut command = graylight();
        command.arg("clock").arg(place.path());
        for (picture, shows) in ["IMG_0001.JPG", "IMG_0002.JPG"].iter().zip(shows) {
            command.args(["--picture", picture, "--shows", shows]);
        }
        command.arg("--accept").output().unwrap()
    };
    // Daylight time was in force, so the watch is an hour ahead of the camera.
    let right = asked(&["2025-09-08T07:41:27"]);
    assert_eq!(right.status.code(), Some(1));
    assert!(!place.path().join("clocks.csv").exists());
    // Two moments that differ make a row that grows.
    assert!(asked(&["2025-09-08T07:41:27", "2025-09-18T07:51:27"]).status.success());
    let property = Property::open(place.path()).unwrap();
    let row = &property.corrections[0];
    assert_eq!((row.shift_min, row.until_shift_min), (0.0, Some(10.0)));
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.timed(), 2);
}

/// Three seasons with cameras bought, retired, moved and turned, and cards formatted in between: no
/// clock is wrong, and none is called so.
#[test]
fn three_seasons_have_no_false_finding() {
    const SEEDS: u64 = 200;
    let accused: Vec<String> = (0..SEEDS)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let place = Place::practice(&Options {
                seed: seed + 5000,
                weeks: 2,
                seasons: 3,
                cameras: 4,
                size: 0.8,
                pixel: SEEN_AS_GREY_OR_NOT,
                ..Options::default()
            });
            let told = |c: CameraClock| {
                let faults: Vec<_> = c.findings.iter().map(|f| (f.fault, f.shift_min)).collect();
                (!faults.is_empty()).then(|| format!("{seed} {}: {faults:?}", c.camera))
            };
            clocks(&place).into_iter().filter_map(told).collect::<Vec<_>>()
        })
        .collect();
    assert!(accused.is_empty(), "{accused:?}");
}

/// Set on 3 October with day and month exchanged, a clock shows 10 March.
#[test]
fn day_and_month_exchanged_are_named_and_put_right() {
    let place = Place::new();
    place.put("cameras.csv", "camera,from,until\nOak,2025-10-03,2025-11-20\n");
    for n in 0..40 {
        let day = chrono::NaiveDate::from_ymd_opt(2025, 3, 10).unwrap() + chrono::Days::new(n);
        let time = day.format("%Y:%m:%d 12:00:00").to_string();
        place.put(&format!("cards/Oak/IMG_{n:04}.JPG"), picture_at(&time));
    }
    let oak = of(&clocks(&place), "Oak");
    assert_eq!(oak.findings.len(), 1, "{:?}", oak.findings);
    assert_eq!(oak.findings[0].fault, Fault::Swapped);
    assert_eq!(oak.findings[0].shift_min, 207.0 * 1440.0);
    let accepted = graylight().arg("clock").arg(place.path()).arg("--accept").output();
    assert!(accepted.unwrap().status.success());
    assert!(of(&clocks(&place), "Oak").findings.is_empty());
    let first = place.debrief().season.span().unwrap().0;
    assert_eq!(first.to_string(), "2025-10-03");
}

/// Nothing but their clocks says when two cameras hung, and the clocks are a year apart: neither is accused,
/// and the disagreement is told. What `cameras.csv` says of both ends it.
#[test]
fn two_cameras_a_year_apart_disagree_and_neither_is_accused() {
    let place = Place::new();
    for (camera, year) in [("Oak", 2024), ("Ash", 2025)] {
        for day in 1..=28 {
            let time = format!("{year}:10:{day:02} 12:00:00");
            place.put(&format!("cards/{camera}/IMG_{day:04}.JPG"), picture_at(&time));
        }
    }
    assert!(clocks(&place).iter().all(|c| c.findings.is_empty()));
    let told = || {
        let problems = place.debrief().problems;
        let apart = problems.iter().filter(|p| p.what().contains("never at work together"));
        apart.count()
    };
    assert_eq!(told(), 1);
    let output = graylight().arg("clock").arg(place.path()).output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("never at work together") && !said.contains("wrong year ("), "{said}");
    place.put(
        "cameras.csv",
        "camera,from,until\nOak,2024-09-01,2024-12-01\nAsh,2025-09-01,2025-12-01\n",
    );
    assert_eq!(told(), 0);
}
