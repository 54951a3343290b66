//! How long the whole analysis takes as sightings grow, beside a bare read of the same file.
//!
//!     cargo bench --bench speed > tests/bench/speed.md
//!
//! Prints seconds, the ratio to the bare read (the `csv` crate visiting every cell), the growth per
//! tenfold rows, and the most memory that the program held; what more cameras cost; and what a property of
//! real pictures costs (`speed_pictures`). `-- sightings` or `-- pictures` is a part.

use std::fmt::Write as _;
use std::time::Instant;

use chrono::{Days, NaiveDate};
use graylight::measure::{Density, block_interval, density, overlap_of};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

mod speed_pictures;

fn main() {
    let asked: Vec<String> = std::env::args().collect();
    let wanted = |part: &str| {
        let parts = ["sightings", "pictures"];
        asked.iter().any(|a| a == part) || !asked.iter().any(|a| parts.contains(&a.as_str()))
    };
    println!("# Speed\n\nWritten by `cargo bench --bench speed` on {}.", machine());
    if wanted("sightings") {
        sightings();
        cameras();
        let s = seconds(resamples);
        println!(
            "\n10,000 block resamples of an activity curve's overlap, 12 cameras and 5 kinds: {s:.2} s"
        );
    }
    if wanted("pictures") {
        speed_pictures::run();
    }
}

fn machine() -> String {
    let read = |file: &str| std::fs::read_to_string(file).unwrap_or_default();
    let cpu = read("/proc/cpuinfo");
    let model = cpu.lines().find_map(|l| l.strip_prefix("model name")?.split_once(": "));
    let cores = rayon::current_num_threads();
    let memory = read("/proc/meminfo");
    let kb = memory
        .lines()
        .find_map(|l| l.strip_prefix("MemTotal:")?.trim().split(' ').next()?.parse::<u64>().ok());
    format!(
        "{cores} cores of {}, {} GB",
        model.map_or("an unknown processor", |m| m.1),
        kb.unwrap_or(0) / 1_000_000
    )
}

/// Rows tenfold, and tenfold again. Each in a process of its own, so that its memory is its own.
fn sightings() {
    println!(
        "\n| sightings | bare read, s | daylight and shifts, s | ratio | times longer | most memory, MB |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    let mut last: Option<f64> = None;
    for rows in [10_000, 100_000, 1_000_000, 10_000_000] {
        let folder = tempfile::tempdir().unwrap();
        let cameras = if rows > 1_000_000 { 40 } else { 12 };
        write_property(folder.path(), rows, cameras);
        let bare_s = seconds(|| bare_read(&folder.path().join("sightings.csv")));
        let (analysis_s, peak_mb) = analysed(folder.path());
        let growth = last.map_or("–".to_owned(), |l| format!("{:.1}", analysis_s / l));
        println!(
            "| {rows}, {cameras} cameras | {bare_s:.2} | {analysis_s:.2} | {:.1} | {growth} | {peak_mb:.0} |",
            analysis_s / bare_s,
        );
        last = Some(analysis_s);
    }
}

/// The same rows at ever more cameras.
fn cameras() {
    println!("\n| cameras, 100,000 sightings | s | times the first |\n| --- | --- | --- |");
    let mut first: Option<f64> = None;
    for cameras in [10, 20, 40, 80] {
        let folder = tempfile::tempdir().unwrap();
        write_property(folder.path(), 100_000, cameras);
        let (s, _) = analysed(folder.path());
        println!("| {cameras} | {s:.2} | {:.1} |", s / *first.get_or_insert(s));
    }
}

/// Seconds and megabytes of the program itself by GNU time, the best of three; 10,000,000 once.
fn analysed(folder: &std::path::Path) -> (f64, f64) {
    let run = || {
        let output = std::process::Command::new("/usr/bin/time")
            .args(["-f", "%e %M", env!("CARGO_BIN_EXE_graylight"), "daylight"])
            .arg(folder)
            .output()
            .expect("GNU time (Debian: time)");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        let last = said.lines().last().unwrap_or_default();
        let numbers: Vec<f64> = last.split(' ').filter_map(|n| n.parse().ok()).collect();
        (numbers[0], numbers[1] / 1024.0)
    };
    let first = run();
    const LONG_S: f64 = 5.0;
    if first.0 > LONG_S {
        return first;
    }
    [first, run(), run()].into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or(first)
}

fn seconds(work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64()
}

/// Ten autumns of September to December.
fn write_property(folder: &std::path::Path, rows: usize, cameras: usize) {
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
            rng.random_range(1..=cameras),
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
