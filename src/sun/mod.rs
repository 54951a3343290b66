//! Sunrise, sunset and twilight at a camera, and what light they make.

mod anchor;
mod day;
mod height;
mod light;
mod moon;
mod sky;

pub use anchor::{MeanDay, SUN_DAY_MIN};
pub use day::{NoSunrise, SunDay, SunTable};
pub use height::{bearing_deg, elevation_deg};
pub use light::Light;
pub use moon::Moon;
