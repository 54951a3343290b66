//! Whether each camera's clock can be believed, from evidence: the order of its pictures, the dates
//! that placements and pulls allow, and the pictures themselves, which tell by flash, exposure or
//! colour in what light they were taken.
//!
//! Nothing is changed here. What is found is told with its evidence and with its remedy; only the
//! person applies it. A healthy clock must not be accused: every story starts out unlikely, must
//! explain the pictures by itself, and is judged again after its remedy.

mod accept;
mod bounds;
mod disagreement;
mod fault;
mod judge;
mod known;
mod light_model;
mod offset;
mod other_date;
mod readings;
mod remedy;
mod resets;
mod sorts;

use anyhow::Result;
use chrono::{FixedOffset, NaiveDate, NaiveDateTime, TimeDelta};
use rayon::prelude::*;

pub use accept::{accept, doubt};
pub use disagreement::disagreements;
pub use fault::{ClockRow, Fault, Finding, added, duration, duration_in_full, way};
pub use known::{Anchor, known_moment};
pub use light_model::Shot;
pub use offset::Offset;
pub use remedy::{Rehearsal, rehearse};
pub use sorts::LightSource;

use crate::card::{CameraTime, Crawl, Memory, Picture, Shade};
use crate::clock::Clocks;
use crate::property::{Property, same_name};
use crate::pull::{Catalogue, Pulls, Roll};

/// What is known about one camera's clock.
#[derive(Debug, Clone)]
pub struct CameraClock {
    /// The camera.
    pub camera: String,
    /// Pictures looked at, one a trigger at most.
    pub looked_at: Vec<LightLook>,
    /// What told light from dark.
    pub source: LightSource,
    /// How far the clock is off, by the light; `None` where too few pictures show it.
    pub offset: Option<Offset>,
    /// What is wrong and not settled yet.
    pub findings: Vec<Finding>,
}

/// One picture that was looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightLook {
    /// What the camera's clock showed.
    pub time: CameraTime,
    /// The same, with the rows of `clocks.csv` applied.
    pub corrected_time: CameraTime,
    /// When and in what light, as the property reads the clock now.
    pub shot: Shot,
    /// Whether a row of `clocks.csv` is applied to it.
    pub corrected: bool,
    /// Minutes that such a row adds.
    pub added_min: f64,
    /// Whether the camera wrote its clock's offset from UTC.
    pub is_written: bool,
}

/// What one picture says of the light it was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Glimpse {
    /// What the camera's clock showed.
    pub time: CameraTime,
    /// The clock's offset from UTC, where the camera wrote it.
    pub offset: Option<FixedOffset>,
    /// Whether the flash or lamp fired.
    pub flash_fired: Option<bool>,
    /// Exposure time in seconds.
    pub exposure_s: Option<f64>,
    /// Sensitivity, ISO 12232.
    pub iso: Option<u32>,
    /// Whether it is in colour.
    pub colour: Option<bool>,
}

/// A camera's pictures over a time in which one thing can be said of its clock.
#[derive(Debug, Clone)]
struct Stretch {
    camera: String,
    looks: Vec<LightLook>,
    /// The first picture by its clock, looked at or not.
    from: NaiveDateTime,
    /// The last.
    until: NaiveDateTime,
    /// The dates of the two as the clock is read now.
    read: (NaiveDate, NaiveDate),
    /// When the card was pulled, by UTC.
    pulled: Option<NaiveDateTime>,
}

impl Stretch {
    /// The two parts before a look and from it on, which meet end to end.
    fn cut(&self, at: usize) -> (Self, Self) {
        let (early, late) = self.looks.split_at(at);
        let begins = late.first().map_or(self.until, |l| l.time.shown());
        let part = |looks: &[LightLook], from, until| Self {
            looks: looks.to_vec(),
            from,
            until,
            ..self.clone()
        };
        (part(early, self.from, begins - TimeDelta::seconds(1)), part(late, begins, self.until))
    }
}

impl CameraClock {
    /// Pictures of one sort.
    pub fn count(&self, shade: Shade) -> usize {
        let grey = shade == Shade::Grey;
        self.looked_at.iter().filter(|l| l.shot.grey == grey).count()
    }

    /// Whether there was enough to judge the clock by its light.
    pub fn could_be_checked(&self) -> bool {
        self.offset.is_some_and(|o| o.high - o.low <= 120.0)
    }

    /// What can be said in a word or two.
    pub fn word(&self) -> &'static str {
        /// What the light leaves open of a clock that is right.
        const RIGHT_WITHIN_MIN: f64 = 12.0;
        let is_off = |o: Offset| {
            let clear_of = |by_min: f64| o.low > by_min || o.high < -by_min;
            // Where few pictures leave a wide range that begins beside zero, its middle says more than its end.
            clear_of(RIGHT_WITHIN_MIN) || (clear_of(0.0) && o.minutes.abs() > judge::FAR_MIN)
        };
        match (self.findings.is_empty(), self.could_be_checked()) {
            (false, _) => "wrong",
            (true, true) if self.offset.is_some_and(is_off) => "may be off",
            (true, true) => "agrees with the light",
            (true, false) => "cannot be checked",
        }
    }
}

/// Checks the clock of every camera.
///
/// # Errors
/// None at present; a check that cannot be made says so of its camera.
pub fn check(property: &Property, crawl: &Crawl) -> Result<Vec<CameraClock>> {
    let mut cameras: Vec<(&str, Vec<&Picture>)> = Vec::new();
    for picture in &crawl.pictures {
        match cameras.iter_mut().find(|(c, _)| same_name(c, &picture.camera)) {
            Some((_, pictures)) => pictures.push(picture),
            None => cameras.push((&picture.camera, vec![picture])),
        }
    }
    let pulls = Pulls::of(Catalogue::read(property));
    Ok(cameras
        .par_iter()
        .map(|(camera, pictures)| one(property, camera, pictures, &pulls, &crawl.memory))
        .collect())
}

fn one(
    property: &Property,
    camera: &str,
    pictures: &[&Picture],
    pulls: &Pulls,
    memory: &Memory,
) -> CameraClock {
    let clock = Clocks::of(property).of_camera(camera);
    let stills: Vec<&Picture> = pictures.iter().copied().filter(|p| !p.clip).collect();
    let rolls = pulls.rolls(&stills);
    let mut case = Case { property, camera, memory, source: LightSource::Colour };
    let resets: Vec<resets::Reset> = rolls.iter().flat_map(|r| resets::resets(r, &clock)).collect();
    let runs_on: Vec<Roll> = rolls
        .iter()
        .map(|roll| Roll {
            pulled: roll.pulled,
            pictures: roll
                .pictures
                .iter()
                .copied()
                .filter(|p| p.time.is_ok() && !resets.iter().any(|r| r.holds(p)))
                .collect(),
        })
        .collect();
    let mut judged = case.judged(&runs_on);
    for reset in &resets {
        let stretch = case.stretch(&reset.pictures, reset.pulled);
        let found = stretch.and_then(|s| bounds::after_reset(property, reset, &s));
        judged.findings.extend(found);
    }
    judged.findings.sort_by_key(|f| f.from);
    judged
}

/// One camera's case.
struct Case<'a> {
    property: &'a Property,
    camera: &'a str,
    memory: &'a Memory,
    source: LightSource,
}

/// A roll with a longer silence in it may be two clocks.
const APART_DAYS: i64 = 45;

impl Case<'_> {
    /// Judges by the first source of light whose pictures follow the sun under some clock.
    fn judged(&mut self, rolls: &[Roll]) -> CameraClock {
        let mut best: Option<CameraClock> = None;
        for source in LightSource::ALL {
            self.source = source;
            let stretches: Vec<Stretch> = rolls
                .iter()
                .flat_map(|r| parts(r).into_iter().map(|p| (p, r.pulled)).collect::<Vec<_>>())
                .filter_map(|(pictures, pulled)| self.stretch(&pictures, pulled))
                .collect();
            let (clock, is_sure) = verdict(self.property, self.camera, source, &stretches);
            if is_sure {
                return clock;
            }
            // Without a source that follows the sun, colour is what a person can see.
            if source == LightSource::Colour || best.is_none() {
                best = Some(clock);
            }
        }
        best.unwrap_or_else(|| CameraClock::none(self.camera))
    }

    /// Looks at pictures; `None` where none has a time.
    fn stretch(&self, pictures: &[&Picture], pulled: Option<NaiveDateTime>) -> Option<Stretch> {
        let times = pictures.iter().filter_map(|p| Some(p.shown_time()?.shown()));
        let (from, until) = (times.clone().min()?, times.max()?);
        let chosen = chosen(pictures);
        let glimpses: Vec<Glimpse> =
            chosen.par_iter().map(|(time, p)| self.glimpse(*time, p)).collect();
        Some(Stretch {
            camera: self.camera.to_owned(),
            looks: looks(self.property, self.camera, self.source, &glimpses),
            from,
            until,
            read: read_dates(self.property, self.camera, from, until),
            pulled,
        })
    }

    fn glimpse(&self, time: CameraTime, picture: &Picture) -> Glimpse {
        let colour = || {
            let shade = self.memory.glance(&self.property.root, picture)?.shade;
            shade.map(|s| s == Shade::Colour)
        };
        Glimpse {
            time,
            offset: picture.time.as_ref().ok().and_then(|s| s.offset),
            flash_fired: picture.light.flash_fired,
            exposure_s: picture.light.exposure_s.map(f64::from),
            iso: picture.light.iso,
            // Decoding is what costs, so it is done only where nothing else tells.
            colour: (self.source == LightSource::Colour).then(colour).flatten(),
        }
    }
}

impl CameraClock {
    fn none(camera: &str) -> Self {
        Self {
            camera: camera.to_owned(),
            looked_at: Vec::new(),
            source: LightSource::Colour,
            offset: None,
            findings: Vec::new(),
        }
    }
}

/// Judges a camera from what its pictures say of the light, without any file: its glimpses in the order
/// of their time, as one roll.
pub fn judge_glimpses(property: &Property, camera: &str, glimpses: &[Glimpse]) -> CameraClock {
    let mut best = CameraClock::none(camera);
    for source in LightSource::ALL {
        let runs =
            glimpses.chunk_by(|a, b| b.time.shown() - a.time.shown() < TimeDelta::days(APART_DAYS));
        let stretch = |part: &[Glimpse]| {
            let (first, last) = (part.first()?, part.last()?);
            let step = part.len().div_ceil(LOOKED_AT_MOST).max(1);
            let some: Vec<Glimpse> =
                spread(part, |g| g.time).into_iter().step_by(step).copied().collect();
            Some(Stretch {
                camera: camera.to_owned(),
                looks: looks(property, camera, source, &some),
                from: first.time.shown(),
                until: last.time.shown(),
                read: read_dates(property, camera, first.time.shown(), last.time.shown()),
                pulled: None,
            })
        };
        let stretches: Vec<Stretch> = runs.filter_map(stretch).collect();
        let (clock, is_sure) = verdict(property, camera, source, &stretches);
        best = clock;
        if is_sure {
            break;
        }
    }
    best
}

/// What all stretches of a camera say by one source, and whether that source follows the sun.
fn verdict(
    property: &Property,
    camera: &str,
    source: LightSource,
    stretches: &[Stretch],
) -> (CameraClock, bool) {
    let mut clock = CameraClock {
        source,
        looked_at: stretches.iter().flat_map(|s| s.looks.iter().copied()).collect(),
        ..CameraClock::none(camera)
    };
    let mut is_sure = false;
    let mut narrowest = f64::INFINITY;
    let whole = joined(stretches);
    let together = whole.as_ref().and_then(|w| judged(property, w));
    // What is true of the whole camera is told once.
    if let Some(judged) =
        together.filter(|j| stretches.len() > 1 && j.findings.iter().any(|f| f.setting.is_some()))
    {
        clock.offset = Some(judged.offset);
        clock.findings = judged.findings;
        return (clock, true);
    }
    for stretch in stretches {
        if let Some(finding) = bounds::wrong_date(property, stretch) {
            clock.findings.push(finding);
            is_sure = true;
            continue;
        }
        let Some(judged) = judged(property, stretch) else {
            continue;
        };
        is_sure = true;
        let width = judged.offset.high - judged.offset.low;
        if width < narrowest || !judged.findings.is_empty() {
            narrowest = width;
            clock.offset = Some(judged.offset);
        }
        clock.findings.extend(judged.findings);
    }
    (clock, is_sure)
}

fn judged(property: &Property, stretch: &Stretch) -> Option<judge::Judged> {
    judge::is_enough(&stretch.looks).then(|| judge::judge(property, stretch)).flatten()
}

/// All stretches as one.
fn joined(stretches: &[Stretch]) -> Option<Stretch> {
    let first = stretches.first()?;
    let mut looks: Vec<LightLook> =
        stretches.iter().flat_map(|s| s.looks.iter().copied()).collect();
    looks.sort_by_key(|l| l.time);
    let step = looks.len().div_ceil(LOOKED_AT_MOST).max(1);
    Some(Stretch {
        camera: first.camera.clone(),
        looks: looks.into_iter().step_by(step).collect(),
        from: stretches.iter().map(|s| s.from).min()?,
        until: stretches.iter().map(|s| s.until).max()?,
        read: (
            stretches.iter().map(|s| s.read.0).min()?,
            stretches.iter().map(|s| s.read.1).max()?,
        ),
        pulled: None,
    })
}

fn read_dates(
    property: &Property,
    camera: &str,
    from: NaiveDateTime,
    until: NaiveDateTime,
) -> (NaiveDate, NaiveDate) {
    let clock = Clocks::of(property).of_camera(camera);
    let date = |t| clock.local(CameraTime::new(t), None).date();
    (date(from), date(until))
}

/// The pictures of a roll, parted where it is silent for long.
fn parts<'a>(roll: &Roll<'a>) -> Vec<Vec<&'a Picture>> {
    let mut timed: Vec<(CameraTime, &Picture)> =
        roll.pictures.iter().filter_map(|p| Some((p.shown_time()?, *p))).collect();
    timed.sort_by_key(|(t, p)| (*t, &p.path));
    timed
        .chunk_by(|a, b| b.0.shown() - a.0.shown() < TimeDelta::days(APART_DAYS))
        .map(|part| part.iter().map(|(_, p)| *p).collect())
        .collect()
}

/// Bursts show the same light: pictures closer together than this are looked at once.
const TRIGGER_MIN: i64 = 5;
/// Enough for an interval of a few minutes, and quick to look at.
const LOOKED_AT_MOST: usize = 400;

fn chosen<'a>(pictures: &[&'a Picture]) -> Vec<(CameraTime, &'a Picture)> {
    let mut timed: Vec<(CameraTime, &Picture)> =
        pictures.iter().filter_map(|p| Some((p.shown_time()?, *p))).collect();
    timed.sort_by_key(|(t, p)| (*t, &p.path));
    let some = spread(&timed, |(t, _)| *t);
    let step = some.len().div_ceil(LOOKED_AT_MOST).max(1);
    some.into_iter().step_by(step).copied().collect()
}

/// The first of each trigger, of things in order of time.
fn spread<T>(all: &[T], time: impl Fn(&T) -> CameraTime) -> Vec<&T> {
    let mut some: Vec<&T> = Vec::new();
    for one in all {
        let near = |last: &&T| (time(one).shown() - time(last).shown()).num_minutes() < TRIGGER_MIN;
        if !some.last().is_some_and(near) {
            some.push(one);
        }
    }
    some
}

fn looks(
    property: &Property,
    camera: &str,
    source: LightSource,
    glimpses: &[Glimpse],
) -> Vec<LightLook> {
    let clock = Clocks::of(property).of_camera(camera);
    let dark = sorts::dark(source, glimpses);
    let look = |(g, dark): (&Glimpse, Option<bool>)| {
        let local = clock.local(g.time, g.offset);
        let added_min = clock.added_min(g.time);
        Some(LightLook {
            time: g.time,
            corrected_time: g.time.plus_minutes(added_min),
            shot: Shot { minute: local.utc().timestamp() as f64 / 60.0, grey: dark? },
            corrected: clock.is_corrected(g.time),
            added_min,
            is_written: g.offset.is_some(),
        })
    };
    glimpses.iter().zip(dark).filter_map(look).collect()
}

/// Minutes from one reading of a clock to another.
fn minutes_between(from: NaiveDateTime, to: NaiveDateTime) -> f64 {
    (to - from).num_seconds() as f64 / 60.0
}
