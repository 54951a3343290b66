//! Starting a property: its place, its time zone, its folder.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use indicatif::ProgressBar;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::server::{Answer, Failure, Reply};
use super::window::Window;
use crate::card;
use crate::files::{Lasting, is_free, sync_folder, unfit_for_a_folder, write_whole};
use crate::property::{Position, Settings, parse_place, place_of_land, zone_at};

/// Where the property is: one of these.
#[derive(Debug, Deserialize)]
pub(super) struct PlaceAsked {
    /// Coordinates.
    #[serde(default)]
    text: String,
    /// A file of the land.
    #[serde(default)]
    land: String,
    /// A folder or card with pictures.
    #[serde(default)]
    pictures: String,
}

/// `GET api/place`
pub(super) fn place(asked: &PlaceAsked) -> Answer {
    let wrong = |words: String| Failure::Wrong(words);
    let given = |text: &str| Some(text.trim().to_owned()).filter(|t| !t.is_empty());
    let position = if let Some(file) = given(&asked.land) {
        place_of_land(Path::new(&file)).map_err(|why| wrong(format!("{file}: {why}.")))?
    } else if let Some(folder) = given(&asked.pictures) {
        let found = card::place_of_pictures(Path::new(&folder));
        found.ok_or_else(|| {
            wrong(format!(
                "No picture in {folder} says where it was taken; most trail cameras do not write that. Type the coordinates instead."
            ))
        })?
    } else {
        parse_place(&asked.text).ok_or_else(|| {
            wrong(format!(
                "\"{}\" is not understood as a place. Write it as 43.1, -90.7 or 43°06'00\" N 90°42'00\" W: latitude first, west and south negative or with their letter.",
                asked.text.trim()
            ))
        })?
    };
    Reply::json(&json!({
        "latitude": position.latitude_deg,
        "longitude": position.longitude_deg,
        "words": in_words(position),
        "time_zone": zone_at(position),
    }))
}

/// `43.1000° north, 90.7000° west`: four digits are eleven metres.
fn in_words(position: Position) -> String {
    let side = |value: f64, positive: &str, negative: &str| {
        let word = if value < 0.0 { negative } else { positive };
        format!("{:.4}° {word}", value.abs())
    };
    let latitude = side(position.latitude_deg, "north", "south");
    format!("{latitude}, {}", side(position.longitude_deg, "east", "west"))
}

/// What the page sends to have a property made.
#[derive(Debug, Deserialize)]
pub(super) struct Wanted {
    name: String,
    latitude: f64,
    longitude: f64,
    time_zone: String,
    /// The folder in which the property's own folder is made.
    within: PathBuf,
    /// The name of that folder.
    folder: String,
}

/// `property.toml` as it begins.
#[derive(Serialize)]
struct Written<'a> {
    name: &'a str,
    latitude: f64,
    longitude: f64,
    time_zone: &'a str,
}

/// `POST api/start`: makes the property, and opens it.
pub(super) fn begin(window: &Window, wanted: &Wanted) -> Answer {
    let folder = check(wanted).map_err(Failure::Wrong)?;
    make(wanted, &folder)?;
    let desk = window.show(&folder, &ProgressBar::hidden())?;
    let name = desk.season().property.settings.name.clone();
    Reply::json(&json!({ "name": name, "path": folder }))
}

/// The folder to make, if all can be.
fn check(wanted: &Wanted) -> Result<PathBuf, String> {
    let name = wanted.name.trim();
    if name.is_empty() || name.chars().any(char::is_control) || name.chars().count() > 100 {
        return Err("Give the property a name of one line.".to_owned());
    }
    let folder = wanted.folder.trim();
    if let Some(why) = unfit_for_a_folder(folder) {
        return Err(format!("\"{folder}\" cannot be the name of a folder: {why}."));
    }
    if Position::new(wanted.latitude, wanted.longitude).is_none() {
        return Err("That place is not on the globe.".to_owned());
    }
    let text = settings(wanted).map_err(|e| format!("{e:#}"))?;
    Settings::parse(&text).map_err(|e| format!("{e:#}"))?;
    if !wanted.within.is_dir() {
        return Err(format!("There is no folder {}.", wanted.within.display()));
    }
    let folder = wanted.within.join(folder);
    if !is_free(&folder) && !holds_only_cards(&folder) {
        return Err(format!(
            "{} is there already and is not empty. Choose another name, or open it if it is a property. (A folder that holds nothing but pictures in a folder named cards can become one.)",
            folder.display()
        ));
    }
    Ok(folder)
}

/// Pictures that somebody has put where a property has them.
fn holds_only_cards(folder: &Path) -> bool {
    let Ok(entries) = folder.read_dir() else {
        return false;
    };
    let is_cards = |name: &std::ffi::OsStr| name == "cards";
    let is_hidden = |name: &std::ffi::OsStr| name.as_encoded_bytes().starts_with(b".");
    let mut names = entries.flatten().map(|e| e.file_name());
    names.all(|name| is_cards(&name) || is_hidden(&name)) && folder.join("cards").is_dir()
}

fn make(wanted: &Wanted, folder: &Path) -> Result<()> {
    let fail = || format!("cannot make {}", folder.display());
    std::fs::create_dir_all(folder.join("cards")).with_context(fail)?;
    let text = settings(wanted)?;
    let write = |file: &mut File| file.write_all(text.as_bytes());
    write_whole(&folder.join("property.toml"), Lasting::Synced, write, || Ok(()))
        .with_context(fail)?;
    sync_folder(&wanted.within).map_err(anyhow::Error::msg).with_context(fail)?;
    Ok(())
}

/// The text of `property.toml`.
fn settings(wanted: &Wanted) -> Result<String> {
    Ok(toml::to_string(&Written {
        name: wanted.name.trim(),
        latitude: wanted.latitude,
        longitude: wanted.longitude,
        time_zone: &wanted.time_zone,
    })?)
}
