//! Deployments as cameras and their placements.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Days, FixedOffset, NaiveDate};
use chrono_tz::Tz;

use super::faults::Faults;
use super::source::{Row, Rows};
use crate::exchange::{features, schema};
use crate::property::Position;

/// A deployment, understood.
pub(super) struct Deployment<'a> {
    pub row: Row<'a>,
    pub id: &'a str,
    pub start: DateTime<FixedOffset>,
    pub end: DateTime<FixedOffset>,
    pub position: Option<Position>,
    /// The name of the camera in the property.
    pub camera: String,
    /// First and last date in the property's zone.
    pub dates: (NaiveDate, NaiveDate),
    pub is_doubtful: bool,
}

impl Deployment<'_> {
    /// What the camera looked at.
    pub fn setting(&self) -> String {
        match (self.row.get("habitat"), self.row.get("featureType")) {
            ("", feature) => features::in_words(feature),
            (habitat, "") => habitat.to_owned(),
            (habitat, feature) if features::of_setting(habitat) == Some(feature) => {
                habitat.to_owned()
            }
            (habitat, feature) => format!("{habitat}, {}", features::in_words(feature)),
        }
    }

    /// A clock that is neither on UTC nor near the sun's own at a place is none of that place.
    pub fn check_offset(
        &self,
        row: &Row,
        field: &str,
        at: DateTime<FixedOffset>,
        faults: &mut Faults,
    ) {
        const HOURS_FROM_SUN: f64 = 4.0;
        let hours = f64::from(at.offset().local_minus_utc()) / 3600.0;
        let Some(place) = self.position.filter(|_| hours != 0.0) else {
            return;
        };
        let away = (hours - place.longitude_deg / 15.0 + 12.0).rem_euclid(24.0) - 12.0;
        if away.abs() > HOURS_FROM_SUN {
            let words = format!(
                "\"{}\" is {:.0} hours from the sun's time at {:.2} degrees east; no clock there is kept so",
                row.get(field),
                away.abs(),
                place.longitude_deg
            );
            faults.add(row.file(), row.line, field, &words);
        }
    }
}

/// Reads the deployments; spans that end before they begin are faults.
pub(super) fn read<'a>(rows: &'a Rows, faults: &mut Faults) -> Vec<Deployment<'a>> {
    let mut all = Vec::new();
    for row in rows.iter() {
        let moment = |field: &str| schema::moment(row.get(field));
        let (Some(start), Some(end)) = (moment("deploymentStart"), moment("deploymentEnd")) else {
            continue;
        };
        if end < start {
            faults.add(row.file(), row.line, "deploymentEnd", "is before deploymentStart");
        }
        let number = |field: &str| row.get(field).parse::<f64>().ok();
        all.push(Deployment {
            row,
            id: row.get("deploymentID"),
            start,
            end,
            position: number("latitude")
                .zip(number("longitude"))
                .and_then(|(a, o)| Position::new(a, o)),
            camera: String::new(),
            dates: (start.date_naive(), end.date_naive()),
            is_doubtful: schema::boolean(row.get("timestampIssues")) == Some(true),
        });
    }
    for d in &all {
        for (field, at) in [("deploymentStart", d.start), ("deploymentEnd", d.end)] {
            d.check_offset(&d.row, field, at, faults);
        }
    }
    all
}

/// Names the cameras: deployments at one location are placements of one camera, as long as they follow on each
/// other; where they lie side by side the location's own number, or the camera's, tells them apart.
pub(super) fn name_cameras(all: &mut [Deployment], zone: Tz, faults: &mut Faults) {
    let mut groups: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (i, d) in all.iter_mut().enumerate() {
        let date = |t: DateTime<FixedOffset>| t.with_timezone(&zone).date_naive();
        d.dates = (date(d.start), date(d.end));
        groups
            .entry(first_of(&d.row, &["locationName", "locationID", "deploymentID"]))
            .or_default()
            .push(i);
    }
    for (name, members) in groups {
        let names = names_of(all, &name, members, faults);
        for (i, name) in names {
            all[i].camera = name;
        }
    }
    let mut by_camera: HashMap<String, Vec<usize>> = HashMap::new();
    for (i, d) in all.iter().enumerate() {
        by_camera.entry(d.camera.clone()).or_default().push(i);
    }
    for mut members in by_camera.into_values() {
        members.sort_by_key(|i| (all[*i].start, all[*i].end));
        // A card that is changed at noon ends one span and begins the next on one date.
        for pair in members.windows(2) {
            let ended = all[pair[0]].dates.1;
            let (from, until) = all[pair[1]].dates;
            if from <= ended && until > ended {
                all[pair[1]].dates.0 = ended + Days::new(1);
            }
        }
    }
}

fn names_of(
    all: &[Deployment],
    name: &str,
    members: Vec<usize>,
    faults: &mut Faults,
) -> Vec<(usize, String)> {
    if overlap(all, &members).is_none() {
        return members.into_iter().map(|i| (i, name.to_owned())).collect();
    }
    for field in ["locationID", "cameraID"] {
        let mut parts: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for i in &members {
            parts.entry(all[*i].row.get(field)).or_default().push(*i);
        }
        if parts.len() > 1 && parts.values().all(|p| overlap(all, p).is_none()) {
            let named = |(part, members): (&str, Vec<usize>)| {
                let name = if part.is_empty() || part == name {
                    name.to_owned()
                } else {
                    format!("{name} ({part})")
                };
                members.into_iter().map(move |i| (i, name.clone())).collect::<Vec<_>>()
            };
            return parts.into_iter().flat_map(named).collect();
        }
    }
    if let Some((one, other)) = overlap(all, &members) {
        let (one, other) = (&all[one], &all[other]);
        let words = format!(
            "\"{}\" lies in the same days as \"{}\" on line {}, at the same place and with the same camera",
            other.id, one.id, one.row.line
        );
        faults.add(other.row.file(), other.row.line, "deploymentStart", &words);
    }
    members.into_iter().map(|i| (i, name.to_owned())).collect()
}

/// Two that lie side by side.
fn overlap(all: &[Deployment], members: &[usize]) -> Option<(usize, usize)> {
    let mut sorted = members.to_vec();
    sorted.sort_by_key(|i| (all[*i].start, all[*i].end));
    let mut longest: Option<usize> = None;
    for i in sorted {
        if let Some(before) = longest.filter(|b| all[i].start < all[*b].end) {
            return Some((before, i));
        }
        longest = longest.filter(|l| all[*l].end >= all[i].end).or(Some(i));
    }
    None
}

/// The first field that says something, as one line.
fn first_of(row: &Row, fields: &[&str]) -> String {
    let said = fields.iter().map(|f| row.get(f).trim()).find(|t| !t.is_empty());
    as_name(said.unwrap_or("camera"))
}

/// A name as tables take it: one line, no sign that parts lists, not endless.
pub(super) fn as_name(text: &str) -> String {
    const LONGEST: usize = 80;
    let plain = text.replace(|c: char| c.is_control() || c == ';', " ");
    let plain: String = plain.trim().chars().take(LONGEST).collect();
    plain.trim().to_owned()
}
