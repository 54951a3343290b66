//! Cameras ranked by what a hunter would sit for.

use anyhow::Result;

use super::MATURE;
use super::interval_rows::{IntervalRow, Scale, draw};
use crate::debrief::{DaylightAnswer, Debrief};
use crate::report::words;

/// Legal-light visits of mature bucks per 100 camera-nights, best camera first.
pub(in crate::report) fn ranking(debrief: &Debrief) -> Result<String> {
    let mut answers: Vec<&DaylightAnswer> = debrief
        .daylight_now()
        .filter(|a| a.camera.is_some() && a.kind == debrief.season.about.kind)
        .collect();
    let value = |a: &DaylightAnswer| a.per_100_nights.map_or(-1.0, |r| r.value);
    answers.sort_by(|a, b| value(b).total_cmp(&value(a)));
    let highest = answers
        .iter()
        .filter_map(|a| a.per_100_nights)
        .map(|r| r.high)
        .fold(4.0, f64::max);
    let until = (highest / 20.0).ceil() * 20.0;
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
