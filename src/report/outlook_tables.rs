//! What the season says for the next one, as tables.

use anyhow::Result;
use polars::prelude::{DataFrame, df};

use super::digits::to_digits;
use super::outlook_words;
use super::tables::{count, ends};
use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::property::as_list;
use crate::shift::{GroundRow, GroundYear};

pub(super) fn conditions(debrief: &Debrief) -> Result<DataFrame> {
    let rows = &debrief.outlook.conditions.rows;
    let [ratio, low, high] = ends(rows.iter().map(outlook_words::belief_ratio));
    let tally = |third: usize, visits: bool| -> Vec<u32> {
        let of = |r: &crate::outlook::BeliefRow| match visits {
            true => r.thirds[third].visits,
            false => r.thirds[third].half_days,
        };
        rows.iter().map(|r| count(of(r))).collect()
    };
    Ok(df!(
        "belief" => rows.iter().map(|r| r.belief.word()).collect::<Vec<_>>(),
        "step" => rows.iter().map(|r| outlook_words::step(r.belief)).collect::<Vec<_>>(),
        "verdict" => rows.iter().map(|r| r.held.word()).collect::<Vec<_>>(),
        "ratio" => ratio,
        "ratio_low" => low,
        "ratio_high" => high,
        "p_value" => rows.iter().map(|r| r.found.map(|f| to_digits(f.p_value))).collect::<Vec<_>>(),
        "p_adjusted" => rows.iter().map(|r| r.p_adjusted.map(to_digits)).collect::<Vec<_>>(),
        "light_visits_least" => tally(0, true),
        "half_days_least" => tally(0, false),
        "light_visits_most" => tally(1, true),
        "half_days_most" => tally(1, false),
        "smallest_ratio" => rows.iter().map(|r| r.smallest.filter(|s| s.is_finite()).map(to_digits)).collect::<Vec<_>>(),
    )?)
}

pub(super) fn where_to_sit(debrief: &Debrief) -> Result<DataFrame> {
    let rows = &debrief.outlook.stands;
    let [per_ten, low, high] = ends(rows.iter().map(|r| r.per_ten));
    let cameras = |r: &crate::outlook::StandRow| {
        let names = r.cameras.iter().map(|c| debrief.camera_name(Some(*c)));
        as_list(names)
    };
    let of_wind = |of: fn(crate::outlook::WindTally) -> usize| -> Vec<Option<u32>> {
        rows.iter().map(|r| r.wind.map(|w| count(of(w)))).collect()
    };
    Ok(df!(
        "stand" => rows.iter().map(|r| r.stand.as_str()).collect::<Vec<_>>(),
        "cameras" => rows.iter().map(cameras).collect::<Vec<_>>(),
        "part" => rows.iter().map(|r| r.part.as_str()).collect::<Vec<_>>(),
        "half" => rows.iter().map(|r| r.half.word()).collect::<Vec<_>>(),
        "half_days" => rows.iter().map(|r| count(r.outings)).collect::<Vec<_>>(),
        "half_days_left_out" => rows.iter().map(|r| count(r.left_out)).collect::<Vec<_>>(),
        "light_visits" => rows.iter().map(|r| count(r.visits)).collect::<Vec<_>>(),
        "per_ten" => per_ten,
        "per_ten_low" => low,
        "per_ten_high" => high,
        "beside_the_best" => rows.iter().map(|r| r.beside_best.word()).collect::<Vec<_>>(),
        "three_of_four_from" => rows.iter().map(|r| r.three_of_four_min.map(|m| to_digits(m.0))).collect::<Vec<_>>(),
        "three_of_four_until" => rows.iter().map(|r| r.three_of_four_min.map(|m| to_digits(m.1))).collect::<Vec<_>>(),
        "suited_half_days" => of_wind(|w| w.suited),
        "suited_light_visits" => of_wind(|w| w.suited_visits),
        "other_half_days" => of_wind(|w| w.others),
        "other_light_visits" => of_wind(|w| w.others_visits),
    )?)
}

pub(super) fn grounds_by_season(debrief: &Debrief) -> Result<DataFrame> {
    let grounds = debrief.grounds.iter();
    let rows: Vec<(&GroundRow, &GroundYear)> =
        grounds.flat_map(|g| g.against.iter().map(move |y| (g, y))).collect();
    let [ratio, low, high] = ends(rows.iter().map(|(_, y)| y.shift.rate_ratio_against_controls));
    let [so, so_low, so_high] = ends(rows.iter().map(|(_, y)| y.had_it_been_so()));
    Ok(df!(
        "ground" => rows.iter().map(|(g, _)| g.ground.as_str()).collect::<Vec<_>>(),
        "side" => rows.iter().map(|(g, _)| g.side.word()).collect::<Vec<_>>(),
        "what" => rows.iter().map(|(g, _)| g.what.as_str()).collect::<Vec<_>>(),
        "light_visits" => rows.iter().map(|(g, _)| count(g.light_visits)).collect::<Vec<_>>(),
        "with" => rows.iter().map(|(_, y)| y.with.name()).collect::<Vec<_>>(),
        "what_then" => rows.iter().map(|(_, y)| y.what.as_str()).collect::<Vec<_>>(),
        "ratio_against_others" => ratio,
        "ratio_low" => low,
        "ratio_high" => high,
        "p_adjusted" => rows.iter().map(|(_, y)| y.p_adjusted.map(to_digits)).collect::<Vec<_>>(),
        "verdict" => rows.iter().map(|(_, y)| y.verdict.word()).collect::<Vec<_>>(),
        "had_it_been_so" => so,
        "had_it_been_so_low" => so_low,
        "had_it_been_so_high" => so_high,
    )?)
}

pub(super) fn herd(debrief: &Debrief) -> Result<DataFrame> {
    let whole = |n: usize| Some(Estimate { value: n as f64, low: n as f64, high: n as f64 });
    let rows: Vec<(&str, Option<Estimate>)> =
        debrief.outlook.herd.as_ref().map_or_else(Vec::new, |h| {
            vec![
                // Where nobody has a name none can be told apart.
                ("different bucks", whole(h.different).filter(|_| h.different > 0)),
                ("bucks by once seen", h.by_once_seen),
                ("bucks by halves", h.by_halves),
                ("does per buck", h.does_per_buck),
                ("fawns per doe", h.fawns_per_doe),
                ("does by survey", h.does_there),
                ("fawns by survey", h.fawns_there),
            ]
        });
    let [value, low, high] = ends(rows.iter().map(|r| r.1));
    Ok(df!(
        "what" => rows.iter().map(|r| r.0).collect::<Vec<_>>(),
        "value" => value,
        "low" => low,
        "high" => high,
    )?)
}

pub(super) fn asked(debrief: &Debrief) -> Result<DataFrame> {
    let all = &debrief.answered;
    let row =
        |a: &crate::debrief::Answered| a.row.as_ref().and_then(|r| r.rate_ratio_against_controls);
    let [ratio, low, high] = ends(all.iter().map(row));
    Ok(df!(
        "asked" => all.iter().map(|a| a.question.asked).collect::<Vec<_>>(),
        "from" => all.iter().map(|a| a.question.from).collect::<Vec<_>>(),
        "by" => all.iter().map(|a| a.question.by).collect::<Vec<_>>(),
        "near" => all.iter().map(|a| as_list(a.question.near.iter().map(String::as_str))).collect::<Vec<_>>(),
        "loss" => all.iter().map(|a| to_digits(a.question.loss)).collect::<Vec<_>>(),
        "chance_told" => all.iter().map(|a| a.question.chance.map(to_digits)).collect::<Vec<_>>(),
        "verdict" => all.iter().map(|a| a.row.as_ref().map(|r| r.light_verdict.word())).collect::<Vec<_>>(),
        "ratio_against_others" => ratio,
        "ratio_low" => low,
        "ratio_high" => high,
    )?)
}
