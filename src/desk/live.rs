//! The debrief in the window: made anew in the background while a page that shows it is open and something
//! has changed.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::{Duration, Instant};

use anyhow::Result;
use chrono::{DateTime, Local};
use indicatif::ProgressBar;
use serde::Deserialize;
use serde_json::{Value, json};

use super::server::{Answer, Failure, Reply};
use super::{Desk, held};
use crate::clock_check::CameraClock;
use crate::debrief::Debrief;
use crate::files::FileState;
use crate::report::{self, ReportFiles, ReportOptions, ShareOptions};

/// The files in the property's own folder as they were, and which reading of the pictures it was.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Mark(Vec<(PathBuf, Option<FileState>)>, u64);

impl Mark {
    fn of(desk: &Desk) -> Self {
        let (root, generation) = {
            let season = desk.season();
            (season.property.root.clone(), season.generation)
        };
        let entries = root.read_dir().into_iter().flatten().flatten();
        let mut files: Vec<PathBuf> =
            entries.map(|e| e.path()).filter(|p| says_something(p)).collect();
        files.sort();
        Self(FileState::of_each(files), generation)
    }
}

/// The tables, the settings and the land; not the journal, nor what keys do.
fn says_something(path: &Path) -> bool {
    let is = |e: &str| path.extension().is_some_and(|x| x.eq_ignore_ascii_case(e));
    let is_land = ["geojson", "json", "kml", "gpx"].into_iter().any(is);
    is("csv") || is_land || path.file_name().is_some_and(|n| n == "property.toml")
}

/// A debrief that was made.
struct Made {
    at: DateTime<Local>,
    mark: Mark,
    files: ReportFiles,
    debrief: Debrief,
}

#[derive(Default)]
struct State {
    /// When a page last asked.
    asked: Option<Instant>,
    making: bool,
    made: Option<Arc<Made>>,
    /// Why it could not be made, and of what.
    failed: Option<(Mark, String)>,
}

/// The debrief of the open property.
#[derive(Default)]
pub(super) struct Live(Mutex<State>);

impl Live {
    fn state(&self) -> MutexGuard<'_, State> {
        held(&self.0)
    }

    /// What the last debrief says of the clocks; `None` before there is one.
    pub fn clocks(&self) -> Option<Vec<CameraClock>> {
        self.with_debrief(|d| d.clocks.clone())
    }

    /// Asks the last debrief; `None` before there is one.
    pub fn with_debrief<T>(&self, ask: impl FnOnce(&Debrief) -> T) -> Option<T> {
        self.made().map(|made| ask(&made.debrief))
    }

    fn made(&self) -> Option<Arc<Made>> {
        self.state().made.clone()
    }
}

/// Makes the debrief whenever it is looked at and not up to date, until the property is closed.
pub(super) fn keep_making(desk: &Desk) {
    const STEP: Duration = Duration::from_millis(400);
    const LOOKED_AT: Duration = Duration::from_secs(20);
    while !desk.is_closed() {
        std::thread::sleep(STEP);
        let is_looked_at = desk.live.state().asked.is_some_and(|t| t.elapsed() < LOOKED_AT);
        if !is_looked_at || desk.pulling.is_busy() {
            continue;
        }
        let mark = Mark::of(desk);
        let is_known = {
            let state = desk.live.state();
            let made = state.made.as_ref().is_some_and(|m| m.mark == mark);
            made || state.failed.as_ref().is_some_and(|f| f.0 == mark)
        };
        if !is_known && desk.season().is_settled() {
            make(desk, mark);
        }
    }
}

fn make(desk: &Desk, mark: Mark) {
    desk.live.state().making = true;
    let root = desk.season().property.root.clone();
    let made = std::panic::catch_unwind(|| make_of(&root, desk.today));
    let mut state = desk.live.state();
    state.making = false;
    match made {
        Ok(Ok((files, debrief))) => {
            state.failed = None;
            state.made = Some(Arc::new(Made { at: Local::now(), mark, files, debrief }));
        }
        Ok(Err(e)) => state.failed = Some((mark, format!("{e:#}"))),
        Err(_) => state.failed = Some((mark, "the debrief failed".to_owned())),
    }
}

fn make_of(root: &Path, today: chrono::NaiveDate) -> Result<(ReportFiles, Debrief)> {
    let debrief = Debrief::of(root, today, &ProgressBar::hidden())?;
    let options = ReportOptions { with_places: false, with_photos: true };
    let files = report::files(&debrief, options)?;
    Ok((files, debrief))
}

/// What Home and the debrief's own page say of it.
pub(super) fn view(desk: &Desk) -> Value {
    let now = Mark::of(desk);
    let mut state = desk.live.state();
    state.asked = Some(Instant::now());
    let doubted = state.made.as_ref().map(|m| doubted_clocks(&m.debrief.clocks));
    json!({
        "making": state.making,
        "made": state.made.as_ref().map(|m| m.at.format("%-d %b %Y, %H:%M:%S").to_string()),
        "number": state.made.as_ref().map(|m| m.at.timestamp_millis()),
        "fresh": state.made.as_ref().is_some_and(|m| m.mark == now),
        "failed": state.failed.as_ref().filter(|f| f.0 == now).map(|f| f.1.clone()),
        "clocks_in_doubt": doubted,
    })
}

/// Whether the last debrief is of the files as they are now.
pub(super) fn is_fresh(desk: &Desk) -> bool {
    let now = Mark::of(desk);
    desk.live.made().is_some_and(|made| made.mark == now)
}

/// Cameras whose clocks have findings.
fn doubted_clocks(clocks: &[CameraClock]) -> Vec<String> {
    let doubted = clocks.iter().filter(|c| !c.findings.is_empty());
    doubted.map(|c| c.camera.clone()).collect()
}

/// `GET report/FILE`: the page, a plot or a table.
pub(super) fn file(desk: &Desk, name: &str) -> Result<Vec<u8>, Failure> {
    let missing = || Failure::Missing("there is no such file in the debrief".to_owned());
    let made = desk.live.made().ok_or_else(missing)?;
    let found = made.files.iter().find(|(file, _)| file == name);
    found.map(|(_, bytes)| bytes.clone()).ok_or_else(missing)
}

/// `POST api/report`: writes it into the property's reports folder.
pub(super) fn save(desk: &Desk) -> Answer {
    let root = desk.season_to_change()?.property.root.clone();
    let made = desk
        .live
        .made()
        .ok_or_else(|| Failure::Missing("the debrief is not made yet".to_owned()))?;
    let saved = report::write(&made.files, &root.join("reports"))?;
    let name = |path: &Path| path.file_name().map(|n| n.to_string_lossy().into_owned());
    let kept: Vec<_> = saved.kept.iter().map(|(_, is)| name(is)).collect();
    Reply::json(&json!({ "page": saved.page, "files": saved.files.len(), "kept": kept }))
}

/// What the page for others leaves out.
#[derive(Debug, Deserialize)]
pub(super) struct ForOthers {
    #[serde(default)]
    no_names: bool,
    #[serde(default)]
    no_neighbours: bool,
    #[serde(default)]
    no_photos: bool,
}

/// `GET for-others.html`
pub(super) fn for_others(desk: &Desk, asked: &ForOthers) -> Result<String, Failure> {
    let root = desk.season().property.root.clone();
    let debrief = Debrief::of(&root, desk.today, &ProgressBar::hidden())?;
    let options = ShareOptions {
        with_names: !asked.no_names,
        with_neighbours: !asked.no_neighbours,
        with_photos: !asked.no_photos && !asked.no_names,
    };
    Ok(report::one_page(debrief, options))
}
