//! The season day by day: what every count, share and rate over days is taken from.

use anyhow::Result;
use chrono::{Days, NaiveDate};
use polars::prelude::*;

use super::{Camera, DeerYear, Kind, PicturesOn};
use crate::property::DayOfYear;

/// What one camera saw of one kind on one date.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DayVisits {
    /// Visits at all hours.
    pub visits: u32,
    /// Those in legal light.
    pub legal: u32,
    /// Those that the daylight share counts.
    pub counted: u32,
}

/// One camera's dates.
#[derive(Debug, Clone, Default)]
struct CameraDays {
    /// The number of the place and setting at which it hung.
    place: Vec<u16>,
    worked: Vec<bool>,
    pictures: Vec<PicturesOn>,
    visits: [Vec<DayVisits>; Kind::ALL.len()],
}

impl CameraDays {
    fn is_told(&self, i: usize) -> bool {
        let visits = || self.visits.iter().any(|of_kind| of_kind[i].visits > 0);
        self.worked[i] || self.pictures[i].all > 0 || visits()
    }
}

/// Every date of a season, camera by camera and kind by kind.
#[derive(Debug, Clone, Default)]
pub struct DayTable {
    first: NaiveDate,
    cameras: Vec<CameraDays>,
    days: usize,
}

/// One camera on one date; of a date outside the season, or on which it hung elsewhere, nothing is known.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Day {
    /// What it saw of the kind that was asked for.
    pub seen: DayVisits,
    /// Whether it is known to have worked.
    pub worked: bool,
    /// Pictures taken.
    pub pictures: PicturesOn,
}

impl DayTable {
    /// Counts a season's cameras day by day.
    pub(super) fn of(cameras: &[Camera]) -> Self {
        let dates = |c: &Camera| c.dates();
        let spans = cameras.iter().filter_map(dates);
        let Some((first, last)) = spans.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))) else {
            return Self::default();
        };
        let days = usize::try_from((last - first).num_days() + 1).unwrap_or(0);
        let camera = |c: &Camera| camera_days(c, first, days);
        Self {
            first,
            days,
            cameras: cameras.iter().map(camera).collect(),
        }
    }

    /// The dates from one to another, both included, of one camera and kind, as far as it hung where it
    /// did on `as_on`.
    pub fn between(
        &self,
        camera: usize,
        kind: Kind,
        (from, until): (NaiveDate, NaiveDate),
        as_on: NaiveDate,
    ) -> impl Iterator<Item = Day> + '_ {
        let days = self.cameras.get(camera);
        let visits = days.map(|d| d.visits[kind as usize].as_slice());
        let place = move |i: usize| days.and_then(|d| d.place.get(i)).copied();
        let wanted = days.map_or(0, |d| self.place_on(d, as_on));
        let start = (from - self.first).num_days();
        let count = (until - from).num_days().max(-1) + 1;
        (start..start + count).map(move |i| {
            let Ok(i) = usize::try_from(i) else {
                return Day::default();
            };
            let (Some(days), Some(visits), Some(place)) = (days, visits, place(i)) else {
                return Day::default();
            };
            if place != wanted {
                return Day::default();
            }
            Day {
                seen: visits[i],
                worked: days.worked[i],
                pictures: days.pictures[i],
            }
        })
    }

    /// First and last date on which any camera worked.
    pub(super) fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        let last = self.days.checked_sub(1)?;
        Some((self.first, self.first + Days::new(last as u64)))
    }

    /// The dates from one to another, both included, of one camera and kind, wherever it hung.
    pub fn days(
        &self,
        camera: usize,
        kind: Kind,
        (from, until): (NaiveDate, NaiveDate),
    ) -> impl Iterator<Item = Day> + '_ {
        let last = self.days as i64;
        let index = |date: NaiveDate| (date - self.first).num_days().clamp(0, last) as usize;
        let (start, end) = (index(from), index(until + Days::new(1)));
        let days = self.cameras.get(camera);
        days.into_iter().flat_map(move |days| {
            (start..end.max(start)).map(move |i| Day {
                seen: days.visits[kind as usize][i],
                worked: days.worked[i],
                pictures: days.pictures[i],
            })
        })
    }

    /// The place's number on a date; beyond the season that of its nearest day.
    fn place_on(&self, days: &CameraDays, date: NaiveDate) -> u16 {
        let last = days.place.len().saturating_sub(1) as i64;
        let i = (date - self.first).num_days().clamp(0, last);
        days.place.get(i as usize).copied().unwrap_or(0)
    }

    /// The number of the place and setting at which a camera hung on a date, from 1.
    pub fn placement(&self, camera: usize, date: NaiveDate) -> u32 {
        let place = self
            .cameras
            .get(camera)
            .map(|days| self.place_on(days, date));
        u32::from(place.unwrap_or(0)) + 1
    }

    /// As a table, one row a camera, kind and date on which the camera worked, took a picture or was told of a visit. Columns:
    /// `property`, `season`, `camera`, `placement` (its number, from 1), `kind`, `date`, `light_visits`, `visits`,
    /// `worked`, `pictures`, `untagged`.
    ///
    /// # Errors
    /// Only when memory for the columns cannot be had.
    pub fn table(&self, property: &str, names: &[&str], start: DayOfYear) -> Result<DataFrame> {
        let mut rows = Rows::default();
        for (days, name) in self.cameras.iter().zip(names) {
            for kind in Kind::ALL {
                for i in 0..self.days {
                    if days.is_told(i) {
                        rows.push(days, name, kind, i, self.first + Days::new(i as u64), start);
                    }
                }
            }
        }
        rows.into_table(property)
    }
}

fn camera_days(camera: &Camera, first: NaiveDate, days: usize) -> CameraDays {
    let index = |date: NaiveDate| usize::try_from((date - first).num_days()).ok();
    let mut places: Vec<NaiveDate> = Vec::new();
    let place = first.iter_days().take(days).map(|date| {
        let known = places.iter().position(|d| !camera.moved_between(*d, date));
        known.unwrap_or_else(|| {
            places.push(date);
            places.len() - 1
        }) as u16
    });
    let mut table = CameraDays {
        place: place.collect(),
        worked: vec![false; days],
        pictures: vec![PicturesOn::default(); days],
        visits: Kind::ALL.map(|_| vec![DayVisits::default(); days]),
    };
    for i in camera.effort.dates.iter().filter_map(|d| index(*d)) {
        table.worked[i] = true;
    }
    for (date, on) in camera.pictures_by_date() {
        if let Some(i) = index(date) {
            table.pictures[i] = on;
        }
    }
    for kind in Kind::ALL {
        for visit in camera.visits(kind) {
            if let Some(day) =
                index(visit.date()).and_then(|i| table.visits[kind as usize].get_mut(i))
            {
                day.visits += 1;
                day.legal += u32::from(visit.light.is_legal());
                day.counted += u32::from(visit.counted);
            }
        }
    }
    table
}

#[derive(Default)]
struct Rows {
    season: Vec<String>,
    camera: Vec<String>,
    placement: Vec<u32>,
    kind: Vec<&'static str>,
    date: Vec<NaiveDate>,
    light_visits: Vec<u32>,
    visits: Vec<u32>,
    worked: Vec<bool>,
    pictures: Vec<u32>,
    untagged: Vec<u32>,
}

impl Rows {
    fn push(
        &mut self,
        days: &CameraDays,
        name: &str,
        kind: Kind,
        i: usize,
        date: NaiveDate,
        start: DayOfYear,
    ) {
        self.season.push(DeerYear::of(date, start).name());
        let seen = days.visits[kind as usize][i];
        self.camera.push(name.to_owned());
        self.placement.push(u32::from(days.place[i]) + 1);
        self.kind.push(kind.word());
        self.date.push(date);
        self.light_visits.push(seen.legal);
        self.visits.push(seen.visits);
        self.worked.push(days.worked[i]);
        self.pictures.push(days.pictures[i].all as u32);
        self.untagged.push(days.pictures[i].untagged as u32);
    }

    fn into_table(self, property: &str) -> Result<DataFrame> {
        Ok(df!(
            "property" => vec![property; self.camera.len()],
            "season" => self.season,
            "camera" => self.camera,
            "placement" => self.placement,
            "kind" => self.kind,
            "date" => self.date,
            "light_visits" => self.light_visits,
            "visits" => self.visits,
            "worked" => self.worked,
            "pictures" => self.pictures,
            "untagged" => self.untagged,
        )?)
    }
}
