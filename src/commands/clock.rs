//! `graylight clock PROPERTY`

use std::path::PathBuf;

use anyhow::{Context, Result};
use clap::Args;
use serde_json::json;

use crate::property::{ClockCorrection, Property, add_corrections, parse_date_time};
use crate::trust::{self, Finding};
use crate::{card, clock, report};

/// Which camera clocks are wrong, and by how much
#[derive(Args)]
pub struct Clock {
    /// The property's folder
    property: PathBuf,
    /// Write the proposed rows into clocks.csv
    #[arg(long)]
    accept: bool,
    /// Only this camera's rows
    #[arg(long, value_name = "NAME")]
    camera: Option<String>,
    /// A picture whose true time is known, such as one of a watch
    #[arg(long, value_name = "PICTURE", requires = "shows")]
    picture: Option<String>,
    /// The true time in it, by the property's wall clock: 2025-10-18T06:30
    #[arg(long, value_name = "TIME", requires = "picture")]
    shows: Option<String>,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

impl Clock {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let property = Property::open(&self.property)?;
        property.ensure_usable()?;
        let progress = super::progress("reading pictures");
        let mut crawl = card::crawl(&property, super::today(), &progress);
        progress.finish_and_clear();
        clock::settle(&property, &mut crawl, super::today());
        let clocks = trust::check(&property, &crawl)?;
        let known = self.known(&crawl)?;
        let wanted = |f: &&Finding| {
            self.camera
                .as_ref()
                .is_none_or(|c| crate::property::same_name(c, &f.camera))
        };
        let findings: Vec<&Finding> = match &known {
            Some(known) => vec![known],
            None => clocks
                .iter()
                .flat_map(|c| &c.findings)
                .filter(wanted)
                .collect(),
        };
        if self.json {
            let value = json!({ "clocks": report::clocks(&clocks) });
            super::say(serde_json::to_string_pretty(&value)?)?;
        } else {
            print(&clocks, &findings)?;
        }
        if self.accept {
            self.accept(&findings)?;
        } else if !findings.is_empty() && !self.json {
            super::say(
                "Nothing was changed. Check the evidence; --accept writes these rows into clocks.csv. Pictures are never edited.",
            )?;
        }
        Ok(())
    }

    fn known(&self, crawl: &card::Crawl) -> Result<Option<Finding>> {
        let (Some(picture), Some(shows)) = (&self.picture, &self.shows) else {
            return Ok(None);
        };
        let truth = parse_date_time(shows)
            .with_context(|| format!("\"{shows}\" is not a time. Write it as 2025-10-18T06:30."))?;
        trust::known_moment(crawl, picture, truth).map(Some)
    }

    fn accept(&self, findings: &[&Finding]) -> Result<()> {
        let (usable, not): (Vec<&Finding>, Vec<&Finding>) = findings
            .iter()
            .copied()
            .partition(|f| !f.corrected && f.shift_min.abs() >= 1.0);
        let rows: Vec<ClockCorrection> = usable.iter().map(|f| row(f)).collect();
        if !rows.is_empty() {
            add_corrections(&self.property, &rows)?;
        }
        super::say(format_args!(
            "{} rows were added to clocks.csv.",
            rows.len()
        ))?;
        for finding in not {
            super::say(format_args!(
                "{}: no row was added; {}",
                finding.camera,
                if finding.corrected {
                    "a row of clocks.csv covers these pictures already. Change that row."
                } else {
                    "the pictures do not say by how much. Use --picture and --shows."
                }
            ))?;
        }
        Ok(())
    }
}

fn row(finding: &Finding) -> ClockCorrection {
    ClockCorrection {
        camera: finding.camera.clone(),
        from: Some(finding.from),
        until: Some(finding.until),
        shift_min: finding.shift_min.round(),
        why: format!("{}: {}", finding.fault.word(), finding.evidence),
    }
}

fn print(clocks: &[trust::CameraClock], findings: &[&Finding]) -> Result<()> {
    for clock in clocks {
        super::say(format_args!(
            "{:20} {} ({} pictures in colour, {} grey{})",
            clock.camera,
            clock.word(),
            clock.count(trust::Shade::Colour),
            clock.count(trust::Shade::Grey),
            clock
                .offset
                .filter(|_| clock.findings.is_empty())
                .map_or(String::new(), |o| format!(
                    "; off by {:+.0} minutes, 95 % {:+.0} to {:+.0}",
                    o.minutes, o.low, o.high
                ))
        ))?;
    }
    for f in findings {
        super::say(format_args!(
            "\n{}: {}, {} to {} by its own clock\n  because {}",
            f.camera,
            f.fault.word(),
            f.from,
            f.until,
            f.evidence
        ))?;
        if let Some(doubt) = &f.doubt {
            super::say(format_args!("  but {doubt}"))?;
        }
        super::say(format_args!("  row for clocks.csv: {}", csv_line(f)))?;
    }
    Ok(())
}

fn csv_line(f: &Finding) -> String {
    let moment = |t: chrono::NaiveDateTime| t.format("%FT%T").to_string();
    format!(
        "{},{},{},{:.0},{}",
        f.camera,
        moment(f.from),
        moment(f.until),
        f.shift_min,
        f.fault.word()
    )
}
