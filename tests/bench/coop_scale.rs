//! Time and memory against the number of properties, beside DuckDB that counts the same files.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use chrono::NaiveDate;
use graylight::debrief::Debrief;
use graylight::exchange::{Coordinates, dataset};
use graylight::practice::{self, Options};
use indicatif::ProgressBar;
use polars::io::parquet::write::KeyValueMetadata;
use polars::prelude::*;
use rayon::prelude::*;

/// Seasons that differ; the properties of a data set take them in turn.
const DIFFERENT: u64 = 40;
const PROPERTIES: [usize; 3] = [10, 100, 1000];

pub fn measure() {
    let folder = tempfile::tempdir().unwrap();
    let base = folder.path().join("base");
    make(folder.path(), &base);
    println!(
        "| properties | visits of deer | rows of visits | time | most memory | DuckDB counts them | ratio |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for number in PROPERTIES {
        let set = folder.path().join(format!("set-{number}"));
        let event = copy(&base, &set, number);
        let to = folder.path().join(format!("out-{number}"));
        let (took, most_kb) = coop(&set, &event, &to);
        let (deer, rows) = visits(&to);
        let theirs = duckdb(&set);
        println!(
            "| {number} | {deer} | {rows} | {:.2} s | {} MB | {:.2} s | {:.2} |",
            took.as_secs_f64(),
            most_kb / 1000,
            theirs.as_secs_f64(),
            took.as_secs_f64() / theirs.as_secs_f64()
        );
    }
}

fn make(folder: &Path, base: &Path) {
    let made: Vec<Debrief> = (0..DIFFERENT)
        .into_par_iter()
        .map(|seed| {
            let place = folder.join(format!("season-{seed}"));
            let options =
                Options { seed, weeks: 20, size: 5.4, pictures: false, ..Options::default() };
            practice::write(&place, &options, &ProgressBar::hidden()).unwrap();
            let today = NaiveDate::from_ymd_opt(2026, 3, 1).unwrap();
            Debrief::of(&place, today, &ProgressBar::hidden()).unwrap()
        })
        .collect();
    for (i, debrief) in made.iter().enumerate() {
        let id = format!("base-{i}");
        dataset::append(debrief, Coordinates::LeftOut, Some(&id), base).unwrap();
    }
}

/// A data set of so many properties, and an event at every second one.
fn copy(base: &Path, set: &Path, number: usize) -> std::path::PathBuf {
    fs::create_dir_all(set).unwrap();
    fs::copy(base.join("columns.csv"), set.join("columns.csv")).unwrap();
    let mut event = String::from("property,date\n");
    for i in 0..number {
        for table in ["days", "visits"] {
            let from = base.join(format!("{table}/property=base-{}", i as u64 % DIFFERENT));
            let season = from.read_dir().unwrap().next().unwrap().unwrap().file_name();
            let to = set.join(format!("{table}/property=farm-{i:04}")).join(&season);
            fs::create_dir_all(&to).unwrap();
            let [from, to] = [from.join(&season), to].map(|f| f.join("part.parquet"));
            later(&from, &to, i as i64 / DIFFERENT as i64);
        }
        let date = if i % 2 == 0 { "2025-11-01" } else { "" };
        event.push_str(&format!("farm-{i:04},{date}\n"));
    }
    let path = set.with_extension("csv");
    fs::write(&path, event).unwrap();
    path
}

/// A table without its first days: properties that say the same would be taken for one.
fn later(from: &Path, to: &Path, days: i64) {
    const DAY_MS: i64 = 86_400_000;
    let mut table = ParquetReader::new(fs::File::open(from).unwrap()).finish().unwrap();
    let (column, day) = match table.column("date") {
        Ok(column) => (column, 1),
        Err(_) => (table.column("first_local").unwrap(), DAY_MS),
    };
    let of = column.cast(&DataType::Int64).unwrap().i64().unwrap().clone();
    let first = NaiveDate::from_ymd_opt(2025, 9, 1).unwrap();
    let first = i64::from(first.to_epoch_days()) + days;
    let keep: BooleanChunked = of.iter().map(|t| Some(t? >= first * day)).collect();
    table = table.filter(&keep).unwrap();
    let version = (dataset::VERSION_KEY.to_owned(), dataset::DATASET_VERSION.to_owned());
    ParquetWriter::new(fs::File::create(to).unwrap())
        .with_key_value_metadata(Some(KeyValueMetadata::from_static(vec![version])))
        .finish(&mut table)
        .unwrap();
}

/// How long the program takes, and the most memory it held, in kB.
fn coop(set: &Path, event: &Path, to: &Path) -> (Duration, u64) {
    let begun = Instant::now();
    let mut program = Command::new(env!("CARGO_BIN_EXE_graylight"))
        .arg("coop")
        .arg(set)
        .arg("--event")
        .arg(event)
        .arg("--to")
        .arg(to)
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", program.id());
    let mut most_kb = 0;
    while program.try_wait().unwrap().is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find(|l| l.starts_with("VmHWM"));
        let told = line.and_then(|l| l.split_whitespace().nth(1)?.parse().ok());
        most_kb = told.unwrap_or(most_kb).max(most_kb);
        std::thread::sleep(Duration::from_millis(2));
    }
    (begun.elapsed(), most_kb)
}

/// Visits of deer, and rows of the visits table, in which a visit stands once for every kind.
fn visits(to: &Path) -> (u64, u64) {
    let told: serde_json::Value =
        serde_json::from_slice(&fs::read(to.join("coop.json")).unwrap()).unwrap();
    let seasons = told["seasons"].as_array().unwrap();
    let of = |keep: fn(&str) -> bool| -> u64 {
        let rows = seasons.iter().filter(|s| keep(s["kind"].as_str().unwrap()));
        rows.map(|s| s["visits_about"].as_u64().unwrap_or(0)).sum()
    };
    (of(|kind| kind == "deer"), of(|_| true))
}

/// The same counts by SQL, on as many threads.
fn duckdb(set: &Path) -> Duration {
    let reference = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let python = Command::new(reference.join("python")).output().unwrap();
    let python = String::from_utf8(python.stdout).unwrap();
    let begun = Instant::now();
    let done = Command::new(python.trim())
        .arg(reference.join("coop.py"))
        .arg("counts")
        .arg(set)
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert!(done.success());
    begun.elapsed()
}
