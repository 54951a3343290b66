//! The files of the property that a package becomes.

use anyhow::Result;
use chrono_tz::Tz;
use serde::Serialize;

use super::Tables;
use super::places::{Deployment, as_name};
use super::sightings::{Seen, Sighting};
use super::source::Source;
use crate::property::{Position, Settings, as_list};

/// Names and contents, and what could not be said in them.
pub(super) struct Files {
    pub all: Vec<(&'static str, Vec<u8>)>,
    pub lost: Vec<String>,
}

pub(super) fn files(
    source: &Source,
    tables: &Tables,
    deployments: &[Deployment],
    seen: &Seen,
    (position, zone): (Position, Tz),
) -> Result<Files> {
    let mut files = Files {
        all: vec![
            ("property.toml", settings(source, tables, position, zone)?),
            ("cameras.csv", cameras(deployments)?),
            ("sightings.csv", sightings(&seen.sightings)?),
        ],
        lost: Vec::new(),
    };
    if tables.disturbances.len() > 0 {
        files.all.push(("disturbances.csv", disturbances(tables)?));
    }
    if tables.individuals.len() > 0 {
        files.all.push(("deer.csv", individuals(tables)?));
    }
    if !seen.doubtful.is_empty() {
        files.all.push(("doubtful-times.csv", sightings(&seen.doubtful)?));
    }
    let resources = source.descriptor["resources"].as_array();
    let others = resources.into_iter().flatten().filter_map(|r| r["name"].as_str());
    const READ: [&str; 6] =
        ["deployments", "media", "observations", "disturbances", "individuals", "settings"];
    for name in others.filter(|n| !READ.contains(n)) {
        let why = match name {
            "silences" => "which days count as effort is judged anew",
            "clock-corrections" => "the times in the package contain them already",
            _ => "this program has no place for it",
        };
        files.lost.push(format!("The table {name} is not taken in: {why}."));
    }
    Ok(files)
}

#[derive(Serialize)]
struct Written<'a> {
    name: &'a str,
    latitude: f64,
    longitude: f64,
    time_zone: &'a str,
    #[serde(skip_serializing_if = "toml::Table::is_empty")]
    light: toml::Table,
    #[serde(skip_serializing_if = "toml::Table::is_empty")]
    deer: toml::Table,
    #[serde(skip_serializing_if = "toml::Table::is_empty")]
    visits: toml::Table,
    #[serde(skip_serializing_if = "toml::Table::is_empty")]
    season: toml::Table,
}

fn settings(source: &Source, tables: &Tables, position: Position, zone: Tz) -> Result<Vec<u8>> {
    let said = |path: &&str| {
        let text = source.descriptor.pointer(path)?.as_str()?;
        let plain = text.replace(char::is_control, " ").trim().to_owned();
        (!plain.is_empty()).then_some(plain)
    };
    let name = ["/project/title", "/title", "/name"].iter().find_map(said);
    let number = |setting: &str, key: &str| {
        let value = tables.setting(setting).and_then(|v| v.parse::<f64>().ok());
        value.map(|v| (key.to_owned(), toml::Value::Float(v)))
    };
    let starts = tables
        .setting("season_begins")
        .map(|v| ("starts".to_owned(), toml::Value::String(v.to_owned())));
    let written = Written {
        name: name.as_deref().unwrap_or("Received"),
        latitude: position.latitude_deg,
        longitude: position.longitude_deg,
        time_zone: zone.name(),
        light: [
            number("legal_before_sunrise", "legal_before_sunrise_min"),
            number("legal_after_sunset", "legal_after_sunset_min"),
        ]
        .into_iter()
        .flatten()
        .collect(),
        deer: number("mature_age", "mature_age").into_iter().collect(),
        visits: number("visit_gap", "gap_min").into_iter().collect(),
        season: starts.into_iter().collect(),
    };
    let text = toml::to_string(&written)?;
    // What it cannot mean is refused here, and not when the property is opened.
    Settings::parse(&text)?;
    Ok(text.into_bytes())
}

fn table<const N: usize>(
    headings: [&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(headings)?;
    for row in rows {
        writer.write_record(row)?;
    }
    Ok(writer.into_inner()?)
}

fn cameras(deployments: &[Deployment]) -> Result<Vec<u8>> {
    let mut sorted: Vec<&Deployment> = deployments.iter().collect();
    sorted.sort_by(|a, b| (&a.camera, a.start).cmp(&(&b.camera, b.start)));
    let degrees = |d: Option<f64>| d.map_or_else(String::new, |d| d.to_string());
    let row = |d: &&Deployment| {
        [
            d.camera.clone(),
            degrees(d.position.map(|p| p.latitude_deg)),
            degrees(d.position.map(|p| p.longitude_deg)),
            d.setting(),
            d.dates.0.to_string(),
            d.dates.1.to_string(),
        ]
    };
    table(["camera", "latitude", "longitude", "setting", "from", "until"], sorted.iter().map(row))
}

fn sightings(all: &[Sighting]) -> Result<Vec<u8>> {
    let row = |s: &Sighting| {
        [
            s.camera.clone(),
            s.at.format("%FT%T%:z").to_string(),
            s.who.word().to_owned(),
            s.count.clone(),
            s.age.clone(),
            s.name.clone(),
            s.note.clone(),
        ]
    };
    table(["camera", "time", "who", "count", "age", "name", "note"], all.iter().map(row))
}

fn disturbances(tables: &Tables) -> Result<Vec<u8>> {
    let fields = ["id", "start", "end", "by", "what", "latitude", "longitude", "near"];
    let rows = tables.disturbances.iter();
    table(
        fields,
        rows.map(|r| {
            fields.map(|f| match f {
                "near" => {
                    let names: Vec<String> = r.get(f).split('|').map(as_name).collect();
                    as_list(names.iter().map(String::as_str))
                }
                _ => r.get(f).to_owned(),
            })
        }),
    )
}

fn individuals(tables: &Tables) -> Result<Vec<u8>> {
    let rows = tables.individuals.iter();
    table(
        ["name", "born", "note"],
        rows.map(|r| ["individualID", "born", "note"].map(|f| r.get(f).to_owned())),
    )
}
