//! Who moves in legal light: shares, rates and the usual minute.

use crate::measure::{
    Counts, Estimate, Exposure, count_dispersion, median, median_interval, quantile, rate, wilson,
};
use crate::sun::Light;
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
    /// The largest group seen.
    pub largest_group: u32,
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
    let every: Vec<&Camera> = season.cameras.iter().collect();
    let property = Kind::ALL.map(|kind| answer(None, &every, kind));
    let cameras = season
        .cameras
        .iter()
        .enumerate()
        .flat_map(|(i, camera)| Kind::ALL.map(|kind| answer(Some(i), &[camera], kind)));
    property.into_iter().chain(cameras).collect()
}

fn answer(camera: Option<usize>, cameras: &[&Camera], kind: Kind) -> DaylightAnswer {
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
        per_100_nights: per_100_nights(cameras, kind),
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
        largest_group: visits().map(|v| v.group).max().unwrap_or(0),
    }
}

fn per_100_nights(cameras: &[&Camera], kind: Kind) -> Option<Estimate> {
    let nightly: Vec<Vec<f64>> = cameras.iter().map(|c| counted_per_night(c, kind)).collect();
    let groups: Vec<&[f64]> = nightly.iter().map(Vec::as_slice).collect();
    let dispersion = count_dispersion(&groups);
    let events: f64 = nightly.iter().flatten().sum();
    let nights: usize = nightly.iter().map(Vec::len).sum();
    rate(Exposure {
        events: events / dispersion,
        effort: nights as f64 / dispersion / 100.0,
    })
}

fn counted_per_night(camera: &Camera, kind: Kind) -> Vec<f64> {
    let mut nightly = vec![0.0; camera.effort.nights()];
    for visit in camera.visits(kind).iter().filter(|v| v.counted) {
        if let Ok(night) = camera.effort.dates.binary_search(&visit.date()) {
            nightly[night] += 1.0;
        }
    }
    nightly
}
