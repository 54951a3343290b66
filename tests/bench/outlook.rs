//! How often what is said for the next season is wrong, in worlds that the method does not assume.
//!
//!     cargo bench --bench outlook              1,000 seasons a row, some minutes
//!     cargo bench --bench outlook -- 100       fewer
//!
//! Prints the table that is committed as `tests/bench/outlook.md`.

#[allow(dead_code, reason = "the other bench asks it for more")]
#[path = "worlds.rs"]
mod worlds;

use std::path::Path;

use chrono::{Days, NaiveDate};
use graylight::debrief::Debrief;
use graylight::measure::{Counts, Exposure, shrunk, wilson};
use graylight::outlook::{Held, prove};
use graylight::property::Question;
use graylight::visits::Kind;
use indicatif::ProgressBar;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, LogNormal, Poisson};
use rayon::prelude::*;
use worlds::{Law, World};

fn main() {
    // A thread that waits within one season begins another on top of it.
    const STACK_BYTES: usize = 1 << 29;
    let pool = rayon::ThreadPoolBuilder::new().stack_size(STACK_BYTES);
    pool.build_global().unwrap();
    let mut arguments = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let seasons: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(1000);
    let wanted = arguments.next().unwrap_or_default();
    let asks = |part: &str| wanted.is_empty() || wanted == part;
    println!("# What is said for the next season\n");
    println!("{seasons} seasons of each sort, made and judged by `cargo bench --bench outlook`.\n");
    if asks("null") {
        nothing_planted(seasons);
    }
    if asks("planted") {
        front_planted(seasons.div_ceil(5));
    }
    if asks("stands") {
        ranges(seasons);
    }
    if asks("plan") {
        foretold(seasons.div_ceil(20));
    }
}

fn null_worlds() -> Vec<World> {
    use Law::*;
    vec![
        World::new("steady", Steady),
        World::new("one season shared by all", SharedSeason),
        World::new("unequal rut", UnequalRut).rate(1.5).even(),
        World::new("residents for weeks everywhere", Residents),
        World::new("wandering rates and shares", Wandering).rate(1.5),
        World::new("bucks shared by cameras", SharedBucks),
    ]
}

fn percent(hits: u64, of: u64) -> String {
    let range = wilson(Counts::new(hits as usize, of as usize)).unwrap();
    format!("{:.1} % ({:.1})", 100.0 * range.value, 100.0 * range.high)
}

/// A season of a world with the hours of a real station's autumn, begun on another day each time, and evening sits on
/// random days.
fn season(world: &World, seed: u64, sits: bool) -> (tempfile::TempDir, Debrief) {
    let folder = tempfile::tempdir().unwrap();
    world.write(folder.path(), seed);
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x5EA5);
    let put = |name: &str, text: String| std::fs::write(folder.path().join(name), text).unwrap();
    let mapped = "[weather]\nfile = \"hours.csv\"\ntime = \"time_hour\"\ntemperature = \"temp\"\ntemperature_unit = \"F\"\nwind_from = \"wind_dir\"\nwind = \"wind_speed\"\nwind_unit = \"mph\"\npressure = \"pressure\"\nrain = \"precip\"\nrain_unit = \"in\"\n";
    let settings = std::fs::read_to_string(folder.path().join("property.toml")).unwrap();
    put("property.toml", settings + mapped);
    put("hours.csv", hours(world.length, &mut rng));
    if sits {
        let first = NaiveDate::from_ymd_opt(2025, 8, 30).unwrap();
        put("stands.csv", "stand,near,winds\nA,C00,NW;N;W\nB,C02,S;SW;SE\n".to_owned());
        let mut rows = "stand,start,end\n".to_owned();
        for _ in 0..24 {
            let date = first + Days::new(rng.random_range(0..world.length as u64));
            let stand = ["A", "B"][rng.random_range(0..2)];
            rows += &format!("{stand},{date}T16:00,{date}T18:30\n");
        }
        put("sits.csv", rows);
    }
    let today = NaiveDate::from_ymd_opt(2026, 8, 1).unwrap();
    let debrief = Debrief::of(folder.path(), today, &ProgressBar::hidden()).unwrap();
    (folder, debrief)
}

/// The real hours on the dates of a season: a stretch of them from a random day on, so that it has nothing to do with the
/// deer.
fn hours(length: usize, rng: &mut ChaCha8Rng) -> String {
    let real = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/weather_2013.csv");
    let text = std::fs::read_to_string(real).unwrap();
    let (head, rows) = text.split_once('\n').unwrap();
    let first = NaiveDate::from_ymd_opt(2013, 8, 1).unwrap();
    let spare = 150 - length as u64 - 3;
    let from = first + Days::new(rng.random_range(0..spare));
    let to = NaiveDate::from_ymd_opt(2025, 8, 28).unwrap();
    let mut out = head.to_owned() + "\n";
    for row in rows.lines() {
        let date: NaiveDate = row[..10].parse().unwrap();
        let day = (date - from).num_days();
        if (0..length as i64 + 4).contains(&day) {
            let there = to + Days::new(day as u64);
            out += &format!("{there}{}\n", row[10..].replacen('Z', "", 1));
        }
    }
    out
}

fn nothing_planted(seasons: u64) {
    println!("## Where nothing is planted\n");
    println!(
        "Weather: any of ten beliefs is told, against a real station's hours of other weeks (Newark 2013). Sits: what 24"
    );
    println!(
        "evening sits at two stands cost, is told of any of their groups. In brackets the upper end of the 95 % interval.\n"
    );
    println!("| world | weather | most often | sits |");
    println!("| --- | --- | --- | --- |");
    for world in null_worlds() {
        let one = |seed: u64| {
            let (_folder, debrief) = season(&world, seed, true);
            let told: Vec<&'static str> = debrief
                .outlook
                .conditions
                .rows
                .iter()
                .filter(|r| matches!(r.held, Held::More | Held::Fewer))
                .map(|r| r.belief.word())
                .collect();
            let sits = debrief.shifts.repeated.iter().any(|r| r.verdict.is_clear());
            (told, sits)
        };
        let all: Vec<(Vec<&str>, bool)> = (0..seasons).into_par_iter().map(one).collect();
        let weather = all.iter().filter(|(told, _)| !told.is_empty()).count() as u64;
        let sits = all.iter().filter(|(_, sits)| *sits).count() as u64;
        let mut often: std::collections::BTreeMap<&str, u64> = Default::default();
        for belief in all.iter().flat_map(|(told, _)| told) {
            *often.entry(belief).or_default() += 1;
        }
        let most = often.iter().max_by_key(|(_, n)| **n);
        println!(
            "| {} | {} | {} | {} |",
            world.name,
            percent(weather, seasons),
            most.map_or_else(|| "–".to_owned(), |(b, n)| format!("{b} ({n})")),
            percent(sits, seasons)
        );
    }
}

/// What a practice season with its country plants, and what is told of it.
#[derive(Default, Clone, Copy)]
struct Planted {
    visits: usize,
    front: bool,
    other_weather: bool,
    costly: bool,
    free: bool,
    corn: bool,
    owner: bool,
}

fn planted(size: f64, seed: u64) -> Planted {
    let folder = tempfile::tempdir().unwrap();
    let options = graylight::practice::Options {
        seed: seed + 500,
        size,
        pictures: false,
        with_last_season: true,
        with_country: true,
        share_after: 0.55,
        ..Default::default()
    };
    graylight::practice::write(folder.path(), &options, &ProgressBar::hidden()).unwrap();
    let today = NaiveDate::from_ymd_opt(2026, 8, 1).unwrap();
    let debrief = Debrief::of(folder.path(), today, &ProgressBar::hidden()).unwrap();
    let rows = &debrief.outlook.conditions.rows;
    let front = rows.iter().find(|r| r.belief.word() == "cold front").unwrap();
    let is_other = |word: &str| !word.starts_with("cold");
    let is_told = |held: Held| matches!(held, Held::More | Held::Fewer);
    let sits = |what: &str| {
        let all = debrief.shifts.repeated.iter();
        all.filter(|r| r.what == what).any(|r| r.verdict.is_clear())
    };
    let ground = |name: &str| {
        let of = debrief.grounds.iter().filter(|g| g.ground == name);
        of.flat_map(|g| &g.against).any(|y| y.verdict.is_clear())
    };
    Planted {
        visits: debrief.outlook.conditions.all.visits,
        front: front.held == Held::More,
        other_weather: rows.iter().any(|r| is_other(r.belief.word()) && is_told(r.held)),
        costly: sits("Sits on Clover stand"),
        free: sits("Sits on Ridge stand"),
        corn: ground("River bottom"),
        owner: ground("Spring pasture"),
    }
}

fn front_planted(seasons: u64) {
    println!("\n## Planted against told\n");
    println!(
        "{seasons} properties a row of two practice seasons with their country (`practice --with-last-season --with-country`), without a blind: a fall of 5 °C in"
    );
    println!(
        "a day, the mean of morning and evening, brings 1.47 times as many, a quarter is left for three days at the stand where sits cost, 0.4 of the corn's"
    );
    println!(
        "visits without corn. Weather of other sorts, sits on the other stand and another owner do nothing.\n"
    );
    println!(
        "| size | visits in light | cold front told | other weather told | costly sits told | free sits told | corn told | owner told |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- |");
    for size in [0.5, 1.0, 2.0, 4.0] {
        let all: Vec<Planted> = (0..seasons).into_par_iter().map(|s| planted(size, s)).collect();
        let count = |of: fn(&Planted) -> bool| {
            percent(all.iter().filter(|p| of(p)).count() as u64, seasons)
        };
        println!(
            "| {size} | {} | {} | {} | {} | {} | {} | {} |",
            all.iter().map(|p| p.visits).sum::<usize>() / all.len(),
            count(|p| p.front),
            count(|p| p.other_weather),
            count(|p| p.costly),
            count(|p| p.free),
            count(|p| p.corn),
            count(|p| p.owner)
        );
    }
}

/// Rates that are not drawn from the distribution that the ranges assume.
fn ranges(seasons: u64) {
    println!("\n## Ranges of stands\n");
    println!(
        "How often the 95 % range of what is to be expected holds the truth, seven stands on thirty mornings, rates drawn from"
    );
    println!(
        "a log-normal distribution (its standard deviation of logarithms first) or two sorts of stands.\n"
    );
    println!("| rates | holds |");
    println!("| --- | --- |");
    type Draw = fn(&mut ChaCha8Rng) -> f64;
    let draw: [(&str, Draw); 4] = [
        ("log-normal, 0.1", |rng| LogNormal::new(-1.6, 0.1).unwrap().sample(rng)),
        ("log-normal, 0.5", |rng| LogNormal::new(-1.6, 0.5).unwrap().sample(rng)),
        ("log-normal, 1.0", |rng| LogNormal::new(-1.6, 1.0).unwrap().sample(rng)),
        ("two sorts", |rng| if rng.random_bool(0.3) { 0.8 } else { 0.1 }),
    ];
    for (name, draw) in draw {
        let one = |seed: u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let rates: Vec<f64> = (0..7).map(|_| draw(&mut rng)).collect();
            let units: Vec<Exposure> = rates
                .iter()
                .map(|r| Exposure {
                    events: Poisson::new(30.0 * r).unwrap().sample(&mut rng),
                    effort: 30.0,
                })
                .collect();
            let believed = shrunk(&units);
            let holds = rates.iter().zip(&believed).filter(|(r, b)| {
                let e = b.estimate();
                (e.low..=e.high).contains(r)
            });
            holds.count() as u64
        };
        let held: u64 = (0..seasons).into_par_iter().map(one).sum();
        println!("| {name} | {} |", percent(held, 7 * seasons));
    }
    println!(
        "\nThe same of whole seasons of cameras in worlds, in the evenings of October, runs of days allowed for:\n"
    );
    println!("| world | holds |");
    println!("| --- | --- |");
    for (world, per_evening) in [
        (World::new("steady", Law::Steady).rate(1.5).even(), 1.5 * 0.55),
        (World::new("wandering", Law::Wandering).rate(1.5).even(), f64::NAN),
    ] {
        let seasons = seasons.div_ceil(5);
        let one = |seed: u64| {
            let (_folder, debrief) = season(&world, seed, false);
            let (mut held, mut all) = (0, 0);
            for row in debrief.outlook.stands.iter().filter(|r| r.part == "October") {
                let Some(range) = row.per_ten else { continue };
                // In light visits come evenly from 8 to 16 o'clock; the sun's noon is the border.
                let truth = match per_evening.is_nan() {
                    true => whole_season(&debrief, row.cameras[0], row.half),
                    false => whole(&debrief, row.half) * per_evening,
                } * 10.0;
                all += 1;
                held += u64::from((range.low..=range.high).contains(&truth));
            }
            (held, all)
        };
        let all: Vec<(u64, u64)> = (0..seasons).into_par_iter().map(one).collect();
        let (held, of) = all.iter().fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
        println!("| {} | {} |", world.name, percent(held, of));
    }
}

/// The part of all visits in light that fall into a half of the day, over all cameras and the whole season.
fn whole(debrief: &Debrief, half: graylight::outlook::Half) -> f64 {
    let visits = debrief.season.cameras.iter().flat_map(|c| c.visits(Kind::MatureBuck));
    let in_light: Vec<_> = visits.filter(|v| v.counted).collect();
    let here = in_light.iter().filter(|v| graylight::outlook::Half::of(v) == half);
    here.count() as f64 / in_light.len().max(1) as f64
}

/// A camera's rate over its whole season, which in a wandering world stands for its long-run rate.
fn whole_season(debrief: &Debrief, camera: usize, half: graylight::outlook::Half) -> f64 {
    let camera = &debrief.season.cameras[camera];
    let visits = camera.visits(Kind::MatureBuck).iter();
    let here = visits.filter(|v| v.counted && graylight::outlook::Half::of(v) == half);
    here.count() as f64 / camera.effort.nights() as f64
}

/// What is foretold of one season against what comes true in others of the same world.
fn foretold(seasons: u64) {
    println!("\n## What `plan` foretells\n");
    println!(
        "The chance that a loss of half of the visits in light at the first camera is found, foretold from one season, and"
    );
    println!(
        "how often it is found in other seasons of the same world; {seasons} seasons to foretell from, {} to find it in.\n",
        4 * seasons
    );
    println!("| world | foretold | found |");
    println!("| --- | --- | --- |");
    for world in [
        World::new("steady, 0.55 visits a night", Law::Steady).days(Some(30), 84),
        World::new("steady, 1.5 visits a night", Law::Steady).rate(1.5).days(Some(30), 84),
        World::new("wandering, 1.5 visits a night", Law::Wandering).rate(1.5).days(Some(30), 84),
        World::new("residents for weeks", Law::Residents).rate(1.0).days(Some(30), 84),
    ] {
        let told = |seed: u64| {
            let (_folder, debrief) = season(&world, seed, false);
            let from = NaiveDate::from_ymd_opt(2026, 10, 11).unwrap();
            let question = Question {
                line: 0,
                asked: from,
                from,
                by: from + Days::new(29),
                near: vec![worlds::name(0)],
                loss: 0.5,
                chance: None,
            };
            let proof = prove(&debrief.season, &[], &question, 100).unwrap();
            proof.rows[0].chance.value
        };
        let came = |seed: u64| {
            let (_folder, debrief) = season(&world.halved(), seed + 10_000, false);
            let row = debrief.shifts.together("event", debrief.season.about.kind).unwrap();
            row.light_verdict.word() == "clear drop"
        };
        let told: f64 = (0..seasons).into_par_iter().map(told).sum::<f64>() / seasons as f64;
        let more = 4 * seasons;
        let came = (0..more).into_par_iter().filter(|s| came(*s)).count() as u64;
        println!("| {} | {:.0} % | {} |", world.name, 100.0 * told, percent(came, more));
    }
}
