//! What is known of each camera before anything is counted: its dates, its pictures, and which rows tell of it.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use anyhow::Result;
use chrono::{NaiveDate, Timelike};
use rayon::prelude::*;

use super::visit::Moment;
use super::{Kind, PicturesOn};
use crate::card::{Crawl, Picture, file_number};
use crate::clock::{LocalTime, Timeline};
use crate::property::Property;
use crate::pull::{Catalogue, Pulls};
use crate::tags::{NumberedRows, Sighting, Tagged, Who};

/// One camera's dates and pictures, and the numbers of its rows in the table of sightings.
#[derive(Default)]
pub(super) struct Gathered {
    /// Dates with a picture or a row.
    pub active: BTreeSet<NaiveDate>,
    pub people_on: BTreeSet<NaiveDate>,
    /// In how many hours of a date other animals were seen.
    pub other_animals_on: BTreeMap<NaiveDate, usize>,
    deer_on: BTreeSet<NaiveDate>,
    /// Dates whose first picture follows on the one before it by its number, within one roll.
    pub runs_on: BTreeSet<NaiveDate>,
    pub card_taken_on: BTreeSet<NaiveDate>,
    pub pictures: usize,
    pub pictures_on: BTreeMap<NaiveDate, PicturesOn>,
    /// When the pictures without a tag were taken in which there may be something.
    pub untagged_at: Vec<LocalTime>,
    rows: Vec<u32>,
}

/// Everybody that was seen at one camera, kind by kind, in order of time.
pub(super) type Seen = [Vec<Moment>; Kind::ALL.len()];

impl Gathered {
    fn take_in(&mut self, numbers: Vec<u32>, rows: &NumberedRows) {
        let own = numbers.iter().filter_map(|n| rows.get(*n as usize));
        let mut own: Vec<(LocalTime, Who)> = own.map(|r| (r.time, r.who)).collect();
        own.sort_unstable_by_key(|(time, _)| time.day());
        for day in own.chunk_by(|a, b| a.0.day() == b.0.day()) {
            let date = day[0].0.date();
            let any = |is: fn(Who) -> bool| day.iter().any(|(_, who)| is(*who)).then_some(date);
            self.active.insert(date);
            let others = day.iter().filter(|(_, who)| *who == Who::Other);
            let hours: BTreeSet<u32> = others.map(|(time, _)| time.shown().hour()).collect();
            if !hours.is_empty() {
                self.other_animals_on.insert(date, hours.len());
            }
            self.people_on.extend(any(|who| who == Who::Person));
            self.deer_on.extend(any(Who::is_deer));
        }
        self.untagged_at.sort_by_key(|t| t.utc());
        self.rows = numbers;
    }

    /// Every date of its sightings of deer, and of pictures that may hold some.
    pub fn dates(&self) -> impl Iterator<Item = NaiveDate> + '_ {
        let mut last = None;
        let may = self.untagged_at.iter();
        let may = may.filter(move |t| last.replace(t.day()) != Some(t.day()));
        let deer_on = self.deer_on.iter().copied();
        deer_on.chain(may.map(|t| t.date()))
    }

    /// Who was seen there; `names` are those of the known individuals, in order.
    pub fn seen(&self, rows: &NumberedRows, mature_age: f64, names: &[String]) -> Seen {
        let own = self.rows.iter().filter_map(|n| rows.get(*n as usize));
        let mut own: Vec<Sighting> = own.filter(|r| r.who.is_deer()).collect();
        own.sort_by_key(|r| (r.time, r.picture));
        let code = |name: &str| names.binary_search_by(|n| n.as_str().cmp(name)).ok();
        let mut seen = Seen::default();
        for row in own {
            // The last code means several names.
            let place = row.name.and_then(code).and_then(|n| u16::try_from(n + 1).ok());
            let named = place.filter(|n| *n < u16::MAX).unwrap_or(0);
            for kind in Kind::ALL {
                if kind.includes(row.who, row.age, mature_age) {
                    seen[kind as usize].push(Moment {
                        time: row.time,
                        picture: row.picture,
                        count: row.count,
                        aged: row.age.is_some(),
                        named,
                    });
                }
            }
        }
        seen
    }
}

/// What is known of every camera, by its code.
pub(super) fn gather(
    property: &Property,
    crawl: &Crawl,
    timeline: &Timeline,
    tagged: &Tagged,
    nothing: &[bool],
) -> Result<Vec<Gathered>> {
    let names = tagged.sightings.cameras.names();
    let mut cameras: Vec<Gathered> = names.iter().map(|_| Gathered::default()).collect();
    let mut codes = timeline.cameras.clone();
    let times = timeline.times(crawl.pictures.len())?;
    let with_tag = with_clips(crawl, &tagged.tagged);
    let shows_deer = tagged.sightings.shows_deer(crawl.pictures.len())?;
    for (i, (picture, time)) in crawl.pictures.iter().zip(&times).enumerate() {
        let camera = &mut cameras[codes.code(&picture.camera) as usize];
        camera.pictures += 1;
        if let Some(date) = time.map(LocalTime::date) {
            camera.active.insert(date);
            let on = camera.pictures_on.entry(date).or_default();
            on.all += 1;
            on.with_deer += usize::from(shows_deer[i]);
            if with_tag[i] {
                continue;
            }
            on.untagged += 1;
            match nothing.get(i) {
                Some(true) => on.probably_nothing += 1,
                _ => camera.untagged_at.extend(time),
            }
        }
    }
    let rows = tagged.sightings.by_number()?;
    let numbers = tagged.sightings.numbers_by_camera()?;
    let of_cameras = cameras.par_iter_mut().zip(numbers);
    of_cameras.for_each(|(camera, numbers)| camera.take_in(numbers, &rows));
    for (name, dates) in rolls(property, crawl, &times) {
        let camera = &mut cameras[codes.code(name) as usize];
        camera.runs_on = dates.runs_on;
        camera.card_taken_on = dates.taken_on;
    }
    Ok(cameras)
}

/// What a camera's rolls say of its dates.
#[derive(Default)]
struct RollDates {
    /// Its pictures number on from those of an earlier date: the card was not changed and the camera not set anew in
    /// between.
    runs_on: BTreeSet<NaiveDate>,
    /// Those of the last pictures of what a pull brought.
    taken_on: BTreeSet<NaiveDate>,
}

fn rolls<'a>(
    property: &Property,
    crawl: &'a Crawl,
    times: &[Option<LocalTime>],
) -> Vec<(&'a str, RollDates)> {
    /// Pictures deleted in the camera's menu leave a gap.
    const SKIPPED: u64 = 3;
    let mut of_camera: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (place, picture) in crawl.pictures.iter().enumerate() {
        of_camera.entry(&picture.camera).or_default().push(place);
    }
    let pulls = Pulls::of(Catalogue::read(property));
    let dates = |places: &[usize]| {
        let pictures: Vec<&Picture> = places.iter().map(|i| &crawl.pictures[*i]).collect();
        let date = |i: &usize| Some((crawl.pictures[*i].path.as_str(), times[*i]?.date()));
        let date_of: HashMap<&str, NaiveDate> = places.iter().filter_map(date).collect();
        let mut dates = RollDates::default();
        for roll in pulls.rolls(&pictures) {
            let dated =
                |p: &&Picture| Some((*date_of.get(p.path.as_str())?, file_number(p.file())?));
            let all: Vec<(NaiveDate, u64)> = roll.pictures.iter().filter_map(dated).collect();
            let follows = |w: &&[(NaiveDate, u64)]| {
                w[1].0 > w[0].0 && (w[0].1 + 1..=w[0].1 + SKIPPED).contains(&w[1].1)
            };
            dates.runs_on.extend(all.windows(2).filter(follows).map(|w| w[1].0));
            let last = all.iter().map(|(date, _)| *date).max();
            dates.taken_on.extend(last.filter(|_| roll.pulled.is_some()));
        }
        dates
    };
    of_camera.iter().map(|(name, places)| (*name, dates(places))).collect()
}

/// A camera that takes a still and a clip at each trigger shows the same deer twice: a clip beside a
/// tagged still needs no tag of its own.
fn with_clips(crawl: &Crawl, tagged: &[bool]) -> Vec<bool> {
    const TRIGGER_S: i64 = 120;
    if !crawl.pictures.iter().any(|p| p.clip) {
        return tagged.to_vec();
    }
    let moment = |p: &Picture| {
        let stamp = p.time.as_ref().ok()?;
        Some(stamp.time.shown().and_utc().timestamp())
    };
    let mut stills: BTreeSet<(&str, i64)> = BTreeSet::new();
    for (picture, _) in crawl.pictures.iter().zip(tagged).filter(|(_, t)| **t) {
        stills.extend(moment(picture).map(|s| (&*picture.camera, s)));
    }
    let beside_still = |p: &Picture| {
        moment(p).is_some_and(|s| {
            let near = (&*p.camera, s - TRIGGER_S)..=(&*p.camera, s + TRIGGER_S);
            stills.range(near).next().is_some()
        })
    };
    let pictures = crawl.pictures.iter().zip(tagged);
    pictures.map(|(p, tagged)| *tagged || (p.clip && beside_still(p))).collect()
}
