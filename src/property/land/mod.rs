//! The land itself, from a file that mapping programs write: its boundary, fields, plots, stands and water.
//!
//! Nothing is computed from it. It is drawn under the cameras, so that a reader knows where they hang.

mod geojson;
mod gpx;
mod kml;

use std::io::Read;
use std::path::Path;

use anyhow::Result;
use geo::{BoundingRect, CoordsIter, Geometry};

use super::{Cause, Position, Problem, read_optional};

/// One thing on the land.
#[derive(Debug, Clone, PartialEq)]
pub struct LandFeature {
    /// Its name, as the file has it.
    pub name: Option<String>,
    /// What it is.
    pub sort: LandSort,
    /// Where it lies, in degrees of WGS 84: x is the longitude, east positive, y the latitude, north positive.
    pub shape: Geometry<f64>,
}

/// What a feature of the land is, so far as its own words tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LandSort {
    /// The edge of the property.
    Boundary,
    /// A field, pasture or other open ground.
    Field,
    /// Timber, brush or bedding cover.
    Cover,
    /// A food plot.
    Plot,
    /// Water.
    Water,
    /// A road, lane, trail or fence.
    Way,
    /// A stand or blind.
    Stand,
    /// Anything else.
    Other,
}

impl LandSort {
    /// The word in legends.
    pub fn word(self) -> &'static str {
        match self {
            Self::Boundary => "boundary",
            Self::Field => "field",
            Self::Cover => "cover",
            Self::Plot => "food plot",
            Self::Water => "water",
            Self::Way => "way or fence",
            Self::Stand => "stand",
            Self::Other => "other",
        }
    }

    /// By the first of some words that says what a thing is: what its file calls it, then its folder, then its
    /// name.
    fn of<'a>(words: impl IntoIterator<Item = &'a str>) -> Self {
        const SAID: [(LandSort, &[&str]); 7] = [
            (LandSort::Boundary, &["boundary", "boundaries", "parcel", "property", "border"]),
            (LandSort::Plot, &["plot", "plots", "clover", "brassica", "brassicas"]),
            (LandSort::Stand, &["stand", "stands", "blind", "blinds", "treestand"]),
            (
                LandSort::Water,
                &["water", "pond", "creek", "stream", "river", "lake", "ditch", "spring"],
            ),
            (LandSort::Way, &["road", "lane", "track", "trail", "path", "fence", "gate", "way"]),
            (
                LandSort::Field,
                &[
                    "field", "fields", "corn", "beans", "soybeans", "wheat", "hay", "pasture",
                    "crop", "meadow",
                ],
            ),
            (
                LandSort::Cover,
                &[
                    "woods", "timber", "forest", "bedding", "thicket", "brush", "cover", "swamp",
                    "grove",
                ],
            ),
        ];
        let sort = |text: &str| {
            let text = text.to_lowercase();
            let mut own = text.split(|c: char| !c.is_alphanumeric());
            let has = |words: &[&str]| own.clone().any(|w| words.contains(&w));
            let found = SAID.iter().find(|(_, words)| has(words)).map(|(s, _)| *s);
            own.next().and(found)
        };
        words.into_iter().find_map(sort).unwrap_or(Self::Other)
    }
}

/// A larger file than this is no land of tens of acres.
const LARGEST_BYTES: usize = 20_000_000;
/// What lies further from the property's place than this lies there by mistake.
const FURTHEST_M: f64 = 50_000.0;

/// Reads `land.geojson`, `land.kml` and `land.gpx`, as far as they are there. What cannot be used is told, and the
/// rest is drawn.
///
/// # Errors
/// When a file is there and the disk does not give it.
pub(super) fn read(
    root: &Path,
    position: Position,
    problems: &mut Vec<Problem>,
) -> Result<Vec<LandFeature>> {
    type Reader = fn(&str) -> Result<Vec<LandFeature>, String>;
    const FILES: [(&str, Reader); 3] = [
        ("land.geojson", geojson::features),
        ("land.kml", kml::features),
        ("land.gpx", gpx::features),
    ];
    let mut land = Vec::new();
    for (file, features) in FILES {
        let Some(bytes) = read_optional(root, file)? else {
            continue;
        };
        let found = match text(&bytes).and_then(features) {
            Ok(found) => found,
            Err(why) => {
                problems.push(Problem::file(file, Cause::NotALand { why }));
                continue;
            }
        };
        if found.is_empty() {
            problems.push(Problem::file(file, Cause::EmptyLand));
        }
        for feature in found {
            match misplaced(&feature, position) {
                Some(cause) => problems.push(Problem::file(file, cause)),
                None => land.push(feature),
            }
        }
    }
    land.sort_by_key(|f| f.sort);
    Ok(land)
}

/// The middle of what a file of the land holds, whatever its name.
///
/// # Errors
/// In words.
pub fn place_of_land(path: &Path) -> Result<Position, String> {
    let ending = path.extension().and_then(|e| e.to_str()).map(str::to_lowercase);
    let features = match ending.as_deref() {
        Some("geojson" | "json") => geojson::features,
        Some("kml") => kml::features,
        Some("gpx") => gpx::features,
        _ => return Err("it must end in .geojson, .kml or .gpx".to_owned()),
    };
    let facts = std::fs::metadata(path).map_err(|e| e.to_string())?;
    if !facts.is_file() {
        return Err("it is no file".to_owned());
    }
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    let most = LARGEST_BYTES as u64 + 1;
    file.take(most).read_to_end(&mut bytes).map_err(|e| e.to_string())?;
    let features = features(text(&bytes)?)?;
    let shapes = features.into_iter().map(|f| f.shape).collect();
    let bounds = geo::GeometryCollection::new_from(shapes).bounding_rect();
    let middle = bounds.ok_or("nothing is drawn in it")?.center();
    Position::new(middle.y, middle.x).ok_or_else(|| "it does not lie on the globe".to_owned())
}

fn text(bytes: &[u8]) -> Result<&str, String> {
    if bytes.len() > LARGEST_BYTES {
        let megabytes = LARGEST_BYTES / 1_000_000;
        return Err(format!("it is larger than {megabytes} MB"));
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return Err("it is packed, as KMZ files are; unpack it and use the .kml in it".to_owned());
    }
    let plain = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(plain).map_err(|_| "it is not written in UTF-8".to_owned())
}

/// Refuses XML that nests deeper than any map does: its readers take ever longer over it, or all the room there
/// is.
///
/// # Errors
/// In words.
fn ensure_shallow(text: &str) -> Result<(), String> {
    const DEEPEST: usize = 100;
    const SKIPPED: [(&str, &str); 2] = [("<!--", "-->"), ("<![CDATA[", "]]>")];
    let mut depth = 0_usize;
    let mut rest = text;
    while let Some(at) = rest.find('<') {
        rest = &rest[at..];
        let skipped = SKIPPED.iter().find(|(begin, _)| rest.starts_with(begin));
        let end = skipped.map_or(">", |(_, end)| *end);
        let length = rest.find(end).map_or(rest.len(), |n| n + end.len());
        let tag = &rest[..length];
        let is_single = skipped.is_some() || tag.starts_with("<?") || tag.starts_with("<!");
        if tag.starts_with("</") {
            depth = depth.saturating_sub(1);
        } else if !is_single && !tag.ends_with("/>") {
            depth += 1;
        }
        if depth > DEEPEST {
            return Err(format!("its parts lie more than {DEEPEST} deep in each other"));
        }
        rest = &rest[length..];
    }
    Ok(())
}

/// Why a feature cannot lie where its file says.
fn misplaced(feature: &LandFeature, position: Position) -> Option<Cause> {
    let name = feature.name.clone().unwrap_or_else(|| feature.sort.word().to_owned());
    let places = || feature.shape.coords_iter().map(|c| Position::new(c.y, c.x));
    let swapped = || feature.shape.coords_iter().map(|c| Position::new(c.x, c.y));
    let is_near = |p: Option<Position>| p.is_some_and(|p| p.distance_m(position) < FURTHEST_M);
    if swapped().next().is_some() && swapped().all(is_near) && !places().any(is_near) {
        return Some(Cause::LandSwapped { name });
    }
    let is_whole = feature.shape.bounding_rect().is_some() && places().all(|p| p.is_some());
    if !is_whole {
        return Some(Cause::LandOffTheGlobe { name });
    }
    let metres = places().flatten().map(|p| p.distance_m(position));
    let nearest = metres.fold(f64::INFINITY, f64::min);
    (nearest > FURTHEST_M)
        .then(|| Cause::LandFarAway { name, kilometres: (nearest / 1000.0).round() as u32 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_say_what_a_thing_is() {
        let cases = [
            (vec!["food plot", "West Field"], LandSort::Plot),
            (vec!["", "North field"], LandSort::Field),
            (vec!["Creek crossing"], LandSort::Water),
            (vec!["Oak stand"], LandSort::Stand),
            (vec!["Standing corn"], LandSort::Field),
            (vec!["Outlined"], LandSort::Other),
            (vec![], LandSort::Other),
        ];
        for (words, sort) in cases {
            assert_eq!(LandSort::of(words.clone()), sort, "{words:?}");
        }
    }
}
