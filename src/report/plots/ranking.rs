//! Cameras ranked by what a hunter would sit for.

use anyhow::Result;

use super::MATURE;
use super::interval_rows::{IntervalRow, Scale, draw};
use crate::debrief::{DaylightAnswer, Debrief, FEWEST_RANKED_NIGHTS};
use crate::report::words;

/// Legal-light visits of mature bucks per 100 camera-nights, best camera first; after them those that worked on too few
/// nights to be ranked.
pub(in crate::report) fn ranking(debrief: &Debrief) -> Result<String> {
    let mut answers: Vec<&DaylightAnswer> = debrief
        .daylight_now()
        .filter(|a| a.camera.is_some() && a.kind == debrief.season.about.kind)
        .collect();
    let value = |a: &DaylightAnswer| a.per_100_nights.map_or(-1.0, |r| r.value);
    let is_ranked = |a: &DaylightAnswer| a.nights >= FEWEST_RANKED_NIGHTS;
    answers.sort_by(|a, b| {
        let ranked_first = is_ranked(b).cmp(&is_ranked(a));
        ranked_first.then(value(b).total_cmp(&value(a)))
    });
    let until = (highest(&answers) / 20.0).ceil() * 20.0;
    let rows: Vec<IntervalRow> = answers
        .iter()
        .map(|a| IntervalRow {
            name: debrief.camera_name(a.camera).to_owned(),
            estimate: a.per_100_nights,
            colour: MATURE,
            filled: true,
            counts: format!(
                "{} in {}",
                words::counted(a.counted, "visit"),
                words::counted(a.nights, "night")
            ),
        })
        .collect();
    draw(
        &format!(
            "{} in {}, by camera",
            debrief.season.about.kind.plural(),
            debrief.property.settings.share_light()
        ),
        "counted",
        &rows,
        &Scale {
            from: 0.0,
            until,
            words: "these visits per 100 camera-nights, with 95 % interval",
            label: |v| format!("{v:.0}"),
            reference: None,
        },
    )
}

/// How far the scale must reach. A handful of nights leaves so wide a range that beside it the others would shrink to
/// dots, so it counts only where there is no other.
fn highest(answers: &[&DaylightAnswer]) -> f64 {
    let of = |fewest: usize| {
        let enough = answers.iter().filter(|a| a.nights >= fewest);
        enough.filter_map(|a| Some(a.per_100_nights?.high)).reduce(f64::max)
    };
    of(FEWEST_RANKED_NIGHTS).or(of(0)).unwrap_or(0.0).max(4.0)
}
