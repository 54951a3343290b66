//! Whose card is it? The camera is known by what it writes into its pictures.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use walkdir::WalkDir;

use crate::card::{self, INCOMING, Picture};
use crate::property::{Position, Property, same_name};

/// Headers read per folder: enough to know a camera by, and flat in memory for any card.
const LOOKED_AT: usize = 60;
/// Two positions of one camera are no further apart; a receiver under trees errs by tens of metres.
const SAME_PLACE_M: f64 = 100.0;

/// What a folder of pictures says of the camera that took them.
#[derive(Debug, Default, Clone)]
struct Traits {
    models: BTreeMap<String, usize>,
    serials: BTreeMap<String, usize>,
    labels: BTreeMap<String, usize>,
    places: Vec<Position>,
    /// File name and size, to know a card that was not cleared.
    files: Vec<(PathBuf, u64)>,
}

/// A camera that a card may come from, with the reasons.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The camera.
    pub camera: String,
    /// What speaks for it, in words.
    pub why: Vec<String>,
    /// What speaks against it, in words.
    pub against: Vec<String>,
    weight: i32,
}

/// What a card says of its camera.
#[derive(Debug, Clone, PartialEq)]
pub enum Recognised {
    /// One camera, and nothing speaks against it.
    One(Candidate),
    /// Nothing on it is known, or it fits several; the cameras it may be, likeliest first.
    Unclear(Vec<Candidate>),
    /// Its pictures come from several cameras: what tells them apart.
    Mixed(String),
}

impl fmt::Display for Candidate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.camera)?;
        if !self.why.is_empty() {
            write!(f, " ({})", self.why.join(", "))?;
        }
        Ok(())
    }
}

/// Weighs every camera of the property against the card.
pub fn recognise(property: &Property, card: &Path, today: NaiveDate) -> Recognised {
    let on_card = traits(property, card, Path::new(""), today);
    if let Some(serials) = several(&on_card.serials) {
        return Recognised::Mixed(format!(
            "pictures from several cameras, serial numbers {serials}"
        ));
    }
    let mut known: Vec<(String, Traits)> = camera_folders(property)
        .into_iter()
        .map(|(camera, folder)| {
            let below = Path::new("cards").join(folder);
            let there = traits(property, &property.root, &below, today);
            (camera, there)
        })
        .collect();
    for placement in &property.placements {
        if !known.iter().any(|(c, _)| same_name(c, &placement.camera)) {
            known.push((placement.camera.clone(), Traits::default()));
        }
    }
    let mut candidates: Vec<Candidate> = known
        .iter()
        .map(|(camera, there)| weigh(property, card, camera, &on_card, there, &known))
        .collect();
    candidates.sort_by_key(|c| (-c.weight, c.camera.clone()));
    const SURE: i32 = 3;
    match &candidates[..] {
        [best, rest @ ..]
            if best.weight >= SURE
                && best.against.is_empty()
                && rest
                    .first()
                    .is_none_or(|second| second.weight < best.weight) =>
        {
            Recognised::One(best.clone())
        }
        _ => Recognised::Unclear(candidates),
    }
}

fn weigh(
    property: &Property,
    card: &Path,
    camera: &str,
    on_card: &Traits,
    there: &Traits,
    known: &[(String, Traits)],
) -> Candidate {
    let mut c = Candidate {
        camera: camera.to_owned(),
        why: Vec::new(),
        against: Vec::new(),
        weight: 0,
    };
    let label_alone = |label: &String| {
        known
            .iter()
            .filter(|(_, t)| t.labels.contains_key(label))
            .count()
            <= 1
    };
    match common(&on_card.serials, &there.serials) {
        Some(Ok(serial)) => c.speaks_for(6, format!("serial number {serial}")),
        Some(Err((card, there))) => {
            c.speaks_against(format!(
                "the card's serial number is {card}, {camera}'s is {there}"
            ));
        }
        None => {}
    }
    match common(&on_card.labels, &there.labels) {
        Some(Ok(label)) if label_alone(&label) => {
            c.speaks_for(3, format!("the camera calls itself \"{label}\""));
        }
        Some(Err(_)) if there.labels.keys().any(|l| same_name(l, camera)) => {
            c.speaks_against(format!(
                "the card's camera does not call itself \"{camera}\""
            ));
        }
        _ => {}
    }
    if on_card.labels.keys().any(|l| same_name(l, camera)) && there.labels.is_empty() {
        c.speaks_for(3, format!("the camera calls itself \"{camera}\""));
    }
    if let Some(Err((card, there))) = common(&on_card.models, &there.models) {
        c.speaks_against(format!(
            "the card's camera is a {card}, {camera} is a {there}"
        ));
    }
    let same = on_card
        .files
        .iter()
        .filter(|f| there.files.contains(f))
        .count();
    if same >= 3 && same * 2 > on_card.files.len() {
        c.speaks_for(3, "most of its files are there already".to_owned());
    }
    if let Some(away_m) = apart_m(property, camera, on_card, there) {
        if away_m <= SAME_PLACE_M {
            c.speaks_for(
                2,
                format!("its pictures were taken {away_m:.0} m from {camera}"),
            );
        } else {
            c.weight -= 1;
        }
    }
    let folder = card.file_name().map(|n| n.to_string_lossy().into_owned());
    if folder.is_some_and(|f| same_name(&f, camera)) {
        c.speaks_for(3, "the card's folder has its name".to_owned());
    }
    c
}

impl Candidate {
    fn speaks_for(&mut self, weight: i32, why: String) {
        self.weight += weight;
        self.why.push(why);
    }

    fn speaks_against(&mut self, why: String) {
        self.weight -= 4;
        self.against.push(why);
    }
}

/// The value that both have; or, where both have one and none is shared, one of each.
fn common(
    a: &BTreeMap<String, usize>,
    b: &BTreeMap<String, usize>,
) -> Option<Result<String, (String, String)>> {
    if let Some(shared) = a.keys().find(|k| b.contains_key(*k)) {
        return Some(Ok(shared.clone()));
    }
    let most =
        |m: &BTreeMap<String, usize>| m.iter().max_by_key(|(_, n)| **n).map(|(k, _)| k.clone());
    Some(Err((most(a)?, most(b)?)))
}

/// More than one serial number, none of them a stray.
fn several(serials: &BTreeMap<String, usize>) -> Option<String> {
    let seen: usize = serials.values().sum();
    let real: Vec<&str> = serials
        .iter()
        .filter(|(_, n)| **n * 10 > seen)
        .map(|(s, _)| s.as_str())
        .collect();
    (real.len() > 1).then(|| real.join(" and "))
}

fn apart_m(property: &Property, camera: &str, on_card: &Traits, there: &Traits) -> Option<f64> {
    let placed = property.placements_of(camera).filter_map(|p| p.position);
    let places: Vec<Position> = there.places.iter().copied().chain(placed).collect();
    let distances = on_card
        .places
        .iter()
        .flat_map(|p| places.iter().map(move |q| p.distance_m(*q)));
    distances.min_by(f64::total_cmp)
}

/// Reads the headers of some pictures of a folder, spread over it.
fn traits(property: &Property, root: &Path, below: &Path, today: NaiveDate) -> Traits {
    let mut files: Vec<(PathBuf, u64)> = WalkDir::new(root.join(below))
        .sort_by_file_name()
        .into_iter()
        .filter_entry(|e| e.file_name() != INCOMING)
        .filter_map(Result::ok)
        .filter(|e| e.file_type().is_file())
        .filter_map(|e| {
            Some((
                e.path().strip_prefix(root).ok()?.to_path_buf(),
                e.metadata().ok()?.len(),
            ))
        })
        .collect();
    let mut traits = Traits::default();
    let step = files.len().div_ceil(LOOKED_AT).max(1);
    for (path, _) in files.iter().step_by(step) {
        if let Ok(Some(picture)) = card::look_at(property, root, path, today) {
            traits.count(&picture);
        }
    }
    for (path, _) in &mut files {
        // Compared by name: folders are made anew on the way.
        *path = path.file_name().map(PathBuf::from).unwrap_or_default();
    }
    traits.files = files.into_iter().step_by(step).collect();
    traits
}

impl Traits {
    fn count(&mut self, picture: &Picture) {
        let model = match (&picture.make, &picture.model) {
            (None, None) => None,
            (make, model) => {
                let part = |p: &Option<String>| p.clone().unwrap_or_default();
                Some(format!("{} {}", part(make), part(model)).trim().to_owned())
            }
        };
        let mut add = |value: Option<String>, to: fn(&mut Self) -> &mut BTreeMap<String, usize>| {
            if let Some(value) = value {
                *to(self).entry(value).or_default() += 1;
            }
        };
        add(model, |t| &mut t.models);
        add(picture.serial.clone(), |t| &mut t.serials);
        add(picture.label.clone(), |t| &mut t.labels);
        self.places.extend(picture.position);
    }
}

/// The cameras that have a folder below `cards/`, with the folder's name.
pub(super) fn camera_folders(property: &Property) -> Vec<(String, String)> {
    let mut folders: Vec<(String, String)> = property
        .cards()
        .read_dir()
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let name = entry.file_name().to_str()?.to_owned();
            let is_camera =
                entry.path().is_dir() && name != INCOMING && !name.eq_ignore_ascii_case("DCIM");
            is_camera.then(|| (property.camera_of_folder(&name).to_owned(), name))
        })
        .collect();
    folders.sort();
    folders
}
