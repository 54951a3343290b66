//! `answer.json`: what a right analysis must find.

use std::path::Path;

use anyhow::Result;
use serde_json::{Value, json};

use super::Plan;
use super::country::Country;
use super::files::Count;
use super::plan::FAULTY;
use super::season::{Animal, Played};

pub(super) fn write(folder: &Path, plan: &Plan, season: &Played, files: &Count) -> Result<()> {
    let cameras: Vec<Value> = plan
        .cameras
        .iter()
        .enumerate()
        .map(|(i, camera)| {
            let is_mature = Animal::Buck { mature: true };
            let mature = || season.events.iter().filter(|e| e.camera == i && e.animal == is_mature);
            json!({
                "camera": camera.name,
                "mature_buck_visits": mature().count(),
                "mature_buck_legal_light_visits": mature().filter(|e| e.legal).count(),
            })
        })
        .collect();
    let effect = (plan.options.share_after - plan.options.share_before).abs() > 1e-9;
    let answer = json!({
        "seed": plan.options.seed,
        "seasons": plan.seasons().iter().map(|(a, b)| json!([a.to_string(), b.to_string()])).collect::<Vec<_>>(),
        "disturbances": [
            {
                "disturbance": if plan.options.seasons > 1 { "new-owner" } else { "box-blind" }, "camera": plan.cameras[0].name, "who": "mature buck",
                "share_before": plan.options.share_before, "share_after": plan.options.share_after,
                "effect": effect,
            },
            {
                "disturbance": "shooting-lanes", "camera": plan.cameras[1].name, "who": "mature buck",
                "share_before": plan.options.share_before, "share_after": plan.options.share_before,
                "effect": false,
            },
        ],
        "clock": {
            "camera": plan.cameras[FAULTY].name,
            "fault": format!("{:?}", plan.options.clock),
        },
        "country": if plan.options.with_country { Country::answer() } else { Value::Null },
        "cameras": cameras,
        "files": {
            "found": files.found(),
            "unreadable": files.faults.unreadable,
            "duplicate": files.faults.duplicate,
            "cut_short": files.faults.cut_short,
            "not_timed": files.untimed,
            "tagged": files.tagged,
        },
    });
    std::fs::write(folder.join("answer.json"), serde_json::to_string_pretty(&answer)? + "\n")?;
    Ok(())
}
