//! What the person wrote: `property.toml`, `cameras.csv`, `disturbances.csv` and the other tables, the weather
//! and a file of the land, read and checked once.
//!
//! A file that cannot be understood at all stops the program, because everything after it would be
//! wrong. A row that cannot be used is put aside as a [`Problem`] and the rest goes on.

mod cameras;
mod cause;
mod clocks;
mod compass;
mod coordinates;
mod dates;
mod deer;
mod disturbances;
mod grid;
mod grounds;
mod land;
mod ledger;
mod log;
mod named;
mod numbers;
mod problem;
mod questions;
mod settings;
mod sheet;
mod sits;
mod stands;
mod text;
mod weather;
mod written;
mod zone;

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};

pub use cameras::{ClockSetting, Placement, set_clock};
pub use cause::{AtWork, Cause};
pub use clocks::{
    ClockCorrection, CorrectionLine, add_corrections, correction_lines, remove_correction,
};
pub use compass::CompassPoint;
pub use coordinates::parse_place;
pub use dates::{DateOrder, parse_date, parse_date_time, parse_day, parse_moment};
pub use deer::NamedDeer;
pub use disturbances::{By, Disturbance};
pub use grounds::{FenceSide, Ground};
pub use land::{LandFeature, LandSort, place_of_land};
pub use ledger::{Ledger, OpenRow, cell_under};
pub use log::LogTable;
pub use named::{TAGS, named_in_tags, picture_key};
pub use numbers::{parse_count, parse_number};
pub use problem::{Problem, ensure_usable};
pub use questions::Question;
pub use settings::{DayOfYear, Position, SeasonPart, Settings, ShareOf, TagTable};
pub use sheet::{Headings, Row, Sheet};
pub use sits::Sit;
pub use stands::Stand;
pub use weather::{WeatherRow, WeatherTime};
pub use written::Written;
pub use zone::zone_at;

/// The land and everything that was written down about it.
#[derive(Debug, Clone)]
pub struct Property {
    /// The property's folder.
    pub root: PathBuf,
    /// What `property.toml` says, with defaults filled in.
    pub settings: Settings,
    /// The rows of `cameras.csv`; several rows for one camera are several placements.
    pub placements: Vec<Placement>,
    /// The rows of `disturbances.csv`, in order of their start.
    pub disturbances: Vec<Disturbance>,
    /// The rows of `clocks.csv`.
    pub corrections: Vec<ClockCorrection>,
    /// The rows of `deer.csv`.
    pub deer: Vec<NamedDeer>,
    /// The rows of `stands.csv`.
    pub stands: Vec<Stand>,
    /// The rows of `sits.csv`.
    pub sits: Vec<Sit>,
    /// The rows of `grounds.csv`.
    pub grounds: Vec<Ground>,
    /// The rows of `questions.csv`.
    pub questions: Vec<Question>,
    /// The weather, hour by hour, as its table has it.
    pub weather: Vec<WeatherRow>,
    /// What lies on the land, if there is a file of it.
    pub land: Vec<LandFeature>,
    /// What could not be used, row by row.
    pub problems: Vec<Problem>,
    /// The files as they were just before they were read.
    pub written: Written,
}

impl Property {
    /// Reads a property folder.
    ///
    /// # Errors
    /// When the folder or its `property.toml` is missing or makes no sense, or when one of the
    /// tables cannot be read at all.
    pub fn open(root: &Path) -> Result<Self> {
        let written = Written::now(root);
        let settings = Settings::read(root)?;
        let mut problems = Vec::new();
        let placements = cameras::read(root, &settings, &mut problems)?;
        let mut disturbances = disturbances::read(root, &settings, &mut problems)?;
        disturbances.sort_by_key(|d| (d.start, d.id.clone()));
        let corrections = clocks::read(root, &settings, &mut problems)?;
        let deer = deer::read(root, &mut problems)?;
        let stands = stands::read(root, &settings, &mut problems)?;
        let sits = sits::read(root, &settings, &mut problems)?;
        let grounds = grounds::read(root, &settings, &mut problems)?;
        let questions = questions::read(root, &settings, &mut problems)?;
        let weather = weather::read(root, &settings, &mut problems)?;
        let land = land::read(root, settings.position, &mut problems)?;
        Ok(Self {
            root: root.to_path_buf(),
            settings,
            placements,
            disturbances,
            corrections,
            deer,
            stands,
            sits,
            grounds,
            questions,
            weather,
            land,
            problems,
            written,
        })
    }

    /// Whether every table that the person wrote has a row that can be used.
    ///
    /// # Errors
    /// Names the first table of whose rows none can be used.
    pub fn ensure_usable(&self) -> Result<()> {
        let tables = [
            (cameras::FILE, self.placements.is_empty()),
            (disturbances::FILE, self.disturbances.is_empty()),
            (clocks::FILE, self.corrections.is_empty()),
            (deer::FILE, self.deer.is_empty()),
            (stands::FILE, self.stands.is_empty()),
            (sits::FILE, self.sits.is_empty()),
            (grounds::FILE, self.grounds.is_empty()),
            (questions::FILE, self.questions.is_empty()),
            (weather::file_of(&self.settings), self.weather.is_empty()),
        ];
        tables.into_iter().try_for_each(|(file, empty)| ensure_usable(file, empty, &self.problems))
    }

    /// The folder that holds one folder of pictures per camera.
    pub fn cards(&self) -> PathBuf {
        self.root.join("cards")
    }

    /// The camera a picture folder belongs to: the folder's own name unless `cameras.csv` maps it.
    pub fn camera_of_folder<'a>(&'a self, folder: &'a str) -> &'a str {
        self.placements
            .iter()
            .find(|p| p.folder.as_ref().is_some_and(|f| same_name(f, folder)))
            .map_or(folder, |p| p.camera.as_str())
    }

    /// The rows of one camera.
    pub fn placements_of(&self, camera: &str) -> impl Iterator<Item = &Placement> {
        self.placements.iter().filter(move |p| same_name(&p.camera, camera))
    }

    /// The placement of a camera on a date: the row whose dates include it, else the row nearest
    /// in time.
    pub fn placement(&self, camera: &str, date: chrono::NaiveDate) -> Option<&Placement> {
        self.placements_of(camera).min_by_key(|p| p.days_away(date))
    }

    /// Where a camera stood on a date; the property's own position where its row gives none.
    pub fn position(&self, camera: &str, date: chrono::NaiveDate) -> Position {
        self.placement(camera, date).and_then(|p| p.position).unwrap_or(self.settings.position)
    }
}

/// Whether two names mean one camera: memory cards and people do not keep capitals apart.
pub fn same_name(a: &str, b: &str) -> bool {
    a == b || a.chars().flat_map(char::to_lowercase).eq(b.chars().flat_map(char::to_lowercase))
}

/// Names in one cell, with `;` between them. A name that holds a `;` itself stands between quotation marks.
pub fn listed(text: &str) -> Vec<String> {
    let mut names = Vec::new();
    let mut rest = text.trim_start();
    while !rest.is_empty() {
        let quoted = rest.strip_prefix('"').and_then(|r| r.split_once('"'));
        let quoted = quoted
            .filter(|(_, after)| after.trim_start().starts_with([';']) || after.trim().is_empty());
        let (name, after) = match quoted {
            Some((name, after)) => (name, after.split_once(';').map_or("", |(_, r)| r)),
            None => rest.split_once(';').unwrap_or((rest, "")),
        };
        names.push(name.trim().to_owned());
        rest = after.trim_start();
    }
    names.retain(|name| !name.is_empty());
    names
}

/// Names as [`listed`] reads them.
pub fn as_list<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let names = names.into_iter().map(|name| match name.contains(';') {
        true => format!("\"{name}\""),
        false => name.to_owned(),
    });
    names.collect::<Vec<_>>().join(";")
}

/// Reads a text file of the property; a missing one is `None`.
fn read_optional(root: &Path, name: &str) -> Result<Option<Vec<u8>>> {
    let path = root.join(name);
    match std::fs::read(&path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(_) if path.is_dir() => bail!(
            "{} is a folder, and a table of that name is wanted: give the folder another name.",
            path.display()
        ),
        Err(e) => bail!(
            "{} could not be read ({e}). Close it in other programs and check that it is a file you may open.",
            path.display()
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_a_cell_are_read_as_they_are_written() {
        for (cell, names) in [
            ("Oak; Creek ;", vec!["Oak", "Creek"]),
            ("\"Oak; low\"; Creek", vec!["Oak; low", "Creek"]),
            ("The \"big\" oak;Creek", vec!["The \"big\" oak", "Creek"]),
            ("\"big\" oak", vec!["\"big\" oak"]),
            ("\"Oak", vec!["\"Oak"]),
            (" ; ", vec![]),
        ] {
            assert_eq!(listed(cell), names, "{cell}");
            assert_eq!(listed(&as_list(names.iter().copied())), names, "{cell}");
        }
    }
}
