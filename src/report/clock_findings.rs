//! What is known of the clocks, as the findings file tells it.

use serde_json::{Value, json};

use crate::trust::{CameraClock, Finding, Shade};

/// One entry a camera. Minutes are to be added to the camera's clock.
pub fn clocks(clocks: &[CameraClock]) -> Value {
    let camera = |c: &CameraClock| {
        json!({
            "camera": c.camera,
            "clock": c.word(),
            "colour": c.count(Shade::Colour),
            "grey": c.count(Shade::Grey),
            "offset_min": c.offset.map(|o| o.minutes),
            "offset_low_min": c.offset.map(|o| o.low),
            "offset_high_min": c.offset.map(|o| o.high),
            "findings": c.findings.iter().map(finding).collect::<Vec<_>>(),
        })
    };
    clocks.iter().map(camera).collect()
}

fn finding(f: &Finding) -> Value {
    json!({
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
