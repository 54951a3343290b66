//! How much the help in sorting gathers, and what it costs: practice properties with a known truth.
//!
//!     cargo bench --bench sorting -- FIRST_SEED LAST_SEED
//!
//! Prints for each seed, and for all together, the share of visits with nothing that are put
//! together as "probably nothing", and the share of deer visits that are among them.

use std::collections::{HashMap, HashSet};
use std::ops::AddAssign;
use std::time::Instant;

use chrono::NaiveDate;
use graylight::card::crawl;
use graylight::desk::probably_nothing;
use graylight::practice::{self, Options};
use graylight::property::Property;
use indicatif::ProgressBar;

#[derive(Default, Clone, Copy)]
struct Gathered {
    nothing: usize,
    nothing_gathered: usize,
    deer: usize,
    deer_gathered: usize,
    pictures: usize,
    took_s: f64,
}

impl AddAssign for Gathered {
    fn add_assign(&mut self, other: Self) {
        self.nothing += other.nothing;
        self.nothing_gathered += other.nothing_gathered;
        self.deer += other.deer;
        self.deer_gathered += other.deer_gathered;
        self.pictures += other.pictures;
        self.took_s += other.took_s;
    }
}

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let (first, last) = match numbers[..] {
        [first, last] => (first, last),
        _ => (101, 104),
    };
    let mut all = Gathered::default();
    println!(
        "| seed | nothing gathered | deer among them | pictures a second |\n| --- | --- | --- | --- |"
    );
    for seed in first..=last {
        let one = gathered(seed);
        print(&seed.to_string(), one);
        all += one;
    }
    print("all", all);
}

fn gathered(seed: u64) -> Gathered {
    let folder = tempfile::tempdir().unwrap();
    let options = Options { seed, ..Options::default() };
    practice::write(folder.path(), &options, &ProgressBar::hidden()).unwrap();
    let truth = truth(&std::fs::read_to_string(folder.path().join("tags.csv")).unwrap());
    let property = Property::open(folder.path()).unwrap();
    let today = NaiveDate::from_ymd_opt(2026, 2, 1).unwrap();
    let crawl = crawl(&property, today, &ProgressBar::hidden());
    let start = Instant::now();
    let visits = probably_nothing(&property, &crawl).unwrap();
    let mut gathered = Gathered {
        pictures: crawl.pictures.len(),
        took_s: start.elapsed().as_secs_f64(),
        ..Gathered::default()
    };
    for (pictures, quiet) in visits {
        let paths = pictures.iter().map(|p| &crawl.pictures[*p as usize].path);
        let kinds: HashSet<&str> =
            paths.filter_map(|p| truth.get(p.as_str())).flatten().map(String::as_str).collect();
        let quiet = usize::from(quiet == Some(true));
        if kinds.iter().any(|k| ["buck", "doe", "fawn", "deer"].contains(k)) {
            gathered.deer += 1;
            gathered.deer_gathered += quiet;
        } else if kinds.len() == 1 && kinds.contains("empty") {
            gathered.nothing += 1;
            gathered.nothing_gathered += quiet;
        }
    }
    gathered
}

fn truth(tags: &str) -> HashMap<String, Vec<String>> {
    let mut truth: HashMap<String, Vec<String>> = HashMap::new();
    for record in csv::Reader::from_reader(tags.as_bytes()).records() {
        let record = record.unwrap();
        truth.entry(record[0].to_owned()).or_default().push(record[1].to_owned());
    }
    truth
}

fn print(name: &str, g: Gathered) {
    println!(
        "| {name} | {} of {} ({:.0} %) | {} of {} (1 in {:.0}) | {:.0} |",
        g.nothing_gathered,
        g.nothing,
        100.0 * g.nothing_gathered as f64 / g.nothing as f64,
        g.deer_gathered,
        g.deer,
        g.deer as f64 / g.deer_gathered as f64,
        g.pictures as f64 / g.took_s
    );
}
