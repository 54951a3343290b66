//! In which pictures there is probably nothing: wind in the grass, a branch, the sun. It suggests, and never tags.
//!
//! Every picture is compared with those just before and after it (see [`crate::card::difference`]). What was
//! found is remembered with the state of the files compared, so that a season is decoded once.

use std::collections::{BTreeMap, HashMap};
use std::sync::OnceLock;

use anyhow::Result;
use rayon::prelude::*;
use xxhash_rust::xxh3::xxh3_64_with_seed;

use crate::card::difference::{Difference, difference};
use crate::card::frame::{Frame, STRIP};
use crate::card::{Crawl, Picture, Shade, decode_small, shade_of};
use crate::clock::{LocalTime, Timeline};
use crate::property::Property;
use crate::tags::{Tagged, few_untagged};

/// What was found of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Whether there is probably nothing in it.
    pub is_quiet: bool,
    /// How strongly it differs from its neighbours.
    pub apart: f32,
    /// Where it differs most: left, top, width and height as parts of the picture.
    pub place: [f32; 4],
}

/// A picture that differs from its neighbours by less than this is probably nothing. Set on practice
/// properties (seeds 1 to 12) where of 200 visits of deer fewer than one is called nothing, and
/// tested on others.
const QUIET_BELOW_BY_NIGHT: f32 = 2.0;
const QUIET_BELOW_BY_DAY: f32 = 3.0;
/// Neighbours on either side in time.
const EITHER_SIDE: usize = 12;
/// Pictures on either side among which they are looked for.
const MARGIN: usize = 4 * EITHER_SIDE;
/// A neighbour further away shows another season's leaves.
const APART_DAYS: i64 = 5;
/// Pictures closer together than this may show the same deer, and are no neighbours.
const SAME_DEER_MIN: i64 = 5;
/// Pictures decoded and held at the same time.
const BATCH: usize = 400;
/// A stretch of pictures ends after four weeks, so that one that is added leaves those of other weeks as they were.
const STRETCH_S: i64 = 28 * 86_400;

/// Every picture that can be compared, camera by camera in order of time.
pub struct Sequences<'a> {
    property: &'a Property,
    crawl: &'a Crawl,
    cameras: Vec<Vec<Timed>>,
    /// Asked for when the first stretch is looked at: mostly none is.
    states: OnceLock<HashMap<String, u64>>,
}

/// A picture with its moment.
#[derive(Debug, Clone, Copy)]
struct Timed {
    picture: u32,
    utc_s: i64,
    /// Counts on with every pause in which a deer leaves.
    run: u32,
}

/// Pictures of one camera and a few weeks.
#[derive(Debug, Clone)]
pub struct Stretch {
    camera: usize,
    places: std::ops::Range<usize>,
}

impl<'a> Sequences<'a> {
    /// Puts them in order; `times` are those of the crawl's pictures.
    pub fn of(property: &'a Property, crawl: &'a Crawl, times: &[Option<LocalTime>]) -> Self {
        let mut cameras: BTreeMap<&str, Vec<(i64, u32)>> = BTreeMap::new();
        for ((picture, time), index) in crawl.pictures.iter().zip(times).zip(0..) {
            if let (Some(time), false) = (time, picture.clip) {
                let of_camera = cameras.entry(&picture.camera).or_default();
                of_camera.push((time.utc().timestamp(), index));
            }
        }
        Self {
            property,
            crawl,
            cameras: cameras.into_values().map(in_order).collect(),
            states: OnceLock::new(),
        }
    }

    /// All of them, cut into stretches.
    pub fn stretches(&self) -> Vec<Stretch> {
        let mut all = Vec::new();
        for (camera, pictures) in self.cameras.iter().enumerate() {
            let mut from = 0;
            for weeks in pictures.chunk_by(|a, b| weeks(a) == weeks(b)) {
                for some in weeks.chunks(BATCH) {
                    let places = from..from + some.len();
                    from = places.end;
                    all.push(Stretch { camera, places });
                }
            }
        }
        all
    }

    /// The pictures of a stretch, as their places in the crawl.
    pub fn pictures(&self, stretch: &Stretch) -> impl Iterator<Item = u32> + '_ {
        let places = stretch.places.clone();
        self.cameras[stretch.camera][places].iter().map(|t| t.picture)
    }

    /// What is found of every picture of a stretch; `None` of one that cannot be decoded or has too few
    /// neighbours.
    pub fn look(&self, stretch: &Stretch) -> Vec<(u32, Option<Found>)> {
        let of_camera = &self.cameras[stretch.camera];
        let places = stretch.places.clone();
        let wide = places.start.saturating_sub(MARGIN)..(places.end + MARGIN).min(of_camera.len());
        let memory = &self.crawl.memory;
        let state = self.state(&of_camera[wide.clone()]);
        let paths: Vec<&str> =
            self.pictures(stretch).map(|p| self.picture(p).path.as_str()).collect();
        let mut compared_with = of_camera[wide.clone()].iter();
        let is_told_apart = compared_with.all(|t| self.picture(t.picture).is_named_in_text());
        let known = || memory.differences_of(&paths, state);
        let known = is_told_apart.then(known).flatten().unwrap_or_else(|| {
            let looks: Vec<Option<Look>> =
                of_camera[wide.clone()].par_iter().map(|t| self.decode(*t)).collect();
            let found: Vec<Option<Difference>> =
                places.clone().into_par_iter().map(|i| compared(&looks, i - wide.start)).collect();
            for (path, found) in paths.iter().zip(&found).filter(|_| is_told_apart) {
                memory.note_difference(path, state, *found);
            }
            found
        });
        let found = known.into_iter().map(|d| d.map(Found::of));
        self.pictures(stretch).zip(found).collect()
    }

    /// Those of a stretch's pictures beside which a deer is tagged: one that lies still is in picture after picture,
    /// and none differs from the others.
    fn beside(&self, stretch: &Stretch, is_deer: impl Fn(&u32) -> bool) -> Vec<u32> {
        let of_camera = &self.cameras[stretch.camera];
        let is_close = |a: &Timed, b: &Timed| (a.utc_s - b.utc_s).abs() <= 60 * STAYS_MIN;
        let has_deer = |i: &usize| {
            let around = |t: &&Timed| is_close(t, &of_camera[*i]);
            let before = of_camera[..*i].iter().rev().take_while(around);
            let mut all = before.chain(of_camera[*i..].iter().take_while(around));
            all.any(|t| is_deer(&t.picture))
        };
        let places = stretch.places.clone().filter(has_deer);
        places.map(|i| of_camera[i].picture).collect()
    }

    /// Whether the camera has a tagged picture not too far from a stretch.
    fn is_begun(&self, stretch: &Stretch, is_tagged: impl Fn(&u32) -> bool) -> bool {
        let of_camera = &self.cameras[stretch.camera];
        let span = BEGUN_DAYS * 86_400;
        let first_s = of_camera[stretch.places.start].utc_s - span;
        let last_s = of_camera[stretch.places.end - 1].utc_s + span;
        let from = of_camera.partition_point(|t| t.utc_s < first_s);
        let around = of_camera[from..].iter().take_while(|t| t.utc_s <= last_s);
        around.into_iter().any(|t| is_tagged(&t.picture))
    }

    fn picture(&self, index: u32) -> &Picture {
        &self.crawl.pictures[index as usize]
    }

    /// Changes with every file among these pictures, their moments and their order.
    fn state(&self, pictures: &[Timed]) -> u64 {
        let states = self.states.get_or_init(|| self.crawl.memory.file_states());
        pictures.iter().fold(0, |state, timed| {
            let path = &self.picture(timed.picture).path;
            let file = states.get(path).copied().unwrap_or(0);
            let moment = timed.utc_s.to_le_bytes();
            let state = xxh3_64_with_seed(path.as_bytes(), state);
            xxh3_64_with_seed(&[file.to_le_bytes(), moment].concat(), state)
        })
    }

    fn decode(&self, timed: Timed) -> Option<Look> {
        const ACROSS_PX: u16 = 160;
        let path = self.property.root.join(self.picture(timed.picture).file());
        let small = decode_small(&path, ACROSS_PX)?;
        Some(Look { timed, shade: shade_of(&small), frame: Frame::of(&small) })
    }
}

fn weeks(timed: &Timed) -> i64 {
    timed.utc_s.div_euclid(STRETCH_S)
}

fn in_order(mut pictures: Vec<(i64, u32)>) -> Vec<Timed> {
    pictures.sort_unstable();
    let (mut run, mut last_s) = (0, None);
    let timed = |(utc_s, picture)| {
        let is_pause = last_s.is_some_and(|l| utc_s - l > 60 * SAME_DEER_MIN);
        run += u32::from(is_pause);
        last_s = Some(utc_s);
        Timed { picture, utc_s, run }
    };
    pictures.into_iter().map(timed).collect()
}

/// A picture made comparable.
struct Look {
    timed: Timed,
    shade: Option<Shade>,
    frame: Frame,
}

fn compared(looks: &[Option<Look>], i: usize) -> Option<Difference> {
    let this = looks[i].as_ref()?;
    let comparable = |l: &&Look| {
        l.timed.run != this.timed.run
            && l.shade == this.shade
            && (l.timed.utc_s - this.timed.utc_s).abs() <= APART_DAYS * 86_400
    };
    let before = looks[..i].iter().rev().flatten().filter(comparable);
    let after = looks[i + 1..].iter().flatten().filter(comparable);
    let neighbours: Vec<&Frame> =
        before.take(EITHER_SIDE).chain(after.take(EITHER_SIDE)).map(|l| &l.frame).collect();
    difference(&this.frame, &neighbours, this.shade != Some(Shade::Grey))
}

impl Found {
    fn of(difference: Difference) -> Self {
        let below = match difference.by_day {
            true => QUIET_BELOW_BY_DAY,
            false => QUIET_BELOW_BY_NIGHT,
        };
        // The strips along the top and the bottom are not looked at.
        let [left, top, width, height] = difference.place;
        let inner = 1.0 - 2.0 * STRIP;
        Self {
            is_quiet: difference.most < below,
            apart: difference.most,
            place: [left, STRIP + inner * top, width, inner * height],
        }
    }
}

/// A deer that is tagged may still be there so long before and after.
const STAYS_MIN: i64 = 60;
/// A camera with no tag so many days before and after has not been begun with: there is no rate to bound.
const BEGUN_DAYS: i64 = 182;

/// For every picture of the crawl whether it has no tag and probably shows nothing. Looked at is what lacks so
/// many tags that rates cannot be told, at cameras of which some pictures are tagged.
///
/// # Errors
/// When the timeline lacks one of its columns.
pub fn explained(
    property: &Property,
    crawl: &Crawl,
    timeline: &Timeline,
    tagged: &Tagged,
) -> Result<Vec<bool>> {
    let mut explained = vec![false; crawl.pictures.len()];
    let is_tagged = |picture: &u32| tagged.tagged[*picture as usize];
    if tagged.tagged.iter().all(|t| *t) || !tagged.tagged.contains(&true) {
        return Ok(explained);
    }
    let shows_deer = tagged.sightings.shows_deer(crawl.pictures.len())?;
    let times = timeline.times(crawl.pictures.len())?;
    let sequences = Sequences::of(property, crawl, &times);
    for stretch in sequences.stretches() {
        let untagged = sequences.pictures(&stretch).filter(|p| !is_tagged(p));
        let is_open = !few_untagged(untagged.count(), stretch.places.len());
        if is_open && sequences.is_begun(&stretch, is_tagged) {
            for (picture, found) in sequences.look(&stretch) {
                let is_quiet = found.is_some_and(|f| f.is_quiet);
                explained[picture as usize] = is_quiet && !is_tagged(&picture);
            }
            for picture in sequences.beside(&stretch, |p| shows_deer[*p as usize]) {
                explained[picture as usize] = false;
            }
        }
    }
    Ok(explained)
}
