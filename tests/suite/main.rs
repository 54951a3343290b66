//! The product from the outside, and its numbers against sources outside the project.

mod cli;
mod clips_outside;
mod clock_check;
mod error_rates;
mod exif_outside;
mod findings;
mod mangled;
mod pull;
mod recovery;
mod scale;
mod statistics_outside;
mod sun_outside;
mod support;
mod ugly;
mod working;
