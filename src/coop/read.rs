//! A property's rows from a data set's files, or from one table that somebody else has joined.
//!
//! Of the visits nothing is held but counts: they are read a slice at a time.

use std::collections::HashMap;
use std::fs::File;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, anyhow, bail, ensure};
use chrono::{DateTime, NaiveDate};
use polars::prelude::{
    BooleanChunked, Column, DataFrame, DataType, Int32Chunked, Int64Chunked, ParallelStrategy,
    ParquetReader, SerReader, StringChunked, UInt32Chunked,
};

use super::days::{AGAIN, DayRow, PropertyDays};
use crate::exchange::dataset::{DATASET_VERSION, PART, VERSION_KEY, is_one, named_below};

/// Rows of visits held at a time.
const SLICE_ROWS: usize = 1 << 19;

/// The properties that a data set's days and visits tell of, in the order of their names.
///
/// # Errors
/// When the folder is no data set.
pub fn properties(dataset: &Path) -> Result<Vec<String>> {
    ensure!(
        is_one(dataset),
        "{} is no data set: it has no columns.csv. graylight share PROPERTY --to FOLDER --dataset makes one",
        dataset.display()
    );
    let mut names = Vec::new();
    for table in ["days", "visits"] {
        names.extend(folders(&dataset.join(table), "property=")?);
    }
    names.retain(|name| !name.is_empty());
    names.sort();
    names.dedup();
    ensure!(!names.is_empty(), "{} holds no property yet", dataset.display());
    Ok(names)
}

/// See [`named_below`].
fn folders(folder: &Path, key: &str) -> Result<Vec<String>> {
    named_below(folder, key).with_context(|| format!("cannot read {}", folder.display()))
}

/// The files that a property's answers are made from.
pub(super) fn files(dataset: &Path, id: &str) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for table in ["days", "visits"] {
        let below = Path::new(table).join(format!("property={id}"));
        for season in folders(&dataset.join(&below), "season=")? {
            files.push(below.join(format!("season={season}")).join(PART));
        }
    }
    Ok(files)
}

/// Reads a property from its files.
///
/// # Errors
/// When a file is missing, cannot be read or is of another version, or the tables do not agree.
pub(super) fn property(dataset: &Path, id: &str) -> Result<PropertyDays> {
    let of = |table: &str, season: &str| {
        let place = format!("{table}/property={id}/season={season}/{PART}");
        (dataset.join(&place), place)
    };
    let mut rows = Vec::new();
    let seasons = folders(&dataset.join("days").join(format!("property={id}")), "season=")?;
    let visits = folders(&dataset.join("visits").join(format!("property={id}")), "season=")?;
    for season in visits.iter().filter(|s| !seasons.contains(s)) {
        // Pictures without a time have no days.
        let (file, place) = of("visits", season);
        let holds = Parquet::open(&file, &place)?.rows()?;
        ensure!(holds == 0, "days/property={id}/season={season}/{PART} is missing");
    }
    for season in &seasons {
        let (file, place) = of("days", season);
        let mut days = Parquet::open(&file, &place)?.days(season)?;
        let (file, place) = of("visits", season);
        ensure!(file.exists(), "{place} is missing");
        let mut seen = Parquet::open(&file, &place)?.visits()?;
        for row in &mut days {
            let counts = seen.take(&row.camera, row.placement, &row.kind, row.date);
            (row.seen, row.legal, row.counted) = counts;
        }
        ensure!(
            seen.counts.is_empty(),
            "there are visits on days that days do not tell of. {AGAIN}"
        );
        rows.append(&mut days);
    }
    PropertyDays::of(rows)
}

/// Reads one table of all of a property's days, with the visits counted, as an engine hands it on.
///
/// # Errors
/// As [`property`].
pub(super) fn joined(bytes: Vec<u8>) -> Result<PropertyDays> {
    let table = ParquetReader::new(Cursor::new(bytes))
        .finish()
        .context("what was handed on is no Parquet file")?;
    let mut rows = day_rows(&table, None)?;
    let counts = ["seen", "legal", "counted"].map(|name| numbers(&table, name));
    let [seen, legal, counted] = counts;
    let (seen, legal, counted) = (seen?, legal?, counted?);
    for (i, row) in rows.iter_mut().enumerate() {
        let at = |all: &UInt32Chunked| all.get(i).unwrap_or(0);
        (row.seen, row.legal, row.counted) = (at(&seen), at(&legal), at(&counted));
    }
    PropertyDays::of(rows)
}

/// One file of a data set.
struct Parquet<'a> {
    file: &'a Path,
    place: &'a str,
}

impl<'a> Parquet<'a> {
    /// Looks at a file's version.
    fn open(file: &'a Path, place: &'a str) -> Result<Self> {
        let itself = Self { file, place };
        let mut reader = itself.reader()?;
        let about = reader.get_metadata().map_err(|_| itself.unreadable())?;
        let mut keys = about.key_value_metadata().iter().flatten();
        let version = keys.find(|k| k.key == VERSION_KEY).and_then(|k| k.value.clone());
        ensure!(
            version.as_deref() == Some(DATASET_VERSION),
            "{place} {}, and this program reads version {DATASET_VERSION}. {AGAIN}",
            match &version {
                Some(_) => "is of another version of the data set",
                None => "says no version of the data set",
            }
        );
        Ok(itself)
    }

    /// What the reader says of it may hold what stands in it.
    fn unreadable(&self) -> anyhow::Error {
        anyhow!("{} cannot be read as a Parquet file of a data set", self.place)
    }

    fn reader(&self) -> Result<ParquetReader<File>> {
        let say = || format!("{} cannot be opened", self.place);
        Ok(ParquetReader::new(File::open(self.file).with_context(say)?))
    }

    fn rows(&self) -> Result<usize> {
        self.reader()?.num_rows().map_err(|_| self.unreadable())
    }

    fn part(&self, columns: &[&str], from: usize, rows: usize) -> Result<DataFrame> {
        let mut reader = self.reader()?;
        let schema = reader.schema().map_err(|_| self.unreadable())?;
        for column in columns {
            ensure!(schema.contains(column), "{}: there is no column {column}", self.place);
        }
        let columns = columns.iter().map(|c| (*c).to_owned()).collect();
        reader
            .with_columns(Some(columns))
            .with_slice(Some((from, rows)))
            // Properties are read side by side.
            .read_parallel(ParallelStrategy::None)
            .finish()
            .map_err(|_| self.unreadable())
    }

    fn days(&self, season: &str) -> Result<Vec<DayRow>> {
        let table = self.part(&DAYS, 0, usize::MAX)?;
        day_rows(&table, Some(season)).with_context(|| self.place.to_owned())
    }

    fn visits(&self) -> Result<Seen> {
        const COLUMNS: [&str; 6] =
            ["camera", "placement", "kind", "first_local", "legal", "counted"];
        let mut seen = Seen::default();
        let rows = self.rows()?;
        for from in (0..rows).step_by(SLICE_ROWS) {
            let part = self.part(&COLUMNS, from, SLICE_ROWS.min(rows - from))?;
            seen.count(&part).with_context(|| self.place.to_owned())?;
        }
        Ok(seen)
    }
}

const DAYS: [&str; 10] = [
    "camera",
    "placement",
    "kind",
    "date",
    "worked",
    "clock_in_doubt",
    "pictures",
    "untagged",
    "visits",
    "light_visits",
];

/// The rows of a table of days, without the counts of visits; `season` where no column tells it.
fn day_rows(table: &DataFrame, season: Option<&str>) -> Result<Vec<DayRow>> {
    let [camera, kind] = [words(table, "camera")?, words(table, "kind")?];
    let seasons = match season {
        Some(_) => None,
        None => Some(words(table, "season")?),
    };
    let date = dates(table, "date")?;
    let [worked, in_doubt] = [truths(table, "worked")?, truths(table, "clock_in_doubt")?];
    let names = ["placement", "pictures", "untagged", "visits", "light_visits"];
    let mut counts = Vec::new();
    for name in names {
        counts.push(numbers(table, name)?);
    }
    let row = |i: usize| -> Option<DayRow> {
        let of = |column: usize| counts[column].get(i);
        let season = match &seasons {
            Some(all) => all.get(i)?,
            None => season?,
        };
        Some(DayRow {
            season: season.to_owned(),
            camera: camera.get(i)?.to_owned(),
            placement: of(0)?,
            kind: kind.get(i)?.to_owned(),
            date: date_of(date.get(i)?)?,
            worked: worked.get(i)?,
            clock_in_doubt: in_doubt.get(i)?,
            pictures: of(1)?,
            untagged: of(2)?,
            visits: of(3)?,
            light_visits: of(4)?,
            ..DayRow::default()
        })
    };
    (0..table.height())
        .map(|i| row(i).with_context(|| format!("days, row {}: a cell is empty", i + 1)))
        .collect()
}

/// The numbers of a camera and a kind, the placement, and the date.
type Cell = (u32, u32, u32, NaiveDate);

/// Visits by camera, place, kind and date: all, in legal light, and counted by the daylight share.
#[derive(Default)]
struct Seen {
    words: HashMap<String, u32>,
    counts: HashMap<Cell, (u32, u32, u32)>,
}

impl Seen {
    fn number(&mut self, word: &str) -> u32 {
        match self.words.get(word) {
            Some(number) => *number,
            None => {
                let next = self.words.len() as u32;
                self.words.insert(word.to_owned(), next);
                next
            }
        }
    }

    fn count(&mut self, table: &DataFrame) -> Result<()> {
        let [camera, kind] = [words(table, "camera")?, words(table, "kind")?];
        let placement = numbers(table, "placement")?;
        let first = moments(table, "first_local")?;
        let [legal, counted] = [truths(table, "legal")?, truths(table, "counted")?];
        let rows = camera.iter().zip(kind.iter()).zip(placement.iter());
        let rows = rows.zip(first.iter()).zip(legal.iter().zip(counted.iter()));
        for ((((camera, kind), placement), first), (legal, counted)) in rows {
            let (
                Some(camera),
                Some(kind),
                Some(placement),
                Some(first),
                Some(legal),
                Some(counted),
            ) = (camera, kind, placement, first, legal, counted)
            else {
                bail!("a cell of visits is empty");
            };
            let first =
                DateTime::from_timestamp_millis(first).context("a moment that cannot be")?;
            let date = first.date_naive();
            let key = (self.number(camera), placement, self.number(kind), date);
            let counts = self.counts.entry(key).or_default();
            counts.0 += 1;
            counts.1 += u32::from(legal);
            counts.2 += u32::from(counted);
        }
        Ok(())
    }

    fn take(
        &mut self,
        camera: &str,
        placement: u32,
        kind: &str,
        date: NaiveDate,
    ) -> (u32, u32, u32) {
        let (Some(camera), Some(kind)) = (self.words.get(camera), self.words.get(kind)) else {
            return (0, 0, 0);
        };
        let found = self.counts.remove(&(*camera, placement, *kind, date));
        found.unwrap_or_default()
    }
}

fn column<'a>(table: &'a DataFrame, name: &str) -> Result<&'a Column> {
    table.column(name).with_context(|| format!("there is no column {name}"))
}

fn sort(name: &str, wanted: &str) -> anyhow::Error {
    anyhow!("column {name} is not {wanted}")
}

fn words(table: &DataFrame, name: &str) -> Result<StringChunked> {
    let column = column(table, name)?;
    Ok(column.str().map_err(|_| sort(name, "text"))?.clone())
}

fn truths(table: &DataFrame, name: &str) -> Result<BooleanChunked> {
    let column = column(table, name)?;
    Ok(column.bool().map_err(|_| sort(name, "true or false"))?.clone())
}

/// Whole numbers; an engine may have widened them.
fn numbers(table: &DataFrame, name: &str) -> Result<UInt32Chunked> {
    let column = column(table, name)?;
    let say = || sort(name, "a whole number");
    ensure!(column.dtype().is_integer(), say());
    let cast = column.strict_cast(&DataType::UInt32).map_err(|_| say())?;
    Ok(cast.u32().map_err(|_| say())?.clone())
}

fn dates(table: &DataFrame, name: &str) -> Result<Int32Chunked> {
    let column = column(table, name)?;
    ensure!(*column.dtype() == DataType::Date, sort(name, "a date"));
    Ok(column.cast(&DataType::Int32)?.i32()?.clone())
}

fn moments(table: &DataFrame, name: &str) -> Result<Int64Chunked> {
    let column = column(table, name)?;
    let is_ms =
        matches!(column.dtype(), DataType::Datetime(polars::prelude::TimeUnit::Milliseconds, _));
    ensure!(is_ms, sort(name, "a moment in milliseconds"));
    Ok(column.cast(&DataType::Int64)?.i64()?.clone())
}

fn date_of(days_since_1970: i32) -> Option<NaiveDate> {
    NaiveDate::from_epoch_days(days_since_1970)
}
