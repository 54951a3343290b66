//! Packages by the standard that biologists exchange camera-trap data in, out of a property and into one.
//!
//! [`write_package`] makes the data package of Biodiversity Information Standards (TDWG): deployments, media,
//! observations, and tables of its own for what the standard has no place for. [`receive`] reads one, whoever
//! wrote it, and makes a property of it. Fields and constraints are stated once, in `schema`.

mod coordinates;
mod features;
mod inward;
mod out;
mod schema;

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
