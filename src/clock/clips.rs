//! Clips whose containers hold UTC, as the standard says, beside stills that hold what the camera's clock
//! showed: a camera that takes both at one trigger shows it by whole hours between neighbours.

use std::collections::BTreeMap;

use chrono::{FixedOffset, Offset, TimeDelta, Utc};

use super::Clocks;
use crate::card::{Crawl, Picture, Stamp, TimeOrigin, file_number};
use crate::property::{Cause, Problem};

/// Fewer neighbours than this prove nothing.
const FEWEST: usize = 3;
/// A still and a clip of one trigger are no further apart, seconds.
const TRIGGER_S: i64 = 120;

/// Reads the clips of cameras as UTC where their neighbours prove it, or moves them by the constant
/// whole half-hours that lie between the two.
pub(super) fn settle(clocks: &Clocks, crawl: &mut Crawl) {
    let contained = crawl.pictures.iter().filter(|p| is_contained(p));
    let mut cameras: BTreeMap<String, Vec<usize>> =
        contained.map(|p| (p.camera.to_string(), Vec::new())).collect();
    for (i, picture) in crawl.pictures.iter().enumerate() {
        if let Some(of_camera) = cameras.get_mut(&*picture.camera) {
            of_camera.push(i);
        }
    }
    for (camera, pictures) in cameras {
        let pairs = pairs(&crawl.pictures, &pictures);
        if let Some(remedy) = remedy(clocks, &camera, &pairs) {
            let mut moved = 0;
            for i in pictures {
                moved += usize::from(remedy.apply(&mut crawl.pictures[i]));
            }
            crawl
                .problems
                .push(Problem::file(&format!("cards/{camera}"), remedy.cause(moved, pairs.len())));
        }
    }
}

/// The stamps of a still and of the clip that has the next file number, or the one before.
fn pairs(pictures: &[Picture], of_camera: &[usize]) -> Vec<(Stamp, Stamp)> {
    let number = |i: usize| {
        let file = pictures[i].file();
        Some((file.parent()?, file_number(file)?))
    };
    let mut by_number = BTreeMap::new();
    for &i in of_camera {
        if let Some(key) = number(i) {
            by_number.entry(key).or_insert_with(Vec::new).push(i);
        }
    }
    let mut found = Vec::new();
    for ((folder, n), at) in &by_number {
        for &clip in at.iter().filter(|i| is_contained(&pictures[**i])) {
            // The same number first: some cameras number a trigger, not a file.
            let near = [*n, n.wrapping_sub(1), n + 1];
            let still = near.iter().find_map(|m| {
                let there = by_number.get(&(*folder, *m))?;
                there.iter().map(|i| &pictures[*i]).find(|p| !p.clip && p.time.is_ok())
            });
            if let (Some(still), Ok(clip)) =
                (still.and_then(|s| s.time.as_ref().ok()), &pictures[clip].time)
            {
                found.push((*still, *clip));
            }
        }
    }
    found
}

fn is_contained(picture: &Picture) -> bool {
    let from_container = |s: &Stamp| s.origin == TimeOrigin::Container && s.offset.is_none();
    picture.clip && picture.time.as_ref().is_ok_and(from_container)
}

enum Remedy {
    Utc,
    Minutes(i64),
}

/// What nearly all pairs agree on.
fn remedy(clocks: &Clocks, camera: &str, pairs: &[(Stamp, Stamp)]) -> Option<Remedy> {
    let most = |count: usize| count >= FEWEST && count * 10 >= pairs.len() * 8;
    let apart_s =
        |(still, clip): &(Stamp, Stamp)| (clip.time.shown() - still.time.shown()).num_seconds();
    if most(pairs.iter().filter(|p| apart_s(p).abs() <= TRIGGER_S).count()) {
        return None;
    }
    let clock = clocks.of_camera(camera);
    let is_utc = |(still, clip): &&(Stamp, Stamp)| {
        let still = clock.local(still.time, still.offset).utc().naive_utc();
        (clip.time.shown() - still).num_seconds().abs() <= TRIGGER_S
    };
    if most(pairs.iter().filter(is_utc).count()) {
        return Some(Remedy::Utc);
    }
    const HALF_HOUR_S: i64 = 1800;
    let halves = |p: &(Stamp, Stamp)| (apart_s(p) as f64 / HALF_HOUR_S as f64).round() as i64;
    let first = pairs.first().map(halves)?;
    let agree = |p: &&(Stamp, Stamp)| {
        halves(p) == first && (apart_s(p) - first * HALF_HOUR_S).abs() <= TRIGGER_S
    };
    most(pairs.iter().filter(agree).count()).then_some(Remedy::Minutes(-first * HALF_HOUR_S / 60))
}

impl Remedy {
    fn apply(&self, picture: &mut Picture) -> bool {
        if !is_contained(picture) {
            return false;
        }
        if let Ok(stamp) = &mut picture.time {
            match self {
                Self::Utc => stamp.offset = Some(utc()),
                Self::Minutes(minutes) => {
                    stamp.time =
                        stamp.time.plus_minutes(TimeDelta::minutes(*minutes).num_minutes() as f64);
                }
            }
        }
        true
    }

    fn cause(&self, clips: usize, stills: usize) -> Cause {
        match self {
            Self::Utc => Cause::ClipsInUtc { clips, stills },
            Self::Minutes(m) => {
                Cause::ClipsOff { clips, stills, hours: format!("{:.1}", *m as f64 / 60.0) }
            }
        }
    }
}

fn utc() -> FixedOffset {
    Utc.fix()
}
