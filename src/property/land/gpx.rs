//! `land.gpx` (GPX 1.0 and 1.1): waypoints, routes and tracks. A track that comes back to where it began goes
//! round something.

use geo::{Geometry, LineString, Polygon};

use super::{LandFeature, LandSort, ensure_shallow};

/// # Errors
/// What is wrong, in words.
pub(super) fn features(text: &str) -> Result<Vec<LandFeature>, String> {
    ensure_shallow(text)?;
    let all = gpx::read(text.as_bytes()).map_err(|e| e.to_string())?;
    let points = all.waypoints.into_iter().map(|w| {
        let shape = Geometry::Point(w.point());
        feature(w.name, w.type_, shape)
    });
    let routes = all.routes.into_iter().map(|r| {
        let line = r.points.iter().map(gpx::Waypoint::point).collect();
        feature(r.name, r.type_, around(line))
    });
    let tracks = all.tracks.into_iter().flat_map(|t| {
        let lines = t.segments.iter().map(|s| around(s.linestring()));
        let all: Vec<LandFeature> =
            lines.map(|s| feature(t.name.clone(), t.type_.clone(), s)).collect();
        all
    });
    Ok(points.chain(routes).chain(tracks).collect())
}

fn feature(name: Option<String>, sort: Option<String>, shape: Geometry) -> LandFeature {
    let words = [sort.as_deref(), name.as_deref()];
    let sort = LandSort::of(words.into_iter().flatten());
    LandFeature { sort, name, shape }
}

fn around(line: LineString) -> Geometry {
    match line.0.len() > 3 && line.is_closed() {
        true => Geometry::Polygon(Polygon::new(line, Vec::new())),
        false => Geometry::LineString(line),
    }
}
