//! `graylight plan PROPERTY`

use std::path::PathBuf;

use anyhow::{Result, ensure};
use chrono::{Datelike, Days, NaiveDate};
use clap::Args;

use crate::debrief::Debrief;
use crate::outlook::{Proof, prove};
use crate::property::{LogTable, Question, listed, parse_date};
use crate::report::{self, outlook_words};
use crate::shift::Role;

/// What next season's cameras could prove
///
/// Seasons are played from the days of the newest one, a loss is put into them, and the test that the debrief uses
/// looks for it.
#[derive(Args)]
pub struct Plan {
    /// The property's folder
    property: PathBuf,
    /// The cameras at which something may be lost, with ; between them; unless given, those near the newest disturbance
    #[arg(long)]
    near: Option<String>,
    /// The first day on which something may be different, such as 2026-10-01
    #[arg(long, value_parser = date)]
    from: Option<NaiveDate>,
    /// The day by which it should be known
    #[arg(long, value_parser = date)]
    by: Option<NaiveDate>,
    /// The part of the visits in light that may be lost
    #[arg(long, default_value_t = 0.5)]
    loss: f64,
    /// Seasons to play
    #[arg(long, default_value_t = 200)]
    seasons: usize,
    /// Write the question down in questions.csv, so that the debrief answers it when the day has come
    #[arg(long)]
    keep: bool,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

fn date(text: &str) -> Result<NaiveDate, String> {
    parse_date(text).ok_or_else(|| format!("\"{text}\" is not a date; write 2026-10-01"))
}

/// Unless the dates are given a question is about the middle of next season.
const DAYS: u64 = 30;

impl Plan {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        ensure!(
            self.loss > 0.0 && self.loss <= 1.0,
            "the loss is a part of the visits, over 0 and at most 1: 0.5 is half."
        );
        ensure!(
            (20..=20_000).contains(&self.seasons),
            "20 to 20000 seasons can be played, not {}.",
            self.seasons
        );
        let debrief = super::debrief(&self.property)?;
        let question = self.question(&debrief)?;
        let is_past = question.from <= question.asked;
        ensure!(
            !(self.keep && is_past),
            "{} is past: a question is written down before its days come. Name a later day with --from.",
            question.from
        );
        let proof =
            prove(&debrief.season, &debrief.property.disturbances, &question, self.seasons)?;
        if self.keep {
            keep(&debrief, &proof.question)?;
        }
        match self.json {
            true => super::say_json(&serde_json::json!({ "plan": report::proof(&proof) })),
            false => print(&debrief, &proof, self.keep),
        }
    }

    fn question(&self, debrief: &Debrief) -> Result<Question> {
        let from = self.from.or_else(|| next_middle(debrief));
        let by = self.by.or_else(|| Some(from? + Days::new(DAYS - 1)));
        let Some((from, by)) = from.zip(by) else {
            anyhow::bail!("No camera has worked yet, so there is nothing to play a season from.");
        };
        ensure!(
            (7..=120).contains(&((by - from).num_days() + 1)),
            "from {from} to {by} are {} days; 7 to 120 can be compared.",
            (by - from).num_days() + 1
        );
        let near = self.near.as_ref().map_or_else(|| near(debrief), |text| listed(text));
        ensure!(
            !near.is_empty(),
            "name the cameras at which something may be lost: --near \"North Fence\"."
        );
        Ok(Question {
            line: 0,
            asked: super::today(),
            from,
            by,
            near,
            loss: self.loss,
            chance: None,
        })
    }
}

/// The middle of the newest season's days, a year later, or as many years as it takes to lie ahead.
fn next_middle(debrief: &Debrief) -> Option<NaiveDate> {
    let year = debrief.season.newest()?;
    let (first, last) = debrief.season.span_of(year)?;
    let middle = first + Days::new((last - first).num_days() as u64 / 2);
    let today = super::today();
    (middle.year()..).find_map(|y| middle.with_year(y).filter(|d| *d > today))
}

/// The cameras near the newest disturbance that is looked at by itself.
fn near(debrief: &Debrief) -> Vec<String> {
    let Some(newest) = debrief.single_disturbances().max_by_key(|d| d.start) else {
        return Vec::new();
    };
    let about = debrief.season.about.kind;
    let rows = debrief.shifts.of(&newest.id, about);
    let near = rows.filter(|r| r.role == Role::Near);
    near.map(|r| debrief.camera_name(r.camera).to_owned()).collect()
}

/// Appended, and on the disk when this returns.
fn keep(debrief: &Debrief, question: &Question) -> Result<()> {
    let mut known = debrief.property.questions.iter();
    if known.any(|q| q.asks_the_same(question)) {
        anyhow::bail!("questions.csv has this question already; nothing was written.");
    }
    let table = LogTable::Questions;
    let mut ledger = table.open(&debrief.property.root)?;
    let columns = table.columns().iter().copied();
    let cells: Vec<(&str, String)> = columns.zip(question.cells()).collect();
    let line = ledger.line(&cells);
    ledger.append(&line)?;
    Ok(())
}

fn print(debrief: &Debrief, proof: &Proof, kept: bool) -> Result<()> {
    super::say(outlook_words::question(&proof.question))?;
    super::say(format_args!(
        "{} from the days of {}:",
        match proof.rows.first().map_or(0, |r| r.found.1) {
            1 => "1 season played".to_owned(),
            n => format!("{n} seasons played"),
        },
        debrief.season.newest().map_or_else(String::new, |y| y.name())
    ))?;
    for row in &proof.rows {
        super::say(format_args!(
            "  {:36} {:>3} of {} found, {}; without a loss {} called clear",
            row.addition.words(),
            row.found.0,
            row.found.1,
            super::percent(Some(row.chance)),
            row.false_alarms
        ))?;
    }
    super::say(outlook_words::helps(proof))?;
    if !proof.has_such_days {
        super::say(
            "No camera was at work on these days of the year, so the seasons are played from other days than those asked about.",
        )?;
    }
    if kept {
        super::say("Written down in questions.csv: the debrief answers it when the day has come.")?;
    }
    super::say("It holds if next season's deer come as unevenly as this one's did, and no more so.")
}
