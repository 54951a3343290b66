//! Whose card is it? The camera is known by what it writes into its pictures.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use walkdir::WalkDir;

use crate::card::{self, INCOMING, Picture, file_number};
use crate::property::{Position, Property, same_name};

/// Headers read per folder: enough to know a camera by, and flat in memory for any card.
const LOOKED_AT: usize = 60;
/// Two positions of one camera are no further apart; a receiver under trees errs by tens of metres.
const SAME_PLACE_M: f64 = 100.0;
/// A camera that numbers on may have skipped what its owner deleted in its menu.
const NUMBERS_SKIPPED: u64 = 50;

/// What a folder of pictures says of the camera that took them.
#[derive(Debug, Default, Clone)]
struct Traits {
    models: BTreeMap<String, usize>,
    serials: BTreeMap<String, usize>,
    labels: BTreeMap<String, usize>,
    places: Vec<Position>,
    /// Every file by its name in small letters and its size, to know a card that was not cleared.
    files: BTreeMap<(String, u64), PathBuf>,
    /// The number in the first file's name and in the last one's.
    numbers: Option<(u64, u64)>,
    /// The first and the last moment by the camera's clock, of the pictures looked at.
    span: Option<(NaiveDateTime, NaiveDateTime)>,
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
    let mut known: Vec<(String, Traits)> = card::camera_folders(property)
        .into_iter()
        .map(|(camera, folder)| {
            let there = traits(property, &property.root, &folder, today);
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
                && rest.first().is_none_or(|second| second.weight < best.weight) =>
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
    let mut c =
        Candidate { camera: camera.to_owned(), why: Vec::new(), against: Vec::new(), weight: 0 };
    match common(&on_card.serials, &there.serials) {
        Some(Ok(serial)) => c.speaks_for(6, format!("serial number {serial}")),
        Some(Err((card, there))) => {
            c.speaks_against(format!("the card's serial number is {card}, {camera}'s is {there}"));
        }
        None => {}
    }
    by_label(&mut c, on_card, there, known);
    if let Some(Err((card, there))) = common(&on_card.models, &there.models) {
        c.speaks_against(format!("the card's camera is a {card}, {camera} is a {there}"));
    }
    by_files(&mut c, on_card, there);
    if let Some(away_m) = apart_m(property, camera, on_card, there) {
        if away_m <= SAME_PLACE_M {
            c.speaks_for(2, format!("its pictures were taken {away_m:.0} m from {camera}"));
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

/// What makers put where an owner's name for a camera could stand, and what many cameras share,
/// identifies none of them (common trade practice).
const CONSTANTS: [&str; 14] = [
    "digital camera",
    "digital still camera",
    "digital video camera",
    "trail camera",
    "trail cam",
    "trailcam",
    "game camera",
    "hunting camera",
    "scouting camera",
    "wildlife camera",
    "camera",
    "default",
    "dsc",
    "dcim",
];

/// A label names a camera when it is the camera's own name, or when the cameras of the property carry
/// different ones. A maker's constant names none.
fn by_label(c: &mut Candidate, on_card: &Traits, there: &Traits, known: &[(String, Traits)]) {
    let is_constant = |label: &str| {
        let label = label.to_lowercase();
        let is_model = |m: &String| {
            let model = m.to_lowercase();
            model.contains(&label) || label.contains(&model)
        };
        CONSTANTS.iter().any(|k| label == *k || label.ends_with(&format!(" {k}")))
            || on_card.models.keys().any(is_model)
    };
    let owners =
        |label: &String| known.iter().filter(|(_, t)| t.labels.contains_key(label)).count();
    let others_differ =
        known.iter().any(|(camera, t)| !same_name(camera, &c.camera) && !t.labels.is_empty());
    let shared = on_card.labels.keys().find(|l| there.labels.contains_key(*l));
    let own_name = on_card.labels.keys().find(|l| same_name(l, &c.camera));
    if let Some(label) = own_name {
        c.speaks_for(3, format!("the camera calls itself \"{label}\""));
    } else if let Some(label) = shared.filter(|l| !is_constant(l) && owners(l) <= 1) {
        let weight = if others_differ { 3 } else { 1 };
        c.speaks_for(weight, format!("the camera calls itself \"{label}\""));
    } else if shared.is_none()
        && !on_card.labels.is_empty()
        && there.labels.keys().any(|l| same_name(l, &c.camera))
    {
        let camera = c.camera.clone();
        c.speaks_against(format!("the card's camera does not call itself \"{camera}\""));
    }
}

/// Files that are there already, numbers that go on from there, and other pictures of the same hours.
fn by_files(c: &mut Candidate, on_card: &Traits, there: &Traits) {
    let on_both = on_card.files.iter();
    let on_both = on_both.filter_map(|(key, card)| Some((card, there.files.get(key)?)));
    let on_both: Vec<(&PathBuf, &PathBuf)> = on_both.collect();
    let same = match are_mostly_alike(&on_both) {
        true => on_both.len(),
        false => 0,
    };
    if same >= 3 && same * 2 > on_card.files.len() {
        c.speaks_for(3, "most of its files are there already".to_owned());
        return;
    }
    if let (Some((first, _)), Some((_, last))) = (on_card.numbers, there.numbers)
        && first > 1
        && (last + 1..=last + NUMBERS_SKIPPED).contains(&first)
    {
        c.speaks_for(2, format!("its pictures number on from {last}"));
    }
    if let (Some(card), Some(camera)) = (on_card.span, there.span) {
        let shared = card.1.min(camera.1) - card.0.max(camera.0);
        let long = (card.1 - card.0) / 2;
        if same == 0 && shared > TimeDelta::days(1) && shared > long {
            let name = c.camera.clone();
            c.speaks_against(format!(
                "other pictures from the same days, {} to {}, are {name}'s already",
                card.0.max(camera.0).date(),
                card.1.min(camera.1).date()
            ));
        }
    }
}

/// Whether most of some files begin and end like their namesakes: cameras whose clips are of one size, and begin at
/// number one, have names and sizes in common.
fn are_mostly_alike(pairs: &[(&PathBuf, &PathBuf)]) -> bool {
    const COMPARED: usize = 20;
    let some = pairs.iter().step_by(pairs.len().div_ceil(COMPARED).max(1));
    let is_alike = |(one, other): &(&PathBuf, &PathBuf)| {
        let ends = card::ends_of(one);
        ends.is_some() && ends == card::ends_of(other)
    };
    let alike = some.clone().filter(|pair| is_alike(pair)).count();
    alike * 2 > some.count()
}

/// The camera of the property that a name seems to mean: one letter more, less, other or swapped.
pub fn nearly_named(property: &Property, name: &str) -> Option<String> {
    let mut cameras: Vec<String> =
        card::camera_folders(property).into_iter().map(|(c, _)| c).collect();
    cameras.extend(property.placements.iter().map(|p| p.camera.clone()));
    if cameras.iter().any(|c| same_name(c, name)) {
        return None;
    }
    let near = |c: &String| strsim::damerau_levenshtein(&c.to_lowercase(), &name.to_lowercase());
    // Camera 1 and Camera 2 are two cameras.
    let digits = |s: &str| s.chars().filter(char::is_ascii_digit).collect::<String>();
    let is_near = |c: &&String| {
        let allowed = if c.chars().count() > 8 { 2 } else { 1 };
        near(c) <= allowed && digits(c) == digits(name)
    };
    cameras.iter().filter(is_near).min_by_key(|c| near(c)).cloned()
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
    let real: Vec<&str> =
        serials.iter().filter(|(_, n)| **n * 10 > seen).map(|(s, _)| s.as_str()).collect();
    (real.len() > 1).then(|| real.join(" and "))
}

fn apart_m(property: &Property, camera: &str, on_card: &Traits, there: &Traits) -> Option<f64> {
    let placed = property.placements_of(camera).filter_map(|p| p.position);
    let places: Vec<Position> = there.places.iter().copied().chain(placed).collect();
    let distances =
        on_card.places.iter().flat_map(|p| places.iter().map(move |q| p.distance_m(*q)));
    distances.min_by(f64::total_cmp)
}

/// Reads the headers of some pictures of a folder, spread over it.
fn traits(property: &Property, root: &Path, below: &Path, today: NaiveDate) -> Traits {
    let files: Vec<(PathBuf, u64)> = WalkDir::new(root.join(below))
        .follow_links(true)
        .sort_by_file_name()
        .into_iter()
        .filter_entry(|e| e.file_name() != INCOMING)
        .filter_map(Result::ok)
        .filter(|e| e.file_type().is_file())
        .filter_map(|e| {
            Some((e.path().strip_prefix(root).ok()?.to_path_buf(), e.metadata().ok()?.len()))
        })
        .collect();
    let mut traits = Traits::default();
    let step = files.len().div_ceil(LOOKED_AT).max(1);
    let last = files.last().filter(|_| step > 1);
    for (path, _) in files.iter().step_by(step).chain(last) {
        if let Ok(Some(picture)) = card::look_at(property, root, path, today) {
            traits.count(&picture);
        }
    }
    let number = |f: Option<&(PathBuf, u64)>| file_number(&f?.0);
    let mut pictures = files.iter().filter(|(p, _)| card::is_named_like_a_picture(p));
    let first = pictures.next();
    traits.numbers = number(first).zip(number(pictures.next_back().or(first)));
    traits.files = files
        .iter()
        // Compared by name: folders are made anew on the way.
        .filter_map(|(path, bytes)| {
            let name = path.file_name()?.to_string_lossy().to_lowercase();
            Some(((name, *bytes), root.join(path)))
        })
        .collect();
    traits
}

impl Traits {
    fn count(&mut self, picture: &Picture) {
        let model = match (&picture.body.make, &picture.body.model) {
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
        add(picture.body.serial.clone(), |t| &mut t.serials);
        add(picture.body.label.clone(), |t| &mut t.labels);
        self.places.extend(picture.position());
        if let Ok(stamp) = &picture.time {
            let t = stamp.time.shown();
            let (first, last) = self.span.unwrap_or((t, t));
            self.span = Some((first.min(t), last.max(t)));
        }
    }
}
