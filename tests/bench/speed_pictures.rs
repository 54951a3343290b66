//! How long a property of real pictures takes, the first time and every later time, beside programs that
//! only read the same times.
//!
//! The pictures are photographs that packages carry as test data (`tests/reference/real_cameras.py`), each
//! many times over with another time in its EXIF block.

use std::fs;
use std::hint::black_box;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use chrono::{NaiveDate, TimeDelta};
use graylight::card::crawl;
use graylight::property::Property;
use indicatif::ProgressBar;
use rayon::prelude::*;

use super::seconds;
use reference::real_cameras;

#[path = "../suite/reference.rs"]
mod reference;

const PROGRAM: &str = env!("CARGO_BIN_EXE_graylight");
const PICTURES: usize = 12_000;
const CAMERAS: usize = 10;
const DAYS: i64 = 90;
/// A file is remembered once a change to it would show.
const SETTLED: Duration = Duration::from_millis(2500);
const ROUNDS: usize = 3;

pub fn run() {
    let folder = tempfile::tempdir().unwrap();
    let (files, megabytes) = write_property(folder.path());
    println!(
        "\n{PICTURES} real pictures of {CAMERAS} cameras, {megabytes} MB, in memory\n\n| what | s |\n| --- | --- |"
    );
    std::thread::sleep(SETTLED);
    let names: Vec<&Path> = files.iter().map(|f| f.strip_prefix(folder.path()).unwrap()).collect();
    let read_64k_s = best(|| read_heads(&files, 64 << 10));
    let exiv2_s = best(|| {
        let options = ["-g", "Exif.Photo.DateTimeOriginal", "-Pv"];
        ran(Command::new("exiv2").current_dir(folder.path()).args(options).args(&names));
    });
    let exiftool_s = seconds(|| {
        let options = ["-fast2", "-r", "-csv", "-DateTimeOriginal"];
        ran(Command::new("exiftool").args(options).arg(folder.path().join("cards")));
    });
    let memory = folder.path().join("catalogue");
    let command = |word: &str| {
        let mut command = Command::new(PROGRAM);
        command.arg(word).arg(folder.path());
        command
    };
    let first_s = best(|| {
        let _ = fs::remove_dir_all(&memory);
        ran(&mut command("debrief"));
    });
    let property = Property::open(folder.path()).unwrap();
    let crawled_s = |forget: bool| {
        best(|| {
            if forget {
                let _ = fs::remove_dir_all(&memory);
            }
            let found = crawl(&property, today(), &ProgressBar::hidden());
            assert_eq!(found.readable(), PICTURES);
        })
    };
    let crawl_s = crawled_s(true);
    ran(&mut command("debrief"));
    let crawl_again_s = crawled_s(false);
    let later: Vec<(&str, f64)> = ["debrief", "daylight", "clock", "shift"]
        .into_iter()
        .map(|word| (word, best(|| ran(&mut command(word)))))
        .collect();
    print(&[
        ("open and read of 64 KiB of each", read_64k_s),
        ("exiv2, one process", exiv2_s),
        ("exiftool -fast2, one process, once", exiftool_s),
        ("crawl of all headers", crawl_s),
        ("the same from memory", crawl_again_s),
        ("first debrief", first_s),
    ]);
    for (word, s) in &later {
        println!("| {word}, every later time | {s:.2} |");
    }
    println!();
    ratio("crawl / open and read of 64 KiB", crawl_s / read_64k_s, 1.3);
    ratio("first debrief / exiftool", first_s / exiftool_s, 0.2);
    for (word, s) in &later {
        ratio(&format!("later {word} / exiv2"), s / exiv2_s, 2.0);
    }
}

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 2, 1).unwrap()
}

fn print(rows: &[(&str, f64)]) {
    for (what, s) in rows {
        println!("| {what} | {s:.2} |");
    }
}

fn ratio(what: &str, ratio: f64, most: f64) {
    let met = if ratio <= most { "met" } else { "NOT met" };
    println!("- {what}: {ratio:.2} (target <= {most}): {met}");
}

fn best(work: impl Fn()) -> f64 {
    (0..ROUNDS).map(|_| seconds(&work)).fold(f64::INFINITY, f64::min)
}

fn ran(command: &mut Command) {
    let _ = command.stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap();
}

fn read_heads(files: &[PathBuf], bytes: u64) {
    files.par_iter().for_each(|path| {
        let mut head = Vec::with_capacity(bytes as usize);
        fs::File::open(path).unwrap().take(bytes).read_to_end(&mut head).unwrap();
        black_box(head);
    });
}

/// The photographs, each with its times found.
fn photographs() -> Vec<Vec<u8>> {
    let out = tempfile::tempdir().unwrap();
    real_cameras(out.path());
    let mut paths: Vec<PathBuf> =
        fs::read_dir(out.path()).unwrap().map(|e| e.unwrap().path()).collect();
    paths.sort();
    let pictures = paths.iter().map(|p| fs::read(p).unwrap());
    pictures.filter(|p| p.starts_with(&[0xff, 0xd8]) && !times(p).is_empty()).collect()
}

/// Where in the first bytes `2025:11:08 06:41:27` and its likes stand.
fn times(picture: &[u8]) -> Vec<usize> {
    let head = &picture[..picture.len().min(64 << 10)];
    let is_time = |w: &&[u8]| {
        let marks = [(4, b':'), (7, b':'), (10, b' '), (13, b':'), (16, b':')];
        marks.iter().all(|(at, mark)| w[*at] == *mark) && w[..4].iter().all(u8::is_ascii_digit)
    };
    let found = head.windows(19).enumerate().filter(|(_, w)| is_time(w));
    found.map(|(at, _)| at).collect()
}

fn write_property(folder: &Path) -> (Vec<PathBuf>, u64) {
    fs::write(
        folder.join("property.toml"),
        "name = 'Speed'\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = 'America/Chicago'\n",
    )
    .unwrap();
    fs::write(
        folder.join("disturbances.csv"),
        "id,start,by,near\nblind,2025-10-15,neighbour,Camera 1\n",
    )
    .unwrap();
    let photographs = photographs();
    let places: Vec<Vec<usize>> = photographs.iter().map(|p| times(p)).collect();
    let mut files = Vec::new();
    let mut bytes = 0;
    for n in 0..PICTURES {
        let camera = n % CAMERAS;
        let of = (n / CAMERAS) % photographs.len();
        let mut picture = photographs[of].clone();
        let share = n as f64 / PICTURES as f64;
        let start = NaiveDate::from_ymd_opt(2025, 9, 1).unwrap().and_hms_opt(0, 0, 0).unwrap();
        let time = start + TimeDelta::seconds((share * DAYS as f64 * 86_400.0) as i64);
        let text = time.format("%Y:%m:%d %H:%M:%S").to_string();
        for at in &places[of] {
            picture[*at..*at + 19].copy_from_slice(text.as_bytes());
        }
        let path = folder.join(format!("cards/Camera {camera}/DCIM/100MEDIA/IMG_{n:05}.JPG"));
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        bytes += picture.len() as u64;
        fs::write(&path, picture).unwrap();
        files.push(path);
    }
    (files, bytes / 1_000_000)
}
