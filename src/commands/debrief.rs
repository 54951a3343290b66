//! `graylight debrief PROPERTY`

use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::report::{ReportOptions, findings, print_pdf, save};

/// The whole season as one report
#[derive(Args)]
pub struct Debrief {
    /// The property's folder
    property: PathBuf,
    /// Where the report goes; the property's own reports folder if not given
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
    /// Show coordinates in the report
    #[arg(long)]
    with_places: bool,
    /// Leave photographs out of the page
    #[arg(long)]
    no_photos: bool,
    /// Print the page into a PDF too, by an installed browser
    #[arg(long)]
    pdf: bool,
}

impl Debrief {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        let debrief = super::debrief(&self.property)?;
        let out = self.out.clone().unwrap_or_else(|| self.property.join("reports"));
        let options = ReportOptions { with_places: self.with_places, with_photos: !self.no_photos };
        let saved = save(&debrief, &out, options)?;
        let pdf = self.pdf.then(|| print_pdf(&saved)).transpose()?;
        let in_the_way = pdf.iter().filter_map(|(_, kept)| kept.as_ref());
        for (was, is) in saved.kept.iter().chain(in_the_way) {
            eprintln!(
                "{} was not as a debrief had left it. It is kept as {}.",
                was.display(),
                is.display()
            );
        }
        if saved.has_old_print && pdf.is_none() {
            eprintln!("report.pdf beside it is of an earlier debrief; --pdf prints this one.");
        }
        if self.json {
            let findings = findings(&debrief, self.with_places);
            super::say_json(&findings)?;
        } else {
            super::daylight::print(&debrief)?;
            super::say("")?;
            super::shift::print(&debrief)?;
            super::say("")?;
            super::say(format_args!("The whole debrief: {}", saved.page.display()))?;
            if let Some((pdf, _)) = &pdf {
                super::say(format_args!("The same to print: {}", pdf.display()))?;
            }
        }
        Ok(())
    }
}
