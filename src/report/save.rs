//! Writing the report's files, each whole or not at all.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, ensure};

use super::{findings, html, plots, tables};
use crate::debrief::Debrief;
use crate::files::{self, Lasting};

/// What was written.
#[derive(Debug, Clone)]
pub struct Saved {
    /// The page to open.
    pub page: PathBuf,
    /// Every file, in the order written.
    pub files: Vec<PathBuf>,
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
        files.push((name.to_owned(), tables::csv(table)?));
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

/// Writes the files of a report, each whole or not at all.
///
/// # Errors
/// When the folder is a property's own, or it or a file in it cannot be written.
pub fn write(report: &ReportFiles, folder: &Path) -> Result<Saved> {
    ensure_is_none(folder)?;
    std::fs::create_dir_all(folder)
        .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    let mut files = Vec::new();
    for (name, bytes) in report {
        let path = folder.join(name);
        write_whole(&path, bytes)?;
        files.push(path);
    }
    remove_old_plots(folder, &files)?;
    let page = folder.join(PAGE);
    Ok(Saved { page, files })
}

/// Takes away plots that an earlier debrief wrote here and that this one does not have; every other file is
/// somebody else's.
fn remove_old_plots(folder: &Path, written: &[PathBuf]) -> Result<()> {
    for entry in folder.read_dir().into_iter().flatten().flatten() {
        let path = entry.path();
        let is_svg = path.extension().is_some_and(|e| e == "svg");
        if is_svg && !written.contains(&path) && is_ours(&path) {
            std::fs::remove_file(&path)
                .with_context(|| format!("cannot remove {}", path.display()))?;
        }
    }
    Ok(())
}

/// Whether a plot has a name that this program gives, and is as it was written.
fn is_ours(plot: &Path) -> bool {
    const KINDS: [&str; 7] = [
        "activity-",
        "changes-",
        "clock-",
        "placebo-",
        "ranking",
        "season",
        "sketch-",
    ];
    let is_plain = |name: &str| {
        let letter = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        KINDS.iter().any(|k| name.starts_with(k)) && name.chars().all(letter)
    };
    let name = plot.file_stem().and_then(|n| n.to_str());
    name.is_some_and(is_plain)
        && std::fs::read_to_string(plot).is_ok_and(|svg| plots::is_as_written(&svg))
}

/// A reader never meets half a file.
fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    let fail = || {
        format!(
            "cannot write {}. Is the disk full, or the file open elsewhere?",
            path.display()
        )
    };
    files::write_whole(path, Lasting::Remade, |f| f.write_all(bytes), || Ok(()))
        .with_context(fail)?;
    Ok(())
}
