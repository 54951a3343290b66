//! Mornings and evenings, which are what a person sits for.

use anyhow::Result;
use chrono::{DateTime, NaiveDate, Utc};
use serde::Deserialize;

use crate::property::Position;
use crate::sun::SunDay;
use crate::visits::{Season, Visit};

/// A half of a day, on either side of the sun's noon.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Half {
    /// Until the sun's noon.
    Morning,
    /// From it on.
    Evening,
}

impl Half {
    /// In the order of the day.
    pub const ALL: [Self; 2] = [Self::Morning, Self::Evening];

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Morning => "morning",
            Self::Evening => "evening",
        }
    }

    /// The half in which a visit falls.
    pub fn of(visit: &Visit) -> Self {
        match visit.is_morning() {
            true => Self::Morning,
            false => Self::Evening,
        }
    }

    /// The moment by which its weather is told: sunrise or sunset.
    ///
    /// # Errors
    /// Where the sun does not rise and set.
    pub fn moment(self, date: NaiveDate, place: Position) -> Result<DateTime<Utc>> {
        let sun = SunDay::on(date, place)?;
        Ok(match self {
            Self::Morning => sun.sunrise,
            Self::Evening => sun.sunset,
        })
    }
}

/// Whether a date of a camera can be counted: it worked, nearly all of its pictures are tagged, and its clock is
/// believed.
pub fn is_usable(season: &Season, camera: usize, date: NaiveDate) -> bool {
    let here = &season.cameras[camera];
    here.effort.dates.binary_search(&date).is_ok()
        && here.pictures_between(date, date).are_tagged()
        && !here.clock_doubtful_between(date, date)
}
