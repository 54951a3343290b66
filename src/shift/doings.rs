//! What the person did on the ground again and again: sits, and cards taken.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Result;
use chrono::{NaiveDate, NaiveTime};

use crate::clock::LocalTime;
use crate::property::{Property, Sit, same_name};
use crate::sun::SunDay;
use crate::visits::Season;
use crate::weather::Weather;

/// One sort of doing, with the cameras and dates that it could touch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doing {
    /// What it was.
    pub what: String,
    /// Cameras, by their place in the season, and dates.
    pub days: BTreeSet<(usize, NaiveDate)>,
    /// The doings that this one takes together.
    pub pools: Vec<String>,
}

/// Sits, stand by stand and by whether the stand takes the wind, and cards taken.
///
/// # Errors
/// Where polars refuses the weather, or the sun does not rise and set.
pub fn doings(property: &Property, season: &Season, weather: &Weather) -> Result<Vec<Doing>> {
    let mut of_stands: BTreeMap<String, CameraDays> = BTreeMap::new();
    let mut pooled: BTreeMap<&str, CameraDays> = BTreeMap::new();
    let airs = weather.at(&moments(property, &property.sits)?);
    for (sit, air) in property.sits.iter().zip(airs) {
        let mut stands = property.stands.iter();
        let Some(stand) = stands.find(|s| same_name(&s.name, &sit.stand)) else {
            continue;
        };
        let cameras = season.watching(stand, sit.date).into_iter();
        let days: Vec<(usize, NaiveDate)> = cameras.map(|c| (c, sit.date)).collect();
        let mut pool = |what: &'static str| pooled.entry(what).or_default().extend(&days);
        pool(SITS);
        match air.wind_from_deg.and_then(|d| stand.takes(d)) {
            Some(true) => pool(RIGHT_WIND),
            Some(false) => pool(WRONG_WIND),
            None => {}
        }
        if property.stands.len() > 1 {
            let what = format!("{SITS} on {}", stand.name);
            of_stands.entry(what).or_default().extend(&days);
        }
    }
    // A pool takes together the stands of which it has a day.
    let pool = |(what, days): (&str, CameraDays)| {
        let shared = of_stands.iter().filter(|(_, d)| !d.is_disjoint(&days));
        Doing { what: what.to_owned(), pools: shared.map(|(what, _)| what.clone()).collect(), days }
    };
    let mut all: Vec<Doing> = pooled.into_iter().map(pool).collect();
    let alone = |(what, days)| Doing { what, days, pools: Vec::new() };
    all.extend(of_stands.into_iter().map(alone));
    let cameras = season.cameras.iter().enumerate();
    let taken = cameras.flat_map(|(i, c)| c.card_taken_on.iter().map(move |date| (i, *date)));
    all.push(alone((CARDS.to_owned(), taken.collect())));
    all.retain(|d| !d.days.is_empty());
    Ok(all)
}

/// Cameras, by their place in the season, and dates.
type CameraDays = BTreeSet<(usize, NaiveDate)>;

pub(super) const SITS: &str = "Sits";
const RIGHT_WIND: &str = "Sits on a wind that the stand takes";
const WRONG_WIND: &str = "Sits on a wind that the stand does not take";
const CARDS: &str = "Cards taken";

/// The middle of each sit; of one whose row has no times, sunset.
fn moments(property: &Property, sits: &[Sit]) -> Result<Vec<chrono::DateTime<chrono::Utc>>> {
    let settings = &property.settings;
    let moment = |sit: &Sit| {
        let at = |time: NaiveTime| {
            LocalTime::of_wall_clock(sit.date.and_time(time), settings.time_zone).utc()
        };
        Ok(match (sit.from, sit.until) {
            (Some(from), Some(until)) => at(from) + (at(until) - at(from)) / 2,
            (Some(time), None) | (None, Some(time)) => at(time),
            (None, None) => SunDay::on(sit.date, settings.position)?.sunset,
        })
    };
    sits.iter().map(moment).collect()
}
