//! Where and when to sit: what came in light where a stand is, part of the season by part, mornings and evenings.

use anyhow::Result;
use chrono::{Datelike, NaiveDate};

use super::half_days::{Half, is_usable};
use crate::measure::{Believed, Estimate, Exposure, RUN_DAYS, Runs, runs_of_counts, shrunk};
use crate::property::{CompassPoint, Property, Stand};
use crate::sun::bearing_deg;
use crate::visits::{DeerYear, Season, Visit};
use crate::weather::Weather;

/// Whether a row tells something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BesideBest {
    /// No other is likelier to bring more, or none is clearly.
    AmongTheBest,
    /// Another is clearly better.
    Behind,
    /// There is no other to set it beside.
    OnlyOne,
    /// None came in light, here or at any other.
    NoneCame,
    /// Its cameras worked on too few such mornings or evenings.
    TooFew,
}

impl BesideBest {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::AmongTheBest => "among the best",
            Self::Behind => "behind",
            Self::OnlyOne => "no other",
            Self::NoneCame => "none came",
            Self::TooFew => "too few to tell",
        }
    }
}

/// Visits in light on winds that a stand takes, and on others.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct WindTally {
    /// Mornings or evenings, counted at each camera, with a wind that it takes.
    pub suited: usize,
    /// Visits in light on them.
    pub suited_visits: usize,
    /// Those with another wind.
    pub others: usize,
    /// Visits in light on them.
    pub others_visits: usize,
}

/// One stand in one part of the season, in the morning or in the evening.
#[derive(Debug, Clone, PartialEq)]
pub struct StandRow {
    /// The stand, or the camera where no stands are written down.
    pub stand: String,
    /// The cameras that watch it, by their place in the season.
    pub cameras: Vec<usize>,
    /// The part of the season.
    pub part: String,
    /// First and last date of it on which a camera was counted.
    pub span: (NaiveDate, NaiveDate),
    /// Morning or evening.
    pub half: Half,
    /// Mornings or evenings, counted at each camera.
    pub outings: usize,
    /// Which those were: camera and date.
    pub outings_on: Vec<(usize, NaiveDate)>,
    /// Those left out because the camera may have been dead, or too little is tagged, or its clock is in doubt.
    pub left_out: usize,
    /// Visits in light.
    pub visits: usize,
    /// Visits in light to be expected in ten of them, the other stands' rates allowed to speak for it.
    pub per_ten: Option<Estimate>,
    /// How it stands beside the others of the same part and half.
    pub beside_best: BesideBest,
    /// Three of four of the visits came between these, minutes after sunrise or before sunset; `None` for few.
    pub three_of_four_min: Option<(f64, f64)>,
    /// How it was on winds that the stand takes; `None` where winds or weather are not known.
    pub wind: Option<WindTally>,
    /// Which those were, and which the others.
    pub wind_on: [Vec<(usize, NaiveDate)>; 2],
    /// Where the sun stands at sunrise or sunset in the middle of the part.
    pub sun_from: CompassPoint,
}

/// On fewer mornings or evenings nothing is told.
pub const FEWEST_OUTINGS: usize = 5;
/// Three of four of fewer visits are no span.
pub const FEWEST_FOR_SPAN: usize = 8;
/// A stand is behind where the best one is better with at least this chance.
const CLEARLY: f64 = 0.95;

/// What is watched: a name, and the cameras that watch it.
struct Watched<'a> {
    name: String,
    stand: Option<&'a Stand>,
    cameras: Vec<usize>,
}

pub(super) fn stands(
    property: &Property,
    season: &Season,
    weather: &Weather,
) -> Result<Vec<StandRow>> {
    let Some(year) = season.newest() else {
        return Ok(Vec::new());
    };
    let watched = watched(property, season, year);
    let runs: Vec<[Runs; 2]> = watched.iter().map(|w| runs(season, w, year)).collect();
    let mut rows = Vec::new();
    // Days too few to tell anything by are left out.
    let parts = parts(property, season, year);
    for (part, dates) in parts.into_iter().filter(|(_, d)| d.len() >= FEWEST_OUTINGS) {
        for half in Half::ALL {
            let mut group: Vec<StandRow> = Vec::new();
            for watched in &watched {
                group.push(row(season, weather, watched, (&part, &dates), half)?);
            }
            let costs: Vec<f64> = runs.iter().map(|r| r[half as usize].design_effect).collect();
            believe(&mut group, &costs);
            rows.extend(group);
        }
    }
    Ok(rows)
}

/// The stands that no camera watched.
pub(super) fn unwatched(property: &Property, season: &Season) -> Vec<String> {
    let Some(year) = season.newest() else {
        return Vec::new();
    };
    let watched = watched(property, season, year);
    let is_watched = |s: &&Stand| watched.iter().any(|w| w.name == s.name);
    let others = property.stands.iter().filter(|s| !is_watched(s));
    others.map(|s| s.name.clone()).collect()
}

/// The stands with their cameras; where none is written down, every camera that worked.
fn watched<'a>(property: &'a Property, season: &Season, year: DeerYear) -> Vec<Watched<'a>> {
    let worked = |c: &usize| {
        let effort = &season.cameras[*c].effort;
        !effort.dates_between(year.first(), year.last()).is_empty()
    };
    let cameras: Vec<usize> = (0..season.cameras.len()).filter(worked).collect();
    if property.stands.is_empty() {
        let alone = |c: usize| Watched {
            name: season.cameras[c].name.clone(),
            stand: None,
            cameras: vec![c],
        };
        return cameras.into_iter().map(alone).collect();
    }
    let of_stand = |stand: &'a Stand| Watched {
        name: stand.name.clone(),
        stand: Some(stand),
        cameras: season
            .watching(stand, year.last())
            .into_iter()
            .filter(|c| cameras.contains(c))
            .collect(),
    };
    let all = property.stands.iter().map(of_stand);
    all.filter(|w| !w.cameras.is_empty()).collect()
}

/// The parts of a season with their dates: those that the property names, else the months.
fn parts(property: &Property, season: &Season, year: DeerYear) -> Vec<(String, Vec<NaiveDate>)> {
    let cameras = season.cameras.iter();
    let mut dates: Vec<NaiveDate> =
        cameras.flat_map(|c| c.effort.dates_between(year.first(), year.last()).to_vec()).collect();
    dates.sort_unstable();
    dates.dedup();
    let named = &property.settings.parts;
    let name = |date: &NaiveDate| -> String {
        if named.is_empty() {
            return date.format("%B").to_string();
        }
        let begun = named.iter().rfind(|p| {
            let begins = NaiveDate::from_ymd_opt(date.year(), p.from.month, p.from.day);
            begins
                .and_then(|b| match b < year.first() {
                    true => b.with_year(b.year() + 1),
                    false => Some(b),
                })
                .into_iter()
                .chain(NaiveDate::from_ymd_opt(date.year() - 1, p.from.month, p.from.day))
                .any(|b| year.contains(b) && b <= *date)
        });
        begun.map_or_else(|| "before the first part".to_owned(), |p| p.name.clone())
    };
    let mut parts: Vec<(String, Vec<NaiveDate>)> = Vec::new();
    for date in dates {
        let name = name(&date);
        match parts.last_mut().filter(|(last, _)| *last == name) {
            Some((_, dates)) => dates.push(date),
            None => parts.push((name, vec![date])),
        }
    }
    parts
}

/// What runs of days cost in the mornings and evenings of a whole season.
fn runs(season: &Season, watched: &Watched, year: DeerYear) -> [Runs; 2] {
    Half::ALL.map(|half| {
        let daily = |camera: &usize| -> Vec<f64> {
            let effort = &season.cameras[*camera].effort;
            let dates = effort.dates_between(year.first(), year.last()).iter();
            let usable = dates.filter(|d| is_usable(season, *camera, **d));
            usable.map(|d| in_light(season, *camera, *d, half).count() as f64).collect()
        };
        let all: Vec<Vec<f64>> = watched.cameras.iter().map(daily).collect();
        runs_of_counts(&all, RUN_DAYS)
    })
}

fn in_light(
    season: &Season,
    camera: usize,
    date: NaiveDate,
    half: Half,
) -> impl Iterator<Item = &Visit> {
    let visits = season.cameras[camera].visits_between(season.about.kind, date, date);
    let wanted = move |v: &&Visit| v.counted && Half::of(v) == half;
    visits.iter().filter(wanted)
}

fn row(
    season: &Season,
    weather: &Weather,
    watched: &Watched,
    (part, dates): (&str, &[NaiveDate]),
    half: Half,
) -> Result<StandRow> {
    let place = season.settings.position;
    let mut outings: Vec<(usize, NaiveDate)> = Vec::new();
    let mut left_out = 0;
    for camera in &watched.cameras {
        let usable = dates.iter().filter(|d| is_usable(season, *camera, **d));
        outings.extend(usable.map(|d| (*camera, *d)));
        left_out += dates.iter().filter(|d| is_left_out(season, *camera, **d)).count();
    }
    let of_outing = |(camera, date): &(usize, NaiveDate)| in_light(season, *camera, *date, half);
    let minutes = outings.iter().flat_map(of_outing).map(|v| match half {
        Half::Morning => v.after_sunrise_min,
        Half::Evening => v.before_sunset_min,
    });
    let minutes: Vec<f64> = minutes.collect();
    let counted = outings.iter().map(|o| o.1);
    let (first, last) = (counted.clone().min(), counted.max());
    let span = first.zip(last).unwrap_or((dates[0], dates[dates.len() - 1]));
    let middle = dates[dates.len() / 2];
    let sun = half.moment(middle, place)?.timestamp() as f64 / 60.0;
    let knows_winds = watched.stand.is_some_and(|s| !s.winds.is_empty()) && !weather.is_empty();
    let mut wind_on = [Vec::new(), Vec::new()];
    let wind = match watched.stand.filter(|_| knows_winds) {
        Some(stand) => {
            wind_on = by_wind(season, weather, stand, &outings, half)?;
            Some(wind_tally(season, &wind_on, half))
        }
        None => None,
    };
    Ok(StandRow {
        stand: watched.name.clone(),
        cameras: watched.cameras.clone(),
        part: part.to_owned(),
        span,
        half,
        outings: outings.len(),
        outings_on: outings,
        left_out,
        visits: minutes.len(),
        per_ten: None,
        beside_best: BesideBest::TooFew,
        three_of_four_min: three_of_four(minutes),
        wind: wind.filter(|w| w.suited + w.others > 0),
        wind_on,
        sun_from: CompassPoint::nearest(bearing_deg(sun, place)),
    })
}

/// Whether a camera hung on a date that is not counted.
fn is_left_out(season: &Season, camera: usize, date: NaiveDate) -> bool {
    let effort = &season.cameras[camera].effort;
    let is_doubted = effort.silences.iter().any(|s| (s.from..=s.until).contains(&date));
    let worked = effort.dates.binary_search(&date).is_ok();
    is_doubted || (worked && !is_usable(season, camera, date))
}

/// The shortest span that holds three of four.
fn three_of_four(mut minutes: Vec<f64>) -> Option<(f64, f64)> {
    if minutes.len() < FEWEST_FOR_SPAN {
        return None;
    }
    minutes.sort_by(f64::total_cmp);
    let held = (minutes.len() * 3).div_ceil(4);
    let spans = minutes.windows(held).map(|w| (w[0], w[held - 1]));
    spans.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))
}

/// The mornings or evenings with a wind that a stand takes, and those with another.
fn by_wind(
    season: &Season,
    weather: &Weather,
    stand: &Stand,
    outings: &[(usize, NaiveDate)],
    half: Half,
) -> Result<[Vec<(usize, NaiveDate)>; 2]> {
    let place = season.settings.position;
    let moment = |o: &(usize, NaiveDate)| half.moment(o.1, place);
    let moments = outings.iter().map(moment).collect::<Result<Vec<_>>>()?;
    let mut on = [Vec::new(), Vec::new()];
    for (outing, air) in outings.iter().zip(weather.at(&moments)) {
        if let Some(suits) = air.wind_from_deg.and_then(|d| stand.takes(d)) {
            on[usize::from(!suits)].push(*outing);
        }
    }
    Ok(on)
}

fn wind_tally(season: &Season, on: &[Vec<(usize, NaiveDate)>; 2], half: Half) -> WindTally {
    let visits =
        |(camera, date): &(usize, NaiveDate)| in_light(season, *camera, *date, half).count();
    let [suited_visits, others_visits] = [0, 1].map(|i| on[i].iter().map(visits).sum());
    WindTally { suited: on[0].len(), suited_visits, others: on[1].len(), others_visits }
}

/// Sets the stands of one part and half beside each other. A count is divided by what its runs cost.
fn believe(group: &mut [StandRow], costs: &[f64]) {
    let told: Vec<usize> =
        (0..group.len()).filter(|i| group[*i].outings >= FEWEST_OUTINGS).collect();
    let units: Vec<Exposure> = told
        .iter()
        .map(|i| {
            let row = &group[*i];
            // A stand that several cameras watch has what all of them see.
            Exposure {
                events: row.visits as f64 / costs[*i],
                effort: row.outings as f64 / row.cameras.len() as f64 / costs[*i],
            }
        })
        .collect();
    let believed = shrunk(&units);
    let best =
        (0..believed.len()).max_by(|a, b| believed[*a].mean().total_cmp(&believed[*b].mean()));
    let Some(best) = best else { return };
    let none_came = told.iter().all(|i| group[*i].visits == 0);
    let is_behind = |b: &Believed| believed[best].chance_over(b) >= CLEARLY;
    for (i, b) in told.iter().zip(&believed) {
        let row = &mut group[*i];
        row.per_ten = Some(b.estimate().times(10.0));
        row.beside_best = match () {
            () if none_came => BesideBest::NoneCame,
            () if believed.len() == 1 => BesideBest::OnlyOne,
            () if is_behind(b) => BesideBest::Behind,
            () => BesideBest::AmongTheBest,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shortest_span_with_three_of_four() {
        let minutes = vec![200.0, 5.0, 10.0, 12.0, 18.0, 20.0, 25.0, -90.0];
        assert_eq!(three_of_four(minutes), Some((5.0, 25.0)));
        assert_eq!(three_of_four(vec![1.0; 7]), None);
    }
}
