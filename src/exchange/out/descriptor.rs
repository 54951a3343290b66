//! `datapackage.json`: what is in the package, and by which rules.

use anyhow::Result;
use serde_json::{Map, Value, json};

use super::PackageOptions;
use super::sheet::Sheet;
use crate::debrief::Debrief;
use crate::exchange::{STANDARD, VERSION};

/// The descriptor. Its schemas stand in it, so that it can be checked without a connection; the standard's own
/// profile, which wants their addresses instead, is named under `conformsTo`.
pub(super) fn descriptor(
    debrief: &Debrief,
    options: &PackageOptions,
    sheets: &[Sheet],
) -> Result<Vec<u8>> {
    let by_name = |name: &str| sheets.iter().find(|s| s.table.name == name);
    let values =
        |table: &str, field: &str| by_name(table).map_or_else(Vec::new, |s| s.values(field));
    let (starts, ends) =
        (values("deployments", "deploymentStart"), values("deployments", "deploymentEnd"));
    let day = |moment: Option<&&str>| moment.map_or_else(String::new, |m| m[..10].to_owned());
    let levels = values("observations", "observationLevel");
    let taxa: Vec<Value> = values("observations", "scientificName")
        .iter()
        .map(|name| json!({ "scientificName": name }))
        .collect();
    let mut whole = Map::new();
    let mut put = |key: &str, value: Value| whole.insert(key.to_owned(), value);
    put("name", json!(slug(&debrief.property.settings.name)));
    put("title", json!(debrief.property.settings.name));
    put("profile", json!("data-package"));
    put("conformsTo", json!(format!("{STANDARD}{VERSION}/camtrap-dp-profile.json")));
    put("created", json!(options.created.to_rfc3339_opts(chrono::SecondsFormat::Secs, true)));
    put("contributors", json!([{ "title": options.contributor, "role": "contributor" }]));
    put(
        "project",
        json!({
            "title": debrief.property.settings.name,
            "samplingDesign": "targeted",
            "captureMethod": ["activityDetection"],
            "individualAnimals": !values("observations", "individualID").is_empty(),
            "observationLevel": if levels.is_empty() { vec!["media"] } else { levels },
        }),
    );
    if let Some(precision) = options.coordinates.precision_deg() {
        put("coordinatePrecision", json!(precision));
    }
    put("spatial", spatial(by_name("deployments")));
    // Moments carry their own distances from UTC; by date they are in order all the same.
    put("temporal", json!({ "start": day(starts.first()), "end": day(ends.last()) }));
    put("taxonomic", json!(taxa));
    put("resources", json!(sheets.iter().map(resource).collect::<Vec<_>>()));
    let mut text = serde_json::to_vec_pretty(&Value::Object(whole))?;
    text.push(b'\n');
    Ok(text)
}

fn resource(sheet: &Sheet) -> Value {
    json!({
        "name": sheet.table.name,
        "title": sheet.table.title,
        "path": sheet.file(),
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": sheet.table.schema(),
    })
}

/// The rectangle in which the deployments lie, as GeoJSON (RFC 7946); empty where no place is told.
fn spatial(deployments: Option<&Sheet>) -> Value {
    let degrees = |field: &str| -> Option<(f64, f64)> {
        let all = deployments?.values(field).into_iter();
        let all: Vec<f64> = all.filter_map(|v| v.parse().ok()).collect();
        let least = all.iter().copied().reduce(f64::min)?;
        Some((least, all.iter().copied().reduce(f64::max)?))
    };
    match (degrees("longitude"), degrees("latitude")) {
        (Some((west, east)), Some((south, north))) => json!({
            "type": "Polygon",
            "coordinates": [[[west, south], [east, south], [east, north], [west, north], [west, south]]],
        }),
        _ => json!({ "type": "GeometryCollection", "geometries": [] }),
    }
}

/// A name of small letters, digits and strokes, as package names must be.
fn slug(name: &str) -> String {
    let mut slug = String::new();
    for c in name.to_lowercase().chars() {
        match c.is_ascii_alphanumeric() {
            true => slug.push(c),
            false if !slug.ends_with('-') && !slug.is_empty() => slug.push('-'),
            false => {}
        }
    }
    let slug = slug.trim_end_matches('-');
    if slug.is_empty() { "property".to_owned() } else { slug.to_owned() }
}
