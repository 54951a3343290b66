//! The land as the log's sketch draws it, so that a camera or an event is placed by a press.

use geo::{CoordsIter, Geometry};
use serde::Serialize;
use serde_json::json;

use super::Desk;
use super::server::{Answer, Reply};
use crate::property::{LandFeature, Position, Property};

#[derive(Serialize)]
struct Shape {
    name: Option<String>,
    sort: &'static str,
    /// `area`, `line` or `point`.
    kind: &'static str,
    /// Rings or lines: longitude and latitude in degrees.
    parts: Vec<Vec<[f64; 2]>>,
}

#[derive(Serialize)]
struct Spot {
    name: String,
    /// `camera`, `stand` or `event`.
    kind: &'static str,
    latitude: f64,
    longitude: f64,
}

/// `GET api/land`
pub(super) fn land(desk: &Desk) -> Answer {
    let property = desk.season().property.clone();
    let origin = property.settings.position;
    let shapes: Vec<Shape> = property.land.iter().flat_map(shapes).collect();
    Reply::json(&json!({
        "latitude": origin.latitude_deg,
        "longitude": origin.longitude_deg,
        "shapes": shapes,
        "spots": spots(&property),
    }))
}

fn shapes(feature: &LandFeature) -> Vec<Shape> {
    let mut all = Vec::new();
    collect(&feature.shape, &mut |kind, parts| {
        all.push(Shape { name: feature.name.clone(), sort: feature.sort.word(), kind, parts });
    });
    all
}

fn collect(shape: &Geometry, take: &mut impl FnMut(&'static str, Vec<Vec<[f64; 2]>>)) {
    match shape {
        Geometry::Polygon(p) => {
            let rings = std::iter::once(p.exterior()).chain(p.interiors());
            take("area", rings.map(points).collect());
        }
        Geometry::MultiPolygon(all) => {
            all.iter().for_each(|p| collect(&Geometry::Polygon(p.clone()), take));
        }
        Geometry::LineString(line) => take("line", vec![points(line)]),
        Geometry::MultiLineString(all) => take("line", all.iter().map(points).collect()),
        Geometry::GeometryCollection(all) => all.iter().for_each(|g| collect(g, take)),
        other => other.coords_iter().for_each(|c| take("point", vec![vec![[c.x, c.y]]])),
    }
}

fn points(line: &geo::LineString) -> Vec<[f64; 2]> {
    line.coords().map(|c| [c.x, c.y]).collect()
}

fn spots(property: &Property) -> Vec<Spot> {
    let spot = |name: &str, kind, at: Option<Position>| {
        at.map(|p| Spot {
            name: name.to_owned(),
            kind,
            latitude: p.latitude_deg,
            longitude: p.longitude_deg,
        })
    };
    let cameras = property.placements.iter().filter(|p| p.until.is_none());
    let cameras = cameras.filter_map(|p| spot(&p.camera, "camera", p.position));
    let stands = property.stands.iter().filter_map(|s| spot(&s.name, "stand", s.position));
    let events = property.disturbances.iter().filter_map(|d| spot(&d.id, "event", d.position));
    cameras.chain(stands).chain(events).collect()
}
