//! Packages by the standard that biologists exchange camera-trap data in, out of a property and into one.
//!
//! [`write_package`] makes the data package of Biodiversity Information Standards (TDWG): deployments, media,
//! observations, and tables of its own for what the standard has no place for. [`receive`] reads one, whoever
//! wrote it, and makes a property of it. Fields and constraints are stated once, in `schema`. [`dataset`] writes a
//! property's seasons into a data set of many. [`survey`] has the numbers that biologists expect of a season.

mod coordinates;
pub mod dataset;
mod features;
mod inward;
mod out;
mod schema;
pub mod survey;

use crate::property::Settings;

pub use coordinates::Coordinates;
pub use inward::{ReceiveOptions, Received, receive};
pub use out::{Files, PackageOptions, PackageWritten, write_package};

/// The version of the standard that packages are written by.
const VERSION: &str = "1.0.2";
/// Versions whose packages are read: they differ in descriptions, not in fields (from their change notes, from
/// memory).
const VERSIONS_READ: [&str; 4] = ["1.0", "1.0.0", "1.0.1", "1.0.2"];
/// What the standard's files of a version are named by.
const STANDARD: &str = "https://raw.githubusercontent.com/tdwg/camtrap-dp/";

/// How things are counted: a setting, its value and its unit.
fn settings_told(s: &Settings) -> [(&'static str, String, &'static str); 6] {
    [
        ("time_zone", s.time_zone.name().to_owned(), ""),
        ("legal_before_sunrise", s.legal_before_sunrise_min.to_string(), "min"),
        ("legal_after_sunset", s.legal_after_sunset_min.to_string(), "min"),
        ("visit_gap", s.gap_min.to_string(), "min"),
        ("mature_age", s.mature_age.to_string(), "years"),
        (
            "season_begins",
            format!("{:02}-{:02}", s.year_start.month, s.year_start.day),
            "month-day",
        ),
    ]
}
