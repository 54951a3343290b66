//! What is going to happen on a practice property.

use anyhow::{Result, ensure};
use chrono::{Days, NaiveDate};
use chrono_tz::Tz;

use crate::property::Position;

/// What can be chosen.
#[derive(Debug, Clone)]
pub struct Options {
    /// Everything random follows from it.
    pub seed: u64,
    /// Length of the season.
    pub weeks: u32,
    /// Cameras, 2 to 12.
    pub cameras: usize,
    /// How busy the cameras are; 1 is an ordinary property.
    pub size: f64,
    /// The daylight share of mature bucks at the touched camera after the disturbance; before it is
    /// [`Plan::MATURE_SHARE`]. Give the same number for a season without an effect.
    pub share_after: f64,
    /// Write JPEG files; otherwise only `sightings.csv`.
    pub pictures: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            seed: 1,
            weeks: 12,
            cameras: 7,
            size: 1.0,
            share_after: 0.06,
            pictures: true,
        }
    }
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
    /// First day.
    pub first: NaiveDate,
    /// Last day.
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
    /// The daylight share of mature bucks where nothing disturbs them.
    pub const MATURE_SHARE: f64 = 0.55;
    /// The name of the property.
    pub const NAME: &str = "Sorrel Hollow (practice)";

    /// Lays the season out.
    ///
    /// # Errors
    /// When an option is out of range.
    pub fn of(options: &Options) -> Result<Self> {
        ensure!(
            (6..=52).contains(&options.weeks),
            "a practice season has 6 to 52 weeks, not {}.",
            options.weeks
        );
        ensure!(
            (2..=PLACES.len()).contains(&options.cameras),
            "a practice property has 2 to {} cameras, not {}.",
            PLACES.len(),
            options.cameras
        );
        ensure!(
            options.size > 0.0 && options.size <= 50.0,
            "the size must be over 0 and at most 50; 1 is an ordinary property."
        );
        ensure!(
            (0.0..=1.0).contains(&options.share_after),
            "the share after the disturbance is a fraction from 0 to 1."
        );
        let position = Position {
            latitude_deg: 43.1,
            longitude_deg: -90.7,
        };
        let days = u64::from(options.weeks) * 7;
        let first = NaiveDate::from_ymd_opt(2025, 8, 30).unwrap_or_default();
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
            blind_day: first + Days::new(days / 2),
            work_day: first + Days::new(days / 4),
            options: options.clone(),
        })
    }

    /// The daylight share of a planned visit.
    pub(super) fn share(
        &self,
        camera: usize,
        animal: super::season::Animal,
        date: NaiveDate,
    ) -> f64 {
        use super::season::Animal;
        let touched = camera == 0 && date >= self.blind_day;
        match animal {
            Animal::Buck { mature: true } if touched => self.options.share_after,
            Animal::Buck { mature: true } => Self::MATURE_SHARE,
            Animal::Buck { mature: false } => 0.55,
            Animal::Doe => 0.62,
            Animal::Other => 0.4,
            Animal::Nothing => 0.7,
        }
    }
}
