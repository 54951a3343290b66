//! The clock check in worlds whose light follows a law that the judge does not have
//! (`light_worlds.rs`: illuminance in lux, clouds, canopy, sensors), and clocks set as people set them.

use chrono::{DateTime, NaiveDate, NaiveDateTime, TimeDelta, Timelike, Utc};
use chrono_tz::America::Chicago;
use chrono_tz::OffsetComponents;
use graylight::card::CameraTime;
use graylight::clock_check::{CameraClock, Glimpse, judge_glimpses};
use graylight::property::Property;
use rayon::prelude::*;

use crate::light_worlds::{Frame, Site, World, frames};
use crate::support::Place;

const SITE: Site = Site { latitude_deg: 43.1, longitude_deg: -90.7 };

/// What a clock shows at an instant.
type ClockShows = fn(DateTime<Utc>) -> NaiveDateTime;

fn right(utc: DateTime<Utc>) -> NaiveDateTime {
    utc.with_timezone(&Chicago).naive_local()
}

fn season(world: World, from: &str, days: u32, per_day: f64, seed: u64) -> Vec<Frame> {
    let from: NaiveDate = from.parse().unwrap();
    frames(world, &SITE, from, days, per_day, seed)
}

fn glimpses(frames: &[Frame], shows: impl Fn(DateTime<Utc>) -> NaiveDateTime) -> Vec<Glimpse> {
    let glimpse = |f: &Frame| Glimpse {
        time: CameraTime::new(shows(f.utc)),
        offset: None,
        flash_fired: f.flash_fired,
        exposure_s: f.exposure_s,
        iso: f.iso,
        colour: f.colour,
    };
    let mut all: Vec<Glimpse> = frames.iter().map(glimpse).collect();
    all.sort_by_key(|g| g.time);
    all
}

fn judged(
    property: &Property,
    frames: &[Frame],
    shows: impl Fn(DateTime<Utc>) -> NaiveDateTime,
) -> CameraClock {
    judge_glimpses(property, "Oak", &glimpses(frames, shows))
}

fn property(cameras: &str) -> Property {
    let place = Place::new();
    if !cameras.is_empty() {
        place.put("cameras.csv", cameras);
    }
    Property::open(place.path()).unwrap()
}

/// Of `seeds` cameras with a right clock, how many are accused; and what of.
fn accused(world: World, from: &str, days: u32, per_day: f64, seeds: u64) -> Vec<String> {
    let property = property("");
    (0..seeds)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let clock = judged(&property, &season(world, from, days, per_day, seed), right);
            let told = |f: &graylight::clock_check::Finding| {
                format!("{seed}: {} {:+} ({:?})", f.fault.word(), f.shift_min, clock.source)
            };
            clock.findings.iter().map(told).collect::<Vec<_>>()
        })
        .collect()
}

#[test]
fn healthy_clocks_are_not_accused_in_any_world() {
    const SEEDS: u64 = 34;
    let mut worst = Vec::new();
    for world in World::ALL {
        let mut all = Vec::new();
        for (from, days, per_day) in
            [("2025-09-01", 90, 6.0), ("2025-10-20", 28, 8.0), ("2025-01-10", 120, 4.0)]
        {
            all.extend(accused(world, from, days, per_day, SEEDS));
        }
        println!("{}: {} of {} accused {:?}", world.name(), all.len(), 3 * SEEDS, all);
        worst.push((all.len(), world.name()));
    }
    for (count, world) in worst {
        assert!(count as f64 <= 0.01 * 3.0 * SEEDS as f64, "{world}: {count} of {}", 3 * SEEDS);
    }
}

/// A fault, and how its finding is to be read: minutes to add at the middle of the season.
struct Fault {
    name: &'static str,
    shows: ClockShows,
    from: &'static str,
    days: u32,
}

const NAMED: [Fault; 6] = [
    Fault {
        name: "twelve hours",
        shows: |u| right(u) - TimeDelta::hours(12),
        from: "2025-09-10",
        days: 40,
    },
    Fault { name: "UTC", shows: |u| u.naive_utc(), from: "2025-09-10", days: 60 },
    Fault {
        name: "a zone west",
        shows: |u| right(u) - TimeDelta::hours(1),
        from: "2025-09-10",
        days: 45,
    },
    Fault {
        name: "a zone east",
        shows: |u| right(u) + TimeDelta::hours(1),
        from: "2025-09-10",
        days: 45,
    },
    Fault { name: "not put back", shows: not_put_back, from: "2025-09-20", days: 80 },
    Fault { name: "never moved", shows: never_moved, from: "2025-09-10", days: 90 },
];

/// Daylight time ended on 2 November 2025 (15 U.S.C. 260a).
fn not_put_back(utc: DateTime<Utc>) -> NaiveDateTime {
    utc.naive_utc() - TimeDelta::hours(5)
}

fn never_moved(utc: DateTime<Utc>) -> NaiveDateTime {
    let local = utc.with_timezone(&Chicago);
    local.naive_local() - local.offset().dst_offset()
}

/// Mean minutes by which the corrected times are off, before and after the remedies that stand.
fn error_min(
    property: &Property,
    frames: &[Frame],
    shows: ClockShows,
    clock: Option<&CameraClock>,
) -> f64 {
    let mut property = property.clone();
    for finding in clock.into_iter().flat_map(|c| &c.findings) {
        property.corrections.extend(finding.corrections());
        if let Some(setting) = finding.setting {
            property.placements = vec![graylight::property::Placement::anywhere("Oak", setting)];
        }
    }
    let clocks = graylight::clock::Clocks::of(&property).of_camera("Oak");
    let off = |f: &Frame| {
        let read = clocks.local(CameraTime::new(shows(f.utc)), None);
        let minutes = read.minutes_since(f.utc).rem_euclid(1440.0);
        minutes.min(1440.0 - minutes)
    };
    frames.iter().map(off).sum::<f64>() / frames.len() as f64
}

/// The light cannot tell twelve hours ahead from twelve hours behind; the days on which the camera hung can.
#[test]
fn the_way_of_half_a_day_follows_from_where_the_camera_hung() {
    let frames = season(World::OrdinaryWoods, "2025-09-10", 40, 9.0, 5);
    let noon = |i: usize| right(frames[i].utc).date();
    let last = frames.len() - 1;
    let ways: [(i64, ClockShows); 2] = [
        (-12, |utc| right(utc) - TimeDelta::hours(12)),
        (12, |utc| right(utc) + TimeDelta::hours(12)),
    ];
    for (hours, shows) in ways {
        // Frames late on the first day and early on the last leave only the true way within these dates.
        let within = frames.iter().filter(|f| {
            let time = right(f.utc);
            (time.date() > noon(0) || time.hour() >= 12)
                && (time.date() < noon(last) || time.hour() < 12)
        });
        let within: Vec<Frame> = within.cloned().collect();
        let (from, until) = (right(within[0].utc), right(within[within.len() - 1].utc));
        let hung = property(&format!("camera,from,until\nOak,{},{}\n", from.date(), until.date()));
        for (property, is_told) in [(hung, true), (property(""), false)] {
            let clock = judged(&property, &within, shows);
            let [finding] = &clock.findings[..] else {
                panic!("{hours}: {:?}", clock.findings);
            };
            assert_eq!(finding.shift_min.abs(), 720.0);
            assert_eq!(finding.doubt.is_none(), is_told, "{hours}: {finding:?}");
            assert_eq!(finding.other_way().is_none(), is_told);
            if is_told {
                assert_eq!(finding.shift_min, -60.0 * hours as f64);
            }
        }
    }
}

/// A date forty days ahead comes to the daylight-time weekend before the country does, and is an hour off from there
/// on, as a clock is that was left alone.
#[test]
fn an_hour_that_may_be_a_date_is_told_with_that_doubt() {
    const SEEDS: u64 = 20;
    const WORLDS: [World; 3] = [World::OrdinaryWoods, World::Canopy, World::NoMetadata];
    let property = property("");
    let doubts = |from: &str, days: u32, shows: ClockShows| -> (usize, usize) {
        let seeds =
            WORLDS.into_par_iter().flat_map_iter(|world| (0..SEEDS).map(move |s| (world, s)));
        let told: Vec<bool> = seeds
            .flat_map_iter(|(world, seed)| {
                let frames = season(world, from, days, 9.0, seed);
                let clock = judged(&property, &frames, shows);
                let hour = |f: &graylight::clock_check::Finding| {
                    (f.fault == graylight::clock_check::Fault::NotReset)
                        .then_some(f.doubt.is_some())
                };
                clock.findings.iter().filter_map(hour).collect::<Vec<_>>()
            })
            .collect();
        (told.iter().filter(|d| **d).count(), told.len())
    };
    let ahead = |u: DateTime<Utc>| right(u) + TimeDelta::days(40);
    let (doubted, told) = doubts("2025-08-20", 60, ahead);
    println!("forty days ahead: told {told} times, {doubted} of them with the doubt");
    assert!(told >= 40 && doubted * 100 >= told * 80);
    let (doubted, told) = doubts("2025-09-20", 80, not_put_back);
    println!("left alone: told {told} times, {doubted} of them with the doubt");
    assert!(told >= 50 && doubted * 100 <= told * 10);
}

#[test]
fn wrong_clocks_are_found_and_mended() {
    const SEEDS: u64 = 20;
    let property = property("");
    let mut failed = Vec::new();
    for world in [
        World::OrdinaryWoods,
        World::Canopy,
        World::DuskUnlikeDawn,
        World::SlowLight,
        World::NoMetadata,
        World::FogAndSnow,
    ] {
        for fault in &NAMED {
            let found: Vec<(bool, bool)> = (0..SEEDS)
                .into_par_iter()
                .map(|seed| {
                    let frames = season(world, fault.from, fault.days, 9.0, seed);
                    let clock = judged(&property, &frames, fault.shows);
                    let before = error_min(&property, &frames, fault.shows, None);
                    let after = error_min(&property, &frames, fault.shows, Some(&clock));
                    let missed = clock.findings.is_empty();
                    let mended = !missed && after < 12.0;
                    if !mended {
                        let told = clock.findings.iter().map(|f| (f.fault, f.shift_min, f.setting));
                        println!(
                            "  {seed}: {:?} {after:.0} {:?} {:?}",
                            told.collect::<Vec<_>>(),
                            clock.source,
                            clock.offset
                        );
                    }
                    (mended, !missed && after > before)
                })
                .collect();
            let mended = found.iter().filter(|f| f.0).count();
            let worse = found.iter().filter(|f| f.1).count();
            println!(
                "{:16} {:14} {mended} of {SEEDS} mended, {worse} made worse",
                world.name(),
                fault.name
            );
            let wanted = match (world, fault.name) {
                (World::FogAndSnow, _) => 0.0,
                (_, "twelve hours" | "UTC") => 0.95,
                _ => 0.8,
            };
            if (mended as f64) < wanted * SEEDS as f64 || worse > 0 {
                failed.push((world.name(), fault.name, mended, worse));
            }
        }
    }
    assert!(failed.is_empty(), "{failed:?}");
}

/// People set clocks by whole hours wrong, and now and then by anything else: then no whole hour is told for it.
#[test]
fn an_offset_that_is_no_whole_hour_is_told_as_it_is() {
    const SEEDS: u64 = 6;
    let property = property("");
    let offsets: [(i64, ClockShows); 6] = [
        (90, |u| right(u) + TimeDelta::minutes(90)),
        (-90, |u| right(u) - TimeDelta::minutes(90)),
        (150, |u| right(u) + TimeDelta::minutes(150)),
        (-150, |u| right(u) - TimeDelta::minutes(150)),
        (210, |u| right(u) + TimeDelta::minutes(210)),
        (-210, |u| right(u) - TimeDelta::minutes(210)),
    ];
    let (mut told, mut held, mut near, mut all) = (0, 0, 0, 0);
    for world in [World::OrdinaryWoods, World::Canopy, World::NoMetadata] {
        for (minutes, shows) in offsets {
            let found: Vec<(bool, bool, bool)> = (0..SEEDS)
                .into_par_iter()
                .map(|seed| {
                    let frames = season(world, "2025-09-10", 45, 9.0, seed);
                    let clock = judged(&property, &frames, shows);
                    let after = error_min(&property, &frames, shows, Some(&clock));
                    for f in &clock.findings {
                        assert!(
                            f.low_min <= f.shift_min && f.shift_min <= f.high_min,
                            "{seed}: {f:?}"
                        );
                    }
                    let holds = clock
                        .findings
                        .iter()
                        .any(|f| (f.low_min..=f.high_min).contains(&(-minutes as f64)));
                    if after > 20.0 {
                        println!("  {seed}: {:?} {after:.0} {:?}", clock.word(), clock.offset);
                    }
                    (!clock.findings.is_empty(), holds, after < 20.0)
                })
                .collect();
            let count =
                |of: fn(&(bool, bool, bool)) -> bool| found.iter().filter(|f| of(f)).count();
            let row = [count(|f| f.0), count(|f| f.1), count(|f| f.2)];
            println!(
                "{:16} {minutes:+}: told {}, held {}, near {} of {SEEDS}",
                world.name(),
                row[0],
                row[1],
                row[2]
            );
            told += row[0];
            held += row[1];
            near += row[2];
            all += found.len();
        }
    }
    println!("told {told}, held {held}, within 20 minutes {near} of {all}");
    assert!(told * 100 >= all * 95 && held * 100 >= all * 80 && near * 100 >= all * 80);
}
