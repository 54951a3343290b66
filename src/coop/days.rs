//! One property's days: what each camera saw of each kind on each date, from two tables that must agree.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::{Context, Result, bail, ensure};
use chrono::{NaiveDate, TimeDelta};

use crate::visits::{Kind, PicturesOn};

/// A camera where it hung, on one date, and one kind, as the data set's days and visits tell it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DayRow {
    /// The deer year.
    pub season: String,
    /// The camera.
    pub camera: String,
    /// The number of the place at which it hung.
    pub placement: u32,
    /// The kind, in the word of files.
    pub kind: String,
    /// The date.
    pub date: NaiveDate,
    /// Whether it is known to have worked.
    pub worked: bool,
    /// Whether its clock is wrong, and not settled.
    pub clock_in_doubt: bool,
    /// Pictures taken.
    pub pictures: u32,
    /// Those without a tag.
    pub untagged: u32,
    /// Visits at all hours, as the days tell.
    pub visits: u32,
    /// Those in legal light, as the days tell.
    pub light_visits: u32,
    /// Visits at all hours, counted among the visits.
    pub seen: u32,
    /// Those in legal light, counted among the visits.
    pub legal: u32,
    /// Those that the daylight share counts.
    pub counted: u32,
}

/// One camera, where it hung, on one date, and one kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Day {
    /// Whether it worked and its times can be believed.
    pub is_sound: bool,
    /// Whether it worked and they cannot.
    pub is_in_doubt: bool,
    pub pictures: u32,
    pub untagged: u32,
    pub visits: u32,
    pub counted: u32,
}

/// A date of one place: what every kind shares, and visits with those counted, kind by kind.
#[derive(Debug, Clone, Copy, Default)]
struct PlaceDay {
    shared: Day,
    visits: [(u32, u32); Kind::ALL.len()],
}

/// The days of one place, from the first on.
#[derive(Debug, Clone, Default)]
struct Place {
    days: Vec<PlaceDay>,
}

/// A property's days, place by place; who the places are is forgotten.
#[derive(Debug, Clone)]
pub struct PropertyDays {
    first: NaiveDate,
    places: Vec<Place>,
    /// Each season's name with its first and last date.
    seasons: BTreeMap<String, (NaiveDate, NaiveDate)>,
}

/// More days than a record of trail cameras can have: a wrong date would ask for any amount of memory.
const LONGEST_DAYS: i64 = 366 * 60;

impl PropertyDays {
    /// Takes in the rows, in any order.
    ///
    /// # Errors
    /// When days and visits do not agree, a day is told twice, or a word or date cannot be.
    pub fn of(mut rows: Vec<DayRow>) -> Result<Self> {
        ensure!(!rows.is_empty(), "it has no days");
        rows.sort_by(|a, b| key(a).cmp(&key(b)));
        let dates = || rows.iter().map(|r| r.date);
        let (Some(first), Some(last)) = (dates().min(), dates().max()) else {
            bail!("it has no days");
        };
        let length = (last - first).num_days() + 1;
        ensure!(
            length <= LONGEST_DAYS,
            "its days are spread over more than sixty years: a date is wrong"
        );
        let names: BTreeSet<(&str, u32)> =
            rows.iter().map(|r| (r.camera.as_str(), r.placement)).collect();
        let number: BTreeMap<(&str, u32), usize> =
            names.into_iter().enumerate().map(|(i, n)| (n, i)).collect();
        let empty = Place { days: vec![PlaceDay::default(); length as usize] };
        let mut places = vec![empty; number.len()];
        let mut seasons: BTreeMap<String, (NaiveDate, NaiveDate)> = BTreeMap::new();
        ensure!(
            rows.windows(2).all(|pair| key(&pair[0]) != key(&pair[1])),
            "days tell of a camera, kind and date twice"
        );
        for row in &rows {
            let kind = checked(row)?;
            let span = seasons.entry(row.season.clone()).or_insert((row.date, row.date));
            *span = (span.0.min(row.date), span.1.max(row.date));
            let place = number[&(row.camera.as_str(), row.placement)];
            let day = (row.date - first).num_days() as usize;
            let day = &mut places[place].days[day];
            day.shared = Day {
                is_sound: row.worked && !row.clock_in_doubt,
                is_in_doubt: row.worked && row.clock_in_doubt,
                pictures: row.pictures,
                untagged: row.untagged,
                ..Day::default()
            };
            day.visits[kind as usize] = (row.visits, row.counted);
        }
        Ok(Self { first, places, seasons })
    }

    /// Whether a date lies between the first and the last.
    pub(super) fn tells_of(&self, date: NaiveDate) -> bool {
        let length = self.places.first().map_or(0, |p| p.days.len()) as i64;
        (0..length).contains(&(date - self.first).num_days())
    }

    /// How many places there are.
    pub(super) fn places(&self) -> usize {
        self.places.len()
    }

    /// The seasons with their first and last date.
    pub(super) fn seasons(&self) -> impl Iterator<Item = (&str, (NaiveDate, NaiveDate))> {
        self.seasons.iter().map(|(name, span)| (name.as_str(), *span))
    }

    /// The days of one place from one date to another, both included; nothing is known of those outside.
    pub(super) fn between(
        &self,
        place: usize,
        kind: Kind,
        (from, until): (NaiveDate, NaiveDate),
    ) -> impl Iterator<Item = Day> + '_ {
        let start = (from - self.first).num_days();
        let count = (until - from).num_days().max(-1) + 1;
        let days = &self.places[place].days;
        (start..start + count).map(move |i| {
            let day = usize::try_from(i).ok().and_then(|i| days.get(i));
            day.map_or_else(Day::default, |of| {
                let (visits, counted) = of.visits[kind as usize];
                Day { visits, counted, ..of.shared }
            })
        })
    }

    /// The pictures of some days.
    pub(super) fn pictures(days: &[Day]) -> PicturesOn {
        let all = days.iter().map(|d| d.pictures as usize).sum();
        PicturesOn {
            all,
            untagged: days.iter().map(|d| d.untagged as usize).sum(),
            // A data set does not say how many show deer.
            with_deer: all,
            ..PicturesOn::default()
        }
    }
}

type Key<'a> = (&'a str, u32, &'a str, NaiveDate);

fn key(row: &DayRow) -> Key<'_> {
    (&row.camera, row.placement, &row.kind, row.date)
}

/// A row's kind, if the row can be. What is wrong is said without a camera, a date or a count: it is told to others.
fn checked(row: &DayRow) -> Result<Kind> {
    let kind = Kind::parse(&row.kind).context("a kind in days is none that there is")?;
    ensure!(
        row.visits == row.seen && row.light_visits == row.legal,
        "days and visits do not agree. {AGAIN}"
    );
    ensure!(
        row.light_visits <= row.visits && row.counted <= row.visits && row.untagged <= row.pictures,
        "a part is more than the whole in days. {AGAIN}"
    );
    Ok(kind)
}

/// What helps where tables do not fit together.
pub(super) const AGAIN: &str = "Share the property into the data set again";

/// The date so many days later, or earlier.
pub(super) fn moved(date: NaiveDate, days: i64) -> Option<NaiveDate> {
    date.checked_add_signed(TimeDelta::days(days))
}
