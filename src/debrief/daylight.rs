//! Who moves in legal light: shares, rates and the usual minute.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rayon::prelude::*;

use super::lasting::Lasting;
use crate::measure::{
    Counts, DayCount, Direction, Estimate, Exposure, Runs, direction, median, median_interval,
    quantile, rate, share_in_clusters, share_interval,
};
use crate::sun::{Light, SUN_DAY_MIN};
use crate::visits::{Camera, DeerYear, Kind, Named, PicturesOn, Season, Visit};

/// One kind of deer at one camera, or at all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct DaylightAnswer {
    /// The deer year; `None` where no camera ever worked.
    pub season: Option<DeerYear>,
    /// Index of the camera; `None` for the whole property.
    pub camera: Option<usize>,
    /// The kind of deer.
    pub kind: Kind,
    /// Camera-nights.
    pub nights: usize,
    /// Visits at all hours.
    pub visits: usize,
    /// Visits in legal light.
    pub legal: usize,
    /// Visits between sunrise and sunset.
    pub daylight: usize,
    /// Visits that the daylight share counts.
    pub counted: usize,
    /// The daylight share, with Wilson's interval, runs of days allowed for.
    pub share: Option<Estimate>,
    /// Counted visits per 100 camera-nights, runs of days allowed for in the interval.
    pub per_100_nights: Option<Estimate>,
    /// Where too few of the pictures are tagged for that: the least and the most that it can be, by the tags so
    /// far and if every picture without a tag held such a visit.
    pub per_100_nights_between: Option<(f64, f64)>,
    /// Its pictures, with and without a tag.
    pub pictures: PicturesOn,
    /// Evening visits: minutes before sunset, negative after it.
    pub evening: Option<Usual>,
    /// Morning visits: minutes after sunrise, negative before it.
    pub morning: Option<Usual>,
    /// Where in the sun's day visits gather, in sun-anchored minutes with sunrise at 6 hours.
    pub sun_day: Option<Direction>,
    /// The largest group seen.
    pub largest_group: u32,
    /// A clock behind these numbers is wrong and not settled yet.
    pub clock_in_doubt: bool,
}

/// The usual minute of some visits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usual {
    /// Visits it is taken from.
    pub visits: usize,
    /// The median.
    pub median_min: f64,
    /// 95 % interval of the median; `None` for fewer than six visits.
    pub interval_min: Option<(f64, f64)>,
    /// The middle half of the visits lies between these.
    pub middle_half_min: (f64, f64),
}

impl Usual {
    fn of(minutes: impl Iterator<Item = f64>) -> Option<Self> {
        let mut sorted: Vec<f64> = minutes.collect();
        sorted.sort_by(f64::total_cmp);
        Some(Self {
            visits: sorted.len(),
            median_min: median(&sorted)?,
            interval_min: median_interval(&sorted),
            middle_half_min: (quantile(&sorted, 0.25)?, quantile(&sorted, 0.75)?),
        })
    }
}

/// The answers for the whole property and every camera that worked, for every kind; the newest season first.
/// `logged` holds for every camera when something began or ended near it.
pub(super) fn answers(
    season: &Season,
    logged: &[Vec<NaiveDate>],
    lasting: &BTreeMap<Kind, Lasting>,
) -> Vec<DaylightAnswer> {
    let mut years: Vec<Option<DeerYear>> = season.years.iter().rev().copied().map(Some).collect();
    if years.is_empty() {
        years.push(None);
    }
    let is_only = years.len() == 1;
    let mut asked: Vec<(Option<DeerYear>, Option<usize>, Kind)> = Vec::new();
    for year in years {
        let worked = |c: &usize| is_only || !nights(season, *c, year).is_empty();
        let cameras = (0..season.cameras.len()).filter(worked).map(Some);
        for camera in std::iter::once(None).chain(cameras) {
            asked.extend(Kind::ALL.map(|kind| (year, camera, kind)));
        }
    }
    asked
        .into_par_iter()
        .map(|(year, camera, kind)| answer(season, logged, &lasting[&kind], year, camera, kind))
        .collect()
}

/// First and last date of a season; without one no date at all.
pub(super) fn span(year: Option<DeerYear>) -> (NaiveDate, NaiveDate) {
    year.map_or((NaiveDate::MAX, NaiveDate::MIN), |y| (y.first(), y.last()))
}

fn nights(season: &Season, camera: usize, year: Option<DeerYear>) -> &[NaiveDate] {
    let (first, last) = span(year);
    season.cameras[camera].effort.dates_between(first, last)
}

fn answer(
    season: &Season,
    logged: &[Vec<NaiveDate>],
    lasting: &Lasting,
    year: Option<DeerYear>,
    camera: Option<usize>,
    kind: Kind,
) -> DaylightAnswer {
    let indices: Vec<usize> = match camera {
        Some(one) => vec![one],
        None => (0..season.cameras.len()).collect(),
    };
    let (first, last) = span(year);
    let cameras: Vec<&Camera> = indices.iter().map(|c| &season.cameras[*c]).collect();
    let visits = || cameras.iter().flat_map(|c| c.visits_between(kind, first, last));
    let count = |keep: &dyn Fn(&Visit) -> bool| visits().filter(|v| keep(v)).count();
    let counted = count(&|v| v.counted);
    let pictures: PicturesOn = cameras.iter().map(|c| c.pictures_between(first, last)).sum();
    let nights: usize = indices.iter().map(|c| nights(season, *c, year).len()).sum();
    let stretches = Stretches::of(season, logged, &indices, kind, (first, last));
    // Where too few of the pictures are tagged there is no rate.
    let is_told =
        season.about.tells_of(kind) && cameras.iter().all(|c| is_tagged(c, (first, last)));
    let per_100_nights = is_told.then(|| per_100_nights(stretches.exposure(lasting))).flatten();
    let between = || {
        let of = |visits: usize| 100.0 * visits as f64 / nights as f64;
        let fewest = |c: &&Camera| c.counted_at_least(kind, first, last);
        let fewest = cameras.iter().map(fewest).sum();
        (of(fewest), of(counted + pictures.untagged_visits))
    };
    let is_open = per_100_nights.is_none() && nights > 0 && season.about.tells_of(kind);
    let minutes = |of: fn(&Visit) -> f64, morning: bool| {
        let half = visits().filter(move |v| v.is_morning() == morning);
        Usual::of(half.map(of))
    };
    DaylightAnswer {
        season: year,
        camera,
        kind,
        nights,
        visits: visits().count(),
        legal: count(&|v| v.light.is_legal()),
        daylight: count(&|v| v.light == Light::Daylight),
        counted,
        share: stretches.share(lasting, runs_of_bucks(season, &indices, kind, (first, last))),
        per_100_nights,
        per_100_nights_between: is_open.then(between),
        pictures,
        evening: minutes(|v| v.before_sunset_min, false),
        morning: minutes(|v| v.after_sunrise_min, true),
        sun_day: direction(&visits().map(Visit::sun_minute).collect::<Vec<_>>(), SUN_DAY_MIN),
        largest_group: visits().map(|v| u32::from(v.group)).max().unwrap_or(0),
        clock_in_doubt: cameras.iter().any(|c| c.clock_doubtful_between(first, last)),
    }
}

/// One date of some cameras: visits in light and all, and how many worked.
type Seen = (DayCount, usize);

/// Some cameras' days of one kind, added up from the first on which one of them worked to the last, and cut
/// where something is logged near one of them.
pub(super) struct Stretches {
    days: Vec<Vec<Seen>>,
    /// How many cameras' days these are.
    pub cameras: usize,
}

impl Stretches {
    /// `logged` holds for every camera when something began or ended near it.
    pub fn of(
        season: &Season,
        logged: &[Vec<NaiveDate>],
        cameras: &[usize],
        kind: Kind,
        span: (NaiveDate, NaiveDate),
    ) -> Self {
        let worked = |c: &usize| season.cameras[*c].effort.dates_between(span.0, span.1);
        let first = cameras.iter().filter_map(|c| worked(c).first()).min();
        let last = cameras.iter().filter_map(|c| worked(c).last()).max();
        let (Some(first), Some(last)) = (first, last) else {
            return Self { days: Vec::new(), cameras: cameras.len() };
        };
        let mut days: Vec<Seen> = Vec::new();
        for camera in cameras {
            for (i, day) in season.days.days(*camera, kind, (*first, *last)).enumerate() {
                if days.len() <= i {
                    days.resize(i + 1, (DayCount::default(), 0));
                }
                days[i].0.hits += f64::from(day.seen.counted);
                days[i].0.trials += f64::from(day.seen.visits);
                days[i].1 += usize::from(day.worked);
            }
        }
        let mut cuts: Vec<usize> = cameras
            .iter()
            .flat_map(|c| &logged[*c])
            .filter(|d| *first < **d && **d <= *last)
            .map(|d| (*d - *first).num_days() as usize)
            .collect();
        cuts.sort_unstable();
        cuts.dedup();
        let begins = std::iter::once(0).chain(cuts.iter().copied());
        let ends = cuts.iter().copied().chain([days.len()]);
        let stretch = |(from, until): (usize, usize)| days[from..until].to_vec();
        Self { days: begins.zip(ends).map(stretch).collect(), cameras: cameras.len() }
    }

    /// Visits in light among all, day by day.
    pub fn shares(&self) -> Vec<Vec<DayCount>> {
        let shares = |days: &Vec<Seen>| days.iter().map(|d| d.0).collect();
        self.days.iter().map(shares).collect()
    }

    /// Visits that the share counts, of the days on which a camera worked.
    pub fn counts(&self) -> Vec<Vec<f64>> {
        let counts = |days: &Vec<Seen>| {
            let worked = days.iter().filter(|d| d.1 > 0);
            worked.map(|d| d.0.hits).collect()
        };
        self.days.iter().map(counts).collect()
    }

    /// The share, with a range that allows for deer that stay for weeks, and for `bucks` that come again and
    /// again.
    fn share(&self, lasting: &Lasting, bucks: Runs) -> Option<Estimate> {
        let sum = |of: fn(&Seen) -> f64| self.days.iter().flatten().map(of).sum();
        let counts = Counts { hits: sum(|d| d.0.hits), trials: sum(|d| d.0.trials) };
        let runs = lasting.on_share(self).or_worse(bucks);
        share_interval(counts.divided_by(runs.design_effect), runs.freedom)
    }

    /// Effective counted visits and effort, and the degrees of freedom of their dispersion.
    pub fn exposure(&self, lasting: &Lasting) -> (Exposure, f64) {
        let runs = lasting.on_counts(self);
        let days = || self.days.iter().flatten();
        let nights: f64 = days().map(|d| d.1 as f64).sum();
        let events: f64 = days().filter(|d| d.1 > 0).map(|d| d.0.hits).sum();
        let exposure =
            Exposure { events: events / runs.design_effect, effort: nights / runs.design_effect };
        (exposure, runs.freedom)
    }
}

/// A rate per 100 camera-nights.
pub(super) fn per_100_nights((exposure, freedom): (Exposure, f64)) -> Option<Estimate> {
    let per_100 = Exposure { effort: exposure.effort / 100.0, ..exposure };
    rate(per_100, freedom)
}

pub(super) fn is_tagged(camera: &Camera, (first, last): (NaiveDate, NaiveDate)) -> bool {
    camera.pictures_between(first, last).are_tagged()
}

/// What it costs that one buck comes again and again with habits of his own, where most of the visits are of
/// known bucks; the visits of others stand for themselves.
fn runs_of_bucks(
    season: &Season,
    cameras: &[usize],
    kind: Kind,
    (first, last): (NaiveDate, NaiveDate),
) -> Runs {
    /// Fewer known bucks than this do not tell how bucks differ.
    const FEWEST_BUCKS: usize = 3;
    let mut bucks: BTreeMap<u16, DayCount> = BTreeMap::new();
    let mut others: Vec<DayCount> = Vec::new();
    for camera in cameras {
        for visit in season.cameras[*camera].visits_between(kind, first, last) {
            let hits = f64::from(u8::from(visit.counted));
            match visit.named() {
                Named::One(name) => {
                    let buck = bucks.entry(name).or_default();
                    buck.hits += hits;
                    buck.trials += 1.0;
                }
                Named::Nobody | Named::Several => others.push(DayCount { hits, trials: 1.0 }),
            }
        }
    }
    let named: f64 = bucks.values().map(|b| b.trials).sum();
    if bucks.len() < FEWEST_BUCKS || named < others.len() as f64 {
        return Runs::NONE;
    }
    let known = bucks.len() as f64 - 1.0;
    let all: Vec<DayCount> = bucks.into_values().chain(others).collect();
    let runs = share_in_clusters(&all);
    // The single visits of others say nothing of how bucks differ.
    Runs { freedom: runs.freedom.min(known), ..runs }
}
