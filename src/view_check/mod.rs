//! Whether a camera looks at something else than before: moved or turned without a row in `cameras.csv`.
//! No statistic of visits can tell that from deer that changed; the still background can.
//!
//! Pictures by daylight, a few of each day, are made small and even. At a moment the median picture
//! of those just before is correlated with that of those just after. Where the two have little in common
//! although each side agrees with itself, the view has changed. A season of which the background stays the
//! same from month to month is looked at in few places only.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use anyhow::Result;
use chrono::NaiveDate;
use rayon::prelude::*;

use crate::card::frame::{ACROSS, DOWN};
use crate::card::{CameraTime, Crawl, Memory, Picture};
use crate::clock::Timeline;
use crate::property::Property;

/// A view that has changed between two pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct ViewChange {
    /// The camera.
    pub camera: String,
    /// The last picture of the old view, and its date.
    pub before: (String, NaiveDate),
    /// The first picture of the new view, and its date.
    pub after: (String, NaiveDate),
    /// Correlation of the two backgrounds: 1 for the same view, about 0 for two places.
    pub alike: f64,
}

/// Pictures on either side that make a background, and the fewest that do.
const WINDOW: usize = 9;
const FEWEST: usize = 5;
/// Pictures of one date that are looked at: morning light differs from evening light.
const A_DAY: usize = 3;
/// Halves of one side that agree less than this show no background to compare.
const STEADY: f64 = 0.4;
/// A changed view has less than this part of that agreement left (set on practice seeds 1 to 20).
const LEFT: f64 = 0.45;
/// Pictures between two looks at the background: twenty days where there are enough of each.
const STRETCH: usize = 60;
/// Pictures that make the background of such a look.
const PROBE: usize = 9;
/// Backgrounds that agree as well as this are of one view, whatever the season did between them.
const SAME: f64 = 0.85;

/// Every change of view that `cameras.csv` does not know of.
///
/// # Errors
/// When the timeline lacks one of its columns.
pub fn view_changes(
    property: &Property,
    crawl: &Crawl,
    timeline: &Timeline,
) -> Result<Vec<ViewChange>> {
    let times = timeline.times(crawl.pictures.len())?;
    let mut cameras: BTreeMap<&str, Vec<Dated>> = BTreeMap::new();
    for (picture, time) in crawl.pictures.iter().zip(times) {
        // Where the lamp fired it was night; and such a picture need not be opened to know that.
        let by_day = !picture.clip && picture.light.flash_fired != Some(true);
        if let (Some(shown), Some(time), true) = (picture.shown_time(), time, by_day) {
            let of_camera = cameras.entry(&picture.camera).or_default();
            of_camera.push((shown, time.date(), picture));
        }
    }
    Ok(cameras
        .into_iter()
        .flat_map(|(camera, pictures)| of_camera(property, &crawl.memory, camera, pictures))
        .collect())
}

/// A picture with the camera's time and the local date.
type Dated<'a> = (CameraTime, NaiveDate, &'a Picture);

/// A camera's pictures by daylight in order of time, looked at as they are needed.
struct Views<'a> {
    property: &'a Property,
    memory: &'a Memory,
    chosen: Vec<(NaiveDate, &'a Picture)>,
    frames: Vec<OnceLock<Option<Vec<f32>>>>,
}

impl Views<'_> {
    /// `None` where a picture shows no view by daylight.
    fn frame(&self, i: usize) -> Option<&[f32]> {
        let look = || {
            let glance = self.memory.glance(&self.property.root, self.chosen[i].1)?;
            glance.view()
        };
        self.frames[i].get_or_init(look).as_deref()
    }

    /// The nearest views before a picture, or from it on, in order of time.
    fn before(&self, at: usize, most: usize) -> Vec<usize> {
        let seen = (0..at).rev().filter(|i| self.frame(*i).is_some());
        let mut some: Vec<usize> = seen.take(most).collect();
        some.reverse();
        some
    }

    fn from(&self, at: usize, most: usize) -> Vec<usize> {
        let seen = (at..self.chosen.len()).filter(|i| self.frame(*i).is_some());
        seen.take(most).collect()
    }
}

fn of_camera(
    property: &Property,
    memory: &Memory,
    camera: &str,
    mut pictures: Vec<Dated>,
) -> Vec<ViewChange> {
    pictures.sort_by_key(|(t, _, p)| (*t, &p.path));
    let chosen: Vec<(NaiveDate, &Picture)> =
        pictures.chunk_by(|a, b| a.1 == b.1).flat_map(few_of_a_day).collect();
    let frames = chosen.iter().map(|_| OnceLock::new()).collect();
    let views = Views { property, memory, chosen, frames };
    changes(&views)
        .into_iter()
        .filter_map(|(at, alike)| {
            let told = |i: usize| {
                let (date, picture) = views.chosen[i];
                (picture.path.clone(), date)
            };
            Some(ViewChange {
                camera: camera.to_owned(),
                before: told(*views.before(at, 1).first()?),
                after: told(*views.from(at, 1).first()?),
                alike,
            })
        })
        .filter(|c| !is_known(property, c))
        .collect()
}

/// A few pictures of one date, those nearest to the middle of the day first.
fn few_of_a_day<'a>(day: &[Dated<'a>]) -> Vec<(NaiveDate, &'a Picture)> {
    use chrono::Timelike;
    let mut by_noon: Vec<_> = day.iter().collect();
    by_noon
        .sort_by_key(|(t, _, _)| (i64::from(t.shown().num_seconds_from_midnight()) - 43_200).abs());
    let mut few: Vec<_> = by_noon.into_iter().take(A_DAY).collect();
    few.sort_by_key(|(t, _, p)| (*t, &p.path));
    few.into_iter().map(|(_, date, p)| (*date, *p)).collect()
}

/// Whether `cameras.csv` has another placement since.
fn is_known(property: &Property, change: &ViewChange) -> bool {
    let on = |date| {
        property.placement(&change.camera, date).map(|p| (p.position, p.setting.as_str(), p.from))
    };
    on(change.before.1) != on(change.after.1)
}

/// The pictures at which the view changes, with the correlation over each change.
fn changes(views: &Views) -> Vec<(usize, f64)> {
    let tried: Vec<(usize, Option<f64>)> =
        suspected(views).into_par_iter().map(|at| (at, left(views, at))).collect();
    let mut found = Vec::new();
    let mut at = 0;
    while at < tried.len() {
        let is_low = |t: &(usize, Option<f64>)| t.1.is_some_and(|l| l < LEFT);
        if !is_low(&tried[at]) {
            at += 1;
            continue;
        }
        // Around a change the windows mix both views; the change is where least is left.
        let until = (at + WINDOW).min(tried.len());
        let least =
            (at..until).filter_map(|t| Some((t, tried[t].1?))).min_by(|a, b| a.1.total_cmp(&b.1));
        found.extend(least.map(|(t, left)| (tried[t].0, left)));
        at = least.map_or(until, |(t, _)| (t + WINDOW).max(until));
    }
    found
}

/// Pictures at which the view may change. Over a stretch whose ends show one background there is no
/// lasting change, and what lies between is not looked at; other stretches are halved.
fn suspected(views: &Views) -> Vec<usize> {
    let all = views.chosen.len();
    let pieces = all.div_ceil(STRETCH).max(1);
    let ends: Vec<usize> = (0..=pieces).map(|p| p * all / pieces).collect();
    let mut stretches: Vec<(usize, usize)> = ends.windows(2).map(|e| (e[0], e[1])).collect();
    let mut suspected = BTreeSet::new();
    while let Some((from, until)) = stretches.pop() {
        if from >= until || ends_agree(views, from, until) {
            continue;
        }
        if until - from <= 2 * WINDOW {
            // Where a stretch's end lies beside a change, the least is left a little further on.
            let first = views.before(from, WINDOW).first().copied().unwrap_or(from);
            let last = views.from(until, WINDOW).last().copied().unwrap_or(until);
            suspected.extend(first..=last);
            continue;
        }
        let middle = usize::midpoint(from, until);
        stretches.extend([(from, middle), (middle, until)]);
    }
    let is_seen = |at: &usize| *at < all && views.frame(*at).is_some();
    suspected.into_iter().filter(is_seen).collect()
}

fn ends_agree(views: &Views, from: usize, until: usize) -> bool {
    let around = |at: usize| {
        let before = views.before(at, PROBE / 2);
        let after = views.from(at, PROBE - before.len());
        let more = views.before(at, PROBE - after.len());
        [more, after].concat()
    };
    let (one, other) = (around(from), around(until));
    one.len() >= FEWEST
        && other.len() >= FEWEST
        && correlation(&background(views, &one), &background(views, &other)) >= SAME
}

/// What is left of the agreement over a moment; `None` where a side does not agree with itself.
fn left(views: &Views, at: usize) -> Option<f64> {
    let (before, after) = (views.before(at, WINDOW), views.from(at, WINDOW));
    if before.len().min(after.len()) < FEWEST {
        return None;
    }
    let halves = |side: &[usize]| {
        let half =
            |from: usize| -> Vec<usize> { side.iter().skip(from).step_by(2).copied().collect() };
        correlation(&background(views, &half(0)), &background(views, &half(1)))
    };
    let steady = halves(&before).min(halves(&after));
    if steady < STEADY {
        return None;
    }
    let across = correlation(&background(views, &before), &background(views, &after));
    Some(across / steady)
}

/// The median picture.
fn background(views: &Views, some: &[usize]) -> Vec<f32> {
    let frames: Vec<&[f32]> = some.iter().filter_map(|i| views.frame(*i)).collect();
    let mut values = vec![0.0; frames.len()];
    (0..ACROSS * DOWN)
        .map(|i| {
            for (value, frame) in values.iter_mut().zip(&frames) {
                *value = frame[i];
            }
            values.sort_unstable_by(f32::total_cmp);
            values[values.len() / 2]
        })
        .collect()
}

/// Pearson's correlation.
fn correlation(a: &[f32], b: &[f32]) -> f64 {
    let n = a.len() as f64;
    let mean = |v: &[f32]| v.iter().map(|x| f64::from(*x)).sum::<f64>() / n;
    let (ma, mb) = (mean(a), mean(b));
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        let (x, y) = (f64::from(*x) - ma, f64::from(*y) - mb);
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    if aa * bb <= 0.0 { 0.0 } else { ab / (aa * bb).sqrt() }
}
