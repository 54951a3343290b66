//! The best camera, as it stands now.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::daylight::{Stretches, is_tagged, per_100_nights};
use super::lasting::Lasting;
use crate::measure::{Estimate, Exposure, rate_one_sided};
use crate::visits::{Camera, Kind, Season};

/// The camera with the highest rate of visits in the light since the last change at any camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leader {
    /// Index of the camera.
    pub camera: usize,
    /// First of the days counted, at every camera alike: the season's, or the day of the last change that was logged
    /// near any of them.
    pub since: NaiveDate,
    /// Camera-nights since then.
    pub nights: usize,
    /// Visits in light since then.
    pub counted: usize,
    /// These per 100 camera-nights.
    pub per_100_nights: Estimate,
    /// The one that comes nearest to it has as many a night.
    pub is_level: bool,
    /// The camera that comes nearest to it.
    pub second: usize,
    /// P-value of not being better than every other (Hsu 1981, Annals of Statistics 9:1026-1034): the largest
    /// one-sided one, times the number of others, any of which might have come first by luck.
    pub p_adjusted: f64,
}

impl Leader {
    /// Cameras that may have had more, for all that is known: too little of what they took since then has a tag.
    pub fn not_tagged(&self, season: &Season) -> Vec<usize> {
        let Some(year) = season.newest() else {
            return Vec::new();
        };
        let span = (self.since, year.last());
        let is_open = |c: &usize| {
            let here = &season.cameras[*c];
            ran_long_enough(here, span) && !is_tagged(here, span)
        };
        (0..season.cameras.len()).filter(is_open).collect()
    }
}

fn ran_long_enough(camera: &Camera, (since, last): (NaiveDate, NaiveDate)) -> bool {
    camera.effort.dates_between(since, last).len() >= FEWEST_RANKED_NIGHTS
}

/// A camera that ran for fewer nights since then is not ranked.
pub const FEWEST_RANKED_NIGHTS: usize = 14;
/// Fewer visits than this make no camera the best.
const FEWEST_VISITS: usize = 5;

/// One camera since the last change.
struct Ranked {
    camera: usize,
    exposure: Exposure,
    freedom: f64,
}

impl Ranked {
    fn rate(&self) -> f64 {
        self.exposure.rate().unwrap_or(0.0)
    }
}

/// `logged` holds for every camera when something began or ended near it. All cameras are counted over the same days,
/// since the season itself makes some days better than others. `None` with fewer than two cameras to compare, with
/// too few visits.
pub(super) fn leader(
    season: &Season,
    logged: &[Vec<NaiveDate>],
    lasting: &BTreeMap<Kind, Lasting>,
) -> Option<Leader> {
    let year = season.newest()?;
    let kind = season.about.kind;
    let changes = logged.iter().flatten().filter(|d| year.contains(**d));
    let since = changes.max().copied().unwrap_or(year.first());
    let span = (since, year.last());
    let lasting = &lasting[&kind];
    let ranked = |camera: usize| -> Option<Ranked> {
        let here = &season.cameras[camera];
        // A camera whose hours are wrong ranks nowhere.
        let is_sound = is_tagged(here, span) && !here.clock_doubtful_between(span.0, span.1);
        (is_sound && ran_long_enough(here, span)).then(|| {
            let stretches = Stretches::of(season, logged, &[camera], kind, span);
            let (exposure, freedom) = stretches.exposure(lasting);
            Ranked { camera, exposure, freedom }
        })
    };
    let mut all: Vec<Ranked> = (0..season.cameras.len()).filter_map(ranked).collect();
    all.sort_by(|a, b| b.rate().total_cmp(&a.rate()).then(a.camera.cmp(&b.camera)));
    let (best, others) = all.split_first()?;
    let second = others.first()?;
    let p = |other: &Ranked| {
        let freedom = best.freedom.min(other.freedom);
        rate_one_sided(other.exposure, best.exposure, freedom).unwrap_or(1.0)
    };
    let worst = others.iter().map(p).fold(0.0, f64::max);
    let days = season.days.days(best.camera, kind, span);
    let counted: usize = days.map(|d| d.seen.counted as usize).sum();
    let here = &season.cameras[best.camera];
    (counted >= FEWEST_VISITS).then_some(Leader {
        is_level: best.rate() <= second.rate(),
        camera: best.camera,
        since,
        nights: here.effort.dates_between(span.0, span.1).len(),
        counted,
        per_100_nights: per_100_nights((best.exposure, best.freedom))?,
        second: second.camera,
        p_adjusted: (worst * others.len() as f64).min(1.0),
    })
}
