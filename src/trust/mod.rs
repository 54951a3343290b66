//! Whether each camera's clock can be believed, from evidence: the order of its pictures, the dates
//! that other cameras and `cameras.csv` allow, and the pictures themselves, which turn from colour
//! to grey as the light goes.
//!
//! Nothing is changed here. What is found is told with its evidence and with the row that
//! `clocks.csv` would need; only the person adds it.

mod date;
mod fault;
mod known;
mod light_model;
mod order;
mod reset;
mod shade;
mod stories;

use std::path::PathBuf;

use anyhow::Result;
use chrono::NaiveDateTime;
use rayon::prelude::*;

pub use fault::{Fault, Finding};
pub use known::known_moment;
pub use light_model::{Offset, Shot, SunYear};
pub use shade::{Shade, of_picture as shade_of};

use crate::card::{CameraTime, Crawl, Picture, Untimed};
use crate::clock::Clocks;
use crate::property::{Property, same_name};

/// What is known about one camera's clock.
#[derive(Debug, Clone)]
pub struct CameraClock {
    /// The camera.
    pub camera: String,
    /// Pictures looked at, one a trigger at most.
    pub looked_at: Vec<Look>,
    /// How far the clock is off, by the light; `None` where too few pictures show it.
    pub offset: Option<Offset>,
    /// What is wrong and not settled yet.
    pub findings: Vec<Finding>,
}

/// One picture that was looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// What the camera's clock showed.
    pub time: CameraTime,
    /// The same as the property reads it now, corrections applied.
    pub shot: Shot,
    /// Whether a row of `clocks.csv` is applied to it.
    pub corrected: bool,
}

impl CameraClock {
    /// Pictures of one shade.
    pub fn count(&self, shade: Shade) -> usize {
        let grey = shade == Shade::Grey;
        self.looked_at
            .iter()
            .filter(|l| l.shot.grey == grey)
            .count()
    }

    /// Whether there was enough to judge the clock by its light.
    pub fn could_be_checked(&self) -> bool {
        self.offset.is_some()
    }

    /// What can be said in a word or two.
    pub fn word(&self) -> &'static str {
        match (self.findings.is_empty(), self.could_be_checked()) {
            (false, _) => "wrong",
            (true, true) => "agrees with the light",
            (true, false) => "cannot be checked",
        }
    }
}

/// Checks the clock of every camera.
///
/// # Errors
/// Where the sun does not rise and set at the property.
pub fn check(property: &Property, crawl: &Crawl) -> Result<Vec<CameraClock>> {
    let mut cameras: Vec<(&str, Vec<&Picture>)> = Vec::new();
    for picture in crawl.pictures.iter().filter(|p| !p.clip) {
        match cameras
            .iter_mut()
            .find(|(c, _)| same_name(c, &picture.camera))
        {
            Some((_, pictures)) => pictures.push(picture),
            None => cameras.push((&picture.camera, vec![picture])),
        }
    }
    if cameras.is_empty() {
        return Ok(Vec::new());
    }
    let sun = SunYear::at(property.settings.position)?;
    cameras
        .par_iter()
        .map(|(camera, pictures)| {
            let others = cameras.iter().filter(|(c, _)| c != camera);
            let others: Vec<&Picture> = others.flat_map(|(_, p)| p.iter().copied()).collect();
            Ok(one(property, camera, pictures, &others, &sun))
        })
        .collect()
}

/// Fewer pictures of either shade than this say nothing.
const FEWEST_OF_A_SHADE: usize = 5;

fn one(
    property: &Property,
    camera: &str,
    pictures: &[&Picture],
    others: &[&Picture],
    sun: &SunYear,
) -> CameraClock {
    let clocks = Clocks::of(property);
    let resets = order::resets(pictures, &clocks);
    let runs_on: Vec<&Picture> = pictures
        .iter()
        .copied()
        .filter(|p| p.time.is_ok() && !resets.iter().any(|r| r.holds(p)))
        .collect();
    let looked_at = look(property, &clocks, &runs_on);
    let mut clock = CameraClock {
        camera: camera.to_owned(),
        looked_at,
        offset: None,
        findings: Vec::new(),
    };
    for reset in &resets {
        let looks = look(property, &clocks, &reset.pictures);
        clock
            .findings
            .extend(reset::after_reset(property, camera, reset, &looks, sun));
    }
    let enough = [Shade::Colour, Shade::Grey]
        .iter()
        .all(|s| clock.count(*s) >= FEWEST_OF_A_SHADE);
    if enough {
        let judged = stories::by_light(property, camera, &clock.looked_at, sun);
        clock.offset = Some(judged.offset);
        clock.findings.extend(judged.findings);
    }
    if clock.findings.is_empty() {
        clock
            .findings
            .extend(reset::wrong_year(camera, &runs_on, others));
    }
    clock
}

/// Bursts show the same light: pictures closer together than this are looked at once.
const TRIGGER_MIN: i64 = 5;
/// Enough for an interval of a few minutes, and quick to decode.
const LOOKED_AT_MOST: usize = 500;

fn look(property: &Property, clocks: &Clocks, pictures: &[&Picture]) -> Vec<Look> {
    let mut timed: Vec<(CameraTime, &Picture)> = pictures
        .iter()
        .filter_map(|p| Some((shown_time(p)?, *p)))
        .collect();
    timed.sort_by_key(|(t, p)| (*t, &p.path));
    timed.dedup_by(|late, early| (late.0.shown() - early.0.shown()).num_minutes() < TRIGGER_MIN);
    let step = timed.len().div_ceil(LOOKED_AT_MOST).max(1);
    let chosen: Vec<(CameraTime, &Picture)> = timed.into_iter().step_by(step).collect();
    chosen
        .par_iter()
        .filter_map(|(time, picture)| {
            let path: PathBuf = property.root.join(&picture.file);
            let shade = shade::of_file(&path)?;
            let offset = picture.time.as_ref().ok().and_then(|s| s.offset);
            let local = clocks.local(&picture.camera, *time, offset);
            Some(Look {
                time: *time,
                shot: Shot {
                    minute: local.utc().timestamp() as f64 / 60.0,
                    grey: shade == Shade::Grey,
                },
                corrected: clocks.corrected(&picture.camera, *time),
            })
        })
        .collect()
}

/// What the camera's clock showed, impossible dates included.
fn shown_time(picture: &Picture) -> Option<CameraTime> {
    match &picture.time {
        Ok(stamp) => Some(stamp.time),
        Err(Untimed::TooEarly(time) | Untimed::Future(time)) => Some(*time),
        Err(_) => None,
    }
}

/// Minutes from one reading of a clock to another.
fn minutes_between(from: NaiveDateTime, to: NaiveDateTime) -> f64 {
    (to - from).num_seconds() as f64 / 60.0
}
