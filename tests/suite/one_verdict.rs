//! One fact has one verdict, and a verdict says what the counts say.

use std::ops::Range;

use chrono::{Days, NaiveDate};
use graylight::practice::Options;
use graylight::property::By;
use graylight::shift::{Answer, Question, Role, Shift, Verdict, Why};
use graylight::visits::Kind;

use crate::support::Place;

fn date(day: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2025, 9, 1).unwrap() + Days::new(day)
}

/// So many visits in light and as many in the dark on each of some days, and a picture of nothing.
fn days(camera: &str, days: Range<u64>, [light, dark]: [u64; 2]) -> String {
    let one = |day: u64| {
        let at = |hour: u64| format!("{camera},{}T{hour:02}:00,buck,4.5\n", date(day));
        let light = (0..light).map(|n| at(9 + n));
        let dark = (0..dark).map(|n| at((21 + n) % 24));
        let empty = format!("{camera},{}T12:40,empty,\n", date(day));
        light.chain(dark).chain([empty]).collect::<String>()
    };
    days.map(one).collect()
}

/// Six cameras of which five go on as ever, and an event near the sixth on day 45.
fn place(near: &str, length: u64, log: &str) -> Place {
    let place = Place::new();
    let others = ["Ash", "Beech", "Cedars", "Dogwood", "Elm"];
    let turn = |day: u64, n: usize| (day * 5 + n as u64 * 3 + day / 7) % 4;
    let mut rows = near.to_owned();
    for (n, camera) in others.iter().enumerate() {
        for day in 0..length {
            let visits = turn(day, n);
            rows += &days(camera, day..day + 1, [visits.div_ceil(2), visits / 2]);
        }
    }
    place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
    place.put("disturbances.csv", log);
    place
}

const LOG: &str = "id,start,near\nroad,2025-10-16,Near\n";

fn row(place: &Place) -> Shift {
    place.debrief().shifts.together("road", Kind::MatureBuck).unwrap().clone()
}

#[test]
fn a_total_loss_is_never_too_few_visits() {
    for [light, dark] in [[3, 3], [1, 1], [1, 0]] {
        let near = days("Near", 0..45, [light, dark]) + &days("Near", 45..90, [0, 0]);
        let row = row(&place(&near, 90, LOG));
        assert_eq!(row.light_verdict, Verdict::ClearDrop, "{light} + {dark}: {row:?}");
    }
}

#[test]
fn what_came_back_was_gone_all_the_same() {
    let visits = |day: u64| [1 + day % 2, 1];
    let near = |length: u64| -> String {
        let gone = 45..90;
        let of = |day: u64| if gone.contains(&day) { [0, 0] } else { visits(day) };
        (0..length).map(|day| days("Near", day..day + 1, of(day))).collect()
    };
    for length in [90, 105, 150] {
        let place = place(&near(length), length, LOG);
        let debrief = place.debrief();
        let mut rows = debrief.shifts.of("road", Kind::MatureBuck);
        let row = rows.find(|r| r.role == Role::Near).unwrap();
        assert_eq!(row.light_verdict, Verdict::ClearDrop, "{length} days");
        let onset = row.onset.unwrap();
        assert!((onset.interval.0..=onset.interval.1).contains(&date(45)), "{onset:?}");
        if length == 150 {
            let after = onset.recovered_after_days.unwrap();
            assert!((40..=50).contains(&after), "{onset:?}");
        }
    }
    // A logged end bounds the days after.
    let ended = "id,start,end,near\nroad,2025-10-16,2025-11-29,Near\n";
    let row = row(&place(&near(150), 150, ended));
    assert_eq!(row.light_verdict, Verdict::ClearDrop);
}

#[test]
fn a_change_that_began_before_the_event_is_dated_before_it() {
    let near = days("Near", 0..30, [2, 1]) + &days("Near", 30..90, [0, 1]);
    let debrief = place(&near, 90, LOG).debrief();
    let mut rows = debrief.shifts.of("road", Kind::MatureBuck);
    let row = rows.find(|r| r.role == Role::Near).unwrap();
    if let Some(onset) = row.onset {
        assert!(onset.interval.1 < date(40), "{onset:?}");
    }
}

/// Where cameras look at sorts of places that others share, one that is alone in its sort has nothing to be compared
/// with.
#[test]
fn a_camera_alone_in_its_sort_has_no_control() {
    let near = days("Near", 0..45, [2, 1]) + &days("Near", 45..90, [0, 0]);
    let sorted = |setting: &str| {
        let place = place(&near, 90, LOG);
        let others = ["Ash", "Beech", "Cedars", "Dogwood", "Elm"];
        let rows: String = others.iter().map(|c| format!("{c},timber trail\n")).collect();
        place.put("cameras.csv", format!("camera,setting\nNear,{setting}\n{rows}"));
        row(&place)
    };
    let alone = sorted("food plot");
    assert_eq!(alone.answer(Question::LightVisits), Answer::CannotTell(Why::AloneInItsSort));
    assert!(sorted("timber trail").is_clear());
    assert!(sorted("").is_clear());
}

#[test]
fn a_date_found_in_the_pictures_proves_nothing() {
    let near = days("Near", 0..45, [2, 1]) + &days("Near", 45..90, [0, 0]);
    let log = "id,start,near,dated_by\nroad,2025-10-16,Near,pictures\n";
    let place = place(&near, 90, log);
    let found = row(&place);
    assert_eq!(found.answer(Question::LightVisits), Answer::CannotTell(Why::DateFromPictures));
    assert!(found.light_p_value.is_some());
    place.put("disturbances.csv", "id,start,near,dated_by\nroad,2025-10-16,Near,hearsay\n");
    let said = place.try_debrief().unwrap_err().to_string();
    assert!(
        said.contains("line 2") && said.contains("hearsay") && said.contains("notes"),
        "{said}"
    );
}

#[test]
fn whose_doing_is_not_said_is_nobodys() {
    let place = place(&days("Near", 0..90, [1, 1]), 90, LOG);
    assert_eq!(place.debrief().property.disturbances[0].by, By::NotSaid);
}

/// The page is about what this season's tags tell.
#[test]
fn a_season_is_about_the_deer_that_it_has_tags_of() {
    let place = Place::new();
    let mut rows = String::new();
    for day in 0..40 {
        rows += &format!("Oak,{}T09:00,buck,4.5\n", date(day) - Days::new(365));
        rows += &format!("Oak,{}T09:00,deer,\n", date(day));
    }
    place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
    assert_eq!(place.debrief().season.about.kind, Kind::Deer);
}

/// Of one camera, kind and pair of seasons there is one answer on a page, whichever part gives it; and every
/// verdict agrees with its own numbers.
#[test]
fn no_two_claims_of_a_page_disagree() {
    let mut shared = 0;
    for seed in 1..=6 {
        let options = Options {
            seed,
            seasons: 3,
            with_country: seed % 2 == 0,
            pictures: false,
            ..Options::default()
        };
        let debrief = Place::practice(&options).debrief();
        let shifts = &debrief.shifts;
        for year in &shifts.years {
            let here = &year.shift;
            let of_seasons = |s: &&Shift| {
                s.camera.is_some()
                    && s.camera == here.camera
                    && s.kind == here.kind
                    && shifts.plan(&s.disturbance).unwrap().windows.years_apart.is_some()
                    && year.with.contains(s.before.from)
            };
            if let Some(event) = shifts.rows.iter().find(of_seasons) {
                shared += 1;
                assert_eq!(here.same_as.as_ref(), Some(&event.disturbance));
                for question in [Question::LightVisits, Question::Share] {
                    assert_eq!(here.answer(question), event.answer(question), "seed {seed}");
                }
            }
        }
        for s in shifts.rows.iter().chain(shifts.years.iter().map(|y| &y.shift)) {
            agrees_with_itself(s);
        }
    }
    assert!(shared > 0, "no event lay between two seasons");
}

fn agrees_with_itself(s: &Shift) {
    let per_night = |side: &graylight::shift::Side| side.counted as f64 / side.nights.max(1) as f64;
    let ratio = s.rate_ratio_against_controls;
    match s.light_verdict {
        Verdict::ClearDrop => {
            assert!(per_night(&s.after) < per_night(&s.before) && ratio.unwrap().high < 1.0);
        }
        Verdict::ClearRise => {
            assert!(per_night(&s.after) > per_night(&s.before) && ratio.unwrap().low > 1.0);
        }
        _ => {}
    }
    if s.answer(Question::LightVisits) == Answer::Stayed {
        assert!(s.fall_ruled_out.unwrap() <= 0.5, "{s:?}");
    }
    if s.before.counted + s.after.counted >= 40 && s.before.nights > 0 && s.after.nights > 0 {
        assert_ne!(s.answer(Question::LightVisits), Answer::TooFew, "{s:?}");
    }
}
