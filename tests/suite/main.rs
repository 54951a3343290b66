//! The product from the outside, and its numbers against sources outside the project.

mod browser;
mod cli;
mod clips_outside;
mod clock_check;
mod desk;
mod desk_files;
mod desk_support;
mod error_rates;
mod evening;
mod exif_outside;
mod findings;
mod keywords_outside;
mod mangled;
mod pull;
mod recovery;
mod saved;
mod scale;
mod second_year;
mod sorting;
mod statistics_outside;
mod sun_outside;
mod support;
mod tables;
mod ugly;
mod working;
