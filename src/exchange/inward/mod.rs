//! A package as a property.

mod archive;
mod faults;
mod kinds;
mod places;
mod property;
mod sightings;
mod source;

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, ensure};
use chrono::TimeDelta;
use chrono_tz::Tz;

use super::{VERSION, schema};
use crate::files;
use crate::property::{Position, zone_at};
use faults::Faults;
use kinds::Kinds;
use places::Deployment;
use sightings::Seen;
use source::{Rows, Source};

/// How a package is to be taken in.
#[derive(Debug, Clone, Default)]
pub struct ReceiveOptions {
    /// A table of what names of species mean.
    pub words: Option<PathBuf>,
    /// The zone of the clock on the wall there; found from the place where it is not given.
    pub time_zone: Option<Tz>,
    /// The middle of the property, for a package that tells no places.
    pub position: Option<Position>,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Received {
    /// Cameras, placements and sightings written.
    pub cameras: usize,
    /// Deployments that became placements.
    pub deployments: usize,
    /// Rows of `sightings.csv`.
    pub sightings: usize,
    /// What was left out or understood in part, line by line.
    pub lost: Vec<String>,
}

/// Reads a package, a folder or a ZIP archive, and writes it as a new property.
///
/// # Errors
/// With file and line where the package breaks its standard, and when the folder is not a new one; then nothing
/// is written.
pub fn receive(package: &Path, folder: &Path, options: &ReceiveOptions) -> Result<Received> {
    ensure!(
        files::is_free(folder),
        "{} is not an empty folder. Name a new one for the property.",
        folder.display()
    );
    let source = Source::open(package)?;
    let kinds = options.words.as_deref().map(Kinds::read).transpose()?.unwrap_or_default();
    let tables = Tables::read(&source)?;
    let mut faults = Faults::default();
    let mut deployments = places::read(&tables.deployments, &mut faults);
    faults.none()?;
    let (position, zone) = place_and_zone(&deployments, &tables, options)?;
    places::name_cameras(&mut deployments, zone, &mut faults);
    let seen = sightings::read(
        &deployments,
        &tables.media,
        &tables.observations,
        &kinds,
        tables.gap(),
        &mut faults,
    );
    faults.none()?;
    let files = property::files(&source, &tables, &deployments, &seen, (position, zone))?;
    let mut received = Received {
        cameras: cameras(&deployments),
        deployments: deployments.len(),
        sightings: seen.sightings.len(),
        lost: lost(&tables, &deployments, &seen),
    };
    received.lost.extend(files.lost);
    if !source.has_version {
        received.lost.push(format!(
            "datapackage.json names no version of the standard; it was read as {VERSION}."
        ));
    }
    let account = received.account(package);
    files::make_folder(folder, |making| {
        for (name, text) in &files.all {
            std::fs::write(making.join(name), text)?;
        }
        Ok(std::fs::write(making.join("received.txt"), account)?)
    })
    .with_context(|| format!("cannot write the property {}", folder.display()))?;
    Ok(received)
}

/// The tables of a package, each checked by itself.
struct Tables {
    deployments: Rows,
    media: Rows,
    observations: Rows,
    disturbances: Rows,
    individuals: Rows,
    settings: Rows,
    /// Fields of the three that are not read, with how many rows say something there.
    unread: Vec<(String, usize)>,
}

impl Tables {
    fn read(source: &Source) -> Result<Self> {
        let mut faults = Faults::default();
        let needed = |table: schema::Table, faults: &mut Faults| -> Result<Rows> {
            let rows = source.rows(&table, faults)?;
            rows.with_context(|| {
                format!(
                    "datapackage.json lists no resource \"{}\", which the standard needs",
                    table.name
                )
            })
        };
        // A package without coordinates is no less readable for that.
        let places = schema::deployments().without(&schema::PLACE);
        let deployments = needed(places, &mut faults)?;
        let media = needed(schema::media(), &mut faults)?;
        let observations = needed(schema::observations(), &mut faults)?;
        let extra = |table: schema::Table, faults: &mut Faults| -> Result<Rows> {
            Ok(source.rows(&table, faults)?.unwrap_or_default())
        };
        let mut tables = Self {
            deployments,
            media,
            observations,
            disturbances: extra(schema::disturbances(), &mut faults)?,
            individuals: extra(schema::individuals(), &mut faults)?,
            settings: extra(schema::settings(), &mut faults)?,
            unread: Vec::new(),
        };
        faults.none()?;
        tables.unread = tables.unread();
        Ok(tables)
    }

    fn unread(&self) -> Vec<(String, usize)> {
        const READ: [(&str, &[&str]); 3] = [
            (
                "deployments",
                &[
                    "deploymentID",
                    "locationID",
                    "locationName",
                    "latitude",
                    "longitude",
                    "deploymentStart",
                    "deploymentEnd",
                    "cameraID",
                    "timestampIssues",
                    "featureType",
                    "habitat",
                ],
            ),
            (
                "media",
                &[
                    "mediaID",
                    "deploymentID",
                    "captureMethod",
                    "timestamp",
                    "filePath",
                    "filePublic",
                    "fileName",
                    "fileMediatype",
                ],
            ),
            (
                "observations",
                &[
                    "observationID",
                    "deploymentID",
                    "mediaID",
                    "eventID",
                    "eventStart",
                    "eventEnd",
                    "observationLevel",
                    "observationType",
                    "scientificName",
                    "count",
                    "lifeStage",
                    "sex",
                    "individualID",
                    "observationTags",
                    "observationComments",
                ],
            ),
        ];
        let tables = [&self.deployments, &self.media, &self.observations];
        let mut unread = Vec::new();
        for ((name, read), rows) in READ.iter().zip(tables) {
            for field in rows.fields().filter(|f| !read.contains(f)) {
                match rows.iter().filter(|r| !r.get(field).is_empty()).count() {
                    0 => {}
                    n => unread.push((format!("{name}, {field}"), n)),
                }
            }
        }
        unread
    }

    /// A longer silence ends a visit: as the package says, or as a property begins with.
    fn gap(&self) -> TimeDelta {
        const USUAL_MIN: f64 = 30.0;
        let said = self.setting("visit_gap").and_then(|v| v.parse().ok());
        let minutes: f64 = said.filter(|m| (1.0..=1440.0).contains(m)).unwrap_or(USUAL_MIN);
        TimeDelta::seconds((minutes * 60.0) as i64)
    }

    /// A setting that this program's own packages carry.
    fn setting(&self, name: &str) -> Option<&str> {
        let mut rows = self.settings.iter();
        rows.find(|r| r.get("setting") == name).map(|r| r.get("value"))
    }
}

fn place_and_zone(
    deployments: &[Deployment],
    tables: &Tables,
    options: &ReceiveOptions,
) -> Result<(Position, Tz)> {
    let places: Vec<Position> = deployments.iter().filter_map(|d| d.position).collect();
    let mean = |of: fn(&Position) -> f64| places.iter().map(of).sum::<f64>() / places.len() as f64;
    let middle = match places.is_empty() {
        true => None,
        false => Position::new(mean(|p| p.latitude_deg), mean(|p| p.longitude_deg)),
    };
    let position = options.position.or(middle).context(
        "this package tells no places, and sunrise and sunset follow from them: give --place, such as --place 43.1,-90.7",
    )?;
    let said = tables.setting("time_zone").and_then(|z| z.parse().ok());
    let zone = options.time_zone.or(said).or_else(|| zone_at(position).parse().ok());
    let zone = zone.context("no time zone is known for that place: give --time-zone, such as --time-zone America/Chicago")?;
    Ok((position, zone))
}

fn cameras(deployments: &[Deployment]) -> usize {
    let mut names: Vec<&str> = deployments.iter().map(|d| d.camera.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    names.len()
}

/// What was left out or understood in part.
fn lost(tables: &Tables, deployments: &[Deployment], seen: &Seen) -> Vec<String> {
    let mut lost = Vec::new();
    let placeless = deployments.iter().filter(|d| d.position.is_none()).count();
    if placeless > 0 {
        lost.push(format!(
            "{placeless} deployments have no place; the property's own counts for them."
        ));
    }
    if seen.unseen_media > 0 {
        lost.push(format!(
            "{} media have no observation that says who was there: days on which nothing else was taken may count as silent, which lowers the effort.",
            seen.unseen_media
        ));
    }
    for (why, n) in &seen.left_out {
        lost.push(format!("{n} observations left out: {why}."));
    }
    if !seen.doubtful.is_empty() {
        let of = deployments.iter().filter(|d| d.is_doubtful).count();
        lost.push(format!(
            "{} observations of {of} deployments whose times are known to be wrong (timestampIssues) are set aside in doubtful-times.csv and not counted.",
            seen.doubtful.len()
        ));
    }
    for (what, n) in &seen.in_part {
        lost.push(format!("{n} {what}."));
    }
    for (field, n) in &tables.unread {
        lost.push(format!("{field}: said in {n} rows and not read."));
    }
    lost.push(format!(
        "{} media: their files are not taken in; the times and tags of this package count.",
        tables.media.len()
    ));
    lost
}

impl Received {
    /// As text, for the person and for the property's folder.
    pub fn account(&self, package: &Path) -> String {
        let mut text = format!(
            "From {}: {} deployments of {} cameras, {} sightings.\n",
            package.display(),
            self.deployments,
            self.cameras,
            self.sightings
        );
        for line in &self.lost {
            text.push_str(line);
            text.push('\n');
        }
        text
    }
}
