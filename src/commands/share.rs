//! `graylight share PROPERTY --to FILE`, `--to FOLDER --package` or `--to FOLDER --dataset`

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result, bail, ensure};
use clap::Args;

use crate::exchange::{Coordinates, Files, PackageOptions, dataset, write_package};
use crate::files::{self, Lasting};
use crate::report::{ShareOptions, one_page};

/// One page for others without coordinates, a data package for biologists, or a part of a data set of many properties
#[derive(Args)]
pub struct Share {
    /// The property's folder
    property: PathBuf,
    /// The page to write; with --package the new folder of the package, with --dataset the data set's
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    /// Letters in place of the names of the property, its cameras and its deer, and no photographs: cameras
    /// print names onto them
    #[arg(long, conflicts_with_all = ["package", "dataset"])]
    no_names: bool,
    /// Leave out what is logged as a neighbour's
    #[arg(long, conflicts_with_all = ["package", "dataset"])]
    no_neighbours: bool,
    /// Leave out the photographs
    #[arg(long, conflicts_with_all = ["package", "dataset"])]
    no_photos: bool,
    /// A camera-trap data package (TDWG 1.0.2): deployments, media and observations with their schemas
    #[arg(long, requires = "coordinates")]
    package: bool,
    /// The property's seasons as Parquet files of a data set, beside those of other properties; what is there of other
    /// seasons stays
    #[arg(long, requires = "coordinates", conflicts_with = "package")]
    dataset: bool,
    /// The property's name in the data set, such as ridge-farm; else it follows from its name
    #[arg(long = "as", requires = "dataset", value_name = "ID")]
    id: Option<String>,
    /// What package or data set say of places: exact, none, or the width of a grid in degrees such as 0.1
    #[arg(long, value_name = "HOW", allow_hyphen_values = true)]
    coordinates: Option<Coordinates>,
    /// Whether the pictures stay where they are or are copied into the package; those of people and vehicles
    /// never are, and where places are not told exactly only JPEG pictures, without what stands beside their pixels
    #[arg(
        long,
        requires = "package",
        conflicts_with = "dataset",
        value_enum,
        default_value = "referenced"
    )]
    files: Files,
    /// The scientific name of the deer
    #[arg(long, requires = "package", default_value = "Odocoileus virginianus")]
    species: String,
    /// Who is named as the package's maker
    #[arg(long, requires = "package", default_value = "the landowner")]
    contributor: String,
}

impl Share {
    /// Runs the command.
    pub fn run(&self) -> Result<()> {
        match self.coordinates {
            Some(coordinates) if self.package => self.package(coordinates),
            Some(coordinates) if self.dataset => self.dataset(coordinates),
            Some(_) => bail!("--coordinates goes with --package or --dataset: the page holds none"),
            None => self.page(),
        }
    }

    fn page(&self) -> Result<()> {
        ensure!(
            self.to.extension().is_some_and(|e| e.eq_ignore_ascii_case("html")),
            "{} is not named like a page. Give a file that ends in .html.",
            self.to.display()
        );
        let debrief = super::debrief(&self.property)?;
        let page = one_page(
            debrief,
            ShareOptions {
                with_names: !self.no_names,
                with_neighbours: !self.no_neighbours,
                with_photos: !self.no_photos && !self.no_names,
            },
        );
        let write = |file: &mut std::fs::File| file.write_all(page.as_bytes());
        files::write_whole(&self.to, Lasting::Remade, write, || Ok(()))
            .with_context(|| format!("cannot write {}", self.to.display()))?;
        super::say(format_args!("The page for others: {}", self.to.display()))?;
        if !self.no_names {
            super::say("Names of places, cameras and deer are in it; --no-names leaves them out.")?;
        }
        Ok(())
    }

    fn dataset(&self, coordinates: Coordinates) -> Result<()> {
        let debrief = super::debrief(&self.property)?;
        let done = dataset::append(&debrief, coordinates, self.id.as_deref(), &self.to)?;
        for (table, rows) in &done.rows {
            super::say(format_args!("{table}: {rows}"))?;
        }
        super::say(format_args!(
            "files written: {}; as they were: {}",
            done.written, done.unchanged
        ))?;
        if !done.only_there.is_empty() {
            super::say(format_args!(
                "Seasons in the data set that are no longer here, left as they are: {}",
                done.only_there.join(", ")
            ))?;
        }
        if !done.exact_there.is_empty() {
            super::say(format_args!(
                "CAREFUL: those of {} still tell exact places, as they were written before. Delete their folders if they must not.",
                done.exact_there.join(", ")
            ))?;
        }
        super::say(
            "Names of cameras and deer, and your words for what happened and what cameras look at, are in it.",
        )?;
        super::say(format_args!("The data set: {} (this property: {})", self.to.display(), done.id))
    }

    fn package(&self, coordinates: Coordinates) -> Result<()> {
        let debrief = super::debrief(&self.property)?;
        let options = PackageOptions {
            coordinates,
            files: self.files,
            species: self.species.clone(),
            contributor: self.contributor.clone(),
            created: chrono::Utc::now(),
        };
        let written = write_package(&debrief, &options, &self.to)?;
        for (table, rows) in &written.rows {
            super::say(format_args!("{table}: {rows}"))?;
        }
        if self.files == Files::Copied {
            super::say(format_args!(
                "{} pictures copied; {} kept back (people, vehicles, and what may say where it was taken)",
                written.copied, written.kept_back
            ))?;
        }
        if coordinates == Coordinates::LeftOut {
            super::say(
                "The standard wants coordinates; without them the package can be read and is not complete by it.",
            )?;
        }
        super::say(
            "Names of places, cameras and deer, and your notes, are in it. Sits, stands and grounds are not.",
        )?;
        super::say(format_args!("The package: {}", self.to.display()))
    }
}
