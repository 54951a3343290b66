//! Placements as deployments: every camera at one place for a span of time.

use std::collections::HashMap;

use anyhow::Result;
use chrono::{NaiveDate, NaiveTime};

use super::sheet::Sheet;
use super::{PackageOptions, moment};
use crate::clock::LocalTime;
use crate::debrief::Debrief;
use crate::exchange::coordinates::{Coordinates, degrees};
use crate::exchange::features;
use crate::exchange::schema;
use crate::property::Placement;
use crate::visits::Camera;

/// A camera at one place.
pub(super) struct Deployment {
    pub id: String,
    /// Index of the camera.
    camera: usize,
    placement: Option<Placement>,
    from: LocalTime,
    until: LocalTime,
    model: String,
}

/// All of them, and which of them was there when.
pub(super) struct Deployments {
    pub all: Vec<Deployment>,
    /// By the camera's index and the placement's place among the camera's own.
    of: HashMap<(usize, usize), usize>,
}

/// A moment at which a camera took a picture or saw something.
struct Seen {
    camera: usize,
    at: LocalTime,
    picture: Option<u32>,
}

impl Deployments {
    /// A placement begins and ends with its rows in `cameras.csv`, else with the first and last picture.
    pub fn of(debrief: &Debrief, times: &[Option<LocalTime>]) -> Result<Self> {
        let mut seen: HashMap<(usize, usize), Vec<Seen>> = HashMap::new();
        for s in all_seen(debrief, times)? {
            let camera = &debrief.season.cameras[s.camera];
            seen.entry((s.camera, place_of(camera, s.at.date()))).or_default().push(s);
        }
        let mut deployments = Self { all: Vec::new(), of: HashMap::new() };
        for (index, camera) in debrief.season.cameras.iter().enumerate() {
            for place in 0..camera.placements.len().max(1) {
                let placement = camera.placements.get(place);
                let own = seen.remove(&(index, place)).unwrap_or_default();
                let Some((from, until)) = span(debrief, placement, &own) else {
                    continue;
                };
                deployments.of.insert((index, place), deployments.all.len());
                deployments.all.push(Deployment {
                    id: String::new(),
                    camera: index,
                    placement: placement.cloned(),
                    from,
                    until,
                    model: model(debrief, &own),
                });
            }
        }
        deployments.name(debrief);
        Ok(deployments)
    }

    /// `North Fence 2025-08-30`, and a number behind it where that is not enough.
    fn name(&mut self, debrief: &Debrief) {
        let mut known: HashMap<String, usize> = HashMap::new();
        for deployment in &mut self.all {
            let camera = &debrief.season.cameras[deployment.camera].name;
            let id = format!("{camera} {}", deployment.from.date());
            let times = known.entry(id.clone()).or_insert(0);
            *times += 1;
            deployment.id = match *times {
                1 => id,
                n => format!("{id} {n}"),
            };
        }
    }

    /// The deployment of a camera on a date.
    pub fn at(&self, debrief: &Debrief, camera: usize, date: NaiveDate) -> Option<&Deployment> {
        let place = place_of(&debrief.season.cameras[camera], date);
        Some(&self.all[*self.of.get(&(camera, place))?])
    }

    pub fn sheet(&self, debrief: &Debrief, options: &PackageOptions) -> Sheet {
        let table = match options.coordinates {
            Coordinates::LeftOut => schema::deployments().without(&schema::PLACE),
            _ => schema::deployments(),
        };
        let mut sheet = Sheet::of(table);
        for deployment in &self.all {
            sheet.add(&deployment.cells(debrief, options));
        }
        sheet
    }
}

/// The place of the placement in force on a date among the camera's own; 0 where it has none.
fn place_of(camera: &Camera, date: NaiveDate) -> usize {
    let here = camera.placement_on(date);
    let is_here = |p: &Placement| here.is_some_and(|h| std::ptr::eq(h, p));
    camera.placements.iter().position(is_here).unwrap_or(0)
}

fn all_seen(debrief: &Debrief, times: &[Option<LocalTime>]) -> Result<Vec<Seen>> {
    let places: HashMap<&str, usize> =
        debrief.season.cameras.iter().enumerate().map(|(i, c)| (c.name.as_str(), i)).collect();
    let codes = debrief.season.places_of(&debrief.tagged.sightings.cameras);
    let mut seen = Vec::new();
    for ((picture, time), index) in debrief.crawl.pictures.iter().zip(times).zip(0..) {
        let named = || {
            let names = debrief.season.cameras.iter();
            names
                .enumerate()
                .find(|(_, c)| crate::property::same_name(&c.name, &picture.camera))
                .map(|(i, _)| i)
        };
        let camera = places.get(&*picture.camera).copied().or_else(named);
        if let (Some(camera), Some(at)) = (camera, *time) {
            seen.push(Seen { camera, at, picture: Some(index) });
        }
    }
    for row in debrief.tagged.sightings.rows()? {
        if let (None, Some(camera)) = (row.picture, codes[row.camera as usize]) {
            seen.push(Seen { camera, at: row.time, picture: None });
        }
    }
    Ok(seen)
}

/// From when to when; `None` where neither `cameras.csv` nor a picture tells.
fn span(
    debrief: &Debrief,
    placement: Option<&Placement>,
    seen: &[Seen],
) -> Option<(LocalTime, LocalTime)> {
    let zone = debrief.property.settings.time_zone;
    let wall =
        |date: NaiveDate, time: NaiveTime| LocalTime::of_wall_clock(date.and_time(time), zone);
    let end_of_day = NaiveTime::from_hms_opt(23, 59, 59).unwrap_or_default();
    let first = seen.iter().map(|s| s.at).min();
    let last = seen.iter().map(|s| s.at).max();
    let from = placement.and_then(|p| p.from).map(|d| wall(d, NaiveTime::MIN));
    let until = placement.and_then(|p| p.until).map(|d| wall(d, end_of_day));
    // A picture outside the placement's own days belongs to it all the same where no other is nearer.
    let from = [from, first].into_iter().flatten().min();
    let until = [until, last].into_iter().flatten().max();
    let (from, until) = (from.or(until)?, until.or(from)?);
    Some((from, until))
}

/// Maker and model, where the pictures say them.
fn model(debrief: &Debrief, seen: &[Seen]) -> String {
    let mut pictures = seen.iter().filter_map(|s| debrief.crawl.pictures.get(s.picture? as usize));
    let body =
        pictures.find_map(|p| Some(&p.body).filter(|b| b.make.is_some() || b.model.is_some()));
    let words = body.map(|b| [b.make.as_deref(), b.model.as_deref()]);
    words.map_or_else(String::new, |w| w.into_iter().flatten().collect::<Vec<_>>().join("-"))
}

impl Deployment {
    fn cells(&self, debrief: &Debrief, options: &PackageOptions) -> Vec<(&'static str, String)> {
        let camera = &debrief.season.cameras[self.camera];
        let own = self.placement.as_ref().and_then(|p| p.position);
        let place = options.coordinates.tell(own.unwrap_or(debrief.property.settings.position));
        let degrees_of = |deg: Option<f64>| deg.map_or_else(String::new, degrees);
        let setting = self.placement.as_ref().map_or("", |p| p.setting.as_str());
        let is_in_doubt = camera.clock_doubtful_between(self.from.date(), self.until.date());
        let mut cells = vec![
            ("deploymentID", self.id.clone()),
            ("locationID", location_id(camera, self.placement.as_ref())),
            ("locationName", camera.name.clone()),
            ("latitude", degrees_of(place.map(|p| p.latitude_deg))),
            ("longitude", degrees_of(place.map(|p| p.longitude_deg))),
            (
                "coordinateUncertainty",
                place.and_then(|p| p.uncertainty_m).map_or_else(String::new, |m| m.to_string()),
            ),
            ("deploymentStart", moment(self.from)),
            ("deploymentEnd", moment(self.until)),
            ("cameraModel", self.model.clone()),
            ("timestampIssues", is_in_doubt.to_string()),
            ("featureType", features::of_setting(setting).unwrap_or("").to_owned()),
            ("habitat", setting.to_owned()),
        ];
        if own.is_none() && place.is_some() {
            let words = "no place of its own is known; the coordinates are the property's";
            cells.push(("deploymentComments", words.to_owned()));
        }
        cells
    }
}

/// Two placements at one spot are one location.
fn location_id(camera: &Camera, placement: Option<&Placement>) -> String {
    let spot =
        |p: &Placement| p.position.map(|p| (p.latitude_deg.to_bits(), p.longitude_deg.to_bits()));
    let mut spots: Vec<_> = Vec::new();
    for p in &camera.placements {
        if !spots.contains(&spot(p)) {
            spots.push(spot(p));
        }
    }
    let own = placement.and_then(|p| spots.iter().position(|s| *s == spot(p))).unwrap_or(0);
    match own {
        0 => camera.name.clone(),
        n => format!("{} ({})", camera.name, n + 1),
    }
}
