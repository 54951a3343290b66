//! `findings.json`: the same facts for a program.
//!
//! Shares are fractions of 1; minutes and counts are named so; a number that cannot be computed is
//! null. Keys are never renamed.

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::digits;
use crate::debrief::{DaylightAnswer, Debrief, Usual};
use crate::measure::{Direction, Estimate};
use crate::property::{By, ShareOf};
use crate::shift::{
    DayAfter, Onset, OtherDays, Placebo, Plan, Question, Repeated, RestsOn, Shift, Side, Unlogged,
    WhyDays, Without, YearRow,
};
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
        "shifts": shifts(debrief),
        "comparisons": plans(debrief),
        "years": years(debrief),
        "unlogged": unlogged(debrief),
        "repeated": repeated(debrief),
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
    let silences = c
        .effort
        .silences
        .iter()
        .filter(|s| s.from <= last && first <= s.until);
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

/// Before and after every disturbance.
pub fn shifts(debrief: &Debrief) -> Value {
    let row = |s: &Shift| together([row(debrief, s), changes(s), tests(s), closer(s)]);
    digits::rounded(debrief.shifts.rows.iter().map(row).collect())
}

/// Several objects as one.
fn together<const N: usize>(parts: [Value; N]) -> Value {
    let mut all = serde_json::Map::new();
    for part in parts {
        if let Value::Object(part) = part {
            all.extend(part);
        }
    }
    Value::Object(all)
}

/// What a row is about, and its counts.
fn row(debrief: &Debrief, s: &Shift) -> Value {
    json!({
        "season": s.season.name(),
        "disturbance": s.disturbance,
        "camera": debrief.camera_name(s.camera),
        "who": s.kind.word(),
        "role": s.role.word(),
        "days": s.days,
        "before": side(&s.before),
        "after": side(&s.after),
    })
}

/// What changed, with intervals.
fn changes(s: &Shift) -> Value {
    let against = s.share_change_against_controls;
    let ratio = s.rate_ratio_against_controls;
    json!({
        "share_change": s.share_change.map(|e| e.value),
        "share_change_low": s.share_change.map(|e| e.low),
        "share_change_high": s.share_change.map(|e| e.high),
        "share_change_against_controls": against.map(|e| e.value),
        "share_change_against_controls_low": against.map(|e| e.low),
        "share_change_against_controls_high": against.map(|e| e.high),
        "rate_ratio": s.rate_ratio.map(|e| e.value),
        "rate_ratio_low": s.rate_ratio.map(|e| e.low),
        "rate_ratio_high": s.rate_ratio.and_then(finite_high),
        "rate_ratio_against_controls": ratio.map(|e| e.value),
        "rate_ratio_against_controls_low": ratio.map(|e| e.low),
        "rate_ratio_against_controls_high": ratio.and_then(finite_high),
        "all_hours_rate_ratio": s.all_hours_ratio.map(|e| e.value),
        "all_hours_rate_ratio_low": s.all_hours_ratio.map(|e| e.low),
        "all_hours_rate_ratio_high": s.all_hours_ratio.and_then(finite_high),
    })
}

/// What can be said.
fn tests(s: &Shift) -> Value {
    json!({
        "light_visits_p_value": s.light_p_value,
        "light_visits_p_adjusted": s.light_p_adjusted,
        "light_visits_verdict": s.light_verdict.word(),
        "p_value": s.p_value,
        "p_adjusted": s.p_adjusted,
        "verdict": s.verdict.word(),
        "rate_p_value": s.rate_p_value,
        "rate_p_adjusted": s.rate_p_adjusted,
        "pattern": s.pattern.map(|p| p.word()),
        "clock_in_doubt": s.clock_in_doubt,
        "design_effect": s.runs.design_effect,
        "controls": s.controls,
        "last_year_as_control": s.last_year,
        "smallest_visible_drop": s.enough.and_then(|e| e.smallest_drop),
        "smallest_visible_loss": s.enough.and_then(|e| e.smallest_loss),
        "times_nights_for_25_points": s.enough.and_then(|e| e.times_nights_for_drop),
        "times_nights_for_half": s.enough.and_then(|e| e.times_nights),
        "loss_not_ruled_out": s.fall_ruled_out,
    })
}

/// What a sceptic asks next.
fn closer(s: &Shift) -> Value {
    let timing = s.timing;
    json!({
        "evening_minutes_later": timing.and_then(|t| t.evening_min).map(interval),
        "evening_minutes_later_against_controls":
            timing.and_then(|t| t.evening_against_min).map(interval),
        "morning_minutes_later": timing.and_then(|t| t.morning_min).map(interval),
        "morning_minutes_later_against_controls":
            timing.and_then(|t| t.morning_against_min).map(interval),
        "overlap": timing.and_then(|t| t.overlap).map(interval),
        "pattern_p_value": timing.and_then(|t| t.pattern_p),
        "onset": s.onset.map(onset),
        "placebo": s.placebo.as_ref().map(placebo),
        "rests_on": s.rests_on.as_ref().map(rests_on),
    })
}

/// This season beside every earlier one.
pub fn years(debrief: &Debrief) -> Value {
    let row = |y: &YearRow| {
        let s = &y.shift;
        let about = json!({
            "season": s.season.name(),
            "with": y.with.name(),
            "camera": debrief.camera_name(s.camera),
            "who": s.kind.word(),
            "before": side(&s.before),
            "after": side(&s.after),
        });
        together([about, changes(s), tests(s)])
    };
    digits::rounded(debrief.shifts.years.iter().map(row).collect())
}

/// Clear changes that nobody logged.
fn unlogged(debrief: &Debrief) -> Value {
    let change = |u: &Unlogged| {
        json!({
            "camera": debrief.camera_name(Some(u.camera)),
            "who": u.kind.word(),
            "from": u.dates.0.to_string(),
            "until": u.dates.1.to_string(),
            "of": question(u.of),
            "share_change_against_others": (u.of == Question::Share).then_some(u.change),
            "rate_ratio_against_others": (u.of != Question::Share).then_some(u.change),
            "p_adjusted": u.p_adjusted,
        })
    };
    debrief.shifts.unlogged.iter().map(change).collect()
}

/// The days after what happened several times.
fn repeated(debrief: &Debrief) -> Value {
    let day = |d: &DayAfter| {
        json!({
            "nights": d.nights,
            "visits": d.visits,
            "counted_visits": d.counted,
            "share": d.share.map(interval),
            "visits_per_night": d.per_night.map(interval),
        })
    };
    let one = |r: &Repeated| {
        json!({
            "what": r.what,
            "by": r.by.map(By::word),
            "times": r.times,
            "light_visits_ratio": r.ratio.map(interval),
            "light_visits_p_value": r.p_value,
            "light_visits_p_adjusted": r.p_adjusted,
            "light_visits_verdict": r.verdict.word(),
            "recovery": r.recovery.iter().map(|e| e.map(interval)).collect::<Vec<_>>(),
            "camera_days": r.camera_days,
            "days_after": r.after.iter().map(day).collect::<Vec<_>>(),
            "other_days": day(&r.ordinary),
        })
    };
    debrief.shifts.repeated.iter().map(one).collect()
}

fn interval(estimate: Estimate) -> Value {
    json!({ "value": estimate.value, "low": estimate.low, "high": estimate.high })
}

fn question(question: Question) -> &'static str {
    match question {
        Question::LightVisits => "light visits",
        Question::Share => "daylight share",
        Question::AllVisits => "all visits",
    }
}

/// Which bucks a clear change rests on.
fn rests_on(rests: &RestsOn) -> Value {
    let without = |w: &Without| {
        let [before, after] = w.left;
        json!({
            "name": w.name,
            "visits": w.visits,
            "before_without": { "visits": before.1, "counted_visits": before.0 },
            "after_without": { "visits": after.1, "counted_visits": after.0 },
            "still_clear": w.still_clear,
        })
    };
    json!({
        "of": rests.of.map(question),
        "unnamed_visits": rests.unnamed,
        "named": rests.without.iter().map(without).collect::<Vec<_>>(),
    })
}

/// How every disturbance was looked at.
fn plans(debrief: &Debrief) -> Value {
    let other = |o: &OtherDays| {
        json!({
            "days": o.days,
            "rate_ratio_against_controls": o.rate_ratio.map(interval),
            "share_change_against_controls": o.share_change.map(interval),
        })
    };
    let plan = |p: &Plan| {
        json!({
            "disturbance": p.disturbance,
            "days": p.chosen.days,
            "why": match p.chosen.why {
                WhyDays::Set => "set",
                WhyDays::Enough => "enough",
                WhyDays::Longest => "longest",
                WhyDays::Seasons => "seasons",
            },
            "power_for_half": p.chosen.power,
            "other_days": p.other_days.iter().map(other).collect::<Vec<_>>(),
        })
    };
    debrief.shifts.plans.iter().map(plan).collect()
}

fn onset(onset: Onset) -> Value {
    json!({
        "of": question(onset.of),
        "date": onset.date.to_string(),
        "low": onset.interval.0.to_string(),
        "high": onset.interval.1.to_string(),
        "recovered_after_days": onset.recovered_after_days,
        "followed_until": onset.followed_until.to_string(),
    })
}

fn placebo(placebo: &Placebo) -> Value {
    json!({ "other_dates": placebo.untouched, "as_large": placebo.as_large })
}

fn finite_high(estimate: Estimate) -> Option<f64> {
    Some(estimate.high).filter(|h| h.is_finite())
}

fn side(side: &Side) -> Value {
    json!({
        "from": side.from.to_string(),
        "until": side.until.to_string(),
        "nights": side.nights,
        "visits": side.visits,
        "legal_light_visits": side.legal,
        "counted_visits": side.counted,
        "share": side.share.map(|s| s.value),
        "pictures": side.pictures.all,
        "untagged_pictures": side.pictures.untagged,
    })
}
