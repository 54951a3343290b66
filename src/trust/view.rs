//! Whether a camera looks at something else than before: moved or turned without a row in `cameras.csv`.
//! No statistic of visits can tell that from deer that changed; the still background can.
//!
//! Pictures by daylight, a few of each day, are made small and even. At every moment the median picture
//! of those just before is correlated with that of those just after. Where the two have little in common
//! although each side agrees with itself, the view has changed.

use chrono::NaiveDate;
use rayon::prelude::*;

use super::{Shade, shade_of, shown_time};
use crate::card::frame::{ACROSS, DOWN, Frame};
use crate::card::{CameraTime, Crawl, Picture, decode_small};
use crate::clock::Clocks;
use crate::property::{Property, same_name};

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

/// Every change of view that `cameras.csv` does not know of.
pub fn view_changes(property: &Property, crawl: &Crawl) -> Vec<ViewChange> {
    let clocks = Clocks::of(property);
    let mut cameras: Vec<(&str, Vec<Dated>)> = Vec::new();
    for picture in crawl.pictures.iter().filter(|p| !p.clip && p.time.is_ok()) {
        let Some(time) = shown_time(picture) else {
            continue;
        };
        let offset = picture.time.as_ref().ok().and_then(|s| s.offset);
        let date = clocks.local(&picture.camera, time, offset).date();
        let one = (time, date, picture);
        match cameras
            .iter_mut()
            .find(|(c, _)| same_name(c, &picture.camera))
        {
            Some((_, all)) => all.push(one),
            None => cameras.push((&picture.camera, vec![one])),
        }
    }
    cameras
        .into_iter()
        .flat_map(|(camera, pictures)| of_camera(property, camera, pictures))
        .collect()
}

/// A picture with the camera's time and the local date.
type Dated<'a> = (CameraTime, NaiveDate, &'a Picture);

/// A picture that was looked at.
struct Seen<'a> {
    date: NaiveDate,
    picture: &'a Picture,
    frame: Frame,
}

fn of_camera(property: &Property, camera: &str, mut pictures: Vec<Dated>) -> Vec<ViewChange> {
    pictures.sort_by_key(|(t, _, p)| (*t, &p.path));
    let chosen: Vec<(NaiveDate, &Picture)> = pictures
        .chunk_by(|a, b| a.1 == b.1)
        .flat_map(few_of_a_day)
        .collect();
    let mut seen: Vec<Seen> = chosen
        .par_iter()
        .filter_map(|(date, picture)| {
            const ACROSS_PX: u16 = 160;
            let small = decode_small(&property.root.join(&picture.file), ACROSS_PX)?;
            // A dull day is a day; under the lamp near things shine and far ones are gone.
            (shade_of(&small) != Some(Shade::Grey)).then(|| Seen {
                date: *date,
                picture,
                frame: Frame::of(&small),
            })
        })
        .collect();
    seen.sort_by_key(|s| s.date);
    changes(&seen)
        .into_iter()
        .map(|(at, alike)| {
            let told = |s: &Seen| (s.picture.path.clone(), s.date);
            ViewChange {
                camera: camera.to_owned(),
                before: told(&seen[at - 1]),
                after: told(&seen[at]),
                alike,
            }
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
        property
            .placement(&change.camera, date)
            .map(|p| (p.position, p.setting.as_str(), p.from))
    };
    on(change.before.1) != on(change.after.1)
}

/// The pictures at which the view changes, with the correlation over each change.
fn changes(seen: &[Seen]) -> Vec<(usize, f64)> {
    let last = seen.len().saturating_sub(FEWEST);
    let tried: Vec<(usize, Option<f64>)> = (FEWEST..=last)
        .into_par_iter()
        .map(|at| {
            let before = &seen[at.saturating_sub(WINDOW)..at];
            let after = &seen[at..(at + WINDOW).min(seen.len())];
            (at, left(before, after))
        })
        .collect();
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
        let least = tried[at..until]
            .iter()
            .filter_map(|(i, l)| Some((*i, (*l)?)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        found.extend(least);
        at = least.map_or(until, |(i, _)| (i - FEWEST + WINDOW).max(until));
    }
    found
}

/// What is left of the agreement over a moment; `None` where a side does not agree with itself.
fn left(before: &[Seen], after: &[Seen]) -> Option<f64> {
    let halves = |side: &[Seen]| {
        let half = |from: usize| background(side.iter().skip(from).step_by(2));
        correlation(&half(0), &half(1))
    };
    let steady = halves(before).min(halves(after));
    if steady < STEADY {
        return None;
    }
    let across = correlation(&background(before.iter()), &background(after.iter()));
    Some(across / steady)
}

/// The median picture.
fn background<'a>(seen: impl Iterator<Item = &'a Seen<'a>>) -> Vec<f32> {
    let frames: Vec<&Frame> = seen.map(|s| &s.frame).collect();
    let mut values = vec![0.0; frames.len()];
    (0..ACROSS * DOWN)
        .map(|i| {
            for (value, frame) in values.iter_mut().zip(&frames) {
                *value = frame.light[i];
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
    if aa * bb <= 0.0 {
        0.0
    } else {
        ab / (aa * bb).sqrt()
    }
}
