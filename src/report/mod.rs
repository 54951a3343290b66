//! What a person and a program get to read: a page, plots, tables and the findings file.

mod findings;
mod gallery;
mod html;
mod plots;
mod save;
mod tables;
mod words;

pub use findings::{cameras, daylight, findings, pictures, shifts};
pub use save::{Saved, save};
