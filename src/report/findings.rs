//! `findings.json`: the same facts for a program.
//!
//! Shares are fractions of 1; minutes and counts are named so; a number that cannot be computed is
//! null. Keys are never renamed.

use serde_json::{Value, json};

use super::digits;
use crate::debrief::{DaylightAnswer, Debrief, Usual};
use crate::measure::{Direction, Estimate};
use crate::property::ShareOf;
use crate::shift::{DayAfter, Onset, Placebo, Repeated, Shift, Side, Unlogged};

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

/// Effort and visits of every camera.
pub fn cameras(debrief: &Debrief, with_places: bool) -> Value {
    let camera = |c: &crate::visits::Camera| {
        let silences: Vec<Value> = c
            .effort
            .silences
            .iter()
            .map(|s| json!({ "from": s.from.to_string(), "until": s.until.to_string(), "days": s.days() }))
            .collect();
        let mut value = json!({
            "camera": c.name,
            "setting": c.setting_words(),
            "nights": c.effort.nights(),
            "nights_at_most": c.effort.nights_at_most(),
            "visits": c.visits(crate::visits::Kind::Deer).len(),
            "pictures": c.pictures,
            "in_doubt": silences,
        });
        if with_places {
            let places = c.placements.iter().filter_map(|p| p.position);
            value["places"] = places
                .map(|p| json!({ "latitude": p.latitude_deg, "longitude": p.longitude_deg }))
                .collect();
        }
        value
    };
    debrief.season.cameras.iter().map(camera).collect()
}

/// Who moves in legal light, where and when.
pub fn daylight(debrief: &Debrief) -> Value {
    let answer = |a: &DaylightAnswer| {
        json!({
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
    let row = |s: &Shift| {
        let against = s.share_change_against_controls;
        json!({
            "disturbance": s.disturbance,
            "camera": debrief.camera_name(Some(s.camera)),
            "who": s.kind.word(),
            "role": s.role.word(),
            "before": side(&s.before),
            "after": side(&s.after),
            "share_change": s.share_change.map(|e| e.value),
            "share_change_low": s.share_change.map(|e| e.low),
            "share_change_high": s.share_change.map(|e| e.high),
            "share_change_against_controls": against.map(|e| e.value),
            "share_change_against_controls_low": against.map(|e| e.low),
            "share_change_against_controls_high": against.map(|e| e.high),
            "rate_ratio": s.rate_ratio.map(|e| e.value),
            "rate_ratio_low": s.rate_ratio.map(|e| e.low),
            "rate_ratio_high": s.rate_ratio.and_then(finite_high),
            "all_hours_rate_ratio": s.all_hours_ratio.map(|e| e.value),
            "all_hours_rate_ratio_low": s.all_hours_ratio.map(|e| e.low),
            "all_hours_rate_ratio_high": s.all_hours_ratio.and_then(finite_high),
            "design_effect": s.runs.design_effect,
            "p_value": s.p_value,
            "p_adjusted": s.p_adjusted,
            "rate_p_value": s.rate_p_value,
            "rate_p_adjusted": s.rate_p_adjusted,
            "verdict": s.verdict.word(),
            "clock_in_doubt": s.clock_in_doubt,
            "pattern": s.pattern.map(|p| p.word()),
            "smallest_visible_drop": s.enough.and_then(|e| e.smallest_drop),
            "times_nights_for_25_points": s.enough.and_then(|e| e.times_nights),
            "evening_minutes_later": s.timing.and_then(|t| t.evening_min).map(interval),
            "morning_minutes_later": s.timing.and_then(|t| t.morning_min).map(interval),
            "overlap": s.timing.and_then(|t| t.overlap).map(interval),
            "pattern_p_value": s.timing.and_then(|t| t.pattern_p),
            "last_year_as_control": s.last_year,
            "onset": s.onset.map(onset),
            "placebo": s.placebo.as_ref().map(placebo),
        })
    };
    digits::rounded(debrief.shifts.rows.iter().map(row).collect())
}

/// Clear changes that nobody logged.
fn unlogged(debrief: &Debrief) -> Value {
    let change = |u: &Unlogged| {
        json!({
            "camera": debrief.camera_name(Some(u.camera)),
            "who": u.kind.word(),
            "from": u.dates.0.to_string(),
            "until": u.dates.1.to_string(),
            "share_change_against_others": u.change,
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
            "times": r.times,
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

fn onset(onset: Onset) -> Value {
    json!({
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
