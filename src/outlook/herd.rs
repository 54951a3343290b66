//! Who is there: different bucks, and does and fawns beside them.
//!
//! Counted over the days of a survey that the owner names, or else over the newest season.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{Datelike, Days, NaiveDate};
use xxhash_rust::xxh3::xxh3_64;

use super::half_days::is_usable;
use crate::measure::{Estimate, chao1, chapman, ratio_interval};
use crate::property::{DayOfYear, Property};
use crate::tags::{Tagged, Who};
use crate::visits::{DeerYear, Season};

/// Pictures of a kind, and the animals in them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct HerdCount {
    /// Pictures.
    pub pictures: usize,
    /// Animals in them; one that is in several pictures is counted in each.
    pub animals: usize,
}

/// The herd over one survey.
#[derive(Debug, Clone, PartialEq)]
pub struct Herd {
    /// First and last date.
    pub span: (NaiveDate, NaiveDate),
    /// Whether the owner named them.
    pub is_named: bool,
    /// Camera-days that count.
    pub camera_days: usize,
    /// Bucks.
    pub bucks: HerdCount,
    /// Does.
    pub does: HerdCount,
    /// Fawns.
    pub fawns: HerdCount,
    /// Of the bucks in the pictures those that have a name.
    pub named_bucks: usize,
    /// Different bucks with a name: the least number that there was.
    pub different: usize,
    /// Of these those that were seen on one day only, and on two.
    pub once_and_twice: (usize, usize),
    /// How many new ones each date brought, in order; dates without a new one are left out.
    pub new_on: Vec<(NaiveDate, usize)>,
    /// Bucks in all, those that were missed too, by how many were seen once and twice.
    pub by_once_seen: Option<Estimate>,
    /// The same by who was seen in both halves of the days.
    pub by_halves: Option<Estimate>,
    /// Does for each buck, by animals in pictures.
    pub does_per_buck: Option<Estimate>,
    /// Fawns for each doe, by animals in pictures.
    pub fawns_per_doe: Option<Estimate>,
    /// Does, by the camera survey; `None` where too few bucks are told apart.
    pub does_there: Option<Estimate>,
    /// Fawns, by the same.
    pub fawns_there: Option<Estimate>,
}

/// The camera survey, and what is said of bucks that were missed, want bucks told apart: of the bucks in the pictures
/// this part must have a name.
pub const NAMED_PART: f64 = 0.8;
/// Fewer animals of a kind make no ratio.
const FEWEST: usize = 10;
/// Fewer different bucks tell nothing of those missed.
const FEWEST_BUCKS: usize = 3;
const RESAMPLES: usize = 1000;

/// One day of one camera.
#[derive(Default, Clone)]
struct CameraDay {
    bucks: usize,
    does: usize,
    fawns: usize,
}

/// What the pictures of a survey hold.
#[derive(Default)]
struct Seen {
    /// By camera and date.
    days: BTreeMap<(usize, NaiveDate), CameraDay>,
    /// Of each kind the pictures that show it, and the moments that were told without one, each with its camera.
    pictures: [Vec<u32>; 3],
    moments: [Vec<(u32, i64)>; 3],
    named: usize,
    /// Dates on which each named buck was seen.
    met: BTreeMap<String, BTreeSet<NaiveDate>>,
}

pub(super) fn herd(property: &Property, tagged: &Tagged, season: &Season) -> Result<Option<Herd>> {
    let Some(year) = season.newest() else {
        return Ok(None);
    };
    let survey = property.settings.survey;
    let (from, until) = survey.map_or((year.first(), year.last()), |s| survey_of(s, year));
    let places = season.places_of(&tagged.sightings.cameras);
    let seen = seen(season, tagged, &places, (from, until))?;
    let dates = seen.days.keys().map(|(_, date)| *date);
    let Some(span) = dates.clone().min().zip(dates.max()) else {
        return Ok(None);
    };
    Ok(Some(told(&seen, span, survey.is_some())))
}

/// The survey's days in a season; in the season before its first day they lie in the next calendar year.
fn survey_of((from, until): (DayOfYear, DayOfYear), year: DeerYear) -> (NaiveDate, NaiveDate) {
    let on = |day: DayOfYear, earliest: NaiveDate| {
        let in_year = |y: i32| NaiveDate::from_ymd_opt(y, day.month, day.day);
        let years = earliest.year()..=earliest.year() + 1;
        years.filter_map(in_year).find(|d| *d >= earliest).unwrap_or(earliest)
    };
    let from = on(from, year.first());
    (from, on(until, from))
}

fn seen(
    season: &Season,
    tagged: &Tagged,
    places: &[Option<usize>],
    (from, until): (NaiveDate, NaiveDate),
) -> Result<Seen> {
    let mut seen = Seen::default();
    for (camera, here) in season.cameras.iter().enumerate() {
        for date in here.effort.dates_between(from, until) {
            if is_usable(season, camera, *date) {
                seen.days.insert((camera, *date), CameraDay::default());
            }
        }
    }
    for row in tagged.sightings.rows()? {
        let date = row.time.date();
        let camera = places.get(row.camera as usize).copied().flatten();
        let Some(day) = camera.and_then(|c| seen.days.get_mut(&(c, date))) else {
            continue;
        };
        let count = row.count as usize;
        let kind = match row.who {
            Who::Buck => {
                day.bucks += count;
                0
            }
            Who::Doe => {
                day.does += count;
                1
            }
            Who::Fawn => {
                day.fawns += count;
                2
            }
            _ => continue,
        };
        match row.picture {
            Some(picture) => seen.pictures[kind].push(picture),
            None => seen.moments[kind].push((row.camera, row.time.utc_ms())),
        }
        if let (Who::Buck, Some(name)) = (row.who, row.name) {
            seen.named += count;
            seen.met.entry(name.to_lowercase()).or_default().insert(date);
        }
    }
    seen.pictures.iter_mut().for_each(each_once);
    seen.moments.iter_mut().for_each(each_once);
    Ok(seen)
}

fn each_once<T: Ord>(all: &mut Vec<T>) {
    all.sort_unstable();
    all.dedup();
}

fn told(seen: &Seen, span: (NaiveDate, NaiveDate), is_named: bool) -> Herd {
    let days: Vec<CameraDay> = seen.days.values().cloned().collect();
    let sum = |of: fn(&CameraDay) -> usize| days.iter().map(of).sum::<usize>();
    let (bucks, does, fawns) = (sum(|d| d.bucks), sum(|d| d.does), sum(|d| d.fawns));
    let count = |kind: usize, animals: usize| HerdCount {
        pictures: seen.pictures[kind].len() + seen.moments[kind].len(),
        animals,
    };
    let different = seen.met.len();
    let on_days = |n: usize| seen.met.values().filter(|dates| dates.len() == n).count();
    let are_told_apart = bucks >= FEWEST && seen.named as f64 >= NAMED_PART * bucks as f64;
    // Bucks without a name may be any number of others.
    let can_tell_missed = are_told_apart && different >= FEWEST_BUCKS;
    let does_per_buck = ratio(&days, |d| d.does, |d| d.bucks);
    let there = |per_buck: Option<Estimate>| {
        let per_buck = per_buck.filter(|_| are_told_apart)?;
        Some(per_buck.times(different as f64))
    };
    Herd {
        span,
        is_named,
        camera_days: days.len(),
        bucks: count(0, bucks),
        does: count(1, does),
        fawns: count(2, fawns),
        named_bucks: seen.named,
        different,
        once_and_twice: (on_days(1), on_days(2)),
        new_on: new_on(seen),
        by_once_seen: can_tell_missed.then(|| chao1(different, on_days(1), on_days(2))),
        by_halves: can_tell_missed.then(|| by_halves(seen, span)).flatten(),
        does_per_buck: does_per_buck.filter(|_| bucks.min(does) >= FEWEST),
        fawns_per_doe: ratio(&days, |d| d.fawns, |d| d.does).filter(|_| does.min(fawns) >= FEWEST),
        does_there: there(does_per_buck),
        fawns_there: there(ratio(&days, |d| d.fawns, |d| d.bucks)),
    }
}

fn new_on(seen: &Seen) -> Vec<(NaiveDate, usize)> {
    let mut new: BTreeMap<NaiveDate, usize> = BTreeMap::new();
    for first in seen.met.values().filter_map(BTreeSet::first) {
        *new.entry(*first).or_default() += 1;
    }
    new.into_iter().collect()
}

/// Two occasions: the first half of the days and the second.
fn by_halves(seen: &Seen, (first, last): (NaiveDate, NaiveDate)) -> Option<Estimate> {
    let middle = first + Days::new((last - first).num_days() as u64 / 2);
    let in_first = |d: &BTreeSet<NaiveDate>| d.first().is_some_and(|d| *d <= middle);
    let in_second = |d: &BTreeSet<NaiveDate>| d.last().is_some_and(|d| *d > middle);
    let count =
        |of: &dyn Fn(&BTreeSet<NaiveDate>) -> bool| seen.met.values().filter(|d| of(d)).count();
    let (one, other) = (count(&in_first), count(&in_second));
    let both = count(&|d| in_first(d) && in_second(d));
    (one > 0 && other > 0).then(|| chapman(one, other, both))
}

/// Animals of one kind for each of another, with a range that keeps days of one camera that follow on each other
/// together.
fn ratio(
    days: &[CameraDay],
    of: fn(&CameraDay) -> usize,
    per: fn(&CameraDay) -> usize,
) -> Option<Estimate> {
    let counts = days.iter().map(|day| (of(day) as u64, per(day) as u64));
    let counts: Vec<(u64, u64)> = counts.collect();
    ratio_interval(&counts, RESAMPLES, xxh3_64(b"herd"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Jacobson et al. 1997 (Wildlife Society Bulletin 25:547-556), the estimator worked with round numbers: 20
    /// different bucks in 400 pictures, 600 pictures of does and 300 of fawns are 30 does and 15 fawns.
    #[test]
    fn the_camera_survey() {
        let mut seen = Seen { named: 400, ..Seen::default() };
        let date = |i: u64| NaiveDate::from_ymd_opt(2025, 8, 1).unwrap() + Days::new(i);
        for i in 0..20 {
            let day = CameraDay { bucks: 20, does: 30, fawns: 15 };
            seen.days.insert((0, date(i)), day);
            seen.met.insert(format!("buck {i}"), (0..20).map(date).collect());
        }
        let herd = told(&seen, (date(0), date(19)), true);
        let value = |e: Option<Estimate>| e.unwrap().value;
        assert!((value(herd.does_there) - 30.0).abs() < 1e-9);
        assert!((value(herd.fawns_there) - 15.0).abs() < 1e-9);
        assert_eq!(herd.different, 20);
        seen.named = 200;
        assert!(told(&seen, (date(0), date(19)), true).does_there.is_none());
    }
}
