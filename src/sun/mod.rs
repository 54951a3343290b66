//! Sunrise, sunset and twilight at a camera, and what light they make.

mod anchor;
mod day;
mod height;
mod light;

pub use anchor::{MeanDay, SUN_DAY_MIN};
pub use day::{NoSunrise, SunDay, SunTable};
pub use height::elevation_deg;
pub use light::Light;
