//! A property as part of a data set of many: Parquet files in folders that say property and season.
//!
//! `DATASET/TABLE/property=ID/season=NAME/part.parquet`, which every reader of partitioned tables (Hive's way of
//! naming folders) takes for one table with the columns `property` and `season`. [`append`] writes the seasons of one
//! property: a file whose bytes would be the same is left alone, so a new season touches no older one. What the
//! columns are is written beside the tables, in `columns.csv`, and the version of all of it into every file.

mod columns;
mod tables;

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail, ensure};
use polars::io::parquet::write::KeyValueMetadata;
use polars::prelude::{
    BooleanChunked, DataFrame, ParquetCompression, ParquetReader, ParquetWriter, SerReader,
};

use super::coordinates::Coordinates;
use crate::debrief::Debrief;
use crate::files::{Lasting, write_whole};

pub(crate) use columns::TABLES;

/// The version of tables and columns, in every file's metadata under [`VERSION_KEY`].
pub const DATASET_VERSION: &str = "1";
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
}

/// Writes a property's seasons into a data set; the folder need not be there yet.
///
/// # Errors
/// When `id` is no name for a folder, the data set holds another property by that name, or the disk does not take it.
pub fn append(
    debrief: &Debrief,
    coordinates: Coordinates,
    id: Option<&str>,
    folder: &Path,
) -> Result<Appended> {
    let id = id.map_or_else(|| name_of(&debrief.property.settings.name), str::to_owned);
    let is_fit = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    ensure!(
        !id.is_empty() && id.chars().all(is_fit) && !id.starts_with('-'),
        "\"{id}\" is no name for a property in a data set: small letters, digits and hyphens, such as ridge-farm (--as)"
    );
    let cards = std::path::absolute(debrief.property.cards())?;
    ensure!(
        !std::path::absolute(folder)?.starts_with(&cards),
        "{} lies among the property's cards. Name a folder elsewhere.",
        folder.display()
    );
    ensure_same(debrief, &id, folder)?;
    let mut done = Appended {
        id: id.clone(),
        ..Appended::default()
    };
    let say = || format!("cannot write the data set {}", folder.display());
    fs::create_dir_all(folder).with_context(say)?;
    keep(&folder.join("columns.csv"), &columns::as_csv()?, &mut done).with_context(say)?;
    let mut seasons = Vec::new();
    for table in TABLES {
        let whole = tables::table(debrief, table, coordinates)?;
        done.rows.push((table.name, whole.height()));
        for (season, rows) in by_season(&whole)? {
            let below = place(folder, table.name, &id, &season);
            fs::create_dir_all(&below).with_context(say)?;
            keep(&below.join(PART), &parquet(rows)?, &mut done).with_context(say)?;
            seasons.push(season);
        }
    }
    let there = seasons_there(folder, &id);
    done.only_there = there.into_iter().filter(|s| !seasons.contains(s)).collect();
    Ok(done)
}

/// `ridge-farm` of "Ridge Farm".
fn name_of(name: &str) -> String {
    let plain = |c: char| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '-'
        }
    };
    let name: String = name.chars().map(plain).collect();
    let parts: Vec<&str> = name.split('-').filter(|p| !p.is_empty()).collect();
    parts.join("-")
}

/// The folder of one season of one property.
pub(crate) fn place(folder: &Path, table: &str, id: &str, season: &str) -> PathBuf {
    folder
        .join(table)
        .join(format!("property={id}"))
        .join(format!("season={season}"))
}

/// The seasons of a property that a data set's days tell of.
pub(crate) fn seasons_there(folder: &Path, id: &str) -> Vec<String> {
    let below = folder.join("days").join(format!("property={id}"));
    let names = below.read_dir().into_iter().flatten().flatten();
    let mut seasons: Vec<String> = names
        .filter_map(|e| Some(e.file_name().to_str()?.strip_prefix("season=")?.to_owned()))
        .collect();
    seasons.sort();
    seasons
}

/// Two properties can have one name. Where none of the cameras is known, the one in the data set is another.
fn ensure_same(debrief: &Debrief, id: &str, folder: &Path) -> Result<()> {
    let mut there = Vec::new();
    for season in seasons_there(folder, id) {
        let file = place(folder, "days", id, &season).join(PART);
        let days = read(&file)?;
        there.extend(
            days.column("camera")?
                .str()?
                .iter()
                .flatten()
                .map(str::to_owned),
        );
    }
    let is_known = |c: &crate::visits::Camera| there.contains(&c.name);
    if there.is_empty() || debrief.season.cameras.iter().any(is_known) {
        return Ok(());
    }
    bail!(
        "{} holds a property {id} with none of these cameras: it is another one. Give this one a name of its own with --as.",
        folder.display()
    )
}

/// Reads one file of a data set.
pub(crate) fn read(file: &Path) -> Result<DataFrame> {
    let say = || {
        format!(
            "{} cannot be read as a Parquet file of a data set",
            file.display()
        )
    };
    let opened = File::open(file).with_context(say)?;
    ParquetReader::new(opened).finish().with_context(say)
}

/// The rows season by season; those of no season last.
fn by_season(whole: &DataFrame) -> Result<Vec<(String, DataFrame)>> {
    let of_row = whole.column("season")?.str()?.clone();
    let mut seasons: Vec<Option<&str>> = of_row.iter().collect();
    seasons.sort_by_key(|s| (s.is_none(), *s));
    seasons.dedup();
    let some = |season: &Option<&str>| -> Result<(String, DataFrame)> {
        let mask: BooleanChunked = of_row.iter().map(|s| Some(s == *season)).collect();
        let rows = whole.filter(&mask)?.drop("season")?;
        Ok((season.unwrap_or(NO_SEASON).to_owned(), rows))
    };
    seasons.iter().map(some).collect()
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
    write_whole(
        path,
        Lasting::Synced,
        |file| file.write_all(bytes),
        || Ok(()),
    )?;
    done.written += 1;
    Ok(())
}
