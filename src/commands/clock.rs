//! `graylight clock PROPERTY`

use std::path::PathBuf;

use anyhow::{Context, Result, bail, ensure};
use chrono::{Days, NaiveDateTime, NaiveTime};
use clap::Args;
use serde_json::{Value, json};

use crate::card::Crawl;
use crate::clock_check::{self, Anchor, CameraClock, Finding, duration};
use crate::property::{
    ClockCorrection, CorrectionLine, Property, correction_lines, parse_date, parse_date_time,
    parse_moment, remove_correction, same_name,
};
use crate::{card, clock, report};

/// Which camera clocks are wrong, and by how much
#[derive(Args)]
pub struct Clock {
    /// The property's folder
    property: PathBuf,
    /// Put right what is found: rows for clocks.csv, or how cameras.csv says a clock is kept
    #[arg(long)]
    accept: bool,
    /// With --accept: only the findings with these numbers, as they are listed
    #[arg(long, value_name = "NUMBER", requires = "accept")]
    only: Vec<usize>,
    /// Only this camera
    #[arg(long, value_name = "NAME")]
    camera: Option<String>,
    /// A picture whose true time is known, such as one of a watch; two of them show a drift
    #[arg(long, value_name = "PICTURE", requires = "shows")]
    picture: Vec<String>,
    /// The true time in it, by the property's wall clock: 2025-10-18T06:30
    #[arg(long, value_name = "TIME", requires = "picture")]
    shows: Vec<String>,
    /// With --picture: the day or moment, by its own clock, at which the camera was set right
    #[arg(long, value_name = "TIME", requires = "picture")]
    set_right: Option<String>,
    /// List the rows of clocks.csv with their lines
    #[arg(long, conflicts_with_all = ["accept", "picture", "undo"])]
    rows: bool,
    /// Take the row on this line out of clocks.csv
    #[arg(long, value_name = "LINE", conflicts_with_all = ["accept", "picture"])]
    undo: Option<u64>,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

/// What became of a finding that was to be accepted.
struct Accepted<'a> {
    finding: &'a Finding,
    done: Result<String, String>,
}

impl Clock {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let property = Property::open(&self.property)?;
        property.ensure_usable()?;
        if let Some(line) = self.undo {
            return self.undo(line);
        }
        if self.rows {
            return self.list();
        }
        let progress = super::progress("reading pictures");
        let crawl = card::crawl(&property, super::today(), &progress);
        progress.finish_and_clear();
        let crawl = clock::settled(&property, crawl, super::today());
        let clocks = self.of_camera(clock_check::check(&property, &crawl)?)?;
        crawl.memory.keep();
        let known = self.known(&property, &crawl)?;
        let findings: Vec<&Finding> = match &known {
            Some(known) => vec![known],
            None => clocks.iter().flat_map(|c| &c.findings).collect(),
        };
        let accepted = match self.accept {
            true => self.accept(&property, &crawl, &findings)?,
            false => Vec::new(),
        };
        if self.json {
            return super::say_json(&self.told(&clocks, &known, &accepted));
        }
        if clocks.is_empty() && findings.is_empty() {
            return super::say(
                "There is no picture in this property yet. graylight pull CARD --to PROPERTY takes them off a card.",
            );
        }
        print(&clocks, &findings)?;
        let timeline = clock::Timeline::of(&property, &crawl)?;
        for disagreement in clock_check::disagreements(&property, &timeline)? {
            super::say(format_args!("\n{disagreement}"))?;
        }
        print_accepted(&accepted)?;
        if !self.accept && !findings.is_empty() {
            super::say(
                "\nNothing was changed. Check the evidence; --accept puts it right, --only 1 just the first. Pictures are never edited.",
            )?;
        }
        Ok(())
    }

    fn of_camera(&self, clocks: Vec<CameraClock>) -> Result<Vec<CameraClock>> {
        let Some(camera) = &self.camera else {
            return Ok(clocks);
        };
        let names: Vec<String> = clocks.iter().map(|c| c.camera.clone()).collect();
        let wanted: Vec<CameraClock> =
            clocks.into_iter().filter(|c| same_name(&c.camera, camera)).collect();
        ensure!(
            !wanted.is_empty(),
            "there is no picture of a camera {camera}. The cameras are {}.",
            names.join(", ")
        );
        Ok(wanted)
    }

    fn known(&self, property: &Property, crawl: &Crawl) -> Result<Option<Finding>> {
        if self.picture.is_empty() {
            return Ok(None);
        }
        ensure!(self.picture.len() == self.shows.len(), "give one --shows for each --picture.");
        let anchor = |(picture, shows): (&String, &String)| {
            let shown = parse_moment(shows, property.settings.date_order).with_context(|| {
                format!("\"{shows}\" is not a time. Write it as 2025-10-18T06:30.")
            })?;
            ensure!(
                shown.date() <= super::today() + Days::new(1),
                "{shown} has not come yet. Check the year."
            );
            Ok(Anchor { picture: picture.clone(), shows: shown })
        };
        let anchors: Vec<Anchor> =
            self.picture.iter().zip(&self.shows).map(anchor).collect::<Result<_>>()?;
        let set_right = self.set_right.as_deref().map(moment).transpose()?;
        clock_check::known_moment(property, crawl, &anchors, set_right).map(Some)
    }

    /// Applies the remedies that stand when they are judged on a copy.
    fn accept<'a>(
        &self,
        property: &Property,
        crawl: &Crawl,
        findings: &[&'a Finding],
    ) -> Result<Vec<Accepted<'a>>> {
        if let Some(n) = self.only.iter().find(|n| **n == 0 || **n > findings.len()) {
            bail!("there is no finding {n}; there are {}.", findings.len());
        }
        let is_wanted = |n: usize| self.only.is_empty() || self.only.contains(&(n + 1));
        let wanted = findings.iter().enumerate().filter(|(n, _)| is_wanted(*n));
        let mut accepted = Vec::new();
        for (_, finding) in wanted {
            let done = match clock_check::doubt(property, crawl, finding, super::today())? {
                Some(doubt) => Err(format!("{doubt}: use --picture and --shows.")),
                None => Ok(clock_check::accept(&self.property, finding)?),
            };
            accepted.push(Accepted { finding, done });
        }
        Ok(accepted)
    }

    fn told(
        &self,
        clocks: &[CameraClock],
        known: &Option<Finding>,
        accepted: &[Accepted],
    ) -> Value {
        let one = |a: &Accepted| {
            json!({
                "camera": a.finding.camera,
                "fault": a.finding.fault.word(),
                "done": a.done.as_ref().ok(),
                "not_done": a.done.as_ref().err(),
            })
        };
        json!({
            "clocks": report::clocks(clocks),
            "known": known.as_ref().map(report::clock_finding),
            "accepted": accepted.iter().map(one).collect::<Vec<_>>(),
        })
    }

    fn list(&self) -> Result<()> {
        let rows = correction_lines(&self.property)?;
        if self.json {
            let row = |r: &CorrectionLine| json!({ "line": r.line, "row": r.row });
            let value = json!({ "rows": rows.iter().map(row).collect::<Vec<_>>() });
            return super::say_json(&value);
        }
        if rows.is_empty() {
            return super::say("clocks.csv has no rows.");
        }
        rows.iter().try_for_each(|r| super::say(format_args!("line {}: {}", r.line, r.row)))
    }

    fn undo(&self, line: u64) -> Result<()> {
        let row = remove_correction(&self.property, line)?;
        match self.json {
            true => super::say_json(&json!({ "removed": row })),
            false => super::say(format_args!("Line {line} was taken out of clocks.csv: {row}")),
        }
    }
}

fn moment(text: &str) -> Result<NaiveDateTime> {
    parse_date_time(text)
        .or_else(|| parse_date(text).map(|d| d.and_time(NaiveTime::MIN)))
        .with_context(|| {
            format!("\"{text}\" is not a day or time. Write it as 2025-10-18 or 2025-10-18T06:30.")
        })
}

fn print_accepted(accepted: &[Accepted]) -> Result<()> {
    for a in accepted {
        match &a.done {
            Ok(done) => super::say(format_args!("\n{}: {done}", a.finding.camera))?,
            Err(why) => {
                super::say(format_args!("\n{}: nothing was changed; {why}", a.finding.camera))?
            }
        }
    }
    Ok(())
}

fn print(clocks: &[CameraClock], findings: &[&Finding]) -> Result<()> {
    for clock in clocks {
        let (light, dark) = clock.source.words();
        super::say(format_args!(
            "{:20} {} ({} pictures {light}, {} {dark}{})",
            clock.camera,
            clock.word(),
            clock.count(card::Shade::Colour),
            clock.count(card::Shade::Grey),
            clock.offset.filter(|_| clock.findings.is_empty() && clock.could_be_checked()).map_or(
                String::new(),
                |o| format!(
                    "; off by {:+.0} minutes, 95 % {:+.0} to {:+.0}",
                    report::whole(o.minutes),
                    report::whole(o.low),
                    report::whole(o.high)
                )
            )
        ))?;
    }
    for (n, f) in findings.iter().enumerate() {
        super::say(format_args!(
            "\n{}. {}: {}, {} by its own clock\n  because {}",
            n + 1,
            f.camera,
            f.fault.word(),
            span(f),
            f.evidence
        ))?;
        if let Some(doubt) = &f.doubt {
            super::say(format_args!("  but {doubt}"))?;
        }
        if let Some(setting) = f.setting {
            super::say(format_args!(
                "  remedy: write {} under clock in its rows of cameras.csv",
                setting.word()
            ))?;
        }
        for (n, row) in f.corrections().into_iter().enumerate() {
            // The evidence stands above.
            let short = ClockCorrection { why: f.fault.word().to_owned(), ..row };
            let cells = short.cells();
            let shown = || cells.iter().take(SHOWN);
            if n == 0 {
                let headings = csv_line(shown().map(|(heading, _)| *heading))?;
                super::say(format_args!("  for clocks.csv: {headings}"))?;
            }
            let end =
                short.until_shift_min.map_or(String::new(), |m| format!(" to {}", duration(m)));
            super::say(format_args!(
                "                  {}  ({}{end})",
                csv_line(shown().map(|(_, cell)| cell))?,
                duration(short.shift_min)
            ))?;
        }
    }
    Ok(())
}

fn span(f: &Finding) -> String {
    match f.from == f.until {
        true => f.from.to_string(),
        false => format!("{} to {}", f.from, f.until),
    }
}

/// The columns of a row that is shown.
const SHOWN: usize = 6;

/// A line as `clocks.csv` takes it.
fn csv_line<T: AsRef<str>>(cells: impl Iterator<Item = T>) -> Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(cells.map(|c| c.as_ref().as_bytes().to_vec()))?;
    let bytes = writer.into_inner()?;
    Ok(String::from_utf8_lossy(&bytes).trim_end().to_owned())
}
