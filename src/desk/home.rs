//! Home: which property is open, how far things are, and which others there are.

use std::path::{Path, PathBuf};

use indicatif::ProgressBar;
use serde::Deserialize;
use serde_json::{Value, json};

use super::lost::LostRows;
use super::server::{Answer, Failure, Reply};
use super::window::Window;
use super::{Desk, live, pulling, volumes};
use crate::property::Property;
use crate::pull;

/// `GET api/home`
pub(super) fn home(window: &Window) -> Answer {
    let kept = window.known.read();
    let known: Vec<Value> = kept
        .properties
        .iter()
        .map(|k| json!({ "path": k.path, "name": k.name, "there": k.path.join("property.toml").is_file() }))
        .collect();
    let desk = window.desk();
    let mut cards = volumes::cards(&kept.card_folders);
    cards.retain(|c| !desk.as_ref().is_some_and(|d| d.pulling.has_pulled(c)));
    Reply::json(&json!({
        "open": desk.map(|desk| of_open(&desk)),
        "known": known,
        "problem": window.known.problem(),
        "cards_to_pull": cards.len(),
        "suggested": dirs::document_dir().or_else(dirs::home_dir),
    }))
}

fn of_open(desk: &Desk) -> Value {
    let report = live::view(desk);
    let mut season = desk.season();
    let refreshed = season.ensure_there().and_then(|()| season.refresh());
    let refreshed = refreshed.map_err(|e| format!("{e:#}"));
    let property = &season.property;
    let root = property.root.clone();
    json!({
        "path": std::path::absolute(&root).unwrap_or(root.clone()),
        "name": property.settings.name,
        "counts": season.counts(),
        "pulls": pulls(&root),
        "cameras": season.screens.cameras.len(),
        "without_place": without_place(&season.screens.cameras, property),
        "logged": property.disturbances.len(),
        "report": report,
        "saved_report": saved_report(&root),
        "lost": LostRows::of(&season.gone),
        "error": refreshed.err(),
    })
}

/// Cameras whose place nobody has written down.
fn without_place(cameras: &[String], property: &Property) -> Vec<String> {
    let has_place = |c: &&String| property.placements_of(c).any(|p| p.position.is_some());
    cameras.iter().filter(|c| !has_place(c)).cloned().collect()
}

/// How many cards were pulled, and when last.
fn pulls(root: &Path) -> Value {
    let all = pulling::pulls(root);
    let mut dates: Vec<_> =
        all.iter().filter_map(|name| Some(pull::pulled_at(name)?.date())).collect();
    dates.sort_unstable();
    let last = dates.last().copied();
    let on_last = dates.iter().filter(|d| Some(**d) == last).count();
    json!({
        "all": dates.len(),
        "last": last.map(|d| d.format("%-d %b %Y").to_string()),
        "on_last": on_last,
    })
}

fn saved_report(root: &Path) -> Option<String> {
    let facts = std::fs::metadata(root.join("reports/report.html")).ok()?;
    let at = chrono::DateTime::<chrono::Local>::from(facts.modified().ok()?);
    Some(at.format("%-d %b %Y, %H:%M").to_string())
}

/// A folder.
#[derive(Debug, Deserialize)]
pub(super) struct Which {
    path: PathBuf,
}

/// `POST api/open`
pub(super) fn open(window: &Window, which: &Which) -> Answer {
    if window.desk().is_some_and(|d| d.pulling.is_busy() && !d.is_of(&which.path)) {
        return Err(Failure::Wrong(
            "A card is being pulled. Wait until that is through.".to_owned(),
        ));
    }
    let opened = window.show(&which.path, &ProgressBar::hidden());
    let desk = opened.map_err(|e| Failure::Wrong(format!("{e:#}")))?;
    let name = desk.season().property.settings.name.clone();
    Reply::json(&json!({ "name": name }))
}

/// `POST api/forget`: the list forgets it; nothing of it is touched.
pub(super) fn forget(window: &Window, which: &Which) -> Answer {
    window.known.forget(&which.path);
    home(window)
}

/// Which folder is looked into; the person's own where none is named.
#[derive(Debug, Deserialize)]
pub(super) struct Folder {
    #[serde(default)]
    path: String,
}

/// `GET api/folders`: the folders in a folder, to choose one.
pub(super) fn folders(which: &Folder) -> Answer {
    let path = match which.path.trim() {
        "" => dirs::home_dir().unwrap_or_else(|| PathBuf::from("/")),
        text => PathBuf::from(text),
    };
    let path = std::path::absolute(&path).unwrap_or(path);
    let entries = path
        .read_dir()
        .map_err(|e| Failure::Wrong(format!("{} cannot be looked into: {e}.", path.display())))?;
    let is_shown = |e: &std::fs::DirEntry| {
        e.path().is_dir() && !e.file_name().as_encoded_bytes().starts_with(b".")
    };
    let mut names: Vec<String> = entries
        .flatten()
        .filter(is_shown)
        .filter_map(|e| e.file_name().into_string().ok())
        .collect();
    names.sort_by_key(|n| n.to_lowercase());
    const MOST: usize = 500;
    names.truncate(MOST);
    Reply::json(&json!({
        "path": path,
        "parent": path.parent(),
        "folders": names,
        "is_property": path.join("property.toml").is_file(),
        "separator": std::path::MAIN_SEPARATOR.to_string(),
    }))
}
