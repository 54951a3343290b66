//! What the person wrote: `property.toml`, `cameras.csv`, `disturbances.csv`, `clocks.csv`, `deer.csv`
//! and a file of the land, read and checked once.
//!
//! A file that cannot be understood at all stops the program, because everything after it would be
//! wrong. A row that cannot be used is put aside as a [`Problem`] and the rest goes on.

mod cameras;
mod cause;
mod clocks;
mod dates;
mod deer;
mod disturbances;
mod land;
mod ledger;
mod log;
mod named;
mod numbers;
mod problem;
mod settings;
mod sheet;
mod text;
mod written;

use std::path::{Path, PathBuf};

use anyhow::{Context, Result};

pub use cameras::{ClockSetting, Placement, set_clock};
pub use cause::{AtWork, Cause};
pub use clocks::{ClockCorrection, add_corrections, correction_lines, remove_correction};
pub use dates::{DateOrder, parse_date, parse_date_time, parse_moment};
pub use deer::NamedDeer;
pub use disturbances::{By, Disturbance};
pub use land::{LandFeature, LandSort};
pub use ledger::{Ledger, OpenRow};
pub use log::LogTable;
pub use named::{TAGS, named_in_tags, picture_key};
pub use numbers::{parse_count, parse_number};
pub use problem::{Problem, ensure_usable};
pub use settings::{Position, Settings, ShareOf, TagTable, YearStart};
pub use sheet::{Headings, Row, Sheet};
pub use written::Written;

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
        let land = land::read(root, settings.position, &mut problems)?;
        Ok(Self {
            root: root.to_path_buf(),
            settings,
            placements,
            disturbances,
            corrections,
            deer,
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
        ];
        tables
            .into_iter()
            .try_for_each(|(file, empty)| ensure_usable(file, empty, &self.problems))
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
        self.placements
            .iter()
            .filter(move |p| same_name(&p.camera, camera))
    }

    /// The placement of a camera on a date: the row whose dates include it, else the row nearest
    /// in time.
    pub fn placement(&self, camera: &str, date: chrono::NaiveDate) -> Option<&Placement> {
        self.placements_of(camera).min_by_key(|p| p.days_away(date))
    }

    /// Where a camera stood on a date; the property's own position where its row gives none.
    pub fn position(&self, camera: &str, date: chrono::NaiveDate) -> Position {
        self.placement(camera, date)
            .and_then(|p| p.position)
            .unwrap_or(self.settings.position)
    }
}

/// Whether two names mean one camera: memory cards and people do not keep capitals apart.
pub fn same_name(a: &str, b: &str) -> bool {
    a == b
        || a.chars()
            .flat_map(char::to_lowercase)
            .eq(b.chars().flat_map(char::to_lowercase))
}

/// Reads a text file of the property; a missing one is `None`.
fn read_optional(root: &Path, name: &str) -> Result<Option<Vec<u8>>> {
    let path = root.join(name);
    match std::fs::read(&path) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e).with_context(|| {
            format!(
                "{} could not be read. Close it in other programs and check that it is a file you may open.",
                path.display()
            )
        }),
    }
}
