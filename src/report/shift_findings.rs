//! The findings about what changed.

use serde_json::{Value, json};

use super::digits;
use super::findings::interval;
use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::property::By;
use crate::shift::{
    Answer, DayAfter, Explanation, Instead, Onset, OtherDays, Placebo, Plan, Question, Repeated,
    RestsOn, Shift, Side, Unlogged, WhyDays, Without, YearRow,
};

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
        "controls_beyond": s.controls_beyond[0],
        "controls_beyond_of_share": s.controls_beyond[1],
        "light_visits_answer": s.answer(Question::LightVisits).word(),
        "light_visits_why": why(s.answer(Question::LightVisits)),
        "share_answer": s.answer(Question::Share).word(),
        "share_why": why(s.answer(Question::Share)),
        "same_as": s.same_as,
        "last_year_as_control": s.last_year,
        "smallest_visible_drop": s.enough.and_then(|e| e.smallest_drop),
        "smallest_visible_loss": s.enough.and_then(|e| e.smallest_loss),
        "times_nights_for_25_points": s.enough.and_then(|e| e.times_nights_for_drop),
        "times_nights_for_half": s.enough.and_then(|e| e.times_nights),
        "loss_not_ruled_out": s.fall_ruled_out,
    })
}

/// Why a question cannot be told.
fn why(answer: Answer) -> Option<&'static str> {
    match answer {
        Answer::CannotTell(why) => Some(why.word()),
        _ => None,
    }
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
        "instead": s.instead.iter().map(instead).collect::<Vec<_>>(),
    })
}

/// Another explanation.
fn instead(other: &Instead) -> Value {
    let name = match &other.what {
        Explanation::OneBuck(name) => Some(name),
        _ => None,
    };
    json!({
        "what": other.what.word(),
        "name": name,
        "light_visits": match other.what {
            Explanation::EarlierYears(counts) => Some(counts),
            _ => None,
        },
        "p_value": other.p_value,
        "still_clear": other.still_clear,
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
pub(super) fn unlogged(debrief: &Debrief) -> Value {
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
pub(super) fn repeated(debrief: &Debrief) -> Value {
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
            "matched": {
                "days": r.matched.days,
                "light_visits": r.matched.visits,
                "other_days": r.matched.other_days,
                "other_light_visits": r.matched.other_visits,
            },
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
pub(super) fn plans(debrief: &Debrief) -> Value {
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
                WhyDays::Usual => "usual",
                WhyDays::Fewest => "fewest",
                WhyDays::Seasons => "seasons",
            },
            "power_for_half": debrief.shifts.together(&p.disturbance, debrief.season.about.kind)
                .and_then(|row| row.enough?.power_for_half),
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

pub(super) fn side(side: &Side) -> Value {
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
