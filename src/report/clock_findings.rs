//! What is known of the clocks, as the findings file tells it.

use serde_json::{Value, json};

use crate::card::Shade;
use crate::clock_check::{CameraClock, ClockRow, Finding};

/// One entry a camera. Minutes are to be added to the camera's clock.
pub fn clocks(clocks: &[CameraClock]) -> Value {
    let camera = |c: &CameraClock| {
        json!({
            "camera": c.camera,
            "clock": c.word(),
            "colour": c.count(Shade::Colour),
            "grey": c.count(Shade::Grey),
            "told_by": c.source.words().1,
            "offset_min": c.offset.map(|o| o.minutes),
            "offset_low_min": c.offset.map(|o| o.low),
            "offset_high_min": c.offset.map(|o| o.high),
            "findings": c.findings.iter().map(clock_finding).collect::<Vec<_>>(),
        })
    };
    clocks.iter().map(camera).collect()
}

/// One finding. `rows` are for `clocks.csv`, `setting` for the column `clock` of `cameras.csv`.
pub fn clock_finding(f: &Finding) -> Value {
    let moment = |t: chrono::NaiveDateTime| t.format("%FT%T").to_string();
    let row = |r: &ClockRow| {
        json!({
            "from": moment(r.from),
            "until": moment(r.until),
            "shift_minutes": r.shift_min,
            "until_shift_minutes": r.until_shift_min,
        })
    };
    json!({
        "setting": f.setting.map(|s| s.word()),
        "rows": f.rows.iter().map(row).collect::<Vec<_>>(),
        "fault": f.fault.word(),
        "from": f.from.format("%FT%T").to_string(),
        "until": f.until.format("%FT%T").to_string(),
        "shift_minutes": f.shift_min,
        "low_minutes": f.low_min,
        "high_minutes": f.high_min,
        "pictures": f.pictures,
        "evidence": f.evidence,
        "doubt": f.doubt,
        "corrected": f.corrected,
    })
}
