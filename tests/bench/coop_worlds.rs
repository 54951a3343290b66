//! Worlds of many properties that the program's method does not assume: a rut that comes at its own time, weather that
//! a region shares, bucks with habits that last, cameras and properties that differ, one property as large as all
//! others.
//!
//! They are made day by day, as the days of a data set tell them.

use chrono::{Days, NaiveDate};
use graylight::coop::{Answers, CoopQuestion, DayRow, Happened, PropertyDays, Record, WrittenDate};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Binomial, Distribution, Gamma, Normal, Poisson};

/// What a world is like. Changes are of log odds (shares) or log rates.
#[derive(Debug, Clone, Copy)]
pub struct CoopWorld {
    pub name: &'static str,
    /// Properties where it happened.
    pub exposed: usize,
    /// Properties where it did not.
    pub controls: usize,
    /// Visits of mature bucks a camera and night.
    pub rate: f64,
    /// How high the rut lifts shares and rates.
    pub rut: f64,
    /// By how many days the rut comes later where it happened.
    pub rut_later: f64,
    /// Standard deviation of weather that all share, with a memory of five days.
    pub weather: f64,
    /// The same that each of the two groups has for itself: they lie in two regions.
    pub regions: f64,
    /// Standard deviation of what bucks' habits do at each property, with a memory of ten days.
    pub habits: f64,
    /// The first property has so many times the visits of others.
    pub largest: f64,
    /// Every property has a date of its own, within so many days.
    pub dates_within: u64,
    /// The mean change of the share, and its standard deviation between properties.
    pub change: (f64, f64),
    /// The change goes back within so many days; 0 for one that stays.
    pub passes: f64,
    /// This part of the visits in the dark has no tag once it has happened.
    pub untagged_in_the_dark: f64,
}

/// A world in which nothing happens.
pub const STILL: CoopWorld = CoopWorld {
    name: "still",
    exposed: 30,
    controls: 30,
    rate: 0.4,
    rut: 0.8,
    rut_later: 0.0,
    weather: 0.3,
    regions: 0.0,
    habits: 0.0,
    largest: 1.0,
    dates_within: 0,
    change: (0.0, 0.0),
    passes: 0.0,
    untagged_in_the_dark: 0.0,
};

/// Worlds without an effect.
pub fn without_an_effect() -> Vec<CoopWorld> {
    vec![
        STILL,
        CoopWorld { name: "few visits", rate: 0.08, ..STILL },
        CoopWorld { name: "six and six properties", exposed: 6, controls: 6, ..STILL },
        CoopWorld { name: "habits that last", habits: 0.7, ..STILL },
        CoopWorld { name: "one as large as all others", largest: 30.0, habits: 0.4, ..STILL },
        CoopWorld {
            name: "two regions with weather of their own",
            regions: 0.3,
            habits: 0.3,
            ..STILL
        },
        CoopWorld {
            name: "the rut ten days later in one region",
            rut_later: 10.0,
            habits: 0.3,
            ..STILL
        },
        CoopWorld {
            name: "properties answer it in every way, none on average",
            change: (0.0, 0.6),
            ..STILL
        },
        CoopWorld {
            name: "dates of their own, no controls",
            controls: 0,
            exposed: 60,
            dates_within: 60,
            habits: 0.3,
            ..STILL
        },
        CoopWorld { name: "dates of their own, controls", dates_within: 60, habits: 0.3, ..STILL },
    ]
}

/// Worlds in which the share falls where it happened.
#[allow(dead_code, reason = "the test plants its own")]
pub fn with_an_effect() -> Vec<CoopWorld> {
    let half = CoopWorld { name: "odds times 0.61", change: (-0.5, 0.0), ..STILL };
    let unequal = CoopWorld {
        name: "the same, unequal, with habits that last",
        change: (-0.5, 0.3),
        habits: 0.3,
        ..STILL
    };
    let large = CoopWorld {
        name: "odds times 0.45, unequal, with habits that last",
        change: (-0.8, 0.5),
        ..unequal
    };
    let own_dates =
        CoopWorld { name: "the last, on dates of their own", dates_within: 60, ..large };
    let passing = CoopWorld {
        name: "the same, gone by half after five days (the range holds the first day's change)",
        passes: 7.0,
        ..large
    };
    vec![half, unequal, large, own_dates, passing]
}

const FIRST: (i32, u32, u32) = (2025, 9, 1);
const LENGTH_DAYS: u64 = 140;
const DATE: u64 = 70;

/// A world that was played.
pub struct Played {
    pub answers: Answers,
    /// The true change of one more property.
    pub new: f64,
}

/// A walk with a memory, one value a day, with a standard deviation of `sd`.
fn wander(rng: &mut impl Rng, days: u64, memory_days: f64, sd: f64) -> Vec<f64> {
    let keep = (-1.0 / memory_days).exp();
    let step = Normal::new(0.0, 1.0).unwrap();
    let mut value = sd * step.sample(rng);
    (0..days)
        .map(|_| {
            value = keep * value + sd * (1.0 - keep * keep).sqrt() * step.sample(rng);
            value
        })
        .collect()
}

/// Plays a world and asks of it.
pub fn play(world: &CoopWorld, seed: u64) -> Played {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let first = NaiveDate::from_ymd_opt(FIRST.0, FIRST.1, FIRST.2).unwrap();
    let weather = wander(&mut rng, LENGTH_DAYS, 5.0, world.weather);
    let regions = [(); 2].map(|()| wander(&mut rng, LENGTH_DAYS, 5.0, world.regions));
    let change = Normal::new(world.change.0, world.change.1).unwrap();
    let mut happened = std::collections::BTreeMap::new();
    let mut records = Vec::new();
    let mut days = Vec::new();
    for i in 0..world.exposed + world.controls {
        let id = format!("farm-{i:04}");
        let is_exposed = i < world.exposed;
        let own = match world.dates_within {
            0 => DATE,
            within => DATE - within / 2 + rng.random_range(0..=within),
        };
        let true_change = change.sample(&mut rng);
        let date = is_exposed.then(|| WrittenDate(first + Days::new(own)));
        happened.insert(id.clone(), date);
        let shared: Vec<f64> = (0..LENGTH_DAYS as usize)
            .map(|d| weather[d] + regions[usize::from(is_exposed)][d])
            .collect();
        let after = is_exposed.then_some((own, true_change));
        let size = if i == 0 { world.largest } else { 1.0 };
        days.push((id, property(world, &mut rng, first, &shared, after, size)));
    }
    let question = CoopQuestion {
        what: "a rule".to_owned(),
        kind: "mature buck".to_owned(),
        days: 14,
        happened: Some(Happened::Here(happened)),
    };
    for (id, rows) in days {
        let days = PropertyDays::of(rows).unwrap();
        records.push(Record::of(&id, &days, &question).unwrap());
    }
    Played { answers: Answers::of(records, Vec::new(), &question), new: change.sample(&mut rng) }
}

fn property(
    world: &CoopWorld,
    rng: &mut ChaCha8Rng,
    first: NaiveDate,
    shared: &[f64],
    after: Option<(u64, f64)>,
    size: f64,
) -> Vec<DayRow> {
    let normal = Normal::new(0.0, 1.0).unwrap();
    let cameras = rng.random_range(2..=6);
    let share = -0.8 + 0.5 * normal.sample(rng);
    let later = if after.is_some() { world.rut_later } else { 0.0 };
    let rut_day = 72.0 + later + 4.0 * normal.sample(rng);
    let rut = world.rut * (1.0 + 0.3 * normal.sample(rng));
    let [light_habits, rate_habits] =
        [(); 2].map(|()| wander(rng, LENGTH_DAYS, 10.0, world.habits));
    let mut rows = Vec::new();
    for camera in 0..cameras {
        let rate = world.rate * size * Gamma::new(2.0, 0.5).unwrap().sample(rng);
        let own_share = share + 0.5 * normal.sample(rng);
        for day in 0..LENGTH_DAYS {
            let d = day as usize;
            let wave = rut * (-(((day as f64 - rut_day) / 12.0).powi(2)) / 2.0).exp();
            let changed = match after {
                Some((own, change)) if day >= own => {
                    let gone = (day - own) as f64;
                    change * if world.passes > 0.0 { (-gone / world.passes).exp() } else { 1.0 }
                }
                _ => 0.0,
            };
            let mean = rate * (wave + shared[d] + rate_habits[d]).exp();
            let visits = Poisson::new(mean.max(1e-9)).unwrap().sample(rng) as u64;
            let logit = own_share + wave + shared[d] + light_habits[d] + changed;
            let light = Binomial::new(visits, 1.0 / (1.0 + (-logit).exp())).unwrap().sample(rng);
            let open = match after {
                Some((own, _)) if day >= own => world.untagged_in_the_dark,
                _ => 0.0,
            };
            let unseen = Binomial::new(visits - light, open).unwrap().sample(rng);
            // Two pictures a visit, and two without a deer a day.
            let pictures = 2 * visits as u32 + 2;
            let visits = visits - unseen;
            rows.push(DayRow {
                season: "2025-26".to_owned(),
                camera: format!("camera {camera}"),
                placement: 1,
                kind: "mature buck".to_owned(),
                date: first + Days::new(day),
                worked: true,
                clock_in_doubt: false,
                pictures,
                untagged: 2 * unseen as u32,
                visits: visits as u32,
                light_visits: light as u32,
                seen: visits as u32,
                legal: light as u32,
                counted: light as u32,
            });
        }
    }
    rows
}
