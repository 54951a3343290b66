//! What a sceptic asks after the verdict: changes nobody logged, last year's same weeks, the days
//! after something that happened often, when it began and whether they came back.

use chrono::{Days, NaiveDate};
use graylight::practice::Options;
use graylight::shift::Verdict;
use graylight::visits::Kind;

use crate::support::Place;

fn busy() -> Options {
    Options { size: 3.0, pictures: false, ..Options::default() }
}

#[test]
fn a_change_that_nobody_logged_is_found_where_it_is() {
    let place = Place::practice(&busy());
    place.put("disturbances.csv", "id,start\n");
    let debrief = place.debrief();
    let mature: Vec<_> =
        debrief.shifts.unlogged.iter().filter(|u| u.kind == Kind::MatureBuck).collect();
    assert_eq!(mature.len(), 1, "{:?}", debrief.shifts.unlogged);
    let found = mature[0];
    let touched = debrief.season.place_of("North Fence");
    assert_eq!(Some(found.camera), touched);
    assert!(found.change < -0.2 && found.p_adjusted <= 0.05);
    // The blind goes up in the middle of twelve weeks.
    let blind = NaiveDate::from_ymd_opt(2025, 8, 30).unwrap() + Days::new(42);
    let near = Days::new(14);
    assert!(found.dates.0 <= blind + near && blind <= found.dates.1 + near, "{found:?}");
    // Logged, it is no news.
    let logged = Place::practice(&busy()).debrief();
    assert!(logged.shifts.unlogged.iter().all(|u| Some(u.camera) != touched));
}

#[test]
fn the_day_it_began_and_that_they_did_not_come_back() {
    let debrief = Place::practice(&busy()).debrief();
    let near = debrief.season.place_of("North Fence");
    let mut rows = debrief.shifts.of("box-blind", Kind::MatureBuck);
    let row = rows.find(|r| r.camera == near).unwrap();
    assert_eq!(row.verdict, Verdict::ClearDrop);
    let onset = row.onset.unwrap();
    let blind = NaiveDate::from_ymd_opt(2025, 10, 11).unwrap();
    assert!(onset.interval.0 <= blind && blind <= onset.interval.1, "{onset:?}");
    assert_eq!(onset.recovered_after_days, None);
    let timing = row.timing.unwrap();
    assert!(timing.evening_min.unwrap().low > 0.0, "evenings came later");
    assert!(timing.morning_min.unwrap().high < 0.0, "mornings came earlier");
    assert!(timing.overlap.unwrap().value < 0.8);
}

/// Two visits a day for sixty days: in light until a day of the season, then mostly not.
fn falling(year: i32) -> String {
    (0..60_u64)
        .map(|day| {
            let date = NaiveDate::from_ymd_opt(year, 9, 1).unwrap() + Days::new(day);
            let light = if day < 30 { day % 5 != 0 } else { day % 5 == 0 };
            let hour = if light { "17:00" } else { "22:00" };
            format!("Oak,{date}T{hour},buck,4.5\nOak,{date}T12:00,doe,\n")
        })
        .collect()
}

#[test]
fn what_happens_every_year_is_the_season() {
    let verdict = |years: &[i32]| {
        let place = Place::new();
        let rows: String = years.iter().map(|y| falling(*y)).collect();
        place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
        place.put("disturbances.csv", "id,start,near\nblind,2025-10-01,Oak\n");
        let debrief = place.debrief();
        let row = debrief.shifts.of("blind", Kind::MatureBuck).next().unwrap();
        (row.verdict, row.share_change_against_controls.is_some())
    };
    // One camera and one year: the season itself may have done it.
    assert_eq!(verdict(&[2025]), (Verdict::NoControl, false));
    // One earlier year does not tell how years differ; two do, and in all of them it fell alike.
    assert_eq!(verdict(&[2024, 2025]), (Verdict::NoControl, false));
    assert_eq!(verdict(&[2023, 2024, 2025]), (Verdict::NoClearChange, true));
}

#[test]
fn days_after_what_happened_often_are_pooled() {
    let place = Place::new();
    let mut rows = "camera,time,who\n".to_owned();
    let start = NaiveDate::from_ymd_opt(2025, 9, 1).unwrap();
    for day in 0..60_u64 {
        let date = start + Days::new(day);
        // Somebody is at the camera every twelfth day; the day after it no deer come.
        if day % 12 == 5 {
            rows += &format!("Oak,{date}T11:00,person\n");
        }
        let noon = if day % 12 == 6 { "other" } else { "doe" };
        rows += &format!("Oak,{date}T12:00,{noon}\n");
    }
    place.put("sightings.csv", rows);
    let debrief = place.debrief();
    let people = &debrief.shifts.repeated[0];
    assert_eq!((people.times, people.after.len()), (5, 8));
    let visits: Vec<usize> = people.after.iter().map(|d| d.visits).collect();
    assert_eq!(visits[..3], [5, 0, 5]);
    assert_eq!(people.after[1].nights, 5);
    assert_eq!(people.ordinary.visits, people.ordinary.nights);
}

/// Visits of mature bucks at four a day, so many of ten in legal light.
fn steady(camera: &str, tenths: [u64; 2], days: std::ops::Range<u64>) -> String {
    let start = NaiveDate::from_ymd_opt(2025, 9, 1).unwrap();
    let mut rows = String::new();
    for day in days {
        for hour in 0..4 {
            let share = tenths[usize::from(day >= 30)];
            // Spread over the days without a pattern that repeats.
            let light = (day * 7 + hour * 3 + day / 10) % 10 < share;
            let at = if light { 10 + hour } else { 20 + hour };
            let date = start + Days::new(day);
            rows += &format!("{camera},{date}T{at:02}:00,buck,4.5\n");
        }
    }
    rows
}

fn near_row(rows: String) -> graylight::shift::Shift {
    let place = Place::new();
    place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
    place.put("disturbances.csv", "id,start,near\nblind,2025-10-01,Near\n");
    let debrief = place.debrief();
    let row = debrief
        .shifts
        .of("blind", Kind::MatureBuck)
        .find(|r| debrief.camera_name(r.camera) == "Near");
    row.unwrap().clone()
}

/// Everything falls by 30 points. A control whose share is low dies on the day: if visits were
/// simply added up, the controls together would seem to fall by nothing.
#[test]
fn a_control_that_dies_does_not_change_the_mix() {
    let rows = steady("Near", [7, 4], 0..60)
        + &steady("High", [9, 6], 0..60)
        + &steady("Higher", [9, 6], 0..60)
        + &steady("Highest", [9, 6], 0..60)
        + &steady("Low", [4, 1], 0..30);
    let row = near_row(rows);
    let against = row.share_change_against_controls.unwrap();
    assert!(against.value.abs() < 0.06, "{against:?}");
    assert_eq!(row.verdict, Verdict::NoClearChange);
}

#[test]
fn deer_that_left_are_said_to_have_left() {
    let controls = steady("A", [6, 6], 0..60) + &steady("B", [6, 6], 0..60);
    let gone: String = (30..60)
        .map(|d| {
            format!(
                "Near,{}T12:00,doe,\n",
                NaiveDate::from_ymd_opt(2025, 9, 1).unwrap() + Days::new(d)
            )
        })
        .collect();
    let row = near_row(steady("Near", [6, 6], 0..30) + &gone + &controls);
    assert_eq!(row.verdict, Verdict::TooFewVisits);
    assert_eq!(row.pattern.unwrap().word(), "left");

    // Half of the visits gone where the controls lose nine in ten: not left.
    let thin = |camera: &str, every: usize| -> String {
        let rows = steady(camera, [6, 6], 30..60);
        rows.lines().step_by(every).map(|l| l.to_owned() + "\n").collect()
    };
    let rows = steady("Near", [6, 6], 0..30)
        + &thin("Near", 2)
        + &steady("A", [6, 6], 0..30)
        + &thin("A", 10)
        + &steady("B", [6, 6], 0..30)
        + &thin("B", 10);
    let row = near_row(rows);
    assert!(row.all_hours_ratio.unwrap().high < 1.0);
    assert_ne!(row.pattern.map(|p| p.word()), Some("left"));
}
