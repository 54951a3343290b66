//! The season's answers put together.

mod answered;
mod behind;
mod daylight;
mod doubts;
mod known_deer;
mod lasting;
mod leader;
mod names;

use std::path::Path;

use anyhow::Result;
use chrono::NaiveDate;
use indicatif::ProgressBar;

pub use answered::Answered;
pub use behind::{Behind, Beside, Counted, Only};
pub use daylight::{DaylightAnswer, Usual};
pub use known_deer::{DeerSeason, KnownDeer, SeenIn, Staying};
pub use leader::{FEWEST_RANKED_NIGHTS, Leader};

use self::lasting::Lasting;
use crate::card::{self, Crawl};
use crate::clock::{self, Timeline};
use crate::clock_check::{self, CameraClock};
use crate::empty_check;
use crate::outlook::Outlook;
use crate::property::{Disturbance, Problem, Property};
use crate::shift::{self, GroundRow, Shifts, shifts};
use crate::tags::{self, Tagged};
use crate::view_check::{self, ViewChange};
use crate::visits::{DeerYear, Kind, Season};
use crate::weather::Weather;

/// A season, read, counted and compared.
#[derive(Debug)]
pub struct Debrief {
    /// What the person wrote.
    pub property: Property,
    /// What lay on the cards.
    pub crawl: Crawl,
    /// Which clocks can be believed.
    pub clocks: Vec<CameraClock>,
    /// Cameras that look at something else than before, without a row in `cameras.csv`.
    pub view_changes: Vec<ViewChange>,
    /// When every picture was taken.
    pub timeline: Timeline,
    /// Who was in it.
    pub tagged: Tagged,
    /// Visits and effort.
    pub season: Season,
    /// Who moves in legal light, where and when; the newest season first.
    pub daylight: Vec<DaylightAnswer>,
    /// The camera with the most visits in the light as things stand, if several can be compared.
    pub leader: Option<Leader>,
    /// Deer that have names; mature bucks first.
    pub known_deer: Vec<KnownDeer>,
    /// Before and after each disturbance.
    pub shifts: Shifts,
    /// Ground by ground, this season beside earlier ones.
    pub grounds: Vec<GroundRow>,
    /// What was asked beforehand.
    pub answered: Vec<Answered>,
    /// What it says for the next season.
    pub outlook: Outlook,
    /// Everything that could not be used, in the order of the files.
    pub problems: Vec<Problem>,
}

impl Debrief {
    /// Reads a property folder and answers everything.
    ///
    /// # Errors
    /// When the property cannot be read, or lies where the sun does not rise and set.
    pub fn of(root: &Path, today: NaiveDate, progress: &ProgressBar) -> Result<Self> {
        let property = Property::open(root)?;
        property.ensure_usable()?;
        let crawl = clock::settled(&property, card::crawl(&property, today, progress), today);
        let clocks = clock_check::check(&property, &crawl)?;
        let timeline = Timeline::of(&property, &crawl)?;
        let view_changes = view_check::view_changes(&property, &crawl, &timeline)?;
        crawl.memory.keep();
        let tagged = tags::read(&property, &crawl, &timeline, today)?;
        tagged.ensure_usable()?;
        let nothing = empty_check::explained(&property, &crawl, &timeline, &tagged)?;
        crawl.memory.keep();
        let in_doubt = doubts::of_clocks(&property, &clocks);
        let season = Season::of(&property, &crawl, &timeline, &tagged, &nothing, &in_doubt)?;
        let logged = shift::logged_dates(&season, &property.disturbances);
        let lasting = Lasting::of_all(&season, &logged);
        let daylight = daylight::answers(&season, &logged, &lasting);
        let weather = Weather::of(&property);
        let doings = shift::doings(&property, &season, &weather)?;
        let shifts = shifts(&season, &property.disturbances, &doings);
        let grounds = shift::grounds(&season, &property.grounds);
        let answered = answered::answered(&property, &season);
        let outlook = Outlook::of(&property, &tagged, &season, &weather)?;
        let leader = leader::leader(&season, &logged, &lasting);
        let known_deer = known_deer::known_deer(&property, &season, &tagged)?;
        let names = names::check(&property, &season, today);
        let deer = known_deer::doubts(&property, &known_deer);
        let apart = clock_check::disagreements(&property, &timeline)?;
        let moved: Vec<Problem> = view_changes.iter().map(doubts::moved).collect();
        let problems = [
            &property.problems,
            &names,
            &outlook.problems,
            &deer,
            &apart,
            &moved,
            &crawl.problems,
            &tagged.problems,
            &shifts.problems,
        ]
        .into_iter()
        .flatten()
        .cloned()
        .collect();
        Ok(Self {
            property,
            crawl,
            clocks,
            view_changes,
            timeline,
            tagged,
            season,
            daylight,
            leader,
            known_deer,
            shifts,
            grounds,
            answered,
            outlook,
            problems,
        })
    }

    /// The kinds of which there is a visit, and the one that the season is about: of the others there is
    /// nothing to say.
    pub fn kinds_seen(&self) -> impl Iterator<Item = Kind> + '_ {
        let seen = |kind: &Kind| self.daylight_of(None, *kind).is_some_and(|a| a.visits > 0);
        let about = self.season.about.kind;
        Kind::ALL.into_iter().filter(move |k| *k == about || seen(k))
    }

    /// Disturbances that are looked at one by one: what happened often under the same words is one exposure.
    pub fn single_disturbances(&self) -> impl Iterator<Item = &Disturbance> {
        let disturbances = self.property.disturbances.iter();
        disturbances.filter(|d| self.shifts.plan(&d.id).is_some())
    }

    /// Every clock fault that is not settled yet.
    pub fn wrong_clocks(&self) -> impl Iterator<Item = &clock_check::Finding> {
        self.clocks.iter().flat_map(|c| &c.findings)
    }

    /// The first of the days by which the leading camera is told; `None` where that is the whole season.
    pub fn leader_since(&self) -> Option<NaiveDate> {
        let first = self.season.newest().map(DeerYear::first);
        let since = self.leader.map(|l| l.since);
        since.filter(|date| Some(*date) != first)
    }

    /// The name of a camera, or `*` for the whole property.
    pub fn camera_name(&self, camera: Option<usize>) -> &str {
        camera.map_or("*", |c| &self.season.cameras[c].name)
    }

    /// The answers of the newest season.
    pub fn daylight_now(&self) -> impl Iterator<Item = &DaylightAnswer> {
        let newest = self.season.newest();
        self.daylight.iter().filter(move |a| a.season == newest)
    }

    /// The newest season's daylight answer for a camera, or for the whole property.
    pub fn daylight_of(&self, camera: Option<usize>, kind: Kind) -> Option<&DaylightAnswer> {
        self.daylight_now().find(|a| a.camera == camera && a.kind == kind)
    }
}
