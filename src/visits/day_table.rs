//! The season day by day: what every count, share and rate over days is taken from.

use std::ops::Range;

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

impl std::ops::Sub for DayVisits {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self {
            visits: self.visits - other.visits,
            legal: self.legal - other.legal,
            counted: self.counted - other.counted,
        }
    }
}

impl std::ops::AddAssign for DayVisits {
    fn add_assign(&mut self, other: Self) {
        self.visits += other.visits;
        self.legal += other.legal;
        self.counted += other.counted;
    }
}

/// What was counted up to the beginning of every date and to the end of the last, so that any dates in a row are one
/// subtraction.
#[derive(Debug, Clone)]
struct Running<T>(Vec<T>);

impl<T> Default for Running<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Copy + Default + std::ops::AddAssign + std::ops::Sub<Output = T>> Running<T> {
    fn of(days: impl IntoIterator<Item = T>) -> Self {
        let mut sum = T::default();
        let mut all = vec![sum];
        all.extend(days.into_iter().map(|day| {
            sum += day;
            sum
        }));
        Self(all)
    }

    fn on(&self, day: usize) -> T {
        self.over(&(day..day + 1))
    }

    fn over(&self, days: &Range<usize>) -> T {
        self.0[days.end] - self.0[days.start]
    }
}

/// One camera's dates.
#[derive(Debug, Clone, Default)]
struct CameraDays {
    /// The numbers of the places and settings at which it hung, each with its dates in a row.
    places: Vec<(u16, Range<usize>)>,
    nights: Running<u32>,
    pictures: Running<PicturesOn>,
    visits: [Running<DayVisits>; Kind::ALL.len()],
}

impl CameraDays {
    fn is_told(&self, i: usize) -> bool {
        let visits = || self.visits.iter().any(|of_kind| of_kind.on(i).visits > 0);
        self.nights.on(i) > 0 || self.pictures.on(i).all > 0 || visits()
    }

    fn day(&self, kind: Kind, i: usize) -> Day {
        Day { seen: self.visits[kind as usize].on(i), worked: self.nights.on(i) > 0 }
    }

    /// Writes down some of its dates one by one.
    fn fill(&self, days: &mut [Day], kind: Kind, dates: Range<usize>) {
        let ends = dates.start..=dates.end;
        let visits = self.visits[kind as usize].0[ends.clone()].windows(2);
        let nights = self.nights.0[ends].windows(2);
        for ((day, visits), nights) in days.iter_mut().zip(visits).zip(nights) {
            day.seen = visits[1] - visits[0];
            day.worked = nights[1] > nights[0];
        }
    }

    /// The number of the place on a date; beyond the season that of its nearest day.
    fn place_on(&self, day: i64) -> u16 {
        let begun = |(_, days): &&(u16, Range<usize>)| days.start as i64 <= day;
        let place = self.places.iter().take_while(begun).last();
        place.or(self.places.first()).map_or(0, |p| p.0)
    }

    /// The parts of some dates on which it hung at a place.
    fn at(&self, place: u16, days: Range<usize>) -> impl Iterator<Item = Range<usize>> + '_ {
        let there = self.places.iter().filter(move |p| p.0 == place);
        let part = move |p: &(u16, Range<usize>)| p.1.start.max(days.start)..p.1.end.min(days.end);
        there.map(part).filter(|part| !part.is_empty())
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
}

/// Some dates of a camera together, as far as it hung at one place.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DaysTogether {
    /// What it saw of the kind that was asked for.
    pub seen: DayVisits,
    /// Dates on which it is known to have worked.
    pub nights: usize,
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
        Self { first, days, cameras: cameras.iter().map(camera).collect() }
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
        let start = self.number(from);
        let count = usize::try_from(self.number(until) + 1 - start).unwrap_or(0);
        let mut days = vec![Day::default(); count];
        if let Some(here) = self.cameras.get(camera) {
            for part in here.at(here.place_on(self.number(as_on)), self.within((from, until))) {
                let within =
                    (part.start as i64 - start) as usize..(part.end as i64 - start) as usize;
                here.fill(&mut days[within], kind, part);
            }
        }
        days.into_iter()
    }

    /// The same dates added up.
    pub fn together(
        &self,
        camera: usize,
        kind: Kind,
        span: (NaiveDate, NaiveDate),
        as_on: NaiveDate,
    ) -> DaysTogether {
        let mut sum = DaysTogether::default();
        if let Some(here) = self.cameras.get(camera) {
            for part in here.at(here.place_on(self.number(as_on)), self.within(span)) {
                sum.seen += here.visits[kind as usize].over(&part);
                sum.nights += here.nights.over(&part) as usize;
                sum.pictures += here.pictures.over(&part);
            }
        }
        sum
    }

    /// Pictures that a camera took on a date.
    pub fn pictures(&self, camera: usize, date: NaiveDate) -> PicturesOn {
        let here = self.cameras.get(camera);
        let day = self.within((date, date)).next();
        here.zip(day).map_or_else(PicturesOn::default, |(here, day)| here.pictures.on(day))
    }

    /// How many days a date lies after the first.
    fn number(&self, date: NaiveDate) -> i64 {
        (date - self.first).num_days()
    }

    /// The numbers of those dates from one to another, both included, that are in the table.
    fn within(&self, (from, until): (NaiveDate, NaiveDate)) -> Range<usize> {
        let place = |day: i64| day.clamp(0, self.days as i64) as usize;
        let (start, end) = (place(self.number(from)), place(self.number(until) + 1));
        start..end.max(start)
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
        span: (NaiveDate, NaiveDate),
    ) -> impl Iterator<Item = Day> + '_ {
        let days = self.within(span);
        let here = self.cameras.get(camera).into_iter();
        here.flat_map(move |here| days.clone().map(move |i| here.day(kind, i)))
    }

    /// The number of the place and setting at which a camera hung on a date, from 1.
    pub fn placement(&self, camera: usize, date: NaiveDate) -> u32 {
        let here = self.cameras.get(camera);
        u32::from(here.map_or(0, |days| days.place_on(self.number(date)))) + 1
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
    let mut nights = vec![0; days];
    for i in camera.effort.dates.iter().filter_map(|d| index(*d)) {
        nights[i] = 1;
    }
    let mut pictures = vec![PicturesOn::default(); days];
    for (date, on) in camera.pictures_by_date() {
        if let Some(i) = index(date) {
            pictures[i] = on;
        }
    }
    let visits = |kind: Kind| {
        let mut seen = vec![DayVisits::default(); days];
        for visit in camera.visits(kind) {
            if let Some(day) = index(visit.date()).and_then(|i| seen.get_mut(i)) {
                *day += DayVisits {
                    visits: 1,
                    legal: u32::from(visit.light.is_legal()),
                    counted: u32::from(visit.counted),
                };
            }
        }
        Running::of(seen)
    };
    CameraDays {
        places: places(camera, first, days),
        nights: Running::of(nights),
        pictures: Running::of(pictures),
        visits: Kind::ALL.map(visits),
    }
}

/// Where a camera hung, in the order of its first date there; one that came back to a place is there once more.
fn places(camera: &Camera, first: NaiveDate, days: usize) -> Vec<(u16, Range<usize>)> {
    let mut known: Vec<NaiveDate> = Vec::new();
    let mut places: Vec<(u16, Range<usize>)> = Vec::new();
    for (i, date) in first.iter_days().take(days).enumerate() {
        let place = known.iter().position(|d| !camera.moved_between(*d, date));
        let place = place.unwrap_or_else(|| {
            known.push(date);
            known.len() - 1
        }) as u16;
        match places.last_mut().filter(|last| last.0 == place) {
            Some(last) => last.1.end = i + 1,
            None => places.push((place, i..i + 1)),
        }
    }
    places
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
        let (day, pictures) = (days.day(kind, i), days.pictures.on(i));
        self.camera.push(name.to_owned());
        self.placement.push(u32::from(days.place_on(i as i64)) + 1);
        self.kind.push(kind.word());
        self.date.push(date);
        self.light_visits.push(day.seen.legal);
        self.visits.push(day.seen.visits);
        self.worked.push(day.worked);
        self.pictures.push(pictures.all as u32);
        self.untagged.push(pictures.untagged as u32);
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A camera that hung elsewhere for a while and came back.
    fn moved_and_back() -> DayTable {
        let days = 30;
        let seen = |kind: Kind| {
            let day = |i: u32| DayVisits {
                visits: (i * 7 + kind as u32) % 5,
                legal: (i * 3) % 4,
                counted: (i * 3) % 4,
            };
            Running::of((0..days).map(day))
        };
        let camera = CameraDays {
            places: vec![(0, 0..10), (1, 10..17), (0, 17..30)],
            nights: Running::of((0..days).map(|i| u32::from(i % 6 > 0))),
            pictures: Running::of((0..days as usize).map(|i| PicturesOn {
                all: i,
                untagged: i / 3,
                ..PicturesOn::default()
            })),
            visits: Kind::ALL.map(seen),
        };
        DayTable {
            first: NaiveDate::from_ymd_opt(2024, 2, 20).unwrap(),
            cameras: vec![camera],
            days: days as usize,
        }
    }

    #[test]
    fn days_together_are_the_days_one_by_one() {
        let table = moved_and_back();
        let date = |n: i64| table.first + chrono::TimeDelta::days(n);
        for (from, until) in [(-5, 40), (0, 29), (8, 12), (11, 15), (16, 17), (-9, -2), (35, 50)] {
            for as_on in [-3, 4, 12, 20, 60] {
                let (span, as_on) = ((date(from), date(until)), date(as_on));
                let mut sum = DaysTogether::default();
                let days: Vec<Day> = table.between(0, Kind::Deer, span, as_on).collect();
                assert_eq!(days.len() as i64, until - from + 1);
                for (day, n) in days.into_iter().zip(from..) {
                    sum.seen += day.seen;
                    sum.nights += usize::from(day.worked);
                    let is_there = (10..17).contains(&n) == (as_on == date(12));
                    if is_there {
                        sum.pictures += table.pictures(0, date(n));
                    }
                }
                assert_eq!(table.together(0, Kind::Deer, span, as_on), sum, "{from} {until}");
            }
        }
        assert_eq!(table.between(0, Kind::Deer, (date(5), date(4)), date(5)).count(), 0);
        assert_eq!(table.between(7, Kind::Deer, (date(5), date(6)), date(5)).count(), 2);
    }
}
