//! What a season was like at all properties together: the mean property, and how far properties lie apart.

use std::collections::BTreeSet;

use super::event::FEWEST_PROPERTIES;
use super::hidden::FEWEST_TOLD;
use super::record::{KindOf, Record};
use crate::measure::{Estimate, mean_of, quantile};
use crate::visits::Kind;

/// One kind in one season, all properties together.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonAnswer {
    /// The season.
    pub season: String,
    /// The kind.
    pub kind: Kind,
    /// Properties with a camera-night in it.
    pub properties: usize,
    /// Camera-nights.
    pub nights: u64,
    /// Visits at all hours.
    pub visits: u64,
    /// Those in light.
    pub light: u64,
    /// The daylight share: of the mean property, each counting alike.
    pub share: Option<Spread>,
    /// Visits in light per 100 camera-nights, in the same way.
    pub per_100_nights: Option<Spread>,
}

/// A number over properties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Properties that have it.
    pub properties: usize,
    /// The mean of the properties with its range.
    pub mean: Estimate,
    /// The middle half of the properties lies between these.
    pub middle_half: (f64, f64),
}

/// Every season and kind, the oldest season first.
pub(super) fn answers(records: &[Record]) -> Vec<SeasonAnswer> {
    let seasons = records.iter().flat_map(|r| r.seasons.iter().map(|s| &s.season));
    let seasons: BTreeSet<&String> = seasons.collect();
    seasons
        .into_iter()
        .flat_map(|season| Kind::ALL.map(|kind| answer(records, season, kind)))
        .collect()
}

fn answer(records: &[Record], season: &str, kind: Kind) -> SeasonAnswer {
    let of = records.iter().flat_map(|r| &r.seasons);
    let here: Vec<(u32, &KindOf)> = of
        .filter(|s| s.season == season && s.nights > 0)
        .map(|s| (s.nights, &s.kinds[kind as usize]))
        .collect();
    let sum = |of: fn(&(u32, &KindOf)) -> u32| here.iter().map(|k| u64::from(of(k))).sum();
    let shares = here.iter().filter(|(_, k)| k.visits >= FEWEST_TOLD);
    let rates = here.iter().filter_map(|(_, k)| Some(k.per_100_nights?[0]));
    SeasonAnswer {
        season: season.to_owned(),
        kind,
        properties: here.len(),
        nights: sum(|k| k.0),
        visits: sum(|k| k.1.visits),
        light: sum(|k| k.1.light),
        share: spread(shares.filter_map(|(_, k)| Some(k.share?[0])).collect(), 1.0),
        per_100_nights: spread(rates.collect(), f64::INFINITY),
    }
}

fn spread(mut values: Vec<f64>, most: f64) -> Option<Spread> {
    if values.len() < FEWEST_PROPERTIES {
        return None;
    }
    let mean = mean_of(&values)?;
    values.sort_by(f64::total_cmp);
    Some(Spread {
        properties: values.len(),
        mean: Estimate { value: mean.value, low: mean.low.max(0.0), high: mean.high.min(most) },
        middle_half: (quantile(&values, 0.25)?, quantile(&values, 0.75)?),
    })
}
