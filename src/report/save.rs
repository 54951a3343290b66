//! Writing the report's files, each whole or not at all.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, ensure};

use super::folder::{Kept, ReportFolder, write_whole};
use super::{findings, html, plots, tables};
use crate::debrief::Debrief;

/// What was written.
#[derive(Debug, Clone)]
pub struct Saved {
    /// The page to open.
    pub page: PathBuf,
    /// Every file, in the order written.
    pub files: Vec<PathBuf>,
    /// What was in the way.
    pub kept: Vec<Kept>,
    /// A print of an earlier page lies beside it.
    pub has_old_print: bool,
}

/// What goes into a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReportOptions {
    /// Coordinates of the cameras.
    pub with_places: bool,
    /// Photographs in the page.
    pub with_photos: bool,
}

/// The files of a report with their names, in the order in which they are written; the page comes last.
pub type ReportFiles = Vec<(String, Vec<u8>)>;

const PAGE: &str = "report.html";

/// Writes `report.html`, the plots, the tables and `findings.json` into `folder`.
///
/// # Errors
/// When the folder or a file in it cannot be written.
pub fn save(debrief: &Debrief, folder: &Path, options: ReportOptions) -> Result<Saved> {
    ensure_is_none(folder)?;
    write(&files(debrief, options)?, folder)
}

/// Makes the files of a report.
///
/// # Errors
/// When a plot cannot be drawn or a table not be written.
pub fn files(debrief: &Debrief, options: ReportOptions) -> Result<ReportFiles> {
    let mut files = ReportFiles::new();
    let page = html::page(debrief, options)?;
    for plot in page.gallery.plots() {
        let svg = plots::standalone(&plot.svg);
        files.push((plot.file.clone(), svg.into_bytes()));
    }
    for (name, table) in tables::tables(debrief)? {
        files.push((name.to_owned(), tables::csv(&table)?));
    }
    let findings = findings::findings(debrief, options.with_places);
    let text = serde_json::to_string_pretty(&findings)? + "\n";
    files.push(("findings.json".to_owned(), text.into_bytes()));
    files.push((PAGE.to_owned(), page.html.into_bytes()));
    Ok(files)
}

fn ensure_is_none(folder: &Path) -> Result<()> {
    ensure!(
        !folder.join("property.toml").exists(),
        "{} is a property's own folder, in which the report would lie among its tables. Name another folder.",
        folder.display()
    );
    Ok(())
}

/// Writes the files of a report, each whole or not at all. What is in the way and is no report's is kept under
/// another name.
///
/// # Errors
/// When the folder is a property's own, or it or a file in it cannot be written.
pub fn write(report: &ReportFiles, folder: &Path) -> Result<Saved> {
    ensure_is_none(folder)?;
    std::fs::create_dir_all(folder)
        .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    let mut own = ReportFolder::of(folder);
    let mut kept: Vec<Kept> = own.make_room_for_list()?.into_iter().collect();
    for (name, bytes) in report {
        kept.extend(own.make_room(name, Some(bytes))?);
    }
    let has_old_print =
        report.iter().any(|(name, page)| name == PAGE && own.has_old_print(name, page));
    own.announce(report.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())))?;
    let mut files = Vec::new();
    for (name, bytes) in report {
        let path = folder.join(name);
        write_whole(&path, bytes)?;
        files.push(path);
    }
    own.tidy(&report.iter().map(|(name, _)| name.as_str()).collect())?;
    let page = folder.join(PAGE);
    Ok(Saved { page, files, kept, has_old_print })
}
