//! What the season says for the next one: which weather brings deer, where and when to sit, how much hangs on ground
//! that others decide over, and how many there are.

mod conditions;
mod half_days;
mod herd;
mod names;
mod plan;
mod stands;

use anyhow::Result;

use crate::property::{Problem, Property};
use crate::tags::Tagged;
use crate::visits::Season;
use crate::weather::Weather;

pub use conditions::{Belief, BeliefRow, Conditions, Held, Tally, WhyNot};
pub use half_days::{Half, is_usable};
pub use herd::{Herd, HerdCount};
pub use plan::{Addition, PlanRow, Proof, prove};
pub use stands::{BesideBest, FEWEST_FOR_SPAN, FEWEST_OUTINGS, StandRow, WindTally};

/// Everything that is said for the next season.
#[derive(Debug)]
pub struct Outlook {
    /// Which weather brings deer.
    pub conditions: Conditions,
    /// Where and when to sit.
    pub stands: Vec<StandRow>,
    /// Stands without a camera near them that worked in the newest season: nothing is known of them.
    pub unwatched: Vec<String>,
    /// Who is there; `None` where no camera ever worked.
    pub herd: Option<Herd>,
    /// Names in the tables that mean nothing.
    pub problems: Vec<Problem>,
}

impl Outlook {
    /// Works everything out.
    ///
    /// # Errors
    /// Where polars refuses a table, or the sun does not rise and set.
    pub fn of(
        property: &Property,
        tagged: &Tagged,
        season: &Season,
        weather: &Weather,
    ) -> Result<Self> {
        Ok(Self {
            conditions: conditions::conditions(season, weather)?,
            stands: stands::stands(property, season, weather)?,
            unwatched: stands::unwatched(property, season),
            herd: herd::herd(property, tagged, season)?,
            problems: names::check(property, season),
        })
    }
}
