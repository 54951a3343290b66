//! What each pull brought, remembered: one immutable Parquet file per pull. It is a memory of what has
//! been, never evidence of what is: files are looked at anew wherever it matters.

use std::collections::HashSet;
use std::fs::File;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use chrono::NaiveDateTime;
use polars::io::parquet::write::BatchedWriter;
use polars::prelude::*;
use tempfile::NamedTempFile;

use super::{CardPull, Fate};
use crate::card::{CameraTime, Picture, shown};
use crate::files::{name_new_file, new_file_in, sync_folder};
use crate::property::{Property, parse_date_time};

pub(super) const FOLDER: &str = "catalogue";

/// One file that a pull has brought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remembered {
    /// The pull, by the name of its receipt.
    pub pull: String,
    /// Where the file was put, below the property.
    pub path: String,
    /// Its path on the card.
    pub on_card: String,
    /// The camera it was filed under.
    pub camera: String,
    /// Its size.
    pub bytes: u64,
    /// The hash of its bytes.
    pub content: blake3::Hash,
    /// What the camera's clock showed.
    pub shown: Option<NaiveDateTime>,
    /// The hash of its size, beginning and end, by which it is known without being read whole.
    pub ends: Option<u64>,
}

/// Everything that pulls have brought into a property, oldest pull first.
#[derive(Debug, Default, Clone)]
pub struct Catalogue {
    /// One entry for each file of each pull.
    pub files: Vec<Remembered>,
}

impl Catalogue {
    /// Reads what is remembered. A table that cannot be read remembers nothing.
    pub fn read(property: &Property) -> Self {
        let mut catalogue = Self::default();
        for path in tables(property) {
            let pull = path.file_stem().unwrap_or_default().to_string_lossy();
            catalogue.files.extend(rows(&path, &pull).unwrap_or_default());
        }
        catalogue
    }
}

fn rows(path: &Path, pull: &str) -> Option<Vec<Remembered>> {
    let table = ParquetReader::new(File::open(path).ok()?).finish().ok()?;
    let text = |name: &str| table.column(name).ok()?.str().ok();
    let (paths, on_card, camera) = (text("path")?, text("on_card")?, text("camera")?);
    let (content, bytes) = (text("blake3")?, table.column("bytes").ok()?.u64().ok()?);
    let shown = text("camera_time");
    let moment = |i: usize| parse_date_time(shown?.get(i)?);
    let ends = table.column("ends").ok().and_then(|c| c.u64().ok());
    let row = |i: usize| {
        Some(Remembered {
            pull: pull.to_owned(),
            path: paths.get(i)?.to_owned(),
            on_card: on_card.get(i)?.to_owned(),
            camera: camera.get(i)?.to_owned(),
            bytes: bytes.get(i)?,
            content: blake3::Hash::from_hex(content.get(i)?).ok()?,
            shown: moment(i),
            ends: ends.and_then(|e| e.get(i)),
        })
    };
    Some((0..table.height()).filter_map(row).collect())
}

/// Columns in the making: `path` below the property, `camera`, `on_card` (path below the card),
/// `bytes`, `blake3` (hexadecimal), `ends` (a hash of size, beginning and end), `camera_time`
/// (ISO 8601, as the camera's clock showed it), `time_from`, `make`, `model`, `serial`, `label`,
/// `latitude`, `longitude`.
#[derive(Default)]
pub(super) struct Rows {
    path: Vec<String>,
    on_card: Vec<String>,
    camera: Vec<String>,
    bytes: Vec<u64>,
    blake3: Vec<String>,
    ends: Vec<Option<u64>>,
    time: Vec<Option<CameraTime>>,
    time_from: Vec<Option<&'static str>>,
    named: [Vec<Option<String>>; 4],
    latitude: Vec<Option<f64>>,
    longitude: Vec<Option<f64>>,
}

impl Rows {
    pub fn add(
        &mut self,
        request: &CardPull,
        on_card: &Path,
        bytes: u64,
        fate: &Fate,
        picture: Option<&Picture>,
    ) {
        let Some((place, hash)) = fate.kept() else {
            return;
        };
        let stamp = picture.and_then(|p| p.time.as_ref().ok());
        let position = picture.and_then(|p| p.position());
        self.path.push(shown(place));
        self.on_card.push(shown(on_card));
        self.camera.push(request.camera.to_owned());
        self.bytes.push(bytes);
        self.blake3.push(hash.to_hex().to_string());
        self.ends.push(picture.map(Picture::ends));
        self.time.push(stamp.map(|s| s.time));
        self.time_from.push(stamp.map(|s| s.origin.word()));
        let named = picture.map_or_else(Default::default, |p| {
            [&p.body.make, &p.body.model, &p.body.serial, &p.body.label].map(Clone::clone)
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
            "ends" => self.ends,
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

/// The tables of the catalogue, oldest first.
fn tables(property: &Property) -> Vec<PathBuf> {
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

/// A pull's table in the making: written piece by piece, so that a card of any size takes the same
/// memory, and unseen by anyone until it has its name.
pub(super) struct Table {
    folder: PathBuf,
    known: HashSet<String>,
    file: NamedTempFile,
    writer: Option<BatchedWriter<File>>,
}

impl Table {
    /// Begins a table in the property's catalogue, without what `before` remembers.
    pub fn begin(property: &Property, before: &Catalogue) -> Result<Self> {
        let folder = property.root.join(FOLDER);
        let file = new_file_in(&folder).with_context(|| cannot_write(&folder))?;
        Ok(Self {
            known: before.files.iter().map(|f| f.path.clone()).collect(),
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
    pub fn finish(self, name: &str) -> Result<()> {
        let Some(writer) = self.writer else {
            return Ok(());
        };
        let fail = || cannot_write(&self.folder);
        anyhow::Context::with_context(writer.finish(), fail)?;
        self.file.as_file().sync_all().with_context(fail)?;
        name_new_file(self.file, &self.folder.join(format!("{name}.parquet")))
            .map_err(|(e, _)| e)
            .with_context(fail)?;
        sync_folder(&self.folder)
    }
}

fn cannot_write(folder: &Path) -> String {
    format!("cannot write into {}", folder.display())
}
