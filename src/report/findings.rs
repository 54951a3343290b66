//! `findings.json`: the same facts for a program.
//!
//! Shares are fractions of 1; minutes and counts are named so; a number that cannot be computed is
//! null. Keys are never renamed; `tests/suite/findings_keys.txt` holds all of them with the sorts of their values.
//!
//! # Changes
//!
//! * `shifts[]` and `years[]`: `light_visits_answer` and `share_answer` say `changed`, `stayed`, `can't tell` or `too few`,
//!   `light_visits_why` and `share_why` the reason of a `can't tell`; `controls_beyond` and `controls_beyond_of_share` how
//!   many controls changed as much; `same_as` the event whose answers a comparison of seasons has.
//! * `shifts[]`: `instead` has the other explanations that were tested.
//! * `plans[].why` is `set`, `usual`, `fewest` or `seasons`. `pattern` says `can't tell` where it said `not shown`.

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::digits;
use super::outlook_findings::{conditions, grounds, herd, own, plan, stands};
use super::shift_findings::{plans, repeated, shifts, unlogged, years};
use crate::debrief::{DaylightAnswer, Debrief, Usual};
use crate::measure::{Direction, Estimate};
use crate::property::ShareOf;
use crate::visits::{Camera, DeerYear, Kind};

/// The whole findings file. Coordinates are left out unless asked for.
pub fn findings(debrief: &Debrief, with_places: bool) -> Value {
    let settings = &debrief.property.settings;
    let mut property = json!({ "name": settings.name, "time_zone": settings.time_zone.name() });
    if with_places {
        property["latitude"] = json!(settings.position.latitude_deg);
        property["longitude"] = json!(settings.position.longitude_deg);
    }
    let findings = json!({
        "property": property,
        "settings": {
            "legal_before_sunrise_min": settings.legal_before_sunrise_min,
            "legal_after_sunset_min": settings.legal_after_sunset_min,
            "share_of": match settings.share_of {
                ShareOf::Legal => "legal",
                ShareOf::Daylight => "daylight",
            },
            "mature_age": settings.mature_age,
            "gap_min": settings.gap_min,
            "shift_days": settings.shift_days,
            "near_m": settings.near_m,
            "season_starts": format!("{:02}-{:02}", settings.year_start.month, settings.year_start.day),
        },
        "about": {
            "who": debrief.season.about.kind.word(),
            "deer_visits": debrief.season.about.visits.deer,
            "buck_visits": debrief.season.about.visits.bucks,
            "buck_visits_with_age": debrief.season.about.visits.aged,
        },
        "pictures": pictures(debrief),
        "cameras": cameras(debrief, with_places),
        "clocks": super::clocks(&debrief.clocks),
        "view_changes": view_changes(debrief),
        "daylight": daylight(debrief),
        "deer": super::deer(debrief),
        "shifts": shifts(debrief),
        "comparisons": plans(debrief),
        "years": years(debrief),
        "unlogged": unlogged(debrief),
        "repeated": repeated(debrief),
        "conditions": conditions(debrief),
        "stands": stands(debrief),
        "own": own(debrief),
        "grounds": grounds(debrief),
        "herd": herd(debrief),
        "plan": plan(debrief),
        "problems": debrief.problems,
    });
    digits::rounded(findings)
}

/// Cameras that seem to have been moved or turned without a record.
fn view_changes(debrief: &Debrief) -> Value {
    let change = |c: &crate::view_check::ViewChange| {
        json!({
            "camera": c.camera,
            "before": { "picture": c.before.0, "date": c.before.1.to_string() },
            "after": { "picture": c.after.0, "date": c.after.1.to_string() },
            "alike": c.alike,
        })
    };
    debrief.view_changes.iter().map(change).collect()
}

/// What became of every file.
pub fn pictures(debrief: &Debrief) -> Value {
    let crawl = &debrief.crawl;
    json!({
        "found": crawl.found(),
        "readable": crawl.readable(),
        "timed": crawl.timed(),
        "tagged": debrief.tagged.pictures(),
        "unreadable": crawl.unreadable.len(),
        "duplicate": crawl.duplicates.len(),
        "cut_short": crawl.pictures.iter().filter(|p| p.cut_short).count(),
        "not_timed": crawl.pictures.len() - crawl.timed(),
        "untagged": crawl.pictures.len() - debrief.tagged.pictures(),
        "tags_without_time": debrief.tagged.without_time,
        "video_clips": crawl.clips(),
        "other_files": crawl.other_files,
        "twins": crawl.twins.len(),
        "not_read": crawl.not_read,
    })
}

/// Effort and visits of every camera, season by season, the newest first.
pub fn cameras(debrief: &Debrief, with_places: bool) -> Value {
    let every = &debrief.season.cameras;
    let worked = |c: &Camera, y: DeerYear| !c.effort.dates_between(y.first(), y.last()).is_empty();
    let years = debrief.season.years.iter().rev();
    // Pictures without a time are of no season, unless there is only one that they can be of.
    let is_only = debrief.season.years.len() == 1;
    let of_year = |year: &DeerYear| {
        let year = *year;
        let pictures = move |c: &Camera| match is_only {
            true => c.pictures,
            false => c.pictures_between(year.first(), year.last()).all,
        };
        let cameras = every.iter().filter(move |c| worked(c, year));
        cameras.map(move |c| camera(c, Some(year), pictures(c), with_places))
    };
    let never = every.iter().filter(|c| c.effort.dates.is_empty());
    let never = never.map(|c| camera(c, None, c.pictures, with_places));
    years.flat_map(of_year).chain(never).collect()
}

fn camera(c: &Camera, year: Option<DeerYear>, pictures: usize, with_places: bool) -> Value {
    let (first, last) = year.map_or((NaiveDate::MIN, NaiveDate::MAX), |y| (y.first(), y.last()));
    let silences = c.effort.silences.iter().filter(|s| s.from <= last && first <= s.until);
    let doubted: Vec<Value> = silences
        .clone()
        .map(|s| json!({ "from": s.from.to_string(), "until": s.until.to_string(), "days": s.days() }))
        .collect();
    let nights = c.effort.dates_between(first, last).len();
    let mut value = json!({
        "season": year.map(DeerYear::name),
        "camera": c.name,
        "setting": c.setting_words(),
        "nights": nights,
        "nights_at_most": nights + silences.map(|s| s.days()).sum::<usize>(),
        "visits": c.visits_between(Kind::Deer, first, last).len(),
        "pictures": pictures,
        "in_doubt": doubted,
    });
    if with_places {
        let places = c.placements.iter().filter_map(|p| p.position);
        value["places"] = places
            .map(|p| json!({ "latitude": p.latitude_deg, "longitude": p.longitude_deg }))
            .collect();
    }
    value
}

/// Who moves in legal light, where and when.
pub fn daylight(debrief: &Debrief) -> Value {
    let answer = |a: &DaylightAnswer| {
        json!({
            "season": a.season.map(DeerYear::name),
            "camera": debrief.camera_name(a.camera),
            "who": a.kind.word(),
            "visits": a.visits,
            "legal_light_visits": a.legal,
            "daylight_visits": a.daylight,
            "share": a.share.map(|s| s.value),
            "low": a.share.map(|s| s.low),
            "high": a.share.map(|s| s.high),
            "nights": a.nights,
            "per_100_nights": a.per_100_nights.map(|r| r.value),
            "per_100_nights_low": a.per_100_nights.map(|r| r.low),
            "per_100_nights_high": a.per_100_nights.map(|r| r.high),
            "per_100_nights_at_least": a.per_100_nights_between.map(|b| b.0),
            "per_100_nights_at_most": a.per_100_nights_between.map(|b| b.1),
            "pictures": a.pictures.all,
            "untagged_pictures": a.pictures.untagged,
            "probably_nothing": a.pictures.probably_nothing,
            "minutes_before_sunset": a.evening.map(usual),
            "minutes_after_sunrise": a.morning.map(usual),
            "sun_day": a.sun_day.map(sun_day),
            "largest_group": a.largest_group,
            "clock_in_doubt": a.clock_in_doubt,
        })
    };
    digits::rounded(debrief.daylight.iter().map(answer).collect())
}

/// Where in the sun's day (sunrise at 6 hours, sunset at 18) visits gather.
fn sun_day(direction: Direction) -> Value {
    json!({
        "mean_hour": direction.mean.map(|m| m / 60.0),
        "resultant": direction.resultant,
        "rayleigh_p": direction.rayleigh_p,
    })
}

fn usual(usual: Usual) -> Value {
    json!({
        "visits": usual.visits,
        "median": usual.median_min,
        "low": usual.interval_min.map(|i| i.0),
        "high": usual.interval_min.map(|i| i.1),
        "middle_half": [usual.middle_half_min.0, usual.middle_half_min.1],
    })
}

/// A value with its range.
pub(super) fn interval(estimate: Estimate) -> Value {
    json!({ "value": estimate.value, "low": estimate.low, "high": estimate.high })
}
