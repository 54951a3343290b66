//! Every camera's change around one disturbance, near and control side by side.

use anyhow::Result;

use super::interval_rows::{IntervalRow, Scale, draw};
use super::{AFTER, MUTED};
use crate::debrief::Debrief;
use crate::report::words;
use crate::shift::{Role, Shift};

/// The change of the daylight share at each camera, near cameras first and filled.
pub(in crate::report) fn changes(
    debrief: &Debrief,
    heading: &str,
    shifts: &[&Shift],
) -> Result<String> {
    let mut shifts = shifts.to_vec();
    shifts.sort_by_key(|s| (s.role == Role::Control, s.camera));
    let rows: Vec<IntervalRow> = shifts
        .iter()
        .map(|s| IntervalRow {
            name: debrief.camera_name(s.camera).to_owned(),
            estimate: s.share_change,
            colour: if s.role == Role::Near { AFTER } else { MUTED },
            filled: s.role == Role::Near,
            counts: format!(
                "{} of {}, then {} of {}",
                s.before.counted, s.before.visits, s.after.counted, s.after.visits
            ),
        })
        .collect();
    draw(
        heading,
        "before, then after",
        &rows,
        &Scale {
            from: -100.0_f64 / 100.0,
            until: 1.0,
            words: "change of the daylight share in points, with 95 % interval; ● near, ○ control",
            label: |v| words::signed(v * 100.0),
            reference: Some(0.0),
        },
    )
}
