//! The country around a practice property: its weather, its stands and sits and its grounds, with what each of them
//! does to the deer and what it does not.

use std::fs;
use std::path::Path;

use anyhow::Result;
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp, Normal};
use serde_json::{Value, json};

use super::Plan;
use super::plan::PlannedCamera;
use crate::clock::LocalTime;
use crate::property::as_list;
use crate::sun::SunDay;

/// What is planted: for a fall of one degree in a day visits of mature bucks are so many times as frequent.
const COLD_PER_DEG: f64 = 1.08;
/// On the day of a sit on the second stand, and the two after it, so many are left.
const SIT_LEAVES: f64 = 0.25;
const SIT_DAYS: i64 = 2;
/// In the season in which the field was corn there were so many times as many at the cameras that it feeds.
const CORN: f64 = 2.5;

/// Stands: name, the camera that watches it, the winds that it takes, sits a season, and whether they cost anything.
const STANDS: [(&str, usize, &str, usize, bool); 3] = [
    ("Ridge stand", 4, "NW;N;NE", 12, false),
    ("Clover stand", 2, "W;NW;SW", 14, true),
    ("Draw stand", 1, "N;NE;E", 0, false),
];
/// The cameras that the corn feeds, and those of a ground that only changed hands.
const FED: [usize; 2] = [5, 6];
const SOLD: usize = 3;

/// One hour of weather.
struct Hour {
    time: DateTime<Utc>,
    temperature_c: f64,
    wind_from_deg: f64,
    wind_kmh: f64,
    pressure_hpa: f64,
    rain_mm: f64,
}

/// All of it.
pub(super) struct Country {
    hours: Vec<Hour>,
    /// Stand and date.
    sits: Vec<(usize, NaiveDate)>,
    last_season: NaiveDate,
}

/// Its stream of chance.
const STREAM: u64 = 2000;

impl Country {
    /// `None` where none was asked for.
    pub fn of(plan: &Plan) -> Result<Option<Self>> {
        if !plan.options.with_country {
            return Ok(None);
        }
        let mut rng = ChaCha8Rng::seed_from_u64(plan.options.seed);
        rng.set_stream(STREAM);
        let mut hours = Vec::new();
        let mut sits = Vec::new();
        for (first, last) in plan.seasons() {
            hours.extend(weather(first - Days::new(2), last + Days::new(1), &mut rng)?);
            for (stand, (_, camera, _, number, _)) in STANDS.iter().enumerate() {
                if *camera < plan.cameras.len() {
                    let days = (last - first).num_days() as u64;
                    let mut dates: Vec<u64> =
                        (0..*number).map(|_| rng.random_range(0..=days)).collect();
                    dates.sort_unstable();
                    dates.dedup();
                    sits.extend(dates.into_iter().map(|d| (stand, first + Days::new(d))));
                }
            }
        }
        Ok(Some(Self { hours, sits, last_season: plan.first }))
    }

    /// What a date multiplies the visits of mature bucks at a camera by.
    pub fn factor(&self, camera: usize, date: NaiveDate, sun: &SunDay) -> f64 {
        let falls = [sun.sunrise, sun.sunset].map(|m| self.fall_c(m));
        let cold = COLD_PER_DEG.powf((falls[0] + falls[1]) / 2.0).clamp(0.3, 3.0);
        let costly = |(stand, at): &&(usize, NaiveDate)| {
            let (_, watched, _, _, costs) = STANDS[*stand];
            costs && watched == camera && (0..=SIT_DAYS).contains(&(date - *at).num_days())
        };
        let sit = if self.sits.iter().any(|s| costly(&s)) { SIT_LEAVES } else { 1.0 };
        let corn = if FED.contains(&camera) && date < self.last_season { CORN } else { 1.0 };
        cold * sit * corn
    }

    /// By how much it is colder than a day before.
    fn fall_c(&self, moment: DateTime<Utc>) -> f64 {
        let at = |moment: DateTime<Utc>| {
            let next = self.hours.partition_point(|h| h.time <= moment);
            next.checked_sub(1).map(|i| self.hours[i].temperature_c)
        };
        at(moment - TimeDelta::days(1)).zip(at(moment)).map_or(0.0, |(before, now)| before - now)
    }

    /// Writes `weather.csv`, `stands.csv`, `sits.csv` and `grounds.csv`.
    pub fn write(&self, folder: &Path, plan: &Plan) -> Result<()> {
        let mut weather =
            "time,temperature_c,wind_from_deg,wind_kmh,pressure_hpa,rain_mm\n".to_owned();
        for hour in &self.hours {
            weather += &format!(
                "{},{:.1},{:.0},{:.0},{:.1},{:.1}\n",
                hour.time.format("%Y-%m-%dT%H:%MZ"),
                hour.temperature_c,
                hour.wind_from_deg,
                hour.wind_kmh,
                hour.pressure_hpa,
                hour.rain_mm
            );
        }
        fs::write(folder.join("weather.csv"), weather)?;
        let known = |camera: usize| plan.cameras.get(camera);
        let mut stands = "stand,latitude,longitude,near,winds\n".to_owned();
        for (name, camera, winds, _, _) in STANDS {
            if let Some(PlannedCamera { name: near, position, .. }) = known(camera) {
                stands += &format!(
                    "{name},{:.4},{:.4},{near},{winds}\n",
                    position.latitude_deg, position.longitude_deg
                );
            }
        }
        fs::write(folder.join("stands.csv"), stands)?;
        fs::write(folder.join("sits.csv"), self.sits_table(plan)?)?;
        let begins = plan.first.year();
        let names = |cameras: &[usize]| -> String {
            let names = cameras.iter().filter_map(|c| known(*c)).map(|c| c.name);
            as_list(names)
        };
        let corn = names(&FED);
        let sold = names(&[SOLD]);
        let mut grounds = "ground,side,what,from,until,feeds\n".to_owned();
        grounds += &format!("River bottom,outside,corn,,{begins}-04-30,{corn}\n");
        grounds += &format!("River bottom,outside,soybeans,{begins}-05-01,,{corn}\n");
        grounds +=
            &format!("Spring pasture,outside,grazed by the old owner,,{begins}-05-31,{sold}\n");
        grounds +=
            &format!("Spring pasture,outside,grazed by the new owner,{begins}-06-01,,{sold}\n");
        grounds += &format!("Clover,inside,clover,,,{}\n", names(&[2]));
        Ok(fs::write(folder.join("grounds.csv"), grounds)?)
    }

    /// Evening sits, from two hours before sunset to half an hour after it.
    fn sits_table(&self, plan: &Plan) -> Result<String> {
        let mut table = "stand,start,end,saw,note\n".to_owned();
        let mut sits: Vec<&(usize, NaiveDate)> = self.sits.iter().collect();
        sits.sort_by_key(|s| (s.1, s.0));
        for (stand, date) in sits {
            let sunset = SunDay::on(*date, plan.position)?.sunset;
            let shown = |moment| {
                let time = LocalTime::at(moment, plan.zone).shown();
                time.format("%Y-%m-%dT%H:%M").to_string()
            };
            table += &format!(
                "{},{},{},,\n",
                STANDS[*stand].0,
                shown(sunset - TimeDelta::minutes(120)),
                shown(sunset + TimeDelta::minutes(30))
            );
        }
        Ok(table)
    }

    /// What a right analysis must find of it, and must not.
    pub fn answer() -> Value {
        json!({
            "conditions": { "cold front": COLD_PER_DEG.powi(5), "all others": 1.0 },
            "sits": STANDS.iter().map(|(name, _, _, _, costs)| json!({
                "stand": name, "leaves": if *costs { SIT_LEAVES } else { 1.0 },
            })).collect::<Vec<_>>(),
            "grounds": [
                { "ground": "River bottom", "this_season_over_last": 1.0 / CORN },
                { "ground": "Spring pasture", "this_season_over_last": 1.0 },
            ],
        })
    }
}

/// Hours with fronts every few days; wind, pressure and rain go their own ways.
fn weather(first: NaiveDate, last: NaiveDate, rng: &mut ChaCha8Rng) -> Result<Vec<Hour>> {
    let noon = |d: NaiveDate| d.and_hms_opt(0, 0, 0).unwrap_or_default().and_utc();
    let (start, end) = (noon(first), noon(last));
    let (little, some) = (Normal::new(0.0, 0.3)?, Normal::new(0.0, 1.0)?);
    let (mut synoptic, mut front_h, mut fall) = (0.0_f64, 0.0_f64, 0.0_f64);
    let (mut wind, mut speed, mut pressure, mut rain_h) =
        (rng.random_range(0.0..360.0_f64), 10.0_f64, 0.0_f64, 0);
    let mut next_front_h = 40.0;
    let mut hours = Vec::new();
    for h in 0..(end - start).num_hours() {
        let time = start + TimeDelta::hours(h);
        if h as f64 >= next_front_h {
            next_front_h = h as f64 + 48.0 + Exp::new(1.0 / 60.0)?.sample(rng);
            front_h = 10.0;
            fall = rng.random_range(5.0..11.0);
        }
        if front_h > 0.0 {
            synoptic -= fall / 10.0;
            front_h -= 1.0;
        } else {
            synoptic += 0.13 - 0.012 * synoptic + little.sample(rng);
        }
        let day = (f64::from(time.ordinal()) - 200.0) / 365.0 * std::f64::consts::TAU;
        let hour = (time.timestamp().rem_euclid(86_400)) as f64 / 3600.0;
        let daily = ((hour - 21.0) / 24.0 * std::f64::consts::TAU).cos();
        wind = (wind + 8.0 * some.sample(rng)).rem_euclid(360.0);
        speed = (speed + 0.06 * (11.0 - speed) + some.sample(rng)).max(0.0);
        pressure += -0.01 * pressure + 0.5 * some.sample(rng);
        if rain_h == 0 && rng.random_bool(0.012) {
            rain_h = rng.random_range(2..9);
        }
        rain_h = (rain_h - 1).max(0);
        hours.push(Hour {
            time,
            temperature_c: 9.0 + 13.0 * day.cos() + 4.0 * daily + synoptic,
            wind_from_deg: wind,
            wind_kmh: speed,
            pressure_hpa: 1015.0 + pressure,
            rain_mm: if rain_h > 0 { rng.random_range(0.2..2.0) } else { 0.0 },
        });
    }
    Ok(hours)
}
