//! What next season's cameras could prove: seasons are played from days that were, a loss is put into them, and the
//! very test that will be used looks for it.

use anyhow::{Result, bail, ensure};
use chrono::{Datelike, Days, NaiveDate, NaiveTime};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use xxhash_rust::xxh3::xxh3_64;

use crate::measure::{Counts, Estimate, wilson};
use crate::property::{By, Disturbance, Question, same_name};
use crate::shift::{Verdict, asked, logged_dates};
use crate::visits::{Kind, Played, Season};

/// What more could be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Addition {
    /// Nothing: the cameras as they hang.
    Nothing,
    /// One more camera where the loss may be, as busy as those there.
    NearCamera,
    /// One more camera away from it, as busy as one of those there.
    Control,
    /// Two more weeks before it is to be known.
    TwoWeeks,
}

impl Addition {
    /// All, in the order of the table.
    pub const ALL: [Self; 4] = [Self::Nothing, Self::NearCamera, Self::Control, Self::TwoWeeks];

    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Nothing => "with the cameras as they hang",
            Self::NearCamera => "with one more camera near it",
            Self::Control => "with one more camera away from it",
            Self::TwoWeeks => "two weeks later",
        }
    }

    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Nothing => "as they hang",
            Self::NearCamera => "near camera",
            Self::Control => "control",
            Self::TwoWeeks => "two weeks",
        }
    }
}

/// How likely a loss would be found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanRow {
    /// What more is done.
    pub addition: Addition,
    /// Days compared on either side.
    pub days: u32,
    /// Seasons in which it was found, and played.
    pub found: (usize, usize),
    /// That as a part, with its range.
    pub chance: Estimate,
    /// Seasons in which a loss was called clear although none was put in.
    pub false_alarms: usize,
}

/// A question and what the cameras could answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Proof {
    /// The question, with its chance filled in.
    pub question: Question,
    /// What each addition would do.
    pub rows: Vec<PlanRow>,
    /// Whether a camera was at work on some of its days of the year in the season that is played from.
    pub has_such_days: bool,
}

/// Days that stay together when they are drawn: so long do deer mostly stay in one way.
const BLOCK_DAYS: usize = 7;
/// Fewer days of a season say too little of others.
const FEWEST_DAYS: usize = 28;
/// No record before the question is taken as longer than this.
const MOST_DAYS_BEFORE: u32 = 120;
const MORE_DAYS: u32 = 14;

/// Answers how likely a question would be answered, from the newest season's own days, played so many times.
///
/// # Errors
/// Where a camera is not known, all are near, or the newest season is too short.
pub fn prove(
    season: &Season,
    disturbances: &[Disturbance],
    question: &Question,
    times: usize,
) -> Result<Proof> {
    let stage = Stage::of(season, disturbances, question)?;
    let row = |addition: &Addition| stage.row(*addition, times);
    let rows: Vec<PlanRow> = Addition::ALL.iter().map(row).collect();
    let mut question = question.clone();
    question.chance = rows.first().map(|r| r.chance.value);
    let has_such_days = stage.has_such_days();
    Ok(Proof { question, rows, has_such_days })
}

/// What is played on.
struct Stage<'a> {
    season: &'a Season,
    question: &'a Question,
    kind: Kind,
    /// The dates that are played, without a gap.
    dates: Vec<NaiveDate>,
    /// The first date of the newest season.
    hung: NaiveDate,
    /// Cameras that worked on half of them, near ones first.
    cameras: Vec<usize>,
    near: usize,
}

/// The days since something was last logged near the cameras, where they are enough: what was before may not come
/// again.
fn as_it_is_now(
    season: &Season,
    disturbances: &[Disturbance],
    is_near: impl Fn(&usize) -> bool,
    dates: Vec<NaiveDate>,
) -> Vec<NaiveDate> {
    let logged = logged_dates(season, disturbances);
    let near = (0..season.cameras.len()).filter(is_near);
    let since = near.flat_map(|c| logged[c].clone()).filter(|d| dates.contains(d)).max();
    let left: Vec<NaiveDate> =
        dates.iter().copied().filter(|d| since.is_none_or(|s| *d >= s)).collect();
    if left.len() >= FEWEST_DAYS { left } else { dates }
}

impl<'a> Stage<'a> {
    fn of(
        season: &'a Season,
        disturbances: &[Disturbance],
        question: &'a Question,
    ) -> Result<Self> {
        let known = |name: &&String| season.cameras.iter().any(|c| same_name(&c.name, name));
        if let Some(unknown) = question.near.iter().find(|n| !known(n)) {
            let names: Vec<&str> = season.cameras.iter().map(|c| c.name.as_str()).collect();
            bail!("There is no camera {unknown}. There are: {}.", names.join(", "));
        }
        let Some(year) = season.newest() else {
            bail!("No camera has worked yet, so there is nothing to play a season from.");
        };
        let worked = |c: usize| {
            let effort = &season.cameras[c].effort;
            effort.dates_between(year.first(), year.last())
        };
        let dates: Vec<NaiveDate> = season.dates_of(year).collect();
        ensure!(
            dates.len() >= FEWEST_DAYS,
            "The newest season has {} days, and it takes {FEWEST_DAYS} to play another from.",
            dates.len()
        );
        let is_near = |c: &usize| {
            let name = &season.cameras[*c].name;
            question.near.iter().any(|n| same_name(n, name))
        };
        let hung = dates[0];
        let dates = as_it_is_now(season, disturbances, is_near, dates);
        let in_dates = |d: &&NaiveDate| **d >= dates[0];
        let at_work = |c: &usize| worked(*c).iter().filter(in_dates).count() * 2 >= dates.len();
        let last = dates[dates.len() - 1];
        let is_tagged =
            |c: &usize| season.cameras[*c].pictures_between(dates[0], last).are_tagged();
        let at_work: Vec<usize> = (0..season.cameras.len()).filter(at_work).collect();
        if let Some(open) = at_work.iter().find(|c| is_near(c) && !is_tagged(c)) {
            bail!(
                "Too little of what {} took from {} to {last} has a tag, so it is not known how often deer come there. Tag it, then ask again.",
                season.cameras[*open].name,
                dates[0]
            );
        }
        let (mut cameras, others): (Vec<usize>, Vec<usize>) =
            at_work.into_iter().filter(is_tagged).partition(is_near);
        ensure!(
            !cameras.is_empty(),
            "None of the cameras worked on half of the newest season's days."
        );
        ensure!(
            !others.is_empty(),
            "Every camera of which enough is tagged is near, so there would be none to compare with. Keep some cameras away from it, and tag theirs too."
        );
        let near = cameras.len();
        cameras.extend(others);
        Ok(Self { season, question, kind: season.about.kind, dates, hung, cameras, near })
    }

    fn has_such_days(&self) -> bool {
        let day = |d: NaiveDate| (d.month(), d.day());
        let mut asked = self.question.from.iter_days().take_while(|d| *d <= self.question.by);
        asked.any(|d| self.dates.iter().any(|known| day(*known) == day(d)))
    }

    fn row(&self, addition: Addition, times: usize) -> PlanRow {
        let days = self.question.days()
            + match addition {
                Addition::TwoWeeks => MORE_DAYS,
                _ => 0,
            };
        let is_found = |i: usize, loss: f64| {
            let verdict = self.play(addition, days, i, loss);
            verdict == Some(Verdict::ClearDrop)
        };
        let count = |loss: f64| {
            let played = (0..times).into_par_iter();
            played.filter(|i| is_found(*i, loss)).count()
        };
        let found = count(self.question.loss);
        let chance = wilson(Counts::new(found, times)).unwrap_or(Estimate {
            value: 0.0,
            low: 0.0,
            high: 1.0,
        });
        PlanRow { addition, days, found: (found, times), chance, false_alarms: count(0.0) }
    }

    /// One season, and what is said of it.
    fn play(&self, addition: Addition, days: u32, number: usize, loss: f64) -> Option<Verdict> {
        let near = self.cameras[..self.near].iter();
        let names: Vec<&str> = near.map(|c| self.season.cameras[*c].name.as_str()).collect();
        let mut rng = ChaCha8Rng::seed_from_u64(xxh3_64(names.join(";").as_bytes()));
        rng.set_stream(number as u64);
        let before = self.days_before(days);
        let length = (before + days) as usize;
        let shared = self.draw(length, &mut rng);
        let alone = self.draw(length, &mut rng);
        let thinned: u64 = rng.random();
        let (cameras, near) = self.with(addition, &mut rng);
        let played: Vec<Played> = cameras
            .iter()
            .enumerate()
            .map(|(i, (of, is_new))| Played {
                of: *of,
                name: format!("{i}"),
                dates: if *is_new { &alone } else { &shared },
            })
            .collect();
        let from = self.question.from;
        let mut thin = ChaCha8Rng::seed_from_u64(thinned);
        let first = from - Days::new(u64::from(before));
        let season = self.season.replayed(&played, first, self.kind, |camera, date| {
            !(camera < near && date >= from && thin.random_bool(loss))
        });
        let event = Disturbance {
            is_dated_by_pictures: false,
            id: "played".to_owned(),
            start: from.and_time(NaiveTime::MIN),
            end: None,
            by: By::NotSaid,
            what: "played".to_owned(),
            position: None,
            near: (0..near).map(|i| format!("{i}")).collect(),
        };
        asked(&season, &event, days, 1).map(|row| row.light_verdict)
    }

    /// The cameras that are played, and whether each is new; how many of them are near, the first ones.
    fn with(&self, addition: Addition, rng: &mut ChaCha8Rng) -> (Vec<(usize, bool)>, usize) {
        let mut cameras: Vec<(usize, bool)> = self.cameras.iter().map(|c| (*c, false)).collect();
        match addition {
            Addition::NearCamera => {
                let like = rng.random_range(0..self.near);
                cameras.insert(self.near, (self.cameras[like], true));
                (cameras, self.near + 1)
            }
            Addition::Control => {
                let like = rng.random_range(self.near..self.cameras.len());
                cameras.push((self.cameras[like], true));
                (cameras, self.near)
            }
            Addition::Nothing | Addition::TwoWeeks => (cameras, self.near),
        }
    }

    /// Days of the record before the question, were the cameras hung on the day of the year on which they were this
    /// season.
    fn days_before(&self, days: u32) -> u32 {
        let from = self.question.from;
        let in_year = |y: i32| self.hung.with_year(y).filter(|d| *d < from);
        let began = in_year(from.year()).or_else(|| in_year(from.year() - 1));
        let before = began.map_or(0, |b| (from - b).num_days() as u32);
        before.clamp(days, MOST_DAYS_BEFORE.max(days))
    }

    /// Whole weeks of the season one after the other, as they come, all cameras' together.
    fn draw(&self, length: usize, rng: &mut ChaCha8Rng) -> Vec<NaiveDate> {
        let mut drawn = Vec::with_capacity(length);
        while drawn.len() < length {
            let start = rng.random_range(0..self.dates.len());
            let block = BLOCK_DAYS.min(length - drawn.len());
            drawn.extend((0..block).map(|i| self.dates[(start + i) % self.dates.len()]));
        }
        drawn
    }
}
