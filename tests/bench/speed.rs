//! How long the whole analysis takes as sightings grow, beside a bare read of the same file.
//!
//!     cargo bench --bench speed
//!
//! Prints seconds, the ratio to the bare read (the `csv` crate visiting every cell), the growth per
//! tenfold rows, and the most memory the process ever held.

use std::fmt::Write as _;
use std::time::Instant;

use chrono::{Days, NaiveDate};
use graylight::debrief::Debrief;
use graylight::measure::{Density, block_interval, density, overlap_of};
use indicatif::ProgressBar;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

fn main() {
    println!("| sightings | bare read, s | analysis, s | ratio | times longer | most memory, MB |");
    println!("| --- | --- | --- | --- | --- | --- |");
    let mut last: Option<f64> = None;
    for rows in [10_000, 100_000, 1_000_000] {
        let folder = tempfile::tempdir().unwrap();
        write_property(folder.path(), rows);
        let bare_s = seconds(|| bare_read(&folder.path().join("sightings.csv")));
        let today = NaiveDate::from_ymd_opt(2026, 2, 1).unwrap();
        let analysis_s = seconds(|| {
            Debrief::of(folder.path(), today, &ProgressBar::hidden()).unwrap();
        });
        let growth = last.map_or("–".to_owned(), |l| format!("{:.1}", analysis_s / l));
        println!(
            "| {rows} | {bare_s:.2} | {analysis_s:.2} | {:.1} | {growth} | {:.0} |",
            analysis_s / bare_s,
            peak_mb()
        );
        last = Some(analysis_s);
    }
    let s = seconds(resamples);
    println!(
        "\n10,000 block resamples of an activity curve's overlap, 12 cameras and 5 kinds: {s:.2} s"
    );
}

fn seconds(work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64()
}

/// Ten autumns of September to December at twelve cameras.
fn write_property(folder: &std::path::Path, rows: usize) {
    std::fs::write(
        folder.join("property.toml"),
        "name = 'Speed'\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = 'America/Chicago'\n",
    )
    .unwrap();
    let log = "id,start,by,near\nblind,2021-10-10,neighbour,Camera 01\nowner,2023-10-10,neighbour,Camera 02\n";
    std::fs::write(folder.join("disturbances.csv"), log).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut text = "camera,time,who,count,age\n".to_owned();
    for _ in 0..rows {
        let year = 2015 + rng.random_range(0..10);
        let start = NaiveDate::from_ymd_opt(year, 9, 1).unwrap();
        let date = start + Days::new(rng.random_range(0..120));
        let minute: u32 = rng.random_range(0..1440);
        let (who, age) =
            [("buck", "4.5"), ("buck", "1.5"), ("doe", ""), ("fawn", "")][rng.random_range(0..4)];
        writeln!(
            text,
            "Camera {:02},{date}T{:02}:{:02}:00,{who},1,{age}",
            rng.random_range(1..=12),
            minute / 60,
            minute % 60
        )
        .unwrap();
    }
    std::fs::write(folder.join("sightings.csv"), text).unwrap();
}

fn bare_read(path: &std::path::Path) {
    let mut reader = csv::Reader::from_path(path).unwrap();
    let mut record = csv::StringRecord::new();
    let mut bytes = 0;
    while reader.read_record(&mut record).unwrap() {
        bytes += record.iter().map(str::len).sum::<usize>();
    }
    std::hint::black_box(bytes);
}

/// As the comparison of a disturbance does it: 21 days a side, about one visit a day.
fn resamples() {
    (0..60_u64).into_par_iter().for_each(|row| {
        let mut rng = ChaCha8Rng::seed_from_u64(row);
        let mut side = || -> Vec<Density> {
            let day = |_| {
                let minute = rng.random_range(0.0..1440.0);
                density(&[minute], 1440.0, 21.0, 96).unwrap()
            };
            (0..21).map(day).collect()
        };
        let (before, after) = (side(), side());
        let drawn = |days: &[Density], drawn: &[usize]| {
            Density::together(drawn.iter().map(|d| (&days[*d], 1)))
        };
        let statistic =
            |b: &[usize], a: &[usize]| Some(overlap_of(&drawn(&before, b)?, &drawn(&after, a)?));
        std::hint::black_box(block_interval(21, 21, statistic, 10_000, row));
    });
}

/// The most memory the process ever held (Linux), in megabytes.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM"));
    let kb = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok());
    kb.unwrap_or(f64::NAN) / 1024.0
}
