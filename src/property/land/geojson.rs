//! `land.geojson` (RFC 7946): every feature with a shape.

use geo::Geometry;
use geojson::{Feature, GeoJson, JsonObject};

use super::{LandFeature, LandSort};

/// # Errors
/// What is wrong, in words.
pub(super) fn features(text: &str) -> Result<Vec<LandFeature>, String> {
    let features = match text.parse::<GeoJson>().map_err(|e| e.to_string())? {
        GeoJson::FeatureCollection(all) => all.features,
        GeoJson::Feature(one) => vec![one],
        GeoJson::Geometry(shape) => vec![Feature::from(shape)],
    };
    features.into_iter().filter_map(feature).collect()
}

fn feature(feature: Feature) -> Option<Result<LandFeature, String>> {
    let shape = Geometry::try_from(feature.geometry?);
    let properties = feature.properties.unwrap_or_default();
    let name = said(&properties, &["name", "title", "label"]);
    let sort = said(&properties, &["kind", "type", "what", "class", "category", "use"]);
    let words = [sort.as_deref(), name.as_deref()];
    let sort = LandSort::of(words.into_iter().flatten());
    Some(shape.map_err(|e| e.to_string()).map(|shape| LandFeature { sort, name, shape }))
}

/// The text of the first of some properties that is there, capitals aside.
fn said(properties: &JsonObject, keys: &[&str]) -> Option<String> {
    let find = |key: &&str| {
        let found = properties.iter().find(|(k, _)| k.eq_ignore_ascii_case(key));
        let text = found?.1.as_str()?.trim();
        (!text.is_empty()).then(|| text.to_owned())
    };
    keys.iter().find_map(find)
}
