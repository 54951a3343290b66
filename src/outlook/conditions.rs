//! What hunters believe of wind, weather and moon, tested one by one.
//!
//! The units are mornings and evenings of all cameras together: visits in light of the deer that the season is about,
//! against the air at sunrise or sunset. What the season does by itself is taken out of both sides by a spline; the rest
//! is turned against each other day by day ([`goes_with`]), since a cold week and a week of visits fall together by
//! chance easily; and everything that is asked shares one error rate (Holm 1979).

use anyhow::Result;
use chrono::NaiveDate;

use super::half_days::{Half, is_usable};
use crate::measure::{GoesWith, Seasonal, Stretch, goes_with, holm_adjusted, natural_spline};
use crate::shift::{LEVEL, POWER};
use crate::sun::Moon;
use crate::visits::{DeerYear, Season};
use crate::weather::{Air, Weather};

/// Something that is believed to bring deer, or to keep them away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Belief {
    /// A wind from the north, and not from the south.
    NorthWind,
    /// A wind from the west, and not from the east.
    WestWind,
    /// A stronger wind.
    StrongWind,
    /// Colder than usual at that time of the year.
    Cold,
    /// Colder than the day before.
    ColdFront,
    /// A higher pressure.
    HighPressure,
    /// A pressure that rose.
    RisingPressure,
    /// Rain in the last hours.
    Rain,
    /// A fuller moon.
    FullMoon,
    /// A moon that stands higher at sunrise or sunset.
    HighMoon,
}

impl Belief {
    /// All, in the order of the table.
    pub const ALL: [Self; 10] = [
        Self::ColdFront,
        Self::Cold,
        Self::NorthWind,
        Self::WestWind,
        Self::StrongWind,
        Self::HighPressure,
        Self::RisingPressure,
        Self::Rain,
        Self::FullMoon,
        Self::HighMoon,
    ];

    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::NorthWind => "north wind",
            Self::WestWind => "west wind",
            Self::StrongWind => "strong wind",
            Self::Cold => "cold",
            Self::ColdFront => "cold front",
            Self::HighPressure => "high pressure",
            Self::RisingPressure => "rising pressure",
            Self::Rain => "rain",
            Self::FullMoon => "full moon",
            Self::HighMoon => "high moon",
        }
    }

    /// The difference that its ratio is told for, in the unit of what is believed: degrees, km/h, hPa, parts of the moon.
    pub fn step(self) -> f64 {
        match self {
            Self::NorthWind | Self::WestWind => 2.0,
            Self::StrongWind | Self::HighPressure => 10.0,
            Self::Cold | Self::ColdFront => 5.0,
            Self::RisingPressure => 3.0,
            Self::Rain | Self::FullMoon => 1.0,
            Self::HighMoon => 30.0,
        }
    }

    /// How much of it there is: more means more of what is believed.
    fn value(self, air: &Air, moon: &Moon) -> Option<f64> {
        match self {
            Self::NorthWind => air.wind_from_deg.map(|d| d.to_radians().cos()),
            Self::WestWind => air.wind_from_deg.map(|d| -d.to_radians().sin()),
            Self::StrongWind => air.wind_kmh,
            Self::Cold => air.temperature_c.map(|t| -t),
            Self::ColdFront => Some(air.temperature_day_before_c? - air.temperature_c?),
            Self::HighPressure => air.pressure_hpa,
            Self::RisingPressure => Some(air.pressure_hpa? - air.pressure_before_hpa?),
            Self::Rain => air.rain.map(|rain| f64::from(u8::from(rain))),
            Self::FullMoon => Some(moon.lit),
            Self::HighMoon => Some(moon.elevation_deg),
        }
    }
}

/// Whether a belief held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Held {
    /// More deer came in light.
    More,
    /// Fewer did.
    Fewer,
    /// No difference is shown.
    NotShown,
    /// Too little is known of it.
    CannotBeTold,
}

impl Held {
    /// The word in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::More => "more come",
            Self::Fewer => "fewer come",
            Self::NotShown => "no difference shown",
            Self::CannotBeTold => "cannot be told",
        }
    }
}

/// Visits in light on some mornings and evenings.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Visits in light.
    pub visits: usize,
    /// Mornings and evenings, counted at each camera that worked.
    pub half_days: usize,
}

/// One belief, tested.
#[derive(Debug, Clone, PartialEq)]
pub struct BeliefRow {
    /// What is believed.
    pub belief: Belief,
    /// Whether it held.
    pub held: Held,
    /// How visits in light go with it; `None` where that cannot be told.
    pub found: Option<GoesWith>,
    /// Its p-value with all other beliefs allowed for.
    pub p_adjusted: Option<f64>,
    /// Others that were found too and mostly came with it, so that they cannot be told apart.
    pub not_apart_from: Vec<Belief>,
    /// On the third of the mornings and evenings with the least of it, for the time of the year, and on the third with the
    /// most.
    pub thirds: [Tally; 2],
    /// Which mornings and evenings those are.
    pub thirds_on: [Vec<(NaiveDate, Half)>; 2],
    /// The smallest ratio of visits, for [`Belief::step`], that was likely to be found.
    pub smallest: Option<f64>,
}

/// Why no belief could be tested.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNot {
    /// No camera is known to have worked for long enough.
    NoCamera,
    /// There is no weather.
    NoWeather,
    /// Its hours are of other days than the pictures.
    OtherDays,
    /// There are too few visits in light on the days that it tells of.
    TooFewVisits,
}

/// All beliefs, tested.
#[derive(Debug, Clone, PartialEq)]
pub struct Conditions {
    /// Why nothing but the moon could be tested, or nothing at all.
    pub why_not: Option<WhyNot>,
    /// Seasons that went in.
    pub seasons: usize,
    /// What went in, in sum.
    pub all: Tally,
    /// On which mornings and evenings.
    pub all_on: Vec<(NaiveDate, Half)>,
    /// Belief by belief.
    pub rows: Vec<BeliefRow>,
}

/// A belief is not tested on fewer visits in light.
pub const FEWEST_VISITS: usize = 20;
/// A season of fewer days is left out.
const FEWEST_DAYS: usize = 28;
/// What changes more slowly than over so many days is the season's doing.
const SEASON_DAYS: usize = 21;
const MOST_KNOTS: usize = 14;

/// One season, morning by evening.
struct HalfDays {
    dates: Vec<NaiveDate>,
    visits: Vec<f64>,
    /// Cameras that count, each weighed by how many visits it has on average.
    effort: Vec<f64>,
    cameras: Vec<usize>,
    airs: Vec<Air>,
    moons: Vec<Moon>,
    fit: Option<Seasonal>,
}

const HALVES: usize = Half::ALL.len();

pub(super) fn conditions(season: &Season, weather: &Weather) -> Result<Conditions> {
    let of_year = |year: &DeerYear| HalfDays::of(season, weather, *year);
    let seasons = season.years.iter().map(of_year);
    let seasons: Vec<HalfDays> =
        seasons.collect::<Result<Vec<_>>>()?.into_iter().flatten().collect();
    let all = seasons.iter().map(HalfDays::tally).fold(Tally::default(), sum);
    let is_covered = |s: &HalfDays| s.airs.iter().any(|a| *a != Air::default());
    let why_not = match () {
        () if all.half_days == 0 => Some(WhyNot::NoCamera),
        () if weather.is_empty() => Some(WhyNot::NoWeather),
        () if !seasons.iter().any(is_covered) => Some(WhyNot::OtherDays),
        () if all.visits < FEWEST_VISITS => Some(WhyNot::TooFewVisits),
        () => None,
    };
    let mut rows: Vec<BeliefRow> = Belief::ALL.iter().map(|b| row(*b, &seasons)).collect();
    judge(&mut rows);
    tell_apart(&mut rows, &seasons);
    Ok(Conditions {
        why_not,
        seasons: seasons.len(),
        all,
        all_on: seasons.iter().flat_map(HalfDays::moments).collect(),
        rows,
    })
}

fn sum(a: Tally, b: Tally) -> Tally {
    Tally { visits: a.visits + b.visits, half_days: a.half_days + b.half_days }
}

impl HalfDays {
    /// `None` of a season that is too short.
    fn of(season: &Season, weather: &Weather, year: DeerYear) -> Result<Option<Self>> {
        let dates: Vec<NaiveDate> = season.dates_of(year).collect();
        if dates.len() < FEWEST_DAYS {
            return Ok(None);
        }
        let place = season.settings.position;
        let mut moments = Vec::with_capacity(dates.len() * HALVES);
        for date in &dates {
            for half in Half::ALL {
                moments.push(half.moment(*date, place)?);
            }
        }
        let moon = |m: &chrono::DateTime<chrono::Utc>| Moon::at(m.timestamp() as f64 / 60.0, place);
        let mut all = Self {
            visits: vec![0.0; moments.len()],
            effort: vec![0.0; moments.len()],
            cameras: vec![0; moments.len()],
            airs: weather.at(&moments),
            moons: moments.iter().map(moon).collect(),
            fit: None,
            dates,
        };
        for camera in 0..season.cameras.len() {
            all.take_in(season, camera);
        }
        let day: Vec<f64> = (0..moments.len()).map(|i| (i / HALVES) as f64).collect();
        let mut columns = natural_spline(&day, (2 + all.dates.len() / SEASON_DAYS).min(MOST_KNOTS));
        columns.push((0..moments.len()).map(|i| (i % HALVES) as f64).collect());
        all.fit = Seasonal::of(&all.visits, &all.effort, columns);
        Ok(Some(all))
    }

    fn take_in(&mut self, season: &Season, camera: usize) {
        let dates = &self.dates;
        let kind = season.about.kind;
        let usable: Vec<bool> = dates.iter().map(|d| is_usable(season, camera, *d)).collect();
        let number = usable.iter().filter(|u| **u).count();
        let mut counts = vec![0.0; dates.len() * HALVES];
        for (i, date) in dates.iter().enumerate().filter(|(i, _)| usable[*i]) {
            let visits = season.cameras[camera].visits_between(kind, *date, *date);
            for visit in visits.iter().filter(|v| v.counted) {
                counts[i * HALVES + Half::of(visit) as usize] += 1.0;
            }
        }
        // A busy camera that fails takes more visits away than a quiet one.
        let rate = (counts.iter().sum::<f64>() + 0.5) / number.max(1) as f64;
        for i in (0..counts.len()).filter(|i| usable[i / HALVES]) {
            self.visits[i] += counts[i];
            self.effort[i] += rate;
            self.cameras[i] += 1;
        }
    }

    /// A morning or evening by its place in the columns.
    fn moment(&self, i: usize) -> (NaiveDate, Half) {
        (self.dates[i / HALVES], Half::ALL[i % HALVES])
    }

    fn moments(&self) -> impl Iterator<Item = (NaiveDate, Half)> {
        (0..self.visits.len()).map(|i| self.moment(i))
    }

    fn tally(&self) -> Tally {
        Tally {
            visits: self.visits.iter().sum::<f64>() as usize,
            half_days: self.cameras.iter().sum(),
        }
    }

    /// A belief's values with the season taken out; `None` where none is known.
    fn other(&self, belief: Belief) -> Option<Vec<f64>> {
        let values = self.values(belief);
        let known = values.iter().flatten();
        let least = known.clone().copied().fold(f64::INFINITY, f64::min);
        let most = known.copied().fold(f64::NEG_INFINITY, f64::max);
        (most > least).then(|| self.fit.as_ref()?.without_season(&values))?
    }

    fn values(&self, belief: Belief) -> Vec<Option<f64>> {
        let both = self.airs.iter().zip(&self.moons);
        both.map(|(air, moon)| belief.value(air, moon)).collect()
    }
}

fn row(belief: Belief, seasons: &[HalfDays]) -> BeliefRow {
    let with: Vec<(&HalfDays, &Seasonal, Vec<f64>)> =
        seasons.iter().filter_map(|s| Some((s, s.fit.as_ref()?, s.other(belief)?))).collect();
    let excess = |s: &HalfDays, fit: &Seasonal| -> Vec<f64> {
        let both = s.visits.iter().zip(&fit.expected);
        both.map(|(y, m)| y - m).collect()
    };
    let excesses: Vec<Vec<f64>> = with.iter().map(|(s, fit, _)| excess(s, fit)).collect();
    let stretches: Vec<Stretch> = with
        .iter()
        .zip(&excesses)
        .map(|((_, fit, other), excess)| Stretch {
            excess,
            expected: &fit.expected,
            other,
            units: HALVES,
        })
        .collect();
    let visits = |(s, _, _): &(&HalfDays, &Seasonal, Vec<f64>)| -> usize {
        let known = s.values(belief).into_iter().zip(&s.visits);
        known.filter(|(v, _)| v.is_some()).map(|(_, y)| *y as usize).sum()
    };
    let has_enough = with.iter().map(visits).sum::<usize>() >= FEWEST_VISITS;
    let found = goes_with(&stretches).filter(|_| has_enough);
    let (thirds, thirds_on) = thirds(belief, &with);
    BeliefRow {
        belief,
        held: match found {
            Some(_) => Held::NotShown,
            None => Held::CannotBeTold,
        },
        found,
        p_adjusted: None,
        not_apart_from: Vec::new(),
        thirds,
        thirds_on,
        smallest: None,
    }
}

/// Visits on the third with the least and the third with the most of something; of rain, without and with it.
fn thirds(
    belief: Belief,
    with: &[(&HalfDays, &Seasonal, Vec<f64>)],
) -> ([Tally; 2], [Vec<(NaiveDate, Half)>; 2]) {
    let mut units: Vec<(f64, Tally, (NaiveDate, Half))> = Vec::new();
    for (season, _, other) in with {
        for (i, value) in season.values(belief).into_iter().enumerate() {
            let tally = Tally { visits: season.visits[i] as usize, half_days: season.cameras[i] };
            let at = if belief == Belief::Rain { value } else { Some(other[i]) };
            if let (Some(_), Some(at)) = (value, at) {
                units.push((at, tally, season.moment(i)));
            }
        }
    }
    units.sort_by(|a, b| a.0.total_cmp(&b.0));
    let number = units.len();
    let (few, many) = match belief {
        Belief::Rain => {
            let dry = units.partition_point(|u| u.0 < 0.5);
            (dry, dry)
        }
        _ => (number / 3, number - number / 3),
    };
    let thirds = [&units[..few], &units[many..]];
    (
        thirds.map(|third| third.iter().map(|u| u.1).fold(Tally::default(), sum)),
        thirds.map(|third| third.iter().map(|u| u.2).collect()),
    )
}

/// Beliefs with so strong a correlation are two names of nearly one thing.
const ALIKE: f64 = 0.3;

/// Marks what was found of beliefs that mostly come together.
fn tell_apart(rows: &mut [BeliefRow], seasons: &[HalfDays]) {
    let is_found = |r: &BeliefRow| matches!(r.held, Held::More | Held::Fewer);
    let found: Vec<Belief> = rows.iter().filter(|r| is_found(r)).map(|r| r.belief).collect();
    for row in rows.iter_mut().filter(|r| is_found(r)) {
        let alike = |other: &&Belief| {
            **other != row.belief && correlation(row.belief, **other, seasons).abs() >= ALIKE
        };
        row.not_apart_from = found.iter().filter(alike).copied().collect();
    }
}

/// Of two beliefs' values with the season taken out, each morning and evening weighed by what was expected of it.
fn correlation(one: Belief, other: Belief, seasons: &[HalfDays]) -> f64 {
    let (mut both, mut of_one, mut of_other) = (0.0, 0.0, 0.0);
    for season in seasons {
        let (Some(a), Some(b), Some(fit)) = (season.other(one), season.other(other), &season.fit)
        else {
            continue;
        };
        for ((a, b), weight) in a.iter().zip(&b).zip(&fit.expected) {
            both += weight * a * b;
            of_one += weight * a * a;
            of_other += weight * b * b;
        }
    }
    both / (of_one * of_other).sqrt().max(f64::MIN_POSITIVE)
}

/// Holm's method over all beliefs.
fn judge(rows: &mut [BeliefRow]) {
    let p_values: Vec<f64> = rows.iter().filter_map(|r| Some(r.found?.p_value)).collect();
    let level = LEVEL / p_values.len().max(1) as f64;
    let adjusted = holm_adjusted(p_values);
    let asked = rows.iter_mut().filter(|r| r.found.is_some());
    for (row, p) in asked.zip(adjusted) {
        let Some(found) = row.found else { continue };
        row.p_adjusted = Some(p);
        row.smallest = Some(found.smallest_ratio(row.belief.step(), level, POWER));
        if p <= LEVEL {
            row.held = if found.slope > 0.0 { Held::More } else { Held::Fewer };
        }
    }
}
