//! Playing the season: who comes where and when.

use anyhow::Result;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp, Poisson};

use super::country::Country;
use super::{Plan, Trouble};
use crate::sun::SunDay;

/// Who sets a camera off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Animal {
    /// A buck, mature or young.
    Buck {
        /// At or over 3.5 years.
        mature: bool,
    },
    /// A doe, with or without fawns.
    Doe,
    /// A coyote, a turkey, a raccoon.
    Other,
    /// Wind in the grass.
    Nothing,
}

/// One trigger of a camera, and the pictures that follow it.
#[derive(Debug, Clone)]
pub struct Event {
    /// Index of the camera in the plan.
    pub camera: usize,
    /// First picture.
    pub time: DateTime<Utc>,
    /// Who.
    pub animal: Animal,
    /// How many of the main animal.
    pub count: u32,
    /// Fawns beside a doe.
    pub fawns: u32,
    /// Years, for bucks.
    pub age: Option<f64>,
    /// Known individual.
    pub name: Option<&'static str>,
    /// Pictures in the burst.
    pub burst: u32,
    /// Whether the first picture is in legal light (30 minutes either side).
    pub legal: bool,
    /// Minutes from sunrise and to sunset, for the light in the picture.
    pub after_sunrise_min: f64,
    /// See above.
    pub before_sunset_min: f64,
}

/// A played season.
#[derive(Debug, Clone, Default)]
pub struct Played {
    /// Every trigger, by camera and time.
    pub events: Vec<Event>,
}

const LEGAL_MIN: f64 = 30.0;
/// Apart enough that two events at a camera never merge into one visit.
const APART_MIN: i64 = 40;
pub(super) const NAMED: [(&str, f64); 3] =
    [("Forkhorn", 4.5), ("Ghost", 5.5), ("Left Kicker", 3.5)];

/// The first of the streams of quiet seasons.
const QUIET: u64 = 1000;

pub(super) fn play(plan: &Plan, country: Option<&Country>) -> Result<Played> {
    let mut played = Played::default();
    for camera in 0..plan.cameras.len() {
        // A stream of its own per camera, so that adding a camera changes no other.
        let stream = |number: u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(plan.options.seed);
            rng.set_stream(number);
            rng
        };
        let mut rng = stream(camera as u64 + 1);
        // Of its own too, so that a season before it changes nothing in a season.
        let mut quiet = stream(camera as u64 + QUIET);
        for (n, (first, last)) in plan.seasons().into_iter().enumerate() {
            let is_quiet = n == 0 && plan.has_quiet_season();
            let rng = if is_quiet { &mut quiet } else { &mut rng };
            for date in first.iter_days().take_while(|d| *d <= last && plan.hung(camera, n)) {
                let from = played.events.len();
                day(plan, country, (camera, date), rng, &mut played.events)?;
                played.events[from..].sort_by_key(|e| e.time);
            }
        }
    }
    if plan.options.trouble == Trouble::Streaks {
        streaks(plan, &mut played.events)?;
        played.events.sort_by_key(|e| (e.camera, e.time));
    }
    Ok(played)
}

/// Mean triggers per day at an ordinary camera.
const RATES: [(Animal, f64); 5] = [
    (Animal::Buck { mature: true }, 0.55),
    (Animal::Buck { mature: false }, 0.35),
    (Animal::Doe, 0.9),
    (Animal::Other, 0.3),
    (Animal::Nothing, 0.45),
];

fn day(
    plan: &Plan,
    country: Option<&Country>,
    (camera, date): (usize, NaiveDate),
    rng: &mut ChaCha8Rng,
    events: &mut Vec<Event>,
) -> Result<()> {
    if !plan.works(camera, date) {
        return Ok(());
    }
    let sun = SunDay::on(date, plan.cameras[camera].position)?;
    for (animal, rate) in RATES {
        let of_country = match (country, animal) {
            (Some(country), Animal::Buck { mature: true }) => country.factor(camera, date, &sun),
            _ => 1.0,
        };
        let mean = rate * plan.options.size * plan.rate_factor(camera, animal, date) * of_country;
        if mean <= 0.0 {
            continue;
        }
        let visits = Poisson::new(mean)?.sample(rng) as usize;
        for _ in 0..visits {
            let legal = rng.random_bool(plan.share(camera, animal, date));
            visit(camera, animal, legal, &sun, rng, events)?;
        }
    }
    Ok(())
}

/// Puts a visit where there is room for it. A crowded day may have none left; then the visit does
/// not happen.
fn visit(
    camera: usize,
    animal: Animal,
    legal: bool,
    sun: &SunDay,
    rng: &mut ChaCha8Rng,
    events: &mut Vec<Event>,
) -> Result<()> {
    for _ in 0..20 {
        let time = moment(sun, legal, rng)?;
        let near =
            |e: &Event| e.camera == camera && (e.time - time).num_minutes().abs() < APART_MIN;
        if !events.iter().rev().take(80).any(near) {
            events.push(event(camera, animal, time, sun, rng));
            break;
        }
    }
    Ok(())
}

const STREAK_ON_DAYS: u64 = 5;
const STREAK_TURN_DAYS: u64 = 14;
const STREAK_RATE: f64 = 1.5;

/// A resident buck at the touched camera: there for some days, away for more.
fn streaks(plan: &Plan, events: &mut Vec<Event>) -> Result<()> {
    let mut rng = ChaCha8Rng::seed_from_u64(plan.options.seed);
    rng.set_stream(1000);
    let mut start = plan.first - Days::new(rng.random_range(0..STREAK_TURN_DAYS));
    while start <= plan.last {
        let habit = rng.random_range(-0.3..0.3);
        for date in start.iter_days().take(STREAK_ON_DAYS as usize) {
            if date < plan.first || date > plan.last {
                continue;
            }
            let sun = SunDay::on(date, plan.cameras[0].position)?;
            let mature = Animal::Buck { mature: true };
            let share = (plan.share(0, mature, date) + habit).clamp(0.0, 1.0);
            let visits = Poisson::new(STREAK_RATE * plan.options.size)?.sample(&mut rng) as usize;
            for _ in 0..visits {
                let legal = rng.random_bool(share);
                visit(0, mature, legal, &sun, &mut rng, events)?;
            }
        }
        start = start + Days::new(STREAK_TURN_DAYS);
    }
    Ok(())
}

/// A moment around dusk or dawn: in legal light mostly close to sunset or sunrise, in the dark
/// trailing off into the night. Evenings are busier than mornings.
fn moment(sun: &SunDay, legal: bool, rng: &mut ChaCha8Rng) -> Result<DateTime<Utc>> {
    let evening = rng.random_bool(0.6);
    let day_min = sun.length_min();
    let minutes_inward = if legal {
        let spread = Exp::new(1.0_f64 / 85.0)?;
        (spread.sample(rng) - LEGAL_MIN + 1.0).min(day_min / 2.0)
    } else {
        let night_min = 1440.0 - day_min - 2.0 * LEGAL_MIN;
        let spread = Exp::new(1.0_f64 / 110.0)?;
        -(LEGAL_MIN + 1.0 + spread.sample(rng).min(night_min / 2.0 - 2.0))
    };
    let inward = TimeDelta::milliseconds((minutes_inward * 60_000.0) as i64);
    let time = if evening { sun.sunset - inward } else { sun.sunrise + inward };
    // Whole seconds, as cameras write them.
    Ok(DateTime::from_timestamp(time.timestamp(), 0).unwrap_or(time))
}

fn event(
    camera: usize,
    animal: Animal,
    time: DateTime<Utc>,
    sun: &SunDay,
    rng: &mut ChaCha8Rng,
) -> Event {
    let minutes = |d: TimeDelta| d.num_milliseconds() as f64 / 60_000.0;
    let after_sunrise_min = minutes(time - sun.sunrise);
    let before_sunset_min = minutes(sun.sunset - time);
    let (age, name) = match animal {
        Animal::Buck { mature: true } => mature(rng),
        Animal::Buck { mature: false } => {
            (Some([1.5, 2.5][usize::from(rng.random_bool(0.5))]), None)
        }
        _ => (None, None),
    };
    let with_fawns = animal == Animal::Doe && rng.random_bool(0.4);
    Event {
        camera,
        time,
        animal,
        count: if animal == Animal::Doe && rng.random_bool(0.3) { 2 } else { 1 },
        fawns: if with_fawns { rng.random_range(1..=2) } else { 0 },
        age,
        name,
        burst: if rng.random_bool(0.15) { 3 } else { 1 },
        legal: after_sunrise_min >= -LEGAL_MIN && before_sunset_min >= -LEGAL_MIN,
        after_sunrise_min,
        before_sunset_min,
    }
}

fn mature(rng: &mut impl Rng) -> (Option<f64>, Option<&'static str>) {
    if rng.random_bool(0.4) {
        let (name, age) = NAMED[rng.random_range(0..NAMED.len())];
        (Some(age), Some(name))
    } else {
        (Some([3.5, 4.5, 5.5][rng.random_range(0..3)]), None)
    }
}
