//! What a person and a program get to read: a page, plots, tables and the findings file.

mod clock_findings;
mod digits;
mod file_names;
mod findings;
mod gallery;
mod html;
mod plots;
mod save;
mod shift_findings;
mod tables;
mod words;

pub use clock_findings::{clock_finding, clocks};
pub use findings::{cameras, daylight, findings, pictures};
pub use save::{Saved, save};
pub use shift_findings::{shifts, years};
pub(crate) use words::{against_others, whole_percent};
