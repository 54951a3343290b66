//! A property's season: its cameras, their effort and their visits.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use anyhow::Result;
use chrono::NaiveDate;

use super::Kind;
use super::effort::{Effort, effort};
use super::visit::{Seen, Visit, visits};
use crate::card::Crawl;
use crate::clock::{Clocks, LocalTime};
use crate::property::{Placement, Position, Property, Settings};
use crate::sun::SunTable;
use crate::tags::{self, Tagged};

/// One camera's season.
#[derive(Debug, Clone)]
pub struct Camera {
    /// Its name.
    pub name: String,
    /// What it looked at, from `cameras.csv`.
    pub setting: String,
    /// Where it stood.
    pub position: Position,
    /// Whether `cameras.csv` gave that place, or it is the property's own.
    pub placed: bool,
    /// Pictures taken off it, copies left out.
    pub pictures: usize,
    /// The days it worked.
    pub effort: Effort,
    visits: [Vec<Visit>; Kind::ALL.len()],
}

impl Camera {
    /// Its visits of a kind, in order of time.
    pub fn visits(&self, kind: Kind) -> &[Visit] {
        &self.visits[kind as usize]
    }

    /// Its visits of a kind that began on dates from one to another, both included.
    pub fn visits_between(&self, kind: Kind, from: NaiveDate, until: NaiveDate) -> &[Visit] {
        let all = self.visits(kind);
        let start = all.partition_point(|v| v.date() < from);
        let end = all.partition_point(|v| v.date() <= until);
        &all[start..end.max(start)]
    }
}

/// Everything that is known about a season, ready to be counted.
#[derive(Debug, Clone)]
pub struct Season {
    /// How things are counted.
    pub settings: Settings,
    /// Cameras in the order of `cameras.csv`, then by name.
    pub cameras: Vec<Camera>,
}

struct Gathered {
    active: BTreeSet<NaiveDate>,
    pictures: usize,
    seen: [Vec<Seen>; Kind::ALL.len()],
}

impl Season {
    /// Puts pictures, tags, clocks and light together.
    ///
    /// # Errors
    /// Where the sun does not rise or set at a camera on a date with a visit.
    pub fn of(property: &Property, crawl: &Crawl, tagged: &Tagged) -> Result<Self> {
        let mut cameras = gather(property, crawl, tagged)?;
        let mut sun = SunTable::default();
        let cameras = order(property, &cameras)
            .into_iter()
            .map(|name| {
                let gathered = cameras.remove(&name).unwrap_or_else(Gathered::new);
                camera(property, name, gathered, &mut sun)
            })
            .collect::<Result<Vec<_>>>()?;
        Ok(Self {
            settings: property.settings.clone(),
            cameras,
        })
    }

    /// First and last date on which any camera worked.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        let dates = |c: &Camera| Some((*c.effort.dates.first()?, *c.effort.dates.last()?));
        let spans = self.cameras.iter().filter_map(dates);
        spans.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }
}

impl Gathered {
    fn new() -> Self {
        Self {
            active: BTreeSet::new(),
            pictures: 0,
            seen: Default::default(),
        }
    }
}

/// Every moment of every camera, from pictures and from sightings, in local time.
fn gather(
    property: &Property,
    crawl: &Crawl,
    tagged: &Tagged,
) -> Result<HashMap<String, Gathered>> {
    let clocks = Clocks::of(property);
    let mut cameras: HashMap<String, Gathered> = HashMap::new();
    for picture in &crawl.pictures {
        let camera = entry(&mut cameras, &picture.camera);
        camera.pictures += 1;
        if let Ok(stamp) = picture.time {
            let time = clocks.local(&picture.camera, stamp.time, stamp.offset);
            camera.active.insert(time.date());
        }
    }
    let mature_age = property.settings.mature_age;
    tags::rows(&tagged.sightings, |row| {
        let time: LocalTime = clocks.local(row.camera, row.time, row.offset);
        let camera = entry(&mut cameras, row.camera);
        camera.active.insert(time.date());
        for kind in Kind::ALL {
            if kind.includes(row.who, row.age, mature_age) {
                camera.seen[kind as usize].push(Seen {
                    time,
                    count: row.count,
                });
            }
        }
    })?;
    Ok(cameras)
}

fn entry<'a>(cameras: &'a mut HashMap<String, Gathered>, name: &str) -> &'a mut Gathered {
    if !cameras.contains_key(name) {
        cameras.insert(name.to_owned(), Gathered::new());
    }
    cameras.get_mut(name).expect("just inserted")
}

/// Cameras as `cameras.csv` lists them, then those it does not, by name.
fn order(property: &Property, gathered: &HashMap<String, Gathered>) -> Vec<String> {
    let mut rank: BTreeMap<&str, usize> = BTreeMap::new();
    for (i, placement) in property.placements.iter().enumerate() {
        rank.entry(&placement.camera).or_insert(i);
    }
    let mut names: BTreeSet<(usize, &str)> = rank.iter().map(|(n, i)| (*i, *n)).collect();
    for name in gathered.keys() {
        if !rank.contains_key(name.as_str()) {
            names.insert((usize::MAX, name));
        }
    }
    names.into_iter().map(|(_, n)| n.to_owned()).collect()
}

fn camera(
    property: &Property,
    name: String,
    gathered: Gathered,
    sun: &mut SunTable,
) -> Result<Camera> {
    let placements: Vec<&Placement> = property
        .placements
        .iter()
        .filter(|p| p.camera == name)
        .collect();
    let mut found: [Vec<Visit>; Kind::ALL.len()] = Default::default();
    for (kind, mut seen) in gathered.seen.into_iter().enumerate() {
        seen.sort_by_key(|s| s.time.utc());
        found[kind] = visits(&seen, &property.settings, |date| {
            sun.day(date, property.position(&name, date))
        })?;
    }
    let last = placements.last();
    let placed = last.and_then(|p| p.position);
    Ok(Camera {
        effort: effort(&gathered.active, &placements),
        pictures: gathered.pictures,
        setting: last.map(|p| p.setting.clone()).unwrap_or_default(),
        position: placed.unwrap_or(property.settings.position),
        placed: placed.is_some(),
        visits: found,
        name,
    })
}
