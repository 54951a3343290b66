//! Practice properties: a made-up season whose answer is known, written as a person would have it.
//!
//! Everything follows from the seed. The deer, the cameras and the place are invented.

mod answer;
mod country;
mod faults;
mod files;
mod land;
mod plan;
mod scene;
mod season;
mod still;

use std::path::Path;

use anyhow::{Context, Result, bail};
use indicatif::ProgressBar;

pub use plan::{ClockFault, Options, Plan, Trouble};
pub use still::{Imprint, jpeg};

/// What was written.
#[derive(Debug, Clone, Copy)]
pub struct Written {
    /// Visits of all animals, and empty triggers.
    pub visits: usize,
    /// JPEG files, broken ones included; 0 where only sightings were asked for.
    pub files: usize,
}

/// Writes a practice property into `folder`, which must not exist or be empty.
///
/// # Errors
/// When the folder holds something already or cannot be written.
pub fn write(folder: &Path, options: &Options, progress: &ProgressBar) -> Result<Written> {
    if folder.exists() && folder.read_dir().is_ok_and(|mut d| d.next().is_some()) {
        bail!(
            "{} is not empty. Name a new folder: practice never writes over what is there.",
            folder.display()
        );
    }
    std::fs::create_dir_all(folder)
        .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    let plan = Plan::of(options)?;
    let country = country::Country::of(&plan)?;
    let season = season::play(&plan, country.as_ref())?;
    files::write_property(folder, &plan)?;
    land::write(folder, &plan)?;
    if let Some(country) = &country {
        country.write(folder, &plan)?;
    }
    let files = if options.pictures {
        files::write_cards(folder, &plan, &season, progress)?
    } else {
        files::write_sightings(folder, &plan, &season)?;
        files::Count::default()
    };
    answer::write(folder, &plan, &season, &files)?;
    Ok(Written { visits: season.events.len(), files: files.found() })
}
