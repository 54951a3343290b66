//! Deer that have names: when and where each was seen, and how much of that in the light.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::{Days, NaiveDate};

use crate::clock::LocalTime;
use crate::measure::{Counts, DayCount, Estimate, share_in_clusters, share_interval};
use crate::property::{Cause, NamedDeer, Problem, Property, same_name};
use crate::sun::SunTable;
use crate::tags::{Sighting, Tagged, Who};
use crate::visits::{DeerYear, Season, Visit, visits_of_one};

/// One deer that has a name.
#[derive(Debug, Clone)]
pub struct KnownDeer {
    /// Its name.
    pub name: String,
    /// What it was tagged as; [`Who::Deer`] where not always as the same.
    pub who: Who,
    /// Not every tag has it as the same kind; a fawn that has grown up aside.
    pub is_mixed: bool,
    /// An age that a tag gives, and the one of that day by its year of birth, where they lie more than a year apart.
    pub other_age: Option<(f64, f64)>,
    /// Years, on the day it was last seen; `None` where nobody said.
    pub age: Option<f64>,
    /// Its visits with the cameras' indices, in order of time.
    pub visits: Vec<(usize, Visit)>,
    /// Its pictures, in order of time.
    pub pictures: Vec<SeenIn>,
    /// Season by season, oldest first.
    pub seasons: Vec<DeerSeason>,
    /// How it stayed in the season in which it was last seen.
    pub staying: Staying,
}

/// A picture of a known deer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenIn {
    /// Index of the picture in the crawl.
    pub picture: u32,
    /// Index of the camera.
    pub camera: usize,
    /// When.
    pub time: LocalTime,
}

/// A known deer in one season.
#[derive(Debug, Clone, PartialEq)]
pub struct DeerSeason {
    /// The season.
    pub year: DeerYear,
    /// Visits at all hours.
    pub visits: usize,
    /// Visits that the daylight share counts.
    pub counted: usize,
    /// The share, its range allowing for days on which it came more than once.
    pub share: Option<Estimate>,
}

/// Whether a deer lives there, by a stated rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Staying {
    /// Seen in at least half of the weeks in which cameras worked.
    Resident,
    /// Seen within two weeks and never else.
    PasserBy,
    /// Neither.
    Between,
    /// Fewer than three visits, or cameras worked for less than six weeks.
    CannotBeTold,
}

/// A resident is seen in so large a part of the weeks.
const RESIDENT_WEEKS: f64 = 0.5;
/// A passer-by is seen on no more days than this from first to last.
const PASSING_DAYS: i64 = 14;
const FEWEST_VISITS: usize = 3;
const FEWEST_WEEKS: usize = 6;

impl KnownDeer {
    /// The date on which it was first seen, and last.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        let (first, last) = (self.visits.first()?, self.visits.last()?);
        Some((first.1.date(), last.1.date()))
    }

    /// Cameras at which it was seen, with visits there; the most first.
    pub fn cameras(&self) -> Vec<(usize, usize)> {
        let mut at: BTreeMap<usize, usize> = BTreeMap::new();
        for (camera, _) in &self.visits {
            *at.entry(*camera).or_default() += 1;
        }
        let mut at: Vec<(usize, usize)> = at.into_iter().collect();
        at.sort_by_key(|(camera, visits)| (std::cmp::Reverse(*visits), *camera));
        at
    }

    /// Whether it is a buck at or over an age.
    pub fn is_mature(&self, mature_age: f64) -> bool {
        self.who == Who::Buck && self.age.is_some_and(|a| a >= mature_age)
    }
}

/// What is odd about the named deer and the rows of `deer.csv`.
pub(super) fn doubts(property: &Property, known: &[KnownDeer]) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut put = |cause: Cause| problems.push(Problem::file("deer.csv", cause));
    for row in &property.deer {
        let name = row.name.clone();
        let Some(deer) = known.iter().find(|d| same_name(&d.name, &row.name)) else {
            put(Cause::UnseenDeer { name });
            continue;
        };
        let unborn = row.born.filter(|_| {
            let first = deer.span().map(|s| s.0);
            first.is_some_and(|date| row.age_on(date).is_none())
        });
        if let Some(born) = unborn {
            put(Cause::SeenUnborn { name, born });
        } else if let Some((age, born)) = deer.other_age {
            put(Cause::AgesDiffer { name, ages: Box::new((age.to_string(), born.to_string())) });
        }
    }
    for deer in known.iter().filter(|d| d.is_mixed) {
        let name = deer.name.clone();
        problems.push(Problem::file("tags.csv", Cause::KindsDiffer { name }));
    }
    problems
}

/// Every named deer: mature bucks first, then other bucks, then the rest; those seen most often first.
///
/// # Errors
/// Where the sun does not rise or set on a date on which one was seen.
pub(super) fn known_deer(
    property: &Property,
    season: &Season,
    tagged: &Tagged,
) -> Result<Vec<KnownDeer>> {
    let places = season.places_of(&tagged.sightings.cameras);
    let mut named: BTreeMap<&str, Vec<(usize, Sighting)>> = BTreeMap::new();
    for row in tagged.sightings.rows()?.filter(|r| r.who.is_deer()) {
        if let (Some(name), Some(camera)) = (row.name, places[row.camera as usize]) {
            named.entry(name).or_default().push((camera, row));
        }
    }
    let mut sun = SunTable::default();
    let mut all = named
        .into_iter()
        .map(|(name, seen)| one(property, season, name, seen, &mut sun))
        .collect::<Result<Vec<_>>>()?;
    let mature = property.settings.mature_age;
    all.sort_by_key(|d| {
        let rank = (!d.is_mature(mature), d.who != Who::Buck);
        (rank, std::cmp::Reverse(d.visits.len()), d.name.clone())
    });
    Ok(all)
}

fn one(
    property: &Property,
    season: &Season,
    name: &str,
    mut seen: Vec<(usize, Sighting)>,
    sun: &mut SunTable,
) -> Result<KnownDeer> {
    seen.sort_by_key(|(_, s)| (s.time, s.picture));
    let mut moments: BTreeMap<usize, Vec<(LocalTime, u32)>> = BTreeMap::new();
    for (camera, s) in &seen {
        let moment = (s.time, s.picture.unwrap_or(u32::MAX));
        moments.entry(*camera).or_default().push(moment);
    }
    let mut visits = Vec::new();
    for (camera, moments) in moments {
        let at = visits_of_one(property, &season.cameras[camera].name, &moments, sun)?;
        visits.extend(at.into_iter().map(|v| (camera, v)));
    }
    visits.sort_by_key(|(camera, v)| (v.first, *camera));
    let first = seen[0].1.who;
    let is_alike = seen.iter().all(|(_, s)| s.who == first);
    let is_seen_as = |who: Who| seen.iter().any(|(_, s)| s.who == who);
    let row = property.deer.iter().find(|d| same_name(&d.name, name));
    let pictures = seen.iter().filter_map(|(camera, s)| {
        Some(SeenIn { picture: s.picture?, camera: *camera, time: s.time })
    });
    Ok(KnownDeer {
        name: name.to_owned(),
        who: if is_alike { first } else { Who::Deer },
        is_mixed: [Who::Buck, Who::Doe].iter().all(|who| is_seen_as(*who)),
        age: age(row, &seen),
        other_age: other_age(row, &seen),
        pictures: pictures.collect(),
        seasons: seasons(season, &visits),
        staying: staying(season, &visits),
        visits,
    })
}

/// By its year of birth, else the age that it was last tagged with.
fn age(row: Option<&NamedDeer>, seen: &[(usize, Sighting)]) -> Option<f64> {
    let last = seen.last()?.1.time.date();
    let said = || seen.iter().rev().find_map(|(_, s)| s.age);
    row.and_then(|d| d.age_on(last)).or_else(said)
}

/// See [`KnownDeer::other_age`].
fn other_age(row: Option<&NamedDeer>, seen: &[(usize, Sighting)]) -> Option<(f64, f64)> {
    const AT_MOST_YEARS: f64 = 1.0;
    let born = |s: &Sighting| row?.age_on(s.time.date());
    let mut ages = seen.iter().filter_map(|(_, s)| Some((s.age?, born(s)?)));
    ages.find(|(age, born)| (age - born).abs() > AT_MOST_YEARS)
}

fn seasons(season: &Season, visits: &[(usize, Visit)]) -> Vec<DeerSeason> {
    let year = |v: &(usize, Visit)| season.year_of(v.1.date());
    let of_year = |visits: &[(usize, Visit)]| {
        let days: Vec<DayCount> = visits
            .chunk_by(|a, b| a.1.date() == b.1.date())
            .map(|day| DayCount {
                hits: day.iter().filter(|v| v.1.counted).count() as f64,
                trials: day.len() as f64,
            })
            .collect();
        let counted = visits.iter().filter(|v| v.1.counted).count();
        let runs = share_in_clusters(&days);
        let effective = Counts::new(counted, visits.len()).divided_by(runs.design_effect);
        DeerSeason {
            year: year(&visits[0]),
            visits: visits.len(),
            counted,
            share: share_interval(effective, runs.freedom),
        }
    };
    visits.chunk_by(|a, b| year(a) == year(b)).map(of_year).collect()
}

/// Weeks are counted from the first day of the season on which a camera worked.
fn staying(season: &Season, visits: &[(usize, Visit)]) -> Staying {
    let Some(last) = visits.last().map(|v| v.1.date()) else {
        return Staying::CannotBeTold;
    };
    let year = season.year_of(last);
    let dates: Vec<NaiveDate> =
        visits.iter().map(|v| v.1.date()).filter(|d| year.contains(*d)).collect();
    let worked = season.cameras.iter().flat_map(|c| &c.effort.dates).filter(|d| year.contains(**d));
    let Some(start) = worked.clone().min() else {
        return Staying::CannotBeTold;
    };
    let week = |date: &NaiveDate| (*date - *start).num_days() / 7;
    let count = |weeks: &mut dyn Iterator<Item = i64>| {
        weeks.collect::<std::collections::BTreeSet<_>>().len()
    };
    let all = count(&mut worked.map(week));
    let seen = count(&mut dates.iter().map(week));
    if dates.len() < FEWEST_VISITS || all < FEWEST_WEEKS {
        return Staying::CannotBeTold;
    }
    if seen as f64 >= RESIDENT_WEEKS * all as f64 {
        return Staying::Resident;
    }
    match visits[0].1.date() + Days::new(PASSING_DAYS as u64) > last {
        true => Staying::PasserBy,
        false => Staying::Between,
    }
}
