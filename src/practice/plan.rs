//! What is going to happen on a practice property.

use anyhow::{Result, ensure};
use chrono::{
    DateTime, Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::{OffsetComponents, Tz};

use super::season::Animal;
use crate::property::Position;

/// What can be chosen.
#[derive(Debug, Clone)]
pub struct Options {
    /// Everything random follows from it.
    pub seed: u64,
    /// Length of each season.
    pub weeks: u32,
    /// Seasons in a row, the last one in 2025. With several, cameras are bought, retired, moved and
    /// turned, cards are formatted in between, and the disturbance comes in May before the last.
    pub seasons: u32,
    /// Beside a single season the one before it, in which nothing happened and the last camera was not there yet.
    pub with_last_season: bool,
    /// Weather, stands, sits and grounds, some of which do something to the deer.
    pub with_country: bool,
    /// Cameras, 2 to 12.
    pub cameras: usize,
    /// How busy the cameras are; 1 is an ordinary property.
    pub size: f64,
    /// The daylight share of mature bucks where nothing disturbs them.
    pub share_before: f64,
    /// The same at the touched camera after the disturbance. Give the same number for a season
    /// without an effect.
    pub share_after: f64,
    /// What the disturbance multiplies the visits of mature bucks at the touched camera by.
    pub rate_after: f64,
    /// What makes the season hard to read.
    pub trouble: Trouble,
    /// What is wrong with the clock of the second camera.
    pub clock: ClockFault,
    /// Write JPEG files; otherwise only `sightings.csv`.
    pub pictures: bool,
    /// Sides of a pixel of them, 1 to 4: with 2 a picture has a quarter of its pixels, and day is still told from
    /// night.
    pub pixel: u32,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            seed: 1,
            weeks: 12,
            seasons: 1,
            with_last_season: false,
            with_country: false,
            cameras: 7,
            size: 1.0,
            share_before: 0.55,
            share_after: 0.06,
            rate_after: 1.0,
            trouble: Trouble::None,
            clock: ClockFault::None,
            pictures: true,
            pixel: 1,
        }
    }
}

/// What makes a season hard to read without being an effect of any disturbance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Trouble {
    /// An ordinary season.
    #[default]
    None,
    /// At every camera the visits triple and the daylight share rises by 25 points, over the six
    /// weeks around the disturbance.
    StrongSeason,
    /// A resident buck at the touched camera: there for five days, away for nine, each time with
    /// habits of his own.
    Streaks,
    /// The touched camera is dead for a third of the days compared after the disturbance.
    DeadCamera,
    /// Clocks stay on standard time, as `cameras.csv` says, and daylight time ends on the very day
    /// of the disturbance.
    ClockChange,
}

/// What is wrong with a clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum ClockFault {
    /// Nothing.
    #[default]
    None,
    /// Morning and afternoon mistaken: twelve hours behind.
    HalfDay,
    /// Not put back when daylight time ended on 2 November 2025: one hour ahead from then on.
    NotReset,
    /// A hundred days behind.
    WrongDate,
    /// One year behind.
    WrongYear,
    /// Loses a minute a day.
    Drift,
    /// Falls back to 1 January 2019 a quarter through the season, and runs on from there.
    Reset,
}

/// One camera of the plan.
#[derive(Debug, Clone)]
pub struct PlannedCamera {
    /// Its name and folder.
    pub name: &'static str,
    /// What it looks at.
    pub setting: &'static str,
    /// Where it hangs.
    pub position: Position,
    /// How much busier with mature bucks than the others.
    pub mature_factor: f64,
}

/// A whole season before it happens.
#[derive(Debug, Clone)]
pub struct Plan {
    /// What was asked for.
    pub options: Options,
    /// First day of the last season.
    pub first: NaiveDate,
    /// Last day of the last season.
    pub last: NaiveDate,
    /// The property's zone.
    pub zone: Tz,
    /// The property's middle.
    pub position: Position,
    /// The cameras; the first is the one that the disturbance touches.
    pub cameras: Vec<PlannedCamera>,
    /// The day the neighbour's blind goes up.
    pub blind_day: NaiveDate,
    /// The day of the owner's own work, which changes nothing.
    pub work_day: NaiveDate,
}

/// The camera whose clock is wrong, if one is.
pub(super) const FAULTY: usize = 1;

/// The camera that is moved after the first of several seasons, and the one that is turned before the
/// last.
const MOVED: usize = 2;
const TURNED: usize = 3;

/// The day on which daylight time ended in 2025 (15 U.S.C. 260a).
fn last_of_daylight_time() -> NaiveDate {
    NaiveDate::from_ymd_opt(2025, 11, 2).unwrap_or_default()
}

const PLACES: [(&str, &str, f64, f64); 12] = [
    ("North Fence", "fence crossing", 0.0030, 0.0004),
    ("Walnut Draw", "trail", -0.0021, -0.0031),
    ("Clover Strip", "food plot", -0.0008, 0.0034),
    ("Spring Seep", "water", -0.0034, 0.0012),
    ("Turkey Roost Ridge", "ridge trail", -0.0012, -0.0012),
    ("Gravel Pit", "scrape", -0.0041, -0.0008),
    ("Sumac Corner", "field edge", -0.0028, 0.0039),
    ("Stone Pile", "trail", -0.0018, 0.0015),
    ("Lower Gate", "lane", -0.0047, 0.0021),
    ("Two Oaks", "mast", -0.0038, -0.0027),
    ("Fern Bottom", "bedding edge", -0.0051, -0.0019),
    ("Windmill", "food plot", -0.0056, 0.0030),
];

impl Plan {
    /// The name of the property.
    pub const NAME: &str = "Sorrel Hollow (practice)";

    /// Lays the season out.
    ///
    /// # Errors
    /// When an option is out of range.
    pub fn of(options: &Options) -> Result<Self> {
        ensure!(
            (2..=52).contains(&options.weeks),
            "a practice season has 2 to 52 weeks, not {}.",
            options.weeks
        );
        ensure!(
            (2..=PLACES.len()).contains(&options.cameras),
            "a practice property has 2 to {} cameras, not {}.",
            PLACES.len(),
            options.cameras
        );
        ensure!(
            (1..=6).contains(&options.seasons),
            "a practice property has 1 to 6 seasons, not {}.",
            options.seasons
        );
        ensure!(
            options.size > 0.0 && options.size <= 50.0,
            "the size must be over 0 and at most 50; 1 is an ordinary property."
        );
        ensure!(
            [options.share_before, options.share_after].iter().all(|s| (0.0..=1.0).contains(s)),
            "the daylight shares are fractions from 0 to 1."
        );
        ensure!(
            options.rate_after >= 0.0 && options.rate_after <= 10.0,
            "the rate after the disturbance is a factor from 0 to 10."
        );
        let position = Position { latitude_deg: 43.1, longitude_deg: -90.7 };
        let days = u64::from(options.weeks) * 7;
        let short_not_reset = options.clock == ClockFault::NotReset && options.weeks < 12;
        let first = match options.trouble {
            // Daylight time ended on 2 November 2025, which is to be in the middle of the season.
            Trouble::ClockChange => last_of_daylight_time() - Days::new(days / 2),
            _ if short_not_reset => last_of_daylight_time() - Days::new(days / 2),
            _ => NaiveDate::from_ymd_opt(2025, 8, 30).unwrap_or_default(),
        };
        Ok(Self {
            first,
            last: first + Days::new(days - 1),
            zone: chrono_tz::America::Chicago,
            position,
            cameras: PLACES[..options.cameras]
                .iter()
                .enumerate()
                .map(|(i, &(name, setting, north, east))| PlannedCamera {
                    name,
                    setting,
                    position: Position {
                        latitude_deg: position.latitude_deg + north,
                        longitude_deg: position.longitude_deg + east,
                    },
                    mature_factor: if i == 0 { 2.2 } else { 1.0 },
                })
                .collect(),
            blind_day: if options.seasons > 1 {
                NaiveDate::from_ymd_opt(first.year(), 5, 10).unwrap_or(first)
            } else {
                first + Days::new(days / 2)
            },
            work_day: first + Days::new(days / 4),
            options: options.clone(),
        })
    }

    /// First and last day of every season, oldest first.
    pub fn seasons(&self) -> Vec<(NaiveDate, NaiveDate)> {
        let before = |n: u32| {
            let year = |d: NaiveDate| d.with_year(d.year() - n as i32).unwrap_or(d);
            (year(self.first), year(self.last))
        };
        let last = u32::from(self.has_quiet_season());
        (0..self.options.seasons + last).rev().map(before).collect()
    }

    /// Whether the first season is one in which nothing happens.
    pub fn has_quiet_season(&self) -> bool {
        self.options.with_last_season && self.options.seasons == 1
    }

    /// Whether a camera hung in a season, 0 being the oldest: the last camera is bought after it, and
    /// the one before it retired.
    pub fn hung(&self, camera: usize, season: usize) -> bool {
        let last = self.cameras.len() - 1;
        match (season, self.options.seasons) {
            (0, 1) if self.has_quiet_season() => camera != last || last < 2,
            (_, 1) => true,
            (0, _) => camera != last || last < 2,
            _ => camera + 1 != last || last < 3,
        }
    }

    /// Which view a camera has in a season: it is another one once it was moved or turned.
    pub fn view(&self, camera: usize, season: usize) -> usize {
        let moved = camera == MOVED && season > 0 && !self.has_quiet_season();
        let turned = camera == TURNED
            && self.options.seasons > 1
            && season + 1 == self.options.seasons as usize;
        usize::from(moved || turned)
    }

    /// Where a camera hung in a season, and what it looked at.
    pub fn placed(&self, camera: usize, season: usize) -> (Position, String) {
        let planned = &self.cameras[camera];
        let (mut position, mut setting) = (planned.position, planned.setting.to_owned());
        if self.view(camera, season) > 0 {
            if camera == MOVED {
                position.latitude_deg -= 0.0015;
                position.longitude_deg += 0.0009;
            } else {
                setting += ", turned round";
            }
        }
        (position, setting)
    }

    /// The daylight share of a planned visit.
    pub(super) fn share(&self, camera: usize, animal: Animal, date: NaiveDate) -> f64 {
        let calm = match animal {
            Animal::Buck { mature: true } if self.touched(camera, date) => self.options.share_after,
            Animal::Buck { mature: true } => self.options.share_before,
            Animal::Buck { mature: false } => 0.55,
            Animal::Doe => 0.62,
            Animal::Other => 0.4,
            Animal::Nothing => 0.7,
        };
        match self.options.trouble {
            Trouble::StrongSeason => (calm + 0.25 * (self.swell(date) - 0.5)).clamp(0.0, 1.0),
            _ => calm,
        }
    }

    /// What a date multiplies an animal's visits by.
    pub(super) fn rate_factor(&self, camera: usize, animal: Animal, date: NaiveDate) -> f64 {
        let mature = animal == Animal::Buck { mature: true };
        let effect =
            if mature && self.touched(camera, date) { self.options.rate_after } else { 1.0 };
        let season = match self.options.trouble {
            Trouble::StrongSeason => 1.0 + 2.0 * self.swell(date),
            _ => 1.0,
        };
        let own = if mature { self.cameras[camera].mature_factor } else { 1.0 };
        effect * season * own
    }

    /// Whether a camera takes pictures on a date.
    pub(super) fn works(&self, camera: usize, date: NaiveDate) -> bool {
        let since = (date - self.blind_day).num_days();
        !(self.options.trouble == Trouble::DeadCamera && camera == 0 && (6..13).contains(&since))
    }

    /// How the cameras' clocks are kept, as `cameras.csv` has it.
    pub(super) fn clock_word(&self) -> &'static str {
        match self.options.trouble {
            Trouble::ClockChange => "standard",
            _ => "local",
        }
    }

    /// What a camera's clock shows at an instant.
    pub(super) fn camera_clock(&self, camera: usize, instant: DateTime<Utc>) -> NaiveDateTime {
        let local = instant.with_timezone(&self.zone);
        let right = match self.options.trouble {
            Trouble::ClockChange => local.naive_local() - local.offset().dst_offset(),
            _ => local.naive_local(),
        };
        if camera == FAULTY {
            self.reset_clock(instant).unwrap_or_else(|| self.wrong(right))
        } else {
            right
        }
    }

    /// What a clock shows that fell back to its factory date: it runs on from there and knows no
    /// daylight time.
    fn reset_clock(&self, instant: DateTime<Utc>) -> Option<NaiveDateTime> {
        let changed = self.zone.from_local_datetime(&self.battery_changed()).earliest()?;
        let since = instant - changed.to_utc();
        let factory = NaiveDate::from_ymd_opt(2019, 1, 1)?.and_time(NaiveTime::MIN);
        let is_reset = self.options.clock == ClockFault::Reset && since >= TimeDelta::zero();
        is_reset.then(|| factory + since)
    }

    fn wrong(&self, right: NaiveDateTime) -> NaiveDateTime {
        let days_in = (right.date() - self.first).num_days();
        let behind = match self.options.clock {
            ClockFault::None => TimeDelta::zero(),
            ClockFault::HalfDay => TimeDelta::hours(12),
            ClockFault::NotReset if right.date() >= last_of_daylight_time() => TimeDelta::hours(-1),
            ClockFault::NotReset => TimeDelta::zero(),
            ClockFault::WrongDate => TimeDelta::days(100),
            ClockFault::WrongYear => TimeDelta::days(365),
            ClockFault::Drift => TimeDelta::minutes(days_in),
            ClockFault::Reset => TimeDelta::zero(),
        };
        right - behind
    }

    /// Ten in the morning of the day after the owner's work.
    fn battery_changed(&self) -> NaiveDateTime {
        self.work_day.and_time(NaiveTime::MIN) + TimeDelta::hours(34)
    }

    fn touched(&self, camera: usize, date: NaiveDate) -> bool {
        camera == 0 && date >= self.blind_day
    }

    /// From 0 to 1 over the six weeks around the disturbance.
    fn swell(&self, date: NaiveDate) -> f64 {
        let since = (date - self.blind_day).num_days() as f64;
        ((since + 21.0) / 42.0).clamp(0.0, 1.0)
    }
}
