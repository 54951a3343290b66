//! What the season says for the next one, for a program.

use serde_json::{Value, json};

use super::findings::interval;
use super::shift_findings::{repeated, side};
use crate::debrief::{Answered, Debrief};
use crate::outlook::{BeliefRow, Herd, HerdCount, PlanRow, Proof, StandRow, Tally};
use crate::property::By;
use crate::shift::{GroundRow, GroundYear};

/// Which weather brings deer.
pub fn conditions(debrief: &Debrief) -> Value {
    let conditions = &debrief.outlook.conditions;
    let row = |r: &BeliefRow| {
        json!({
            "belief": r.belief.word(),
            "step": r.belief.step(),
            "ratio": super::outlook_words::belief_ratio(r).map(interval),
            "slope": r.found.map(|f| f.slope),
            "slope_error": r.found.map(|f| f.error),
            "freedom": r.found.map(|f| f.freedom),
            "p_value": r.found.map(|f| f.p_value),
            "p_adjusted": r.p_adjusted,
            "verdict": r.held.word(),
            "not_apart_from": r.not_apart_from.iter().map(|b| b.word()).collect::<Vec<_>>(),
            "least_third": tally(r.thirds[0]),
            "most_third": tally(r.thirds[1]),
            "smallest_ratio": r.smallest.filter(|s| s.is_finite()),
        })
    };
    super::digits::rounded(json!({
        "seasons": conditions.seasons,
        "light_visits": conditions.all.visits,
        "half_days": conditions.all.half_days,
        "why_not": super::outlook_words::why_not(conditions),
        "beliefs": conditions.rows.iter().map(row).collect::<Vec<_>>(),
    }))
}

fn tally(tally: Tally) -> Value {
    json!({ "light_visits": tally.visits, "half_days": tally.half_days })
}

/// Where and when to sit.
pub fn stands(debrief: &Debrief) -> Value {
    let row = |r: &StandRow| {
        json!({
            "stand": r.stand,
            "cameras": r.cameras.iter().map(|c| debrief.camera_name(Some(*c))).collect::<Vec<_>>(),
            "part": r.part,
            "from": r.span.0.to_string(),
            "until": r.span.1.to_string(),
            "half": r.half.word(),
            "half_days": r.outings,
            "half_days_left_out": r.left_out,
            "light_visits": r.visits,
            "per_ten": r.per_ten.map(interval),
            "beside_the_best": r.beside_best.word(),
            "three_of_four_min": r.three_of_four_min.map(|(a, b)| [a, b]),
            "wind": r.wind.map(|w| json!({
                "suited_half_days": w.suited,
                "suited_light_visits": w.suited_visits,
                "other_half_days": w.others,
                "other_light_visits": w.others_visits,
            })),
            "sun_from": r.sun_from.name(),
        })
    };
    super::digits::rounded(debrief.outlook.stands.iter().map(row).collect())
}

/// What the person did again and again, and what it cost.
pub fn own(debrief: &Debrief) -> Value {
    let all = repeated(debrief);
    let is_own = |r: &&Value| r["by"] == By::Own.word() || r["by"].is_null();
    let own: Vec<&Value> =
        all.as_array().map_or_else(Vec::new, |a| a.iter().filter(is_own).collect());
    super::digits::rounded(json!(own))
}

/// Ground by ground.
pub fn grounds(debrief: &Debrief) -> Value {
    let against = |y: &GroundYear| {
        json!({
            "season": y.with.name(),
            "what": y.what,
            "before": side(&y.shift.before),
            "after": side(&y.shift.after),
            "rate_ratio": y.shift.rate_ratio.map(interval),
            "rate_ratio_against_controls": y.shift.rate_ratio_against_controls.map(interval),
            "p_value": y.shift.light_p_value,
            "p_adjusted": y.p_adjusted,
            "verdict": y.verdict.word(),
            "had_it_been_so": y.had_it_been_so().map(interval),
        })
    };
    let row = |g: &GroundRow| {
        json!({
            "ground": g.ground,
            "side": g.side.word(),
            "what": g.what,
            "cameras": g.cameras.iter().map(|c| debrief.camera_name(Some(*c))).collect::<Vec<_>>(),
            "light_visits": g.light_visits,
            "against": g.against.iter().map(against).collect::<Vec<_>>(),
        })
    };
    super::digits::rounded(debrief.grounds.iter().map(row).collect())
}

/// Who is there.
pub fn herd(debrief: &Debrief) -> Value {
    let count = |c: HerdCount| json!({ "pictures": c.pictures, "animals": c.animals });
    let told = |h: &Herd| {
        json!({
            "from": h.span.0.to_string(),
            "until": h.span.1.to_string(),
            "days_named_by_owner": h.is_named,
            "camera_days": h.camera_days,
            "bucks": count(h.bucks),
            "does": count(h.does),
            "fawns": count(h.fawns),
            "bucks_in_pictures": h.bucks.animals,
            "named_bucks_in_pictures": h.named_bucks,
            "different_bucks": h.different,
            "seen_on_one_day": h.once_and_twice.0,
            "seen_on_two_days": h.once_and_twice.1,
            "new_on": h.new_on.iter().map(|(d, n)| json!({ "date": d.to_string(), "new": n })).collect::<Vec<_>>(),
            "bucks_chao1": h.by_once_seen.map(interval),
            "bucks_chapman": h.by_halves.map(interval),
            "does_per_buck": h.does_per_buck.map(interval),
            "fawns_per_doe": h.fawns_per_doe.map(interval),
            "does_by_survey": h.does_there.map(interval),
            "fawns_by_survey": h.fawns_there.map(interval),
        })
    };
    super::digits::rounded(debrief.outlook.herd.as_ref().map_or(Value::Null, told))
}

/// What was asked beforehand, and its answer.
pub fn plan(debrief: &Debrief) -> Value {
    let one = |a: &Answered| {
        let row = a.row.as_ref();
        json!({
            "asked": a.question.asked.to_string(),
            "from": a.question.from.to_string(),
            "by": a.question.by.to_string(),
            "near": a.question.near,
            "loss": a.question.loss,
            "chance_told": a.question.chance,
            "is_due": a.is_due,
            "before": row.map(|r| side(&r.before)),
            "after": row.map(|r| side(&r.after)),
            "rate_ratio_against_controls": row.and_then(|r| r.rate_ratio_against_controls).map(interval),
            "p_value": row.and_then(|r| r.light_p_value),
            "p_adjusted": row.and_then(|r| r.light_p_adjusted),
            "verdict": row.map(|r| r.light_verdict.word()),
        })
    };
    super::digits::rounded(debrief.answered.iter().map(one).collect())
}

/// What next season's cameras could prove.
pub fn proof(proof: &Proof) -> Value {
    let row = |r: &PlanRow| {
        json!({
            "with": r.addition.word(),
            "days": r.days,
            "found": r.found.0,
            "played": r.found.1,
            "chance": interval(r.chance),
            "false_alarms": r.false_alarms,
        })
    };
    let q = &proof.question;
    super::digits::rounded(json!({
        "asked": q.asked.to_string(),
        "from": q.from.to_string(),
        "by": q.by.to_string(),
        "near": q.near,
        "loss": q.loss,
        "rows": proof.rows.iter().map(row).collect::<Vec<_>>(),
    }))
}
