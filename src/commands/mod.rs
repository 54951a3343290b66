//! One file per command.

pub mod check;
pub mod clock;
pub mod conditions;
pub mod coop;
pub mod daylight;
pub mod debrief;
pub mod herd;
pub mod plan;
pub mod practice;
pub mod pull;
pub mod receive;
pub mod refile;
pub mod share;
pub mod shift;
pub mod stands;
pub mod survey;
pub mod tag;
pub mod years;

use std::collections::BTreeMap;
use std::io::{ErrorKind, Write};
use std::path::Path;

use anyhow::Result;
use chrono::{Local, NaiveDate};
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::{Value, json};

use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::property::Problem;
use crate::report::{rounded, whole_percent};

/// Reads a property and answers everything, with a progress bar and the problems on stderr.
fn debrief(property: &Path) -> Result<Debrief> {
    let progress = progress("reading pictures");
    let debrief = Debrief::of(property, today(), &progress)?;
    progress.finish_and_clear();
    if debrief.crawl.found() == 0 && debrief.season.cameras.is_empty() {
        eprintln!(
            "There is no picture and no sighting in this property yet. graylight pull CARD --to {} takes the pictures off a card.",
            property.display()
        );
    }
    for finding in debrief.wrong_clocks() {
        eprintln!(
            "The clock of {} is wrong ({}), so what is said of it is in doubt: graylight clock tells more.",
            finding.camera,
            finding.fault.word()
        );
    }
    const SHOWN: usize = 10;
    if debrief.problems.len() > SHOWN {
        eprintln!("{}", in_sum(&debrief.problems));
    }
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

/// Reads a property and tells one part of what it found, as JSON under its key or in lines.
fn tell(
    property: &Path,
    json: bool,
    (key, value): (&str, fn(&Debrief) -> Value),
    lines: fn(&Debrief) -> Result<()>,
) -> Result<()> {
    let debrief = debrief(property)?;
    if json { say_json(&json!({ key: value(&debrief) })) } else { lines(&debrief) }
}

/// How many problems there are, and in which files, most first.
fn in_sum(problems: &[Problem]) -> String {
    let mut files: BTreeMap<&str, usize> = BTreeMap::new();
    for problem in problems {
        // Of pictures only the camera's folder: there may be thousands.
        let folder = |p: &str| p.splitn(3, '/').take(2).map(str::len).sum::<usize>() + 1;
        let file = match problem.file.starts_with("cards/") && problem.file.matches('/').count() > 1
        {
            true => &problem.file[..folder(&problem.file)],
            false => problem.file.as_str(),
        };
        *files.entry(file).or_default() += 1;
    }
    let mut files: Vec<(&str, usize)> = files.into_iter().collect();
    files.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    const NAMED: usize = 4;
    let named: Vec<String> = files.iter().take(NAMED).map(|(f, n)| format!("{n} in {f}")).collect();
    let rest: usize = files.iter().skip(NAMED).map(|(_, n)| n).sum();
    let rest = if rest > 0 { format!(", {rest} elsewhere") } else { String::new() };
    format!("{} things could not be used: {}{rest}.", problems.len(), named.join(", "))
}

/// Prints facts as JSON, numbers as the findings file has them.
fn say_json(value: &impl serde::Serialize) -> Result<()> {
    let value = rounded(serde_json::to_value(value)?);
    say(serde_json::to_string_pretty(&value)?)
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

/// Ends the program with a word when the person stops it (Ctrl+C), instead of leaving them to wonder.
/// Only for work of which nothing is lost whenever it ends.
fn say_when_stopped(words: &'static str) {
    const STOPPED: i32 = 130;
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        if runtime.is_ok_and(|r| r.block_on(tokio::signal::ctrl_c()).is_ok()) {
            eprintln!("\n{words}");
            std::process::exit(STOPPED);
        }
    });
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
                whole_percent(s.value),
                whole_percent(s.low),
                whole_percent(s.high)
            )
        },
    )
}
