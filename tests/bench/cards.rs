//! How long a card takes, and how much memory, beside the programs that a person could use instead.
//!
//!     cargo bench --bench cards -- [--crawl] [--pull] [--memory]
//!
//! Without arguments: the crawl and the pull. `--memory` takes minutes and 15 GB of disk. All that
//! a ratio compares is timed in one run, over the same files, in turns; the best of three counts.

use std::fs::{self, File};
use std::hint::black_box;
use std::io::{Read, Seek, SeekFrom, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use chrono::{NaiveDate, TimeDelta};
use graylight::card::crawl;
use graylight::property::Property;
use indicatif::ProgressBar;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use walkdir::WalkDir;

const ROUNDS: usize = 3;
const MB: u64 = 1_000_000;

const CRAWLED: u32 = 10_000;
const PULLED: u32 = 1_000;
const PULLED_FOR_MEMORY: u32 = 200_000;
const FOLDER_FILES: u32 = 1_000;

/// Bytes that the crawl reads of each of these pictures: its first and its last.
const HEAD: usize = 4096;
const TAIL: usize = 2048;

/// A whole small picture; all that varies from one to the next is when it was taken.
const TEMPLATE: &[u8] = include_bytes!("../reference/exif/all_little_endian.jpg");
const TAKEN: &[u8] = b"2025:11:08 06:41:27";
const END_OF_IMAGE: [u8; 2] = [0xff, 0xd9];

fn main() {
    let asked: Vec<String> = std::env::args().collect();
    let asked_for = |part: &str| asked.iter().any(|a| a == part);
    let none = !["--crawl", "--pull", "--memory"].iter().any(|p| asked_for(p));
    if none || asked_for("--crawl") {
        crawl_part();
    }
    if none || asked_for("--pull") {
        pull_part();
    }
    if asked_for("--memory") {
        memory_part();
    }
}

// Headers.

fn crawl_part() {
    let temp = tempfile::tempdir().unwrap();
    let folder = temp.path().join("cards/Oak/DCIM/100MEDIA");
    write_property(temp.path());
    write_pictures(&folder, 0..CRAWLED, MB, 4096);
    let property = Property::open(temp.path()).unwrap();
    let paths = files_below(&folder);
    let (exiftool_there, exiv2_there) = (installed("exiftool"), installed("exiv2"));
    sync();

    // One turn of each that is not counted, so that every one of them finds the headers in memory.
    crawl_all(&property);
    read_bare(&paths);
    if exiv2_there {
        exiv2_s(&folder, &paths);
    }
    let mut crawl_s: Option<f64> = None;
    let mut bare_s: Option<f64> = None;
    let mut exiv2_best_s: Option<f64> = None;
    for _ in 0..ROUNDS {
        crawl_s = lesser(crawl_s, Some(seconds(|| crawl_all(&property))));
        bare_s = lesser(bare_s, Some(seconds(|| read_bare(&paths))));
        if exiv2_there {
            exiv2_best_s = lesser(exiv2_best_s, exiv2_s(&folder, &paths));
        }
    }
    // A minute each time, against which the spread between rounds is nothing: once is enough.
    let exiftool_s = exiftool_there.then(|| exiftool_s(&folder)).flatten();

    let cores = rayon::current_num_threads();
    println!("\n{CRAWLED} headers of files of 1 MB, {cores} cores\n");
    println!("| what | s |\n| --- | --- |");
    print_time("crawl", crawl_s);
    print_time("bare open and read of the same bytes", bare_s);
    print_time("exiv2, one process", exiv2_best_s);
    print_time("exiftool -fast2, one process, once", exiftool_s);
    println!();
    print_ratio("exiftool / crawl", over(exiftool_s, crawl_s), AtLeast(30.0));
    print_ratio("exiv2 / crawl", over(exiv2_best_s, crawl_s), AtLeast(3.0));
    print_ratio("crawl / bare", over(crawl_s, bare_s), AtMost(1.5));
}

/// The crawl, which must find every picture and its time.
fn crawl_all(property: &Property) {
    let today = NaiveDate::from_ymd_opt(2026, 2, 1).unwrap();
    let found = crawl(property, today, &ProgressBar::hidden());
    assert_eq!(found.timed(), CRAWLED as usize);
}

/// The least that reading the same bytes can cost. It is told the paths, which the crawl must find.
fn read_bare(paths: &[PathBuf]) {
    let read = |path: &PathBuf| {
        let mut file = File::open(path).unwrap();
        let (mut head, mut tail) = ([0_u8; HEAD], [0_u8; TAIL]);
        file.read_exact(&mut head).unwrap();
        file.seek(SeekFrom::End(-(TAIL as i64))).unwrap();
        file.read_exact(&mut tail).unwrap();
        black_box((head, tail));
    };
    paths.par_iter().for_each(read);
}

/// Names below the folder it runs in, so that all of them fit into one command line.
fn exiv2_s(folder: &Path, paths: &[PathBuf]) -> Option<f64> {
    let names = paths.iter().filter_map(|p| p.file_name());
    let options = ["-g", "Exif.Photo.DateTimeOriginal", "-Pv"];
    run(Command::new("exiv2").current_dir(folder).args(options).args(names))
}

fn exiftool_s(folder: &Path) -> Option<f64> {
    let options = ["-fast2", "-r", "-csv", "-DateTimeOriginal"];
    run(Command::new("exiftool").args(options).arg(folder))
}

// Pull.

fn pull_part() {
    let temp = tempfile::tempdir().unwrap();
    let card = temp.path().join("card");
    write_pictures(&card.join("DCIM/100MEDIA"), 0..PULLED, 2 * MB, 2 * MB);
    let sources = files_below(&card);
    let sums_there = installed("b3sum");
    for path in &sources {
        black_box(fs::read(path).unwrap());
    }
    let mut pull_best_s: Option<f64> = None;
    let mut copy_best_s: Option<f64> = None;
    let mut synced_best_s: Option<f64> = None;
    let mut equal_best_s: Option<f64> = None;
    for round in 0..ROUNDS {
        let place = temp.path().join(format!("round-{round}"));
        fs::create_dir(&place).unwrap();
        let pull = || pull_s(&card, &place.join("property"));
        let copy = || {
            let copied = sums_there.then(|| copy_s(&card, &sources, &place.join("copy")));
            copied.flatten()
        };
        // Whoever goes second finds the disk busier or the memory fuller, so they take turns.
        let (pulled, copied) = if round.is_multiple_of(2) {
            let pulled = pull();
            (pulled, copy())
        } else {
            let copied = copy();
            (pull(), copied)
        };
        pull_best_s = lesser(pull_best_s, pulled);
        copy_best_s = lesser(copy_best_s, copied.map(|c| c.unsynced_s));
        synced_best_s = lesser(synced_best_s, copied.map(|c| c.synced_s));
        equal_best_s = lesser(equal_best_s, equal_care_s(&card, &place.join("careful"), &sources));
        fs::remove_dir_all(&place).unwrap();
    }

    println!("\n{PULLED} pictures of 2 MB taken off a card\n");
    println!("| what | s |\n| --- | --- |");
    print_time("pull: copied, synced, read back, catalogued", pull_best_s);
    print_time("cp, then b3sum of both sides", copy_best_s);
    print_time("cp, then b3sum of both sides, then sync", synced_best_s);
    print_time("cp, sync, b3sum of both sides from the disk", equal_best_s);
    println!();
    let plain = over(pull_best_s, copy_best_s);
    let synced = over(pull_best_s, synced_best_s);
    print_ratio("pull / (cp + b3sum)", plain, AtMost(1.25));
    print_ratio("pull / (cp + b3sum + sync)", synced, AtMost(1.25));
    let equal = over(pull_best_s, equal_best_s);
    print_ratio("pull / (cp + sync + b3sum from the disk)", equal, AtMost(0.9));
}

fn pull_s(card: &Path, property: &Path) -> Option<f64> {
    fs::create_dir(property).unwrap();
    write_property(property);
    sync();
    let pull_s = run(&mut pull(card, property))?;
    let arrived = files_below(&property.join("cards")).len();
    assert_eq!(arrived, PULLED as usize);
    Some(pull_s)
}

/// The program as a person runs it.
fn pull(card: &Path, property: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_graylight"));
    command.arg("pull").arg(card).arg("--to").arg(property);
    command.args(["--camera", "Oak"]);
    command
}

#[derive(Clone, Copy)]
struct CopyTime {
    unsynced_s: f64,
    synced_s: f64,
}

/// What a careful person does by hand. Without the last sync the copy may be in memory only.
fn copy_s(card: &Path, sources: &[PathBuf], copy: &Path) -> Option<CopyTime> {
    sync();
    let cp_s = run(Command::new("cp").arg("-r").arg(card).arg(copy))?;
    let copies = files_below(copy);
    let sums_s = run(Command::new("b3sum").args(sources).args(&copies))?;
    let sync_s = run(Command::new("sync").arg("-f").arg(copy))?;
    assert_eq!(copies.len(), sources.len());
    Some(CopyTime { unsynced_s: cp_s + sums_s, synced_s: cp_s + sums_s + sync_s })
}

/// The same care as a pull's: the copy synced, and both sides read anew from their disks and not from
/// memory, where the copy's bytes still lie as they were written.
fn equal_care_s(card: &Path, copy: &Path, sources: &[PathBuf]) -> Option<f64> {
    sync();
    let cp_s = run(Command::new("cp").arg("-r").arg(card).arg(copy))?;
    let sync_s = run(Command::new("sync").arg("-f").arg(copy))?;
    let copies = files_below(copy);
    for path in sources.iter().chain(&copies) {
        let file = File::open(path).unwrap();
        rustix::fs::fadvise(&file, 0, None, rustix::fs::Advice::DontNeed).unwrap();
    }
    let sums_s = run(Command::new("b3sum").args(sources).args(&copies))?;
    Some(cp_s + sync_s + sums_s)
}

// Memory.

fn memory_part() {
    let temp = tempfile::tempdir().unwrap();
    let (card, property) = (temp.path().join("card"), temp.path().join("property"));
    fs::create_dir(&property).unwrap();
    write_property(&property);
    for (folder, first) in (0..PULLED_FOR_MEMORY).step_by(FOLDER_FILES as usize).enumerate() {
        let folder = card.join(format!("DCIM/{}MEDIA", 100 + folder));
        // Nothing at the end but the marker, without which the picture would count as cut short.
        let marker = END_OF_IMAGE.len() as u64;
        write_pictures(&folder, first..first + FOLDER_FILES, 64 * 1024, marker);
    }
    sync();
    let start = Instant::now();
    let most_mb = most_memory_mb(&mut pull(&card, &property));
    let pull_s = start.elapsed().as_secs_f64();
    let arrived = files_below(&property.join("cards")).len();
    assert_eq!(arrived, PULLED_FOR_MEMORY as usize);
    let met = if most_mb < 150.0 { "met" } else { "NOT met" };
    println!("\n{PULLED_FOR_MEMORY} pictures pulled in {pull_s:.0} s");
    println!("- most memory: {most_mb:.0} MB (target < 150): {met}");
}

/// The most memory that a program ever held, in megabytes.
fn most_memory_mb(command: &mut Command) -> f64 {
    let kb = if on_path("time") { timed_memory_kb(command) } else { watched_memory_kb(command) };
    kb.unwrap_or(f64::NAN) / 1024.0
}

/// As the kernel counted it at the program's end.
fn timed_memory_kb(command: &Command) -> Option<f64> {
    let mut timed = Command::new("time");
    timed.arg("-v").arg(command.get_program());
    timed.args(command.get_args()).stdout(Stdio::null());
    let ended = timed.output().unwrap();
    let said = String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.success(), "{said}");
    number_on_line(&said, "Maximum resident set size")
}

/// The kernel's high-water mark, looked at until the program ends (Linux).
fn watched_memory_kb(command: &mut Command) -> Option<f64> {
    let mut child = command.stdout(Stdio::null()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most_kb: Option<f64> = None;
    loop {
        let text = fs::read_to_string(&status).unwrap_or_default();
        most_kb = number_on_line(&text, "VmHWM").or(most_kb);
        if let Some(ended) = child.try_wait().unwrap() {
            assert!(ended.success(), "the pull ended with {ended}");
            return most_kb;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
}

fn number_on_line(text: &str, label: &str) -> Option<f64> {
    let line = text.lines().find(|l| l.contains(label))?;
    line.split_whitespace().find_map(|word| word.parse().ok())
}

// Files.

fn write_property(folder: &Path) {
    fs::write(
        folder.join("property.toml"),
        "name = 'Cards'\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = 'America/Chicago'\n",
    )
    .unwrap();
}

/// Pictures of a size, with random bytes at the end and a hole between those and the header.
fn write_pictures(folder: &Path, numbers: Range<u32>, bytes: u64, random_bytes: u64) {
    fs::create_dir_all(folder).unwrap();
    numbers.into_par_iter().for_each(|number| {
        let header = header(number);
        let room = bytes - header.len() as u64;
        let mut end = vec![0_u8; random_bytes.min(room) as usize];
        ChaCha8Rng::seed_from_u64(u64::from(number)).fill_bytes(&mut end);
        let marker_at = end.len() - END_OF_IMAGE.len();
        end[marker_at..].copy_from_slice(&END_OF_IMAGE);

        let mut file = File::create(folder.join(format!("IMG_{number:04}.JPG"))).unwrap();
        file.write_all(&header).unwrap();
        file.seek(SeekFrom::Start(bytes - end.len() as u64)).unwrap();
        file.write_all(&end).unwrap();
    });
}

/// The beginning of a picture that was taken at a moment of its own: everything but the end marker.
fn header(number: u32) -> Vec<u8> {
    let first = NaiveDate::from_ymd_opt(2025, 9, 1).and_then(|d| d.and_hms_opt(0, 0, 0)).unwrap();
    let time = first + TimeDelta::seconds(30 * i64::from(number));
    let digits = time.format("%Y:%m:%d %H:%M:%S").to_string();
    let mut header = TEMPLATE.strip_suffix(&END_OF_IMAGE).unwrap().to_vec();
    let at = header.windows(TAKEN.len()).position(|w| w == TAKEN).unwrap();
    header[at..at + TAKEN.len()].copy_from_slice(digits.as_bytes());
    header
}

fn files_below(folder: &Path) -> Vec<PathBuf> {
    WalkDir::new(folder)
        .sort_by_file_name()
        .into_iter()
        .map(Result::unwrap)
        .filter(|e| e.file_type().is_file())
        .map(walkdir::DirEntry::into_path)
        .collect()
}

// Programs and time.

fn seconds(work: impl FnOnce()) -> f64 {
    let start = Instant::now();
    work();
    start.elapsed().as_secs_f64()
}

/// Seconds from a program's start to its end; `None`, with the reason on stderr, where it failed.
fn run(command: &mut Command) -> Option<f64> {
    let start = Instant::now();
    let ended = command.stdout(Stdio::null()).output().unwrap();
    let run_s = start.elapsed().as_secs_f64();
    if !ended.status.success() {
        let (program, said) = (command.get_program(), &ended.stderr);
        let said = String::from_utf8_lossy(said);
        eprintln!("{} failed: {said}", program.display());
        return None;
    }
    Some(run_s)
}

/// Whether a program is there; says how to get it where it is not.
fn installed(program: &str) -> bool {
    let there = on_path(program);
    if !there {
        let package = match program {
            "exiftool" => "libimage-exiftool-perl",
            other => other,
        };
        println!("{program} is not installed. On Debian: apt-get install {package}");
    }
    there
}

fn on_path(program: &str) -> bool {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).any(|folder| folder.join(program).is_file())
}

/// Nobody pays for what somebody before has left to be written.
fn sync() {
    Command::new("sync").status().unwrap();
}

// Printing.

enum Target {
    AtLeast(f64),
    AtMost(f64),
}
use Target::{AtLeast, AtMost};

fn lesser(best: Option<f64>, new: Option<f64>) -> Option<f64> {
    best.into_iter().chain(new).reduce(f64::min)
}

fn over(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    Some(a? / b?)
}

fn print_time(what: &str, time_s: Option<f64>) {
    let shown = time_s.map_or("–".to_owned(), |s| format!("{s:.3}"));
    println!("| {what} | {shown} |");
}

fn print_ratio(what: &str, ratio: Option<f64>, target: Target) {
    let (words, met) = match target {
        AtLeast(least) => (format!(">= {least}"), ratio.map(|r| r >= least)),
        AtMost(most) => (format!("<= {most}"), ratio.map(|r| r <= most)),
    };
    let shown = ratio.map_or("–".to_owned(), |r| format!("{r:.2}"));
    let met = match met {
        Some(true) => "met",
        Some(false) => "NOT met",
        None => "not measured",
    };
    println!("- {what}: {shown} (target {words}): {met}");
}
