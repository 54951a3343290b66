//! One file per command.

pub mod clock;
pub mod daylight;
pub mod debrief;
pub mod practice;
pub mod pull;
pub mod shift;
pub mod tag;

use std::io::{ErrorKind, Write};
use std::path::Path;

use anyhow::Result;
use chrono::{Local, NaiveDate};
use indicatif::{ProgressBar, ProgressStyle};

use crate::debrief::Debrief;
use crate::measure::Estimate;

/// Reads a property and answers everything, with a progress bar and the problems on stderr.
fn debrief(property: &Path) -> Result<Debrief> {
    let progress = progress("reading pictures");
    let debrief = Debrief::of(property, today(), &progress)?;
    progress.finish_and_clear();
    const SHOWN: usize = 10;
    for problem in debrief.problems.iter().take(SHOWN) {
        eprintln!("{problem}");
    }
    if debrief.problems.len() > SHOWN {
        eprintln!(
            "and {} more; `graylight debrief` lists all of them in set-aside.csv.",
            debrief.problems.len() - SHOWN
        );
    }
    Ok(debrief)
}

/// Prints a line of results. A reader that has seen enough, as `head` has, is no error.
fn say(line: impl std::fmt::Display) -> Result<()> {
    match writeln!(std::io::stdout(), "{line}") {
        Err(e) if e.kind() == ErrorKind::BrokenPipe => Ok(()),
        written => Ok(written?),
    }
}

fn today() -> NaiveDate {
    Local::now().date_naive()
}

/// A progress bar on stderr; silent where stderr is not a terminal.
fn progress(doing: &'static str) -> ProgressBar {
    let style = ProgressStyle::with_template("{msg} {bar:30} {pos}/{len} {eta}")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(0).with_style(style).with_message(doing)
}

/// `32 % (19–49 %)`
fn percent(share: Option<Estimate>) -> String {
    share.map_or_else(
        || "–".to_owned(),
        |s| {
            format!(
                "{:.0} % ({:.0}–{:.0} %)",
                s.value * 100.0,
                s.low * 100.0,
                s.high * 100.0
            )
        },
    )
}
