//! Who moves in legal light: shares, rates and the usual minute.

use chrono::NaiveDate;
use rayon::prelude::*;

use crate::measure::{
    Counts, Direction, Estimate, Exposure, direction, median, median_interval, quantile, rate,
    rate_p_value, runs_of_counts, wilson,
};
use crate::sun::{Light, SUN_DAY_MIN};
use crate::visits::{Camera, Kind, Season, Visit};

/// One kind of deer at one camera, or at all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct DaylightAnswer {
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
    /// The daylight share, with Wilson's interval.
    pub share: Option<Estimate>,
    /// Counted visits per 100 camera-nights, runs of days allowed for in the interval.
    pub per_100_nights: Option<Estimate>,
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

/// The answers for the whole property and every camera, for every kind.
pub(super) fn answers(season: &Season) -> Vec<DaylightAnswer> {
    let every = std::iter::once(None).chain((0..season.cameras.len()).map(Some));
    let asked: Vec<(Option<usize>, Kind)> = every
        .flat_map(|camera| Kind::ALL.map(|kind| (camera, kind)))
        .collect();
    asked
        .into_par_iter()
        .map(|(camera, kind)| answer(season, camera, kind))
        .collect()
}

fn answer(season: &Season, camera: Option<usize>, kind: Kind) -> DaylightAnswer {
    let indices: Vec<usize> = match camera {
        Some(one) => vec![one],
        None => (0..season.cameras.len()).collect(),
    };
    let cameras: Vec<&Camera> = indices.iter().map(|c| &season.cameras[*c]).collect();
    let visits = || cameras.iter().flat_map(|c| c.visits(kind));
    let count = |keep: &dyn Fn(&Visit) -> bool| visits().filter(|v| keep(v)).count();
    let counted = count(&|v| v.counted);
    let nights = cameras.iter().map(|c| c.effort.nights()).sum();
    DaylightAnswer {
        camera,
        kind,
        nights,
        visits: visits().count(),
        legal: count(&|v| v.light.is_legal()),
        daylight: count(&|v| v.light == Light::Daylight),
        counted,
        share: wilson(Counts::new(counted, visits().count())),
        per_100_nights: per_100_nights(season, &indices, kind),
        evening: Usual::of(
            visits()
                .filter(|v| !v.is_morning())
                .map(|v| v.before_sunset_min),
        ),
        morning: Usual::of(
            visits()
                .filter(|v| v.is_morning())
                .map(|v| v.after_sunrise_min),
        ),
        sun_day: direction(
            &visits().map(Visit::sun_minute).collect::<Vec<_>>(),
            SUN_DAY_MIN,
        ),
        largest_group: visits().map(|v| v.group).max().unwrap_or(0),
        clock_in_doubt: cameras.iter().any(|c| !c.clock_in_doubt.is_empty()),
    }
}

/// `None` where too few of the pictures are tagged for a rate.
fn per_100_nights(season: &Season, cameras: &[usize], kind: Kind) -> Option<Estimate> {
    if !season.about.tells_of(kind) || !cameras.iter().all(|c| is_tagged(&season.cameras[*c])) {
        return None;
    }
    let (exposure, freedom) = exposure(season, cameras, kind);
    let per_100 = Exposure {
        effort: exposure.effort / 100.0,
        ..exposure
    };
    rate(per_100, freedom)
}

fn is_tagged(camera: &Camera) -> bool {
    camera
        .pictures_between(NaiveDate::MIN, NaiveDate::MAX)
        .are_tagged()
}

/// Effective counted visits and effort, and the degrees of freedom of their dispersion.
fn exposure(season: &Season, cameras: &[usize], kind: Kind) -> (Exposure, f64) {
    let counted = |camera: &usize| season.days.counted_per_night(*camera, kind);
    let nightly: Vec<Vec<f64>> = cameras.iter().map(counted).collect();
    let groups: Vec<&[f64]> = nightly.iter().map(Vec::as_slice).collect();
    let runs = runs_of_counts(&groups);
    let events: f64 = nightly.iter().flatten().sum();
    let nights: usize = nightly.iter().map(Vec::len).sum();
    let exposure = Exposure {
        events: events / runs.design_effect,
        effort: nights as f64 / runs.design_effect,
    };
    (exposure, runs.freedom)
}

/// The camera with the highest rate of mature bucks in the light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leader {
    /// Index of the camera.
    pub camera: usize,
    /// P-value of a rate like that of all other cameras together, times the number of cameras: the
    /// best of many is always better than most (Bonferroni).
    pub p_adjusted: f64,
}

/// `None` with fewer than two cameras to compare.
pub(super) fn leader(season: &Season) -> Option<Leader> {
    let comparable: Vec<usize> = (0..season.cameras.len())
        .filter(|&c| {
            let camera = &season.cameras[c];
            // A camera whose hours are wrong ranks nowhere.
            is_tagged(camera) && camera.effort.nights() > 0 && camera.clock_in_doubt.is_empty()
        })
        .collect();
    let of = |cameras: &[usize]| exposure(season, cameras, season.about.kind);
    let rate = |c: &usize| of(&[*c]).0.rate().unwrap_or(0.0);
    let camera = *comparable
        .iter()
        .max_by(|a, b| rate(a).total_cmp(&rate(b)).then(b.cmp(a)))
        .filter(|_| comparable.len() > 1)?;
    let others: Vec<usize> = comparable
        .iter()
        .copied()
        .filter(|&c| c != camera)
        .collect();
    let (here, freedom) = of(&[camera]);
    let (there, _) = of(&others);
    let p = rate_p_value((there, here), None, freedom)?;
    Some(Leader {
        camera,
        p_adjusted: (p * comparable.len() as f64).min(1.0),
    })
}
