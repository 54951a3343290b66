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
    let mut all: BTreeMap<String, BTreeSet<(usize, NaiveDate)>> = BTreeMap::new();
    let several = property.stands.len() > 1;
    let airs = weather.at(&moments(property, &property.sits)?)?;
    for (sit, air) in property.sits.iter().zip(airs) {
        let stand = property
            .stands
            .iter()
            .find(|s| same_name(&s.name, &sit.stand));
        let Some(stand) = stand else { continue };
        let days = season
            .watching(stand, sit.date)
            .into_iter()
            .map(|c| (c, sit.date));
        let days: Vec<(usize, NaiveDate)> = days.collect();
        let mut put = |what: String| all.entry(what).or_default().extend(&days);
        put(SITS.to_owned());
        if several {
            put(format!("{SITS} on {}", stand.name));
        }
        match air.wind_from_deg.and_then(|d| stand.takes(d)) {
            Some(true) => put(RIGHT_WIND.to_owned()),
            Some(false) => put(WRONG_WIND.to_owned()),
            None => {}
        }
    }
    for (camera, c) in season.cameras.iter().enumerate() {
        let days = c.card_taken_on.iter().map(|date| (camera, *date));
        all.entry(CARDS.to_owned()).or_default().extend(days);
    }
    all.retain(|_, days| !days.is_empty());
    let on_stands = format!("{SITS} on ");
    let is_of_stand = |what: &str| {
        let name = what.strip_prefix(&on_stands);
        name.is_some_and(|n| property.stands.iter().any(|s| s.name == n))
    };
    let of_stands: Vec<String> = all.keys().filter(|w| is_of_stand(w)).cloned().collect();
    // A pool holds those stands whose days are among its own.
    let pools = |what: &str, days: &BTreeSet<(usize, NaiveDate)>| -> Vec<String> {
        let shares = |w: &&String| all[*w].iter().any(|d| days.contains(d));
        match is_of_stand(what) || !what.starts_with(SITS) {
            true => Vec::new(),
            false => of_stands.iter().filter(shares).cloned().collect(),
        }
    };
    let doing = |(what, days): (&String, &BTreeSet<(usize, NaiveDate)>)| Doing {
        what: what.clone(),
        pools: pools(what, days),
        days: days.clone(),
    };
    Ok(all.iter().map(doing).collect())
}

const SITS: &str = "Sits";
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
