//! The invented land around the cameras, as `land.geojson`, and its named deer, as `deer.csv`.

use std::fs;
use std::path::Path;

use anyhow::Result;
use chrono::Datelike;
use serde_json::{Value, json};

use super::Plan;
use super::season::NAMED;

/// Kind, name, and the outline in ten-thousandths of a degree east and north of the property's place; its last
/// corner is its first. One corner is a point.
type Ground = (&'static str, &'static str, &'static [(i32, i32)]);

const GROUNDS: [Ground; 8] = [
    ("boundary", "", &[(-40, -46), (48, -46), (48, 31), (-40, 31), (-40, -46)]),
    ("field", "Upper beans", &[(6, 2), (44, 4), (44, 27), (14, 28), (6, 2)]),
    ("field", "River bottom corn", &[(12, -44), (46, -44), (46, -22), (20, -26), (12, -44)]),
    (
        "timber",
        "Walnut timber",
        &[(-38, -30), (-12, -36), (-2, -16), (-4, 12), (-18, 26), (-36, 18), (-38, -30)],
    ),
    ("food plot", "Clover", &[(28, -14), (40, -13), (39, -6), (29, -7), (28, -14)]),
    ("pond", "Spring pond", &[(6, -38), (12, -40), (16, -36), (11, -33), (6, -38)]),
    ("stand", "Ridge stand", &[(-16, -10)]),
    ("lane", "Farm lane", &[(48, -18), (22, -18), (4, -6), (2, 31)]),
];

/// Writes both.
pub(super) fn write(folder: &Path, plan: &Plan) -> Result<()> {
    let features: Vec<Value> = GROUNDS.iter().map(|g| feature(plan, g)).collect();
    let land = json!({ "type": "FeatureCollection", "features": features });
    fs::write(folder.join("land.geojson"), serde_json::to_string_pretty(&land)? + "\n")?;
    let mut deer = csv::Writer::from_path(folder.join("deer.csv"))?;
    deer.write_record(["name", "born", "note"])?;
    let year = plan.seasons().last().map_or(0, |s| s.0.year());
    for (name, age) in NAMED {
        // The tags of many seasons in a row have one age.
        let born = match plan.seasons().len() {
            1 | 2 => (year - age.floor() as i32).to_string(),
            _ => String::new(),
        };
        deer.write_record([name, &born, ""])?;
    }
    Ok(deer.flush()?)
}

fn feature(plan: &Plan, (kind, name, outline): &Ground) -> Value {
    const DEGREES: f64 = 1e-4;
    let degrees = |from: f64, by: i32| ((from + f64::from(by) * DEGREES) * 1e6).round() / 1e6;
    let place = |(east, north): &(i32, i32)| {
        json!([
            degrees(plan.position.longitude_deg, *east),
            degrees(plan.position.latitude_deg, *north)
        ])
    };
    let places: Vec<Value> = outline.iter().map(place).collect();
    let is_closed = outline.len() > 3 && outline.first() == outline.last();
    let geometry = match (outline.len(), is_closed) {
        (1, _) => json!({ "type": "Point", "coordinates": places[0] }),
        (_, true) => json!({ "type": "Polygon", "coordinates": [places] }),
        (_, false) => json!({ "type": "LineString", "coordinates": places }),
    };
    json!({
        "type": "Feature",
        "properties": { "kind": kind, "name": name },
        "geometry": geometry,
    })
}
