//! What a biologist asks of a verdict: one row for the whole event, days chosen beforehand, seasons apart,
//! the same act as one exposure, on which bucks it rests, and how far it is tagged.

use chrono::{Datelike, Days, NaiveDate, Weekday};
use graylight::practice::Options;
use graylight::shift::{Pattern, Question, Role, Verdict, WhyDays};
use graylight::visits::Kind;
use serde_json::Value;

use crate::support::{Ends, Place, graylight};

fn date(day: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2025, 9, 1).unwrap() + Days::new(day)
}

/// So many visits of mature bucks a day, of which so many of ten come in light.
fn days(camera: &str, days: std::ops::Range<u64>, visits: u64, tenths: u64) -> String {
    let mut rows = String::new();
    for day in days {
        for n in 0..visits {
            // Spread without a pattern that repeats, and a little different at every camera.
            let turn = (day * 7 + n * 3 + day / 10 + camera.len() as u64) % 10;
            let hour = if turn < tenths { 9 + n } else { (21 + n) % 24 };
            rows += &format!("{camera},{}T{hour:02}:00,buck,4.5\n", date(day));
        }
        rows += &format!("{camera},{}T12:40,empty,\n", date(day));
    }
    rows
}

fn steady(cameras: &[&str], length: u64) -> String {
    let of_one = |camera: &&str| days(camera, 0..length, 2, 5);
    cameras.iter().map(of_one).collect()
}

/// The report's page.
fn page(place: &Place) -> String {
    let out = tempfile::tempdir().unwrap();
    graylight().arg("debrief").arg(place.path()).arg("--out").arg(out.path()).succeeds();
    std::fs::read_to_string(out.path().join("report.html")).unwrap()
}

const CONTROLS: [&str; 5] = ["Ash", "Beech", "Cedars", "Dogwood", "Elm"];

#[test]
fn all_near_cameras_are_one_question_asked_first() {
    let place = Place::new();
    let near: String = ["N1", "N22", "N333"]
        .iter()
        .map(|n| days(n, 0..42, 2, 5) + &days(n, 42..84, 1, 2))
        .collect();
    let rows = near + &steady(&CONTROLS, 84);
    place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
    place.put("disturbances.csv", "id,start,near\nfeeder,2025-10-13,N1;N22;N333\n");
    let debrief = place.debrief();
    let shifts = &debrief.shifts;
    let together = shifts.together("feeder", Kind::MatureBuck).unwrap();
    assert_eq!((together.camera, together.role), (None, Role::Near));
    assert_eq!(together.light_verdict, Verdict::ClearDrop);
    let near: Vec<_> =
        shifts.of("feeder", Kind::MatureBuck).filter(|r| r.role == Role::Near).collect();
    assert_eq!(near.len(), 3);
    let sum = |of: fn(&graylight::shift::Side) -> usize| -> (usize, usize) {
        near.iter().fold((0, 0), |s, r| (s.0 + of(&r.before), s.1 + of(&r.after)))
    };
    let told =
        |of: fn(&graylight::shift::Side) -> usize| (of(&together.before), of(&together.after));
    assert_eq!(told(|s| s.visits), sum(|s| s.visits));
    assert_eq!(told(|s| s.counted), sum(|s| s.counted));
    assert_eq!(told(|s| s.nights), sum(|s| s.nights));
    // No camera is more certain than all of them, which were asked first.
    let first = together.light_p_adjusted.unwrap();
    assert!(near.iter().all(|r| r.light_p_adjusted.unwrap() >= first));
    let out = graylight().arg("shift").arg(place.path()).arg("--json").output().unwrap();
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let row = &json["shifts"][0];
    assert_eq!((&row["camera"], &row["role"]), (&"*".into(), &"near".into()));
    assert_eq!(row["light_visits_verdict"], "clear drop");
    assert_eq!(row["season"], "2025-26");
}

/// The days counted follow from the log: changing what came after changes nothing about them.
#[test]
fn the_days_are_chosen_before_looking() {
    let chosen = |after: (u64, u64), settings: &str| {
        let place = Place::new();
        let before = days("Near", 0..60, 6, 6);
        let after = days("Near", 60..120, after.0, after.1);
        let controls: String = CONTROLS.iter().map(|c| days(c, 0..120, 6, 6)).collect();
        place.put("sightings.csv", format!("camera,time,who,age\n{before}{after}{controls}"));
        place.put("disturbances.csv", "id,start,near\nroad,2025-10-31,Near\n");
        place.add_settings(settings);
        let debrief = place.debrief();
        let plan = debrief.shifts.plan("road").unwrap();
        let others: Vec<u32> = plan.other_days.iter().map(|o| o.days).collect();
        (plan.chosen, others)
    };
    let (busy, others) = chosen((6, 6), "");
    assert_eq!((busy.days, busy.why), (21, WhyDays::Usual), "{busy:?}");
    assert_eq!(others, [14, 30, 45, 60]);
    assert_eq!(chosen((1, 1), "").0, busy);
    let (set, _) = chosen((6, 6), "\n[shift]\ndays = 33\n");
    assert_eq!((set.days, set.why), (33, WhyDays::Set));
}

/// Three seasons with new owners in May: told season by season, and found where they are.
#[test]
fn seasons_are_told_apart() {
    let place =
        Place::practice(&Options { seasons: 3, size: 1.5, pictures: false, ..Options::default() });
    let debrief = place.debrief();
    let names: Vec<String> = debrief.season.years.iter().map(|y| y.name()).collect();
    assert_eq!(names, ["2023-24", "2024-25", "2025-26"]);
    let newest = debrief.season.newest();
    // The headline is the newest season's, and the seasons add up to all visits.
    let whole = |kind| debrief.daylight_of(None, kind).unwrap();
    assert_eq!(whole(Kind::Deer).season, newest);
    let every = debrief.daylight.iter().filter(|a| a.camera.is_none() && a.kind == Kind::Deer);
    let cameras = debrief.season.cameras.iter();
    let all: usize = cameras.map(|c| c.visits(Kind::Deer).len()).sum();
    assert_eq!(every.map(|a| a.visits).sum::<usize>(), all);

    let with_last = |camera: &str| {
        let place = debrief.season.place_of(camera);
        assert!(place.is_some(), "{camera}");
        let mut rows = debrief.shifts.years.iter();
        let row = rows.find(|y| y.shift.camera == place && y.shift.kind == Kind::MatureBuck);
        row.map(|y| (y.with.name(), y.shift.light_verdict))
    };
    let near = "North Fence";
    assert_eq!(with_last(near), Some(("2024-25".into(), Verdict::ClearDrop)));
    for camera in debrief.season.cameras.iter().filter(|c| c.name != near) {
        // A camera that was turned, bought or retired in between is not compared with itself.
        assert!(with_last(&camera.name).is_none_or(|(_, v)| !v.is_clear()), "{}", camera.name);
    }
    let turned = with_last("Spring Seep");
    assert!(turned.is_none(), "turned before the last season");
    // The event lies between two seasons, so these are compared.
    let plan = debrief.shifts.plan("new-owner").unwrap();
    assert_eq!(plan.chosen.why, WhyDays::Seasons);
    let row = debrief.shifts.together("new-owner", Kind::MatureBuck).unwrap();
    assert_eq!(row.light_verdict, Verdict::ClearDrop);
    assert!(row.rest_is_named(), "{:?}", row.rests_on);

    let page = page(&place);
    assert!(page.contains("Compared with 2023-24"));
    let out = graylight().arg("years").arg(place.path()).arg("--json").output().unwrap();
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let years = json["years"].as_array().unwrap();
    assert!(years.iter().all(|y| y["season"] == "2025-26"));
    let property = years.iter().find(|y| y["camera"] == "*").unwrap();
    assert_eq!(property["light_visits_verdict"], "no control");
}

trait Rests {
    fn rest_is_named(&self) -> bool;
}

impl Rests for graylight::shift::Shift {
    fn rest_is_named(&self) -> bool {
        let rests = self.rests_on.as_ref();
        rests.is_some_and(|r| {
            r.without.len() == 3 && r.without.iter().all(|w| w.still_clear == Some(true))
        })
    }
}

#[test]
fn a_season_starts_on_the_day_that_the_property_sets() {
    let rows = "Oak,2025-02-10T12:00,doe,\nOak,2025-03-10T12:00,doe,\nOak,2025-12-31T12:00,doe,\n";
    let years = |settings: &str| {
        let place = Place::new();
        place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
        place.add_settings(settings);
        let debrief = place.debrief();
        debrief.season.years.iter().map(|y| y.name()).collect::<Vec<_>>()
    };
    assert_eq!(years(""), ["2024-25", "2025-26"]);
    assert_eq!(years("\n[season]\nstarts = \"03-01\"\n"), ["2024-25", "2025-26"]);
    assert_eq!(years("\n[season]\nstarts = \"01-01\"\n"), ["2025"]);
    let place = Place::new();
    place.add_settings("\n[season]\nstarts = \"02-29\"\n");
    let out = graylight().arg("years").arg(place.path()).output().unwrap();
    let said = String::from_utf8(out.stderr).unwrap();
    assert!(!out.status.success() && said.contains("02-29") && said.contains("06-01"), "{said}");
}

/// Nine Saturday hunts, each followed by two quiet days, are one question, and cost no other its clarity.
#[test]
fn the_same_act_nine_times_is_one_exposure() {
    let place = Place::new();
    let hunts: Vec<u64> =
        (0..120).filter(|d| date(*d).weekday() == Weekday::Sat && (d / 7) % 2 == 0).collect();
    assert_eq!(hunts.len(), 9);
    let mut rows = steady(&CONTROLS, 120);
    for day in 0..120 {
        let is_after = hunts.iter().any(|h| (*h..=*h + 2).contains(&day));
        let visits = if is_after { u64::from(day % 3 == 0) } else { 3 };
        rows += &days("Stand", day..day + 1, visits, 10);
    }
    place.put("sightings.csv", format!("camera,time,who,age\n{rows}"));
    let row = |h: &u64| format!("sit-{h},{},own,Sat in the oak stand,Stand\n", date(*h));
    let log: String = hunts.iter().map(row).collect();
    place.put(
        "disturbances.csv",
        format!("id,start,by,what,near\n{log}blind,2025-10-31,neighbour,A blind went up,Elm\n"),
    );
    let debrief = place.debrief();
    let shifts = &debrief.shifts;
    assert!(shifts.rows.iter().all(|r| r.disturbance == "blind"));
    let sits = &shifts.repeated[0];
    assert_eq!((sits.what.as_str(), sits.times), ("Sat in the oak stand", 9));
    assert_eq!(sits.verdict, Verdict::ClearDrop, "{sits:?}");
    assert!(sits.ratio.unwrap().high < 0.5);
    // The day itself and the two after it are quiet; the third is as ever.
    let of_day = |n: usize| sits.recovery[n].map(|r| r.value);
    assert!(of_day(1).is_none_or(|r| r < 0.6), "{:?}", sits.recovery);
    let page = page(&place);
    assert!(page.contains("Sat in the oak stand") && page.contains("your own"));
}

/// Where nothing changed and enough came, that is shown; where little came, neither is.
#[test]
fn stayed_is_said_only_where_it_is_shown() {
    let pattern = |visits: u64, every: u64| {
        let place = Place::new();
        let on = |d: u64| if d.is_multiple_of(every) { visits } else { 0 };
        let of = |c: &str| (0..84).map(|d| days(c, d..d + 1, on(d), 5)).collect::<String>();
        let near = of("Near");
        let controls: String = CONTROLS.iter().map(|c| of(c)).collect();
        place.put("sightings.csv", format!("camera,time,who,age\n{near}{controls}"));
        place.put("disturbances.csv", "id,start,near\nroad,2025-10-13,Near\n");
        place.add_settings("\n[shift]\ndays = 42\n");
        let debrief = place.debrief();
        let row = debrief.shifts.together("road", Kind::MatureBuck).unwrap();
        assert_eq!(row.light_verdict, Verdict::NoClearChange);
        (row.pattern, row.fall_ruled_out)
    };
    let (busy, ruled_out) = pattern(6, 1);
    assert_eq!(busy, Some(Pattern::Stayed));
    assert!(ruled_out.unwrap() < 0.5);
    let (few, open) = pattern(1, 4);
    assert_eq!(few, Some(Pattern::CannotTell));
    assert!(open.is_none_or(|o| o > 0.5));
}

/// A clear row's intervals never hold no change, and rest on the same distribution as its verdict.
#[test]
fn a_clear_row_and_its_intervals_agree() {
    let mut clear = 0;
    for seed in 1..=6 {
        let debrief =
            Place::practice(&Options { seed, size: 2.0, pictures: false, ..Options::default() })
                .debrief();
        for row in &debrief.shifts.rows {
            if row.light_verdict.is_clear() {
                let against = row.rate_ratio_against_controls.unwrap();
                assert!(against.high < 1.0 || against.low > 1.0, "{row:?}");
                let own = row.rate_ratio.unwrap().value;
                assert!((own < 1.0) == (against.value < 1.0), "{row:?}");
                clear += 1;
            }
            if row.verdict.is_clear() {
                let [own, against] = [row.share_change, row.share_change_against_controls];
                let (own, against) = (own.unwrap().value, against.unwrap());
                assert!(against.high < 0.0 || against.low > 0.0, "{row:?}");
                assert!((own < 0.0) == (against.value < 0.0), "{row:?}");
                clear += 1;
            }
            let onset = row.onset.map(|o| o.of);
            assert!(onset != Some(Question::AllVisits));
        }
    }
    assert!(clear >= 12, "{clear}");
}

/// What is not tagged would look like deer that stayed away: no verdict, a rate between two bounds, and words
/// that say which weeks are missing.
#[test]
fn untagged_is_not_tagged_and_never_nothing() {
    let place = Place::new();
    let mut tags = "picture,who,count,age\n".to_owned();
    for day in 0..60 {
        for (n, hour) in [8, 17].into_iter().enumerate() {
            let file = format!("cards/Near/IMG_{day:03}{n}.JPG");
            let time = format!("{} {hour:02}:00:00", date(day).format("%Y:%m:%d"));
            place.put(&file, crate::place::picture_at(&time));
            if day < 30 {
                tags += &format!("{file},buck,1,4.5\n");
            }
        }
    }
    place.put("tags.csv", &tags);
    place.put("sightings.csv", format!("camera,time,who,age\n{}", steady(&CONTROLS, 60)));
    place.put("disturbances.csv", "id,start,near\nroad,2025-10-01,Near\n");
    let debrief = place.debrief();
    let row = debrief.shifts.together("road", Kind::MatureBuck).unwrap();
    assert_eq!((row.before.counted, row.after.visits), (42, 0), "{row:?}");
    assert_eq!((row.light_verdict, row.light_p_value), (Verdict::NotTagged, None));
    // Who tags by day first, or by night, moves the share too.
    assert_eq!((row.verdict, row.p_value), (Verdict::NotTagged, None));
    let near = debrief.season.cameras.iter().position(|c| c.name == "Near");
    let answer = debrief.daylight_of(near, Kind::MatureBuck).unwrap();
    assert_eq!(answer.per_100_nights, None);
    // All of them are one picture, in which nothing differs from the others.
    assert_eq!(answer.pictures.probably_nothing, 60);
    assert_eq!(answer.per_100_nights_between, Some((100.0, 100.0)));

    let half = page(&place);
    assert!(half.contains("Only 60 of 120 pictures of this season are tagged so far"));
    assert!(half.contains("not tagged: 100 at least, 100 at most"));
    assert!(half.contains("with 60 untagged pictures left out as probably nothing"));
    // Where they cannot be compared each may hold a deer.
    for day in 30..60 {
        for n in 0..2 {
            let file = format!("cards/Near/IMG_{day:03}{n}.JPG");
            let mut bytes = std::fs::read(place.path().join(&file)).unwrap();
            bytes.truncate(bytes.len() - 40);
            place.put(&file, bytes);
        }
    }
    let cut = place.debrief();
    let answer = cut.daylight_of(near, Kind::MatureBuck).unwrap();
    assert_eq!(answer.per_100_nights_between, Some((100.0, 200.0)));
    assert!(half.contains("have no tag"));
    // One week missing out of nine is told by its camera and date.
    for day in 30..56 {
        for n in 0..2 {
            tags += &format!("cards/Near/IMG_{day:03}{n}.JPG,buck,1,4.5\n");
        }
    }
    place.put("tags.csv", &tags);
    let most = page(&place);
    assert!(
        most.contains(
            "less than nine tenths of what may show deer: Near in the week of 27 October."
        )
    );
}
