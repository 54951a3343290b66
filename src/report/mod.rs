//! What a person and a program get to read: a page, plots, tables and the findings file.

mod clock_findings;
mod columns;
mod deer_findings;
mod digits;
mod file_names;
mod findings;
mod folder;
mod gallery;
mod html;
mod outlook_findings;
mod outlook_tables;
pub(crate) mod outlook_words;
mod pdf;
mod photos;
mod plots;
mod save;
mod shift_findings;
mod tables;
mod words;

pub use clock_findings::{clock_finding, clocks};
pub use deer_findings::deer;
pub(crate) use digits::rounded;
pub use findings::{cameras, daylight, findings, pictures};
pub use folder::Kept;
pub use gallery::clock_plot_name;
pub(crate) use html::page_of;
pub use html::{ShareOptions, one_page};
pub use outlook_findings::{conditions, grounds, herd, own, plan, proof, stands};
pub use pdf::print_pdf;
pub(crate) use plots::{AFTER, IntervalRow, MUTED, Scale, interval_rows};
pub use save::{ReportFiles, ReportOptions, Saved, files, save, write};
pub use shift_findings::{shifts, years};
pub(crate) use tables::harmless;
pub(crate) use words::{
    against_others, capital, counted, day, grouped, percent_range, whole, whole_percent,
};
