//! A property as part of a data set of many: Parquet files in folders that say property and season.
//!
//! `DATASET/TABLE/property=ID/season=NAME/part.parquet`, which every reader of partitioned tables (Hive's way of
//! naming folders) takes for one table with the columns `property` and `season`. [`append`] writes the seasons of one
//! property: a file whose bytes would be the same is left alone, so a new season touches no older one. What the
//! columns are is written beside the tables, in `columns.csv`, and the version of all of it into every file.

mod columns;
mod tables;

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, Result, ensure};
use polars::io::parquet::write::KeyValueMetadata;
use polars::prelude::{
    BooleanChunked, DataFrame, ParquetCompression, ParquetReader, ParquetWriter, SerReader,
};

use super::coordinates::Coordinates;
use crate::debrief::Debrief;
use crate::files::{self, Busy, Lasting, write_whole};

use columns::TABLES;

/// The version of tables and columns, in every file's metadata under [`VERSION_KEY`].
pub const DATASET_VERSION: &str = "2";
/// The name of the version in a file's metadata.
pub const VERSION_KEY: &str = "graylight.dataset";
/// The one file of a season.
pub(crate) const PART: &str = "part.parquet";
/// What stands for the season of pictures without a time. Hive's own word for none, `__HIVE_DEFAULT_PARTITION__`, is
/// not taken: pandas cannot read it.
const NO_SEASON: &str = "unknown";

/// What became of a property's seasons.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Appended {
    /// The property's name in the data set.
    pub id: String,
    /// Rows by table, all seasons together.
    pub rows: Vec<(&'static str, usize)>,
    /// Files written: new ones, and those that say something else now.
    pub written: usize,
    /// Files that are as they were.
    pub unchanged: usize,
    /// Seasons in the data set that the property no longer holds; they stay.
    pub only_there: Vec<String>,
    /// Those of them that tell exact places, though it was asked now to tell none or a grid.
    pub exact_there: Vec<String>,
}

/// Writes a property's seasons into a data set; the folder need not be there yet. All tables are made before the first
/// file is written, and each file is written whole.
///
/// # Errors
/// When `id` is no name for a folder, the folder is something else than a data set or holds another property by that
/// name, no camera has worked yet, or the disk does not take it.
pub fn append(
    debrief: &Debrief,
    coordinates: Coordinates,
    id: Option<&str>,
    folder: &Path,
) -> Result<Appended> {
    const LONGEST: usize = 60;
    let id = id.map_or_else(|| name_of(&debrief.property.settings.name), str::to_owned);
    let is_fit = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    ensure!(
        (1..=LONGEST).contains(&id.len()) && id.chars().all(is_fit) && !id.starts_with('-'),
        "\"{id}\" is no name for a property in a data set: up to {LONGEST} small letters, digits and hyphens, such as ridge-farm (--as)"
    );
    ensure!(
        !debrief.season.years.is_empty(),
        "no camera has worked yet, so there is nothing to write"
    );
    ensure_apart(debrief, folder)?;
    let files = files_of(debrief, coordinates)?;
    let say = || {
        format!(
            "cannot write the data set {}. Every file that is there is whole, but some may be of before; run it again",
            folder.display()
        )
    };
    fs::create_dir_all(folder).with_context(say)?;
    let wait = || eprintln!("Another run writes into this data set; this one waits for it to end.");
    let _lock = files::hold(&folder.join(".lock"), &Busy::Wait(&wait))?;
    ensure_same(debrief, &id, folder)?;
    let mut done = Appended { id: id.clone(), ..Appended::default() };
    keep(&folder.join("columns.csv"), &columns::as_csv()?, &mut done).with_context(say)?;
    for file in &files {
        let below = place(folder, file.table, &id, &file.season);
        // Whoever else writes here waits for the lock: what is in the making is nobody's.
        files::clear_away(&below, Duration::ZERO);
        fs::create_dir_all(&below).with_context(say)?;
        keep(&below.join(PART), &file.bytes, &mut done).with_context(say)?;
    }
    for table in TABLES {
        let of_table = files.iter().filter(|f| f.table == table.name);
        done.rows.push((table.name, of_table.map(|f| f.rows).sum()));
    }
    let is_here = |season: &String| files.iter().any(|f| f.season == *season);
    done.only_there = seasons_there(folder, &id);
    done.only_there.retain(|season| !is_here(season));
    if coordinates != Coordinates::Exact {
        let is_exact = |season: &&String| tells_exactly(folder, &id, season);
        done.exact_there = done.only_there.iter().filter(is_exact).cloned().collect();
    }
    Ok(done)
}

/// A file of the data set, made and not written yet.
struct Part {
    table: &'static str,
    season: String,
    rows: usize,
    bytes: Vec<u8>,
}

/// Every table in every season, also those without a row: what was taken out of the log must go from the set.
fn files_of(debrief: &Debrief, coordinates: Coordinates) -> Result<Vec<Part>> {
    let mut tables = Vec::new();
    let mut seasons = BTreeSet::new();
    for table in TABLES {
        let whole = tables::table(debrief, table, coordinates)?;
        let of_row = whole.column("season")?.str()?.clone();
        seasons.extend(of_row.iter().flatten().map(str::to_owned));
        tables.push((table.name, whole, of_row));
    }
    let mut files = Vec::new();
    for (table, whole, of_row) in &tables {
        let mut part = |season: &str, mask: BooleanChunked| -> Result<()> {
            let rows = whole.filter(&mask)?.drop("season")?;
            files.push(Part {
                table,
                season: season.to_owned(),
                rows: rows.height(),
                bytes: parquet(rows)?,
            });
            Ok(())
        };
        for season in &seasons {
            part(season, of_row.iter().map(|s| Some(s == Some(season))).collect())?;
        }
        if of_row.null_count() > 0 {
            part(NO_SEASON, of_row.iter().map(|s| Some(s.is_none())).collect())?;
        }
    }
    Ok(files)
}

/// A folder that holds anything else is no data set, and what lies in it is not written over.
fn ensure_apart(debrief: &Debrief, folder: &Path) -> Result<()> {
    let cards = std::path::absolute(debrief.property.cards())?;
    ensure!(
        !std::path::absolute(folder)?.starts_with(&cards),
        "{} lies among the property's cards. Name a folder elsewhere.",
        folder.display()
    );
    ensure!(
        is_one(folder) || files::is_free(folder),
        "{} holds something else than a data set. Name a new folder, or that of a data set.",
        folder.display()
    );
    Ok(())
}

/// Whether a season that is there tells a place exactly.
fn tells_exactly(folder: &Path, id: &str, season: &str) -> bool {
    let told = || -> Result<bool> {
        let table = read(&place(folder, "placements", id, season).join(PART))?;
        let (place, off) = (table.column("latitude")?, table.column("uncertainty")?);
        Ok(off.null_count() > place.null_count())
    };
    told().unwrap_or(false)
}

/// `ridge-farm` of "Ridge Farm".
fn name_of(name: &str) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }
    };
    let name: String = name.chars().map(plain).collect();
    let parts: Vec<&str> = name.split('-').filter(|p| !p.is_empty()).collect();
    parts.join("-")
}

/// The folder of one season of one property.
fn place(folder: &Path, table: &str, id: &str, season: &str) -> PathBuf {
    folder.join(table).join(format!("property={id}")).join(format!("season={season}"))
}

/// The seasons of a property that a data set's days tell of.
fn seasons_there(folder: &Path, id: &str) -> Vec<String> {
    let below = folder.join("days").join(format!("property={id}"));
    named_below(&below, "season=").unwrap_or_default()
}

/// Whether a folder is a data set: its columns are written in it.
pub(crate) fn is_one(folder: &Path) -> bool {
    let known = fs::read_to_string(folder.join("columns.csv"));
    known.is_ok_and(|text| text.starts_with(&columns::HEADINGS.join(",")))
}

/// What stands behind `key` in the names of a folder's folders, in order; nothing where there is no folder.
pub(crate) fn named_below(folder: &Path, key: &str) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    if !folder.exists() {
        return Ok(names);
    }
    for entry in folder.read_dir()? {
        let entry = entry?;
        let name = entry.file_name();
        let name = name.to_str().and_then(|n| n.strip_prefix(key));
        names.extend(name.filter(|_| entry.path().is_dir()).map(str::to_owned));
    }
    names.sort();
    Ok(names)
}

/// Two properties can have one name. Where most of the cameras in the data set are not known, it is another one.
fn ensure_same(debrief: &Debrief, id: &str, folder: &Path) -> Result<()> {
    let mut there = BTreeSet::new();
    for season in seasons_there(folder, id) {
        let days = read(&place(folder, "days", id, &season).join(PART))?;
        let cameras = days.column("camera")?.str()?.clone();
        there.extend(cameras.iter().flatten().map(str::to_owned));
    }
    let is_known = |c: &&String| debrief.season.cameras.iter().any(|own| own.name == **c);
    let known = there.iter().filter(is_known).count();
    ensure!(
        known * 2 >= there.len(),
        "{} holds a property {id} of whose {} cameras this one knows {known}: it is another one. Give this one a name of its own with --as. (If it is the same with new camera names, take its folders property={id} out first.)",
        folder.display(),
        there.len()
    );
    Ok(())
}

/// Reads one file of a data set.
fn read(file: &Path) -> Result<DataFrame> {
    let say = || format!("{} cannot be read as a Parquet file of a data set", file.display());
    let opened = File::open(file).with_context(say)?;
    ParquetReader::new(opened).finish().with_context(say)
}

fn parquet(mut rows: DataFrame) -> Result<Vec<u8>> {
    rows.rechunk_mut();
    let version = (VERSION_KEY.to_owned(), DATASET_VERSION.to_owned());
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes)
        .with_compression(ParquetCompression::Snappy)
        .with_key_value_metadata(Some(KeyValueMetadata::from_static(vec![version])))
        .finish(&mut rows)?;
    Ok(bytes)
}

/// Writes a file unless its bytes are the same already.
fn keep(path: &Path, bytes: &[u8], done: &mut Appended) -> io::Result<()> {
    if fs::read(path).is_ok_and(|there| there == bytes) {
        done.unchanged += 1;
        return Ok(());
    }
    write_whole(path, Lasting::Synced, |file| file.write_all(bytes), || Ok(()))?;
    done.written += 1;
    Ok(())
}
