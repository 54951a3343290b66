//! `land.kml` (OGC KML 2.2 and 2.3): every placemark with a shape, in folders or not.

use geo::Geometry;
use kml::types::Placemark;
use kml::{Kml, KmlReader};

use super::{LandFeature, LandSort, ensure_shallow};

/// # Errors
/// What is wrong, in words.
pub(super) fn features(text: &str) -> Result<Vec<LandFeature>, String> {
    ensure_shallow(text)?;
    let all = KmlReader::<_, f64>::from_string(text).read();
    let mut found = Vec::new();
    take_in(all.map_err(|e| e.to_string())?, None, &mut found);
    Ok(found)
}

fn take_in(element: Kml, folder: Option<&str>, found: &mut Vec<LandFeature>) {
    match element {
        Kml::KmlDocument(all) => all.elements.into_iter().for_each(|e| take_in(e, folder, found)),
        Kml::Document { elements, .. } => {
            elements.into_iter().for_each(|e| take_in(e, folder, found))
        }
        Kml::Folder(inner) => {
            let name = inner.name.as_deref().or(folder);
            inner.elements.into_iter().for_each(|e| take_in(e, name, found));
        }
        Kml::Placemark(place) => found.extend(feature(place, folder)),
        _ => {}
    }
}

fn feature(place: Placemark, folder: Option<&str>) -> Option<LandFeature> {
    let shape = Geometry::try_from(place.geometry?).ok()?;
    let named = |n: String| Some(n.trim().to_owned()).filter(|n| !n.is_empty());
    let name = place.name.and_then(named);
    let words = [folder, name.as_deref()];
    let sort = LandSort::of(words.into_iter().flatten());
    Some(LandFeature { sort, name, shape })
}
