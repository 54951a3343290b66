//! What each pull brought, remembered: one immutable Parquet file per pull. It can always be made
//! again from the pictures, and nothing depends on it being there.

use std::collections::HashSet;
use std::fs::File;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use chrono::{DateTime, Utc};
use polars::io::parquet::write::BatchedWriter;
use polars::prelude::*;
use tempfile::NamedTempFile;

use super::store::sync_folder;
use super::{Fate, Request};
use crate::card::{CameraTime, Picture, shown};
use crate::property::{Property, new_file_in};

const FOLDER: &str = "catalogue";

/// Columns in the making: `path` below the property, `camera`, `on_card` (path below the card),
/// `bytes`, `blake3` (hexadecimal), `camera_time` (ISO 8601, as the camera's clock showed it),
/// `time_from`, `make`, `model`, `serial`, `label`, `latitude`, `longitude`.
#[derive(Default)]
pub(super) struct Rows {
    path: Vec<String>,
    on_card: Vec<String>,
    camera: Vec<String>,
    bytes: Vec<u64>,
    blake3: Vec<String>,
    time: Vec<Option<CameraTime>>,
    time_from: Vec<Option<&'static str>>,
    named: [Vec<Option<String>>; 4],
    latitude: Vec<Option<f64>>,
    longitude: Vec<Option<f64>>,
}

impl Rows {
    pub fn add(
        &mut self,
        request: &Request,
        on_card: &Path,
        bytes: u64,
        fate: &Fate,
        picture: Option<&Picture>,
    ) {
        let (Fate::Copied(place, hash) | Fate::Had(place, hash)) = fate else {
            return;
        };
        let stamp = picture.and_then(|p| p.time.as_ref().ok());
        let position = picture.and_then(|p| p.position);
        self.path.push(shown(place));
        self.on_card.push(shown(on_card));
        self.camera.push(request.camera.to_owned());
        self.bytes.push(bytes);
        self.blake3.push(hash.to_hex().to_string());
        self.time.push(stamp.map(|s| s.time));
        self.time_from.push(stamp.map(|s| s.origin.word()));
        let named = picture.map_or_else(Default::default, |p| {
            [&p.make, &p.model, &p.serial, &p.label].map(Clone::clone)
        });
        for (column, value) in self.named.iter_mut().zip(named) {
            column.push(value);
        }
        self.latitude.push(position.map(|p| p.latitude_deg));
        self.longitude.push(position.map(|p| p.longitude_deg));
    }

    fn into_table(self) -> Result<DataFrame> {
        let time = |t: &Option<CameraTime>| t.map(|t| t.shown().format("%FT%T").to_string());
        let [make, model, serial, label] = self.named;
        Ok(df!(
            "path" => self.path,
            "camera" => self.camera,
            "on_card" => self.on_card,
            "bytes" => self.bytes,
            "blake3" => self.blake3,
            "camera_time" => self.time.iter().map(time).collect::<Vec<_>>(),
            "time_from" => self.time_from,
            "make" => make,
            "model" => model,
            "serial" => serial,
            "label" => label,
            "latitude" => self.latitude,
            "longitude" => self.longitude,
        )?)
    }
}

/// The files of the catalogue, oldest first.
fn files(property: &Property) -> Vec<PathBuf> {
    let folder = property.root.join(FOLDER);
    let mut files: Vec<PathBuf> = folder
        .read_dir()
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "parquet"))
        .collect();
    files.sort();
    files
}

/// Paths that an earlier pull has remembered. A table that cannot be read remembers nothing.
fn remembered(property: &Property) -> HashSet<String> {
    let mut paths = HashSet::new();
    for file in files(property) {
        let read = File::open(&file).ok().and_then(|f| {
            ParquetReader::new(f)
                .with_columns(Some(vec!["path".to_owned()]))
                .finish()
                .ok()
        });
        let column = read
            .as_ref()
            .and_then(|t| t.column("path").ok()?.str().ok());
        if let Some(column) = column {
            paths.extend(column.iter().flatten().map(str::to_owned));
        }
    }
    paths
}

/// A pull's table in the making: written piece by piece, so that a card of any size takes the same
/// memory, and unseen by anyone until it has its name.
pub(super) struct Table {
    folder: PathBuf,
    known: HashSet<String>,
    file: NamedTempFile,
    writer: Option<BatchedWriter<File>>,
}

impl Table {
    /// Begins a table in the property's catalogue.
    pub fn begin(property: &Property) -> Result<Self> {
        let folder = property.root.join(FOLDER);
        let file = new_file_in(&folder).with_context(|| cannot_write(&folder))?;
        Ok(Self {
            known: remembered(property),
            folder,
            file,
            writer: None,
        })
    }

    /// Adds rows; those that an earlier pull has remembered are left out.
    pub fn write(&mut self, rows: Rows) -> Result<()> {
        let table = rows.into_table()?;
        let new: BooleanChunked = table
            .column("path")?
            .str()?
            .iter()
            .map(|p| p.is_some_and(|p| !self.known.contains(p)))
            .collect();
        let table = table.filter(&new)?;
        if table.height() == 0 {
            return Ok(());
        }
        let writer = match &mut self.writer {
            Some(writer) => writer,
            none => {
                let file = self.file.reopen()?;
                none.insert(ParquetWriter::new(file).batched(table.schema())?)
            }
        };
        let written = writer.write_batch(&table);
        anyhow::Context::with_context(written, || cannot_write(&self.folder))
    }

    /// Syncs the table and gives it its name in one step. A pull that brought nothing new has none.
    pub fn finish(self, now: DateTime<Utc>) -> Result<()> {
        let Some(writer) = self.writer else {
            return Ok(());
        };
        let fail = || cannot_write(&self.folder);
        anyhow::Context::with_context(writer.finish(), fail)?;
        self.file.as_file().sync_all().with_context(fail)?;
        let stem = now.format("pull-%Y%m%dT%H%M%S%.3fZ").to_string();
        self.file
            .persist_noclobber(self.folder.join(format!("{stem}.parquet")))
            .with_context(fail)?;
        sync_folder(&self.folder)
    }
}

fn cannot_write(folder: &Path) -> String {
    format!("cannot write into {}", folder.display())
}
