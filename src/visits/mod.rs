//! From sightings to the independent events that everything counts, and the effort behind them.

mod about;
mod day_table;
mod deer_year;
mod effort;
mod gather;
mod kind;
mod replay;
mod season;
mod visit;

pub use about::{About, Told, Why};
pub use day_table::{Day, DayTable, DayVisits, DaysTogether};
pub use deer_year::DeerYear;
pub use effort::{Effort, Silence};
pub use kind::Kind;
pub use replay::Played;
pub use season::{Camera, Doubts, PicturesOn, Season};
pub use visit::{Named, Visit, visits_of_one};
