//! A property's season: its cameras, their effort and their visits.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use anyhow::Result;
use chrono::NaiveDate;

use super::Kind;
use super::effort::{Effort, effort};
use super::visit::{Seen, Visit, visits};
use crate::card::{Crawl, Picture, file_number};
use crate::clock::Clocks;
use crate::property::{Placement, Position, Property, Settings};
use crate::pull::{Catalogue, Pulls};
use crate::sun::SunTable;
use crate::tags::{self, Tagged, Who};

/// One camera's season.
#[derive(Debug, Clone)]
pub struct Camera {
    /// Its name.
    pub name: String,
    /// Where it hung and when, from `cameras.csv`.
    pub placements: Vec<Placement>,
    /// The property's place, for a camera that has none of its own.
    home: Position,
    /// Pictures taken off it, copies left out.
    pub pictures: usize,
    /// The days it worked.
    pub effort: Effort,
    /// Dates on which a person was tagged at it.
    pub people_on: BTreeSet<NaiveDate>,
    /// Dates, by the clock as it is read now, whose times are in doubt: first and last.
    pub clock_in_doubt: Vec<(NaiveDate, NaiveDate)>,
    pictures_on: BTreeMap<NaiveDate, PicturesOn>,
    visits: [Vec<Visit>; Kind::ALL.len()],
}

/// Pictures of one date.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PicturesOn {
    /// All.
    pub all: usize,
    /// Those without a tag.
    pub untagged: usize,
}

/// Rates are not told where more than this part of the pictures has no tag yet: what is not tagged
/// would look like deer that stayed away.
const UNTAGGED_AT_MOST: f64 = 0.1;

impl PicturesOn {
    /// Whether enough of the pictures are tagged for a rate.
    pub fn are_tagged(self) -> bool {
        self.untagged as f64 <= UNTAGGED_AT_MOST * self.all as f64
    }
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

    /// Whether a time on dates from one to another, both included, is in doubt.
    pub fn clock_doubtful_between(&self, from: NaiveDate, until: NaiveDate) -> bool {
        let mut stretches = self.clock_in_doubt.iter();
        stretches.any(|s| s.0 <= until && from <= s.1)
    }

    /// Its pictures on dates from one to another, both included.
    pub fn pictures_between(&self, from: NaiveDate, until: NaiveDate) -> PicturesOn {
        self.pictures_on.range(from..=until.max(from)).fold(
            PicturesOn::default(),
            |sum, (_, on)| PicturesOn {
                all: sum.all + on.all,
                untagged: sum.untagged + on.untagged,
            },
        )
    }

    /// The placement in force on a date, or the nearest in time.
    pub fn placement_on(&self, date: NaiveDate) -> Option<&Placement> {
        self.placements.iter().min_by_key(|p| p.days_away(date))
    }

    /// Where it hung on a date, if `cameras.csv` says.
    pub fn place_on(&self, date: NaiveDate) -> Option<Position> {
        self.placement_on(date).and_then(|p| p.position)
    }

    /// Where it hung on a date; the property's own place where `cameras.csv` does not say.
    pub fn position_on(&self, date: NaiveDate) -> Position {
        self.place_on(date).unwrap_or(self.home)
    }

    /// What it looked at, placement by placement.
    pub fn settings(&self) -> String {
        let mut words: Vec<&str> = self.placements.iter().map(|p| p.setting.as_str()).collect();
        words.retain(|w| !w.is_empty());
        words.dedup();
        words.join(", then ")
    }

    /// Whether the camera hung elsewhere, or looked at something else, on another date.
    pub fn moved_between(&self, one: NaiveDate, other: NaiveDate) -> bool {
        let what = |date| {
            self.placement_on(date)
                .map(|p| (p.position, p.setting.as_str()))
        };
        what(one) != what(other)
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

/// What was gathered for one camera, before it is counted.
#[derive(Default)]
struct Gathered {
    name: String,
    active: BTreeSet<NaiveDate>,
    people_on: BTreeSet<NaiveDate>,
    /// Dates whose first picture follows on the one before it by its number, within one roll.
    runs_on: BTreeSet<NaiveDate>,
    pictures: usize,
    pictures_on: BTreeMap<NaiveDate, PicturesOn>,
    seen: [Vec<Seen>; Kind::ALL.len()],
}

/// Cameras by their name in small letters.
type ByName = HashMap<String, Gathered>;

impl Season {
    /// Puts pictures, tags, clocks and light together.
    ///
    /// # Errors
    /// Where the sun does not rise or set at a camera on a date with a visit.
    pub fn of(property: &Property, crawl: &Crawl, tagged: &Tagged) -> Result<Self> {
        let mut gathered = gather(property, crawl, tagged)?;
        let mut sun = SunTable::default();
        let cameras = order(property, &gathered)
            .into_iter()
            .map(|name| {
                let found = gathered.remove(&name.to_lowercase()).unwrap_or_default();
                camera(property, name, found, &mut sun)
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

/// Every moment of every camera, from pictures and from sightings, in local time.
fn gather(property: &Property, crawl: &Crawl, tagged: &Tagged) -> Result<ByName> {
    let clocks = Clocks::of(property);
    let mut cameras = ByName::new();
    let with_tag = with_clips(crawl, &tagged.tagged);
    let runs_on = runs_on(property, crawl, &clocks);
    for (picture, is_tagged) in crawl.pictures.iter().zip(&with_tag) {
        let camera = entry(&mut cameras, &picture.camera);
        camera.pictures += 1;
        if let Ok(stamp) = picture.time {
            let date = clocks
                .local(&picture.camera, stamp.time, stamp.offset)
                .date();
            camera.active.insert(date);
            let on = camera.pictures_on.entry(date).or_default();
            on.all += 1;
            on.untagged += usize::from(!is_tagged);
        }
    }
    let mature_age = property.settings.mature_age;
    tags::rows(&tagged.sightings, |row| {
        let time = match (row.picture, row.offset) {
            (None, Some(offset)) => clocks.instant(row.time, offset),
            (_, offset) => clocks.local(row.camera, row.time, offset),
        };
        let camera = entry(&mut cameras, row.camera);
        camera.active.insert(time.date());
        if row.who == Who::Person {
            camera.people_on.insert(time.date());
        }
        for kind in Kind::ALL {
            if kind.includes(row.who, row.age, mature_age) {
                camera.seen[kind as usize].push(Seen {
                    time,
                    picture: row.picture,
                    count: row.count,
                });
            }
        }
    })?;
    for (name, dates) in runs_on {
        entry(&mut cameras, &name).runs_on = dates;
    }
    Ok(cameras)
}

/// For every camera the dates on which its pictures number on from those of an earlier date: the card
/// was not changed and the camera not set anew in between.
fn runs_on(
    property: &Property,
    crawl: &Crawl,
    clocks: &Clocks,
) -> Vec<(String, BTreeSet<NaiveDate>)> {
    /// Pictures deleted in the camera's menu leave a gap.
    const SKIPPED: u64 = 3;
    let mut of_camera: BTreeMap<&str, Vec<&Picture>> = BTreeMap::new();
    for picture in &crawl.pictures {
        of_camera.entry(&picture.camera).or_default().push(picture);
    }
    let pulls = Pulls::of(Catalogue::read(property));
    let dates = |pictures: &[&Picture]| {
        let mut dates = BTreeSet::new();
        for roll in pulls.rolls(pictures) {
            let dated = |p: &&Picture| {
                let stamp = p.time.as_ref().ok()?;
                let date = clocks.local(&p.camera, stamp.time, stamp.offset).date();
                Some((date, file_number(&p.file)?))
            };
            let all: Vec<(NaiveDate, u64)> = roll.pictures.iter().filter_map(dated).collect();
            let follows = |w: &&[(NaiveDate, u64)]| {
                w[1].0 > w[0].0 && (w[0].1 + 1..=w[0].1 + SKIPPED).contains(&w[1].1)
            };
            dates.extend(all.windows(2).filter(follows).map(|w| w[1].0));
        }
        dates
    };
    of_camera
        .iter()
        .map(|(name, pictures)| ((*name).to_owned(), dates(pictures)))
        .collect()
}

/// A camera that takes a still and a clip at each trigger shows the same deer twice: a clip beside a
/// tagged still needs no tag of its own.
fn with_clips(crawl: &Crawl, tagged: &[bool]) -> Vec<bool> {
    const TRIGGER_S: i64 = 120;
    let moment = |p: &Picture| {
        let stamp = p.time.as_ref().ok()?;
        Some(stamp.time.shown().and_utc().timestamp())
    };
    let mut stills: BTreeSet<(&str, i64)> = BTreeSet::new();
    for (picture, _) in crawl.pictures.iter().zip(tagged).filter(|(_, t)| **t) {
        stills.extend(moment(picture).map(|s| (picture.camera.as_str(), s)));
    }
    let beside_still = |p: &Picture| {
        moment(p).is_some_and(|s| {
            let near = (p.camera.as_str(), s - TRIGGER_S)..=(p.camera.as_str(), s + TRIGGER_S);
            stills.range(near).next().is_some()
        })
    };
    let pictures = crawl.pictures.iter().zip(tagged);
    pictures
        .map(|(p, tagged)| *tagged || (p.clip && beside_still(p)))
        .collect()
}

fn entry<'a>(cameras: &'a mut ByName, name: &str) -> &'a mut Gathered {
    cameras
        .entry(name.to_lowercase())
        .or_insert_with(|| Gathered {
            name: name.to_owned(),
            ..Gathered::default()
        })
}

/// Cameras as `cameras.csv` lists them, then those it does not, by name.
fn order(property: &Property, gathered: &ByName) -> Vec<String> {
    let mut listed = BTreeSet::new();
    let mut names: Vec<String> = Vec::new();
    for placement in &property.placements {
        if listed.insert(placement.camera.to_lowercase()) {
            names.push(placement.camera.clone());
        }
    }
    let mut others: Vec<String> = gathered
        .iter()
        .filter(|(key, _)| !listed.contains(*key))
        .map(|(_, camera)| camera.name.clone())
        .collect();
    others.sort();
    names.append(&mut others);
    names
}

fn camera(
    property: &Property,
    name: String,
    gathered: Gathered,
    sun: &mut SunTable,
) -> Result<Camera> {
    let placements: Vec<&Placement> = property.placements_of(&name).collect();
    let mut found: [Vec<Visit>; Kind::ALL.len()] = Default::default();
    for (kind, mut seen) in gathered.seen.into_iter().enumerate() {
        seen.sort_by_key(|s| (s.time.utc(), s.picture));
        found[kind] = visits(&seen, &property.settings, |date| {
            sun.day(date, property.position(&name, date))
        })?;
    }
    Ok(Camera {
        effort: effort(&gathered.active, &placements, |date| {
            // Known only where every picture of that day was looked at, and no person is in one; of
            // rows without pictures, where the person writes people down at all.
            let on = gathered.pictures_on.get(&date);
            let nobody = !gathered.people_on.contains(&date);
            nobody
                && match on {
                    Some(on) => on.untagged == 0 && gathered.runs_on.contains(&date),
                    None => !gathered.people_on.is_empty(),
                }
        }),
        placements: placements.into_iter().cloned().collect(),
        home: property.settings.position,
        pictures: gathered.pictures,
        people_on: gathered.people_on,
        clock_in_doubt: Vec::new(),
        pictures_on: gathered.pictures_on,
        visits: found,
        name,
    })
}
