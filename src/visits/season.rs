//! A property's season: its cameras, their effort and their visits.

use std::collections::{BTreeMap, BTreeSet};

use alphanumeric_sort::compare_str;
use anyhow::Result;
use chrono::{Datelike, Days, NaiveDate};
use rayon::prelude::*;

use super::effort::{Effort, effort};
use super::gather::{Gathered, Seen, gather};
use super::visit::{Visit, fewest_counted, most_counted, visits};
use super::{About, DayTable, DeerYear, Kind, Told};
use crate::card::Crawl;
use crate::clock::{CameraCodes, Timeline};
use crate::property::{Ground, Placement, Position, Property, Settings, Stand, same_name};
use crate::sun::SunTable;
use crate::tags::{NumberedRows, Tagged, few_untagged};

/// One camera's season.
#[derive(Debug, Clone)]
pub struct Camera {
    /// Its name.
    pub name: String,
    /// Where it hung and when, from `cameras.csv`.
    pub placements: Vec<Placement>,
    /// The property's place, for a camera that has none of its own.
    home: Position,
    /// Pictures taken off it, copies left out.
    pub pictures: usize,
    /// The days it worked.
    pub effort: Effort,
    /// Dates on which a person was tagged at it.
    pub people_on: BTreeSet<NaiveDate>,
    /// In how many hours of a date other animals were seen.
    other_animals_on: BTreeMap<NaiveDate, usize>,
    /// Dates of the last pictures before its card was taken for a pull.
    pub card_taken_on: BTreeSet<NaiveDate>,
    /// Dates, by the clock as it is read now, whose times are in doubt: first and last.
    pub clock_in_doubt: Vec<(NaiveDate, NaiveDate)>,
    pictures_on: BTreeMap<NaiveDate, PicturesOn>,
    visits: [Vec<Visit>; Kind::ALL.len()],
    /// When the visits begin that are left if pictures without a tag join them; `None` where all have one.
    fewest: Option<[Vec<NaiveDate>; Kind::ALL.len()]>,
}

/// Pictures of one date.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PicturesOn {
    /// All.
    pub all: usize,
    /// Those without a tag.
    pub untagged: usize,
    /// Those on which a deer is tagged.
    pub with_deer: usize,
    /// Those of them in which there is probably nothing.
    pub probably_nothing: usize,
    /// The most visits of one kind, in the light that the daylight share counts, that the others without a tag can
    /// hold.
    pub untagged_visits: usize,
}

/// So few pictures without a tag are none to speak of, however few show deer.
const HANDFUL: usize = 5;

impl std::ops::AddAssign for PicturesOn {
    fn add_assign(&mut self, on: Self) {
        self.all += on.all;
        self.untagged += on.untagged;
        self.with_deer += on.with_deer;
        self.probably_nothing += on.probably_nothing;
        self.untagged_visits += on.untagged_visits;
    }
}

impl std::ops::Sub for PicturesOn {
    type Output = Self;

    fn sub(self, on: Self) -> Self {
        Self {
            all: self.all - on.all,
            untagged: self.untagged - on.untagged,
            with_deer: self.with_deer - on.with_deer,
            probably_nothing: self.probably_nothing - on.probably_nothing,
            untagged_visits: self.untagged_visits - on.untagged_visits,
        }
    }
}

impl std::iter::Sum for PicturesOn {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        let mut sum = Self::default();
        all.for_each(|on| sum += on);
        sum
    }
}

impl PicturesOn {
    /// Whether enough of the pictures are tagged for a rate: of all, and of those that show deer or may. Who has
    /// only swept away what shows nothing has tagged most of the pictures and none of the deer.
    pub fn are_tagged(self) -> bool {
        let may_show_deer = self.with_deer + self.untagged;
        self.mostly_have_a_tag()
            && (self.untagged < HANDFUL || few_untagged(self.untagged, may_show_deer))
    }

    /// Whether most of them have a tag, whatever it says.
    pub fn mostly_have_a_tag(self) -> bool {
        few_untagged(self.untagged, self.all)
    }
}

impl Camera {
    /// Its visits of a kind, in order of time.
    pub fn visits(&self, kind: Kind) -> &[Visit] {
        &self.visits[kind as usize]
    }

    /// Its visits of a kind that began on dates from one to another, both included.
    pub fn visits_between(&self, kind: Kind, from: NaiveDate, until: NaiveDate) -> &[Visit] {
        let all = self.visits(kind);
        let start = all.partition_point(|v| v.date() < from);
        let end = all.partition_point(|v| v.date() <= until);
        &all[start..end.max(start)]
    }

    /// The fewest visits of a kind that can have begun in the light that counts on dates from one to another, both
    /// included, whatever is in the pictures without a tag.
    pub fn counted_at_least(&self, kind: Kind, from: NaiveDate, until: NaiveDate) -> usize {
        match &self.fewest {
            Some(fewest) => {
                let within = fewest[kind as usize].iter();
                within.filter(|d| from <= **d && **d <= until).count()
            }
            None => {
                let visits = self.visits_between(kind, from, until).iter();
                visits.filter(|v| v.counted).count()
            }
        }
    }

    /// Whether a time on dates from one to another, both included, is in doubt.
    pub fn clock_doubtful_between(&self, from: NaiveDate, until: NaiveDate) -> bool {
        let mut stretches = self.clock_in_doubt.iter();
        stretches.any(|s| s.0 <= until && from <= s.1)
    }

    /// Hours in which other animals were seen, on dates from one to another, both included.
    pub fn other_animals_between(&self, (from, until): (NaiveDate, NaiveDate)) -> usize {
        self.other_animals_on.range(from..=until.max(from)).map(|(_, hours)| hours).sum()
    }

    /// Its pictures on dates from one to another, both included.
    pub fn pictures_between(&self, from: NaiveDate, until: NaiveDate) -> PicturesOn {
        let dates = self.pictures_on.range(from..=until.max(from));
        dates.map(|(_, on)| *on).sum()
    }

    /// Weeks, from Monday, on dates from one to another, of whose pictures too few are tagged; a handful without
    /// a tag is none to speak of.
    pub fn untagged_weeks(
        &self,
        from: NaiveDate,
        until: NaiveDate,
    ) -> Vec<(NaiveDate, PicturesOn)> {
        let mut weeks: BTreeMap<NaiveDate, PicturesOn> = BTreeMap::new();
        for (date, on) in self.pictures_on.range(from..=until.max(from)) {
            let monday = *date - Days::new(u64::from(date.weekday().num_days_from_monday()));
            let week = weeks.entry(monday).or_default();
            *week += *on;
        }
        weeks.into_iter().filter(|(_, on)| !on.are_tagged() && on.untagged >= HANDFUL).collect()
    }

    /// Its pictures, date by date.
    pub(super) fn pictures_by_date(&self) -> impl Iterator<Item = (NaiveDate, PicturesOn)> + '_ {
        self.pictures_on.iter().map(|(date, on)| (*date, *on))
    }

    /// First and last date of which anything is known.
    pub(super) fn dates(&self) -> Option<(NaiveDate, NaiveDate)> {
        let worked = self.effort.dates.first().zip(self.effort.dates.last());
        worked.map(|(first, last)| (*first, *last))
    }

    /// Its visits of a kind on dates from one to another, as far as it hung where it did on `as_on`: a camera
    /// that was moved is another camera.
    pub fn visits_at_place(
        &self,
        kind: Kind,
        (from, until): (NaiveDate, NaiveDate),
        as_on: NaiveDate,
    ) -> impl Iterator<Item = &Visit> {
        let visits = self.visits_between(kind, from, until).iter();
        visits.filter(move |v| !self.moved_between(v.date(), as_on))
    }

    /// The placement in force on a date, or the nearest in time.
    pub fn placement_on(&self, date: NaiveDate) -> Option<&Placement> {
        self.placements.iter().min_by_key(|p| p.days_away(date))
    }

    /// A camera at one place with other days and no pictures.
    pub(super) fn with_days(
        &self,
        name: String,
        effort: Effort,
        kind: Kind,
        of_kind: Vec<Visit>,
    ) -> Self {
        let mut visits: [Vec<Visit>; Kind::ALL.len()] = Default::default();
        visits[kind as usize] = of_kind;
        Self {
            name,
            placements: Vec::new(),
            home: self.home,
            pictures: 0,
            effort,
            people_on: BTreeSet::new(),
            other_animals_on: BTreeMap::new(),
            card_taken_on: BTreeSet::new(),
            clock_in_doubt: Vec::new(),
            pictures_on: BTreeMap::new(),
            visits,
            fewest: None,
        }
    }

    /// Where it hung on a date, if `cameras.csv` says.
    pub fn place_on(&self, date: NaiveDate) -> Option<Position> {
        self.placement_on(date).and_then(|p| p.position)
    }

    /// Where it hung on a date; the property's own place where `cameras.csv` does not say.
    pub fn position_on(&self, date: NaiveDate) -> Position {
        self.place_on(date).unwrap_or(self.home)
    }

    /// What it looked at, placement by placement.
    pub fn setting_words(&self) -> String {
        let mut words: Vec<&str> = self.placements.iter().map(|p| p.setting.as_str()).collect();
        words.retain(|w| !w.is_empty());
        words.dedup();
        words.join(", then ")
    }

    /// Whether the camera hung elsewhere, or looked at something else, on another date.
    pub fn moved_between(&self, one: NaiveDate, other: NaiveDate) -> bool {
        let what = |date| self.placement_on(date).map(|p| (p.position, p.setting.as_str()));
        what(one) != what(other)
    }
}

/// Everything that is known about a property's seasons, ready to be counted.
#[derive(Debug, Clone)]
pub struct Season {
    /// How things are counted.
    pub settings: Settings,
    /// Cameras by name, `Camera 2` before `Camera 10`.
    pub cameras: Vec<Camera>,
    /// All of them day by day.
    pub days: DayTable,
    /// Whom the answers are about.
    pub about: About,
    /// Known individuals, in order.
    pub names: Vec<String>,
    /// The deer years in which any camera worked, oldest first.
    pub years: Vec<DeerYear>,
    /// Fields, plots and the like, with what they were when.
    pub grounds: Vec<Ground>,
}

/// Dates whose times are in doubt, by camera: first and last.
pub type Doubts = [(String, (NaiveDate, NaiveDate))];

impl Season {
    /// Puts pictures, tags, clocks and light together. `nothing` says of the crawl's pictures whether there is
    /// probably nothing in them; where it is empty that is not known.
    ///
    /// # Errors
    /// Where the sun does not rise or set at a camera on a date with a visit.
    pub fn of(
        property: &Property,
        crawl: &Crawl,
        timeline: &Timeline,
        tagged: &Tagged,
        nothing: &[bool],
        doubts: &Doubts,
    ) -> Result<Self> {
        let rows = tagged.sightings.by_number()?;
        let known = known(&rows);
        let gathered = gather(property, crawl, timeline, tagged, nothing)?;
        let names = tagged.sightings.cameras.names();
        let mut all: Vec<(&String, Gathered)> = names.iter().zip(gathered).collect();
        // No sum and no draw may follow from the order of rows in a table.
        all.sort_by(|(a, _), (b, _)| compare_str(a, b).then_with(|| a.cmp(b)));
        let dates = |(name, gathered): &(&String, Gathered)| -> Vec<(NaiveDate, Position)> {
            let place = |date| (date, property.position(name, date));
            gathered.dates().map(place).collect()
        };
        let sun = SunTable::of(all.iter().flat_map(dates))?;
        let mut cameras = all
            .into_par_iter()
            .map(|(name, gathered)| {
                let seen = gathered.seen(&rows, property.settings.mature_age, &known);
                camera(property, name.clone(), gathered, seen, &sun)
            })
            .collect::<Result<Vec<_>>>()?;
        for camera in &mut cameras {
            let mine = doubts.iter().filter(|(name, _)| same_name(name, &camera.name));
            camera.clock_in_doubt = mine.map(|(_, dates)| *dates).collect();
        }
        Ok(Self {
            settings: property.settings.clone(),
            grounds: property.grounds.clone(),
            days: DayTable::of(&cameras),
            about: about(&cameras, years(&cameras, property).last().copied()),
            years: years(&cameras, property),
            names: known,
            cameras,
        })
    }

    /// The newest deer year, which the first answers are about; `None` where no camera ever worked.
    pub fn newest(&self) -> Option<DeerYear> {
        self.years.last().copied()
    }

    /// All cameras' pictures of a deer year.
    pub fn pictures_of(&self, year: DeerYear) -> PicturesOn {
        let of = |c: &Camera| c.pictures_between(year.first(), year.last());
        self.cameras.iter().map(of).sum()
    }

    /// A camera's place in the season.
    pub fn place_of(&self, name: &str) -> Option<usize> {
        self.cameras.iter().position(|c| c.name == name)
    }

    /// For every code of some cameras, the camera's place in the season.
    pub fn places_of(&self, codes: &CameraCodes) -> Vec<Option<usize>> {
        let place = |name: &String| self.place_of(name);
        codes.names().iter().map(place).collect()
    }

    /// First and last date of a deer year on which any camera worked.
    pub fn span_of(&self, year: DeerYear) -> Option<(NaiveDate, NaiveDate)> {
        let cameras = self.cameras.iter();
        let worked = cameras.flat_map(|c| c.effort.dates_between(year.first(), year.last()));
        Some((*worked.clone().min()?, *worked.max()?))
    }

    /// Every date from the first to the last of these.
    pub fn dates_of(&self, year: DeerYear) -> impl Iterator<Item = NaiveDate> + use<> {
        let span = self.span_of(year).into_iter();
        span.flat_map(|(first, last)| first.iter_days().take_while(move |d| *d <= last))
    }

    /// The cameras that watch a stand on a date: those that its row lists, else those within the property's `near_m` of
    /// it.
    pub fn watching(&self, stand: &Stand, date: NaiveDate) -> Vec<usize> {
        let is_listed = |c: &usize| {
            let name = &self.cameras[*c].name;
            stand.near.iter().any(|n| same_name(n, name))
        };
        let is_close = |c: &usize| {
            let place = self.cameras[*c].place_on(date);
            let both = stand.position.zip(place);
            both.is_some_and(|(a, b)| a.distance_m(b) <= self.settings.near_m)
        };
        let all = 0..self.cameras.len();
        match stand.near.is_empty() {
            true => all.filter(is_close).collect(),
            false => all.filter(is_listed).collect(),
        }
    }

    /// The deer year of a date.
    pub fn year_of(&self, date: NaiveDate) -> DeerYear {
        DeerYear::of(date, self.settings.year_start)
    }

    /// First and last date on which any camera worked.
    pub fn span(&self) -> Option<(NaiveDate, NaiveDate)> {
        self.days.span()
    }
}

fn years(cameras: &[Camera], property: &Property) -> Vec<DeerYear> {
    let dates = cameras.iter().flat_map(|c| &c.effort.dates);
    let year = |date: &NaiveDate| DeerYear::of(*date, property.settings.year_start);
    let years: BTreeSet<DeerYear> = dates.map(year).collect();
    years.into_iter().collect()
}

/// By the tags of the newest season; by those of all where it has no deer.
fn about(cameras: &[Camera], newest: Option<DeerYear>) -> About {
    let is_deer = |v: &&Visit| newest.is_some_and(|year| year.contains(v.date()));
    let mut all = cameras.iter().flat_map(|c| c.visits(Kind::Deer));
    let year = newest.filter(|_| all.any(|v| is_deer(&v)));
    let of = |kind: Kind| {
        let visits = cameras.iter().flat_map(move |c| c.visits(kind));
        visits.filter(move |v| year.is_none_or(|year| year.contains(v.date())))
    };
    let count = |kind: Kind| of(kind).count();
    let bucks = of(Kind::Buck);
    let kinds = [Kind::Buck, Kind::Doe, Kind::Fawn];
    About::of(Told {
        deer: count(Kind::Deer),
        of_a_kind: kinds.into_iter().map(count).sum(),
        bucks: count(Kind::Buck),
        aged: bucks.filter(|v| v.aged).count(),
        mature: count(Kind::MatureBuck),
    })
}

/// The names of known individuals, in order.
fn known(rows: &NumberedRows) -> Vec<String> {
    let names: BTreeSet<&str> = rows.names().collect();
    names.into_iter().map(str::to_owned).collect()
}

fn camera(
    property: &Property,
    name: String,
    mut gathered: Gathered,
    seen: Seen,
    sun: &SunTable,
) -> Result<Camera> {
    let placements: Vec<&Placement> = property.placements_of(&name).collect();
    let sun_on = |date| sun.get(date, property.position(&name, date));
    for date in most_counted(&gathered.untagged_at, &property.settings, sun_on)? {
        gathered.pictures_on.entry(date).or_default().untagged_visits += 1;
    }
    let mut found: [Vec<Visit>; Kind::ALL.len()] = Default::default();
    let mut fewest: [Vec<NaiveDate>; Kind::ALL.len()] = Default::default();
    let is_open = !gathered.untagged_at.is_empty();
    for (kind, seen) in seen.into_iter().enumerate() {
        if is_open {
            let untagged = &gathered.untagged_at;
            fewest[kind] = fewest_counted(&seen, untagged, &property.settings, sun_on)?;
        }
        found[kind] = visits(&seen, &property.settings, sun_on)?;
        found[kind].shrink_to_fit();
    }
    Ok(Camera {
        effort: effort(&gathered.active, &placements, |date| {
            // Known only where every picture of that day was looked at, and no person is in one; of
            // rows without pictures, where the person writes people down at all.
            let on = gathered.pictures_on.get(&date);
            let nobody = !gathered.people_on.contains(&date);
            nobody
                && match on {
                    Some(on) => on.untagged == 0 && gathered.runs_on.contains(&date),
                    None => !gathered.people_on.is_empty(),
                }
        }),
        placements: placements.into_iter().cloned().collect(),
        home: property.settings.position,
        pictures: gathered.pictures,
        people_on: gathered.people_on,
        other_animals_on: gathered.other_animals_on,
        card_taken_on: gathered.card_taken_on,
        clock_in_doubt: Vec::new(),
        pictures_on: gathered.pictures_on,
        visits: found,
        fewest: is_open.then_some(fewest),
        name,
    })
}
