//! Sunrise, sunset and twilight at a camera, and what light they make.

mod anchor;
mod day;
mod light;

pub use anchor::{MeanDay, SUN_DAY_MIN};
pub use day::{NoSunrise, SunDay, SunTable};
pub use light::Light;
