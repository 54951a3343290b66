//! A property as a package.

mod bare;
mod deployments;
mod descriptor;
mod extra;
mod media;
mod observations;
mod sheet;

use std::path::Path;

use anyhow::{Context, Result, ensure};
use chrono::{DateTime, Utc};

use super::coordinates::Coordinates;
use crate::clock::LocalTime;
use crate::debrief::Debrief;
use crate::files::{self, hash_whole};
use deployments::Deployments;
use media::Media;

/// What becomes of the pictures themselves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Files {
    /// They stay where they are; the package names them by their paths in the property.
    Referenced,
    /// They are copied into the package, but for those of people and vehicles.
    Copied,
}

/// How a package is to be.
#[derive(Debug, Clone)]
pub struct PackageOptions {
    /// What it says of places.
    pub coordinates: Coordinates,
    /// What becomes of the pictures.
    pub files: Files,
    /// The scientific name of the deer.
    pub species: String,
    /// Who is named as its maker.
    pub contributor: String,
    /// When it is made.
    pub created: DateTime<Utc>,
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackageWritten {
    /// Rows by table.
    pub rows: Vec<(&'static str, usize)>,
    /// Pictures copied.
    pub copied: usize,
    /// Pictures that were not: of people and vehicles, and those that may say where they were taken.
    pub kept_back: usize,
}

/// Writes a property as a package into a new or empty folder. All of it is made beside that folder first.
///
/// # Errors
/// When the folder is not empty, or the disk does not take it; then nothing is there.
pub fn write_package(
    debrief: &Debrief,
    options: &PackageOptions,
    folder: &Path,
) -> Result<PackageWritten> {
    ensure!(
        files::is_free(folder),
        "{} is not an empty folder. Name a new one for the package.",
        folder.display()
    );
    let cards = std::path::absolute(debrief.property.cards())?;
    ensure!(
        !std::path::absolute(folder)?.starts_with(&cards),
        "{} lies among the property's cards. Name a folder elsewhere.",
        folder.display()
    );
    let times = debrief.timeline.times(debrief.crawl.pictures.len())?;
    let private = observations::private(debrief)?;
    let deployments = Deployments::of(debrief, &times)?;
    let mut media = Media::of(debrief, &deployments, &times, &private);
    if options.files == Files::Copied && options.coordinates != Coordinates::Exact {
        media.keep_back(|picture| bare_copy(debrief, picture).is_none());
    }
    let mut sheets = vec![
        deployments.sheet(debrief, options),
        media.sheet(debrief, options.files),
        observations::sheet(debrief, &deployments, &media, options)?,
    ];
    let extra = [
        extra::disturbances(debrief, options),
        extra::silences(debrief),
        extra::clock_corrections(debrief),
        extra::individuals(debrief),
        extra::settings(debrief),
        extra::untimed(debrief, &media),
    ];
    sheets.extend(extra.into_iter().filter(|s| s.len() > 0));
    let (copied, kept_back) = files::make_folder(folder, |making| {
        for sheet in &sheets {
            std::fs::write(making.join(sheet.file()), sheet.csv()?)?;
        }
        std::fs::write(
            making.join("datapackage.json"),
            descriptor::descriptor(debrief, options, &sheets)?,
        )?;
        match options.files {
            Files::Referenced => Ok((0, 0)),
            Files::Copied => copy(debrief, &media, options, making),
        }
    })
    .with_context(|| format!("cannot write the package {}", folder.display()))?;
    Ok(PackageWritten {
        rows: sheets.iter().map(|s| (s.table.name, s.len())).collect(),
        copied,
        kept_back,
    })
}

/// Copies the pictures and reads each copy back. Where places are not told exactly, only what surely holds none is
/// copied: JPEG pictures without anything beside their pixels. Returns how many were copied, and how many were not.
fn copy(
    debrief: &Debrief,
    media: &Media,
    options: &PackageOptions,
    making: &Path,
) -> Result<(usize, usize)> {
    std::fs::create_dir(making.join("media"))?;
    let (mut copied, mut kept_back) = (0, 0);
    for medium in &media.all {
        let picture = &debrief.crawl.pictures[medium.picture as usize];
        let from = debrief.property.root.join(picture.file());
        let to = making.join(medium.path(picture, Files::Copied));
        if medium.is_private {
            kept_back += 1;
            continue;
        }
        if options.coordinates != Coordinates::Exact {
            let bare = bare_copy(debrief, medium.picture)
                .with_context(|| format!("cannot copy {}", picture.path))?;
            std::fs::write(&to, bare)?;
        } else {
            std::fs::copy(&from, &to).with_context(|| format!("cannot copy {}", picture.path))?;
            let [there, here] = [&from, &to].map(|f| hash_whole(f));
            ensure!(
                there.is_some() && there == here,
                "the copy of {} differs from it",
                picture.path
            );
        }
        copied += 1;
    }
    Ok((copied, kept_back))
}

/// A picture without anything beside its pixels; `None` where it cannot be had.
fn bare_copy(debrief: &Debrief, picture: u32) -> Option<Vec<u8>> {
    let picture = &debrief.crawl.pictures[picture as usize];
    let bytes = std::fs::read(debrief.property.root.join(picture.file())).ok()?;
    bare::bare(&bytes)
}

/// A moment with its distance from UTC, to the second (ISO 8601).
fn moment(time: LocalTime) -> String {
    format!("{}{}", time.shown().format("%FT%T"), time.offset())
}
