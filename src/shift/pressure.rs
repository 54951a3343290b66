//! What the n-th day after something looks like, over all the times it happened: the cost of a sit,
//! of a walk to a camera, of work on a plot.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use crate::measure::{Counts, Estimate, Exposure, KNOWN, rate, wilson};
use crate::property::{Disturbance, same_name};
use crate::visits::{Kind, Season};

/// Something that happened several times.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeated {
    /// What it was, in the person's words, or that somebody was in the picture.
    pub what: String,
    /// How many days it happened on, counted at each camera it could touch.
    pub times: usize,
    /// The day itself, the first day after it, the second, and so on.
    pub after: Vec<DayAfter>,
    /// Days at the same cameras that follow none of them within [`FOLLOWED_DAYS`].
    pub ordinary: DayAfter,
}

/// Deer of all kinds on the n-th days after, taken together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayAfter {
    /// Camera-nights.
    pub nights: usize,
    /// Visits.
    pub visits: usize,
    /// Visits that the daylight share counts.
    pub counted: usize,
    /// The daylight share.
    pub share: Option<Estimate>,
    /// Visits per camera-night, at all hours.
    pub per_night: Option<Estimate>,
}

/// Days followed after each.
pub const FOLLOWED_DAYS: usize = 7;
/// Something that happened less often is no habit.
const FEWEST_TIMES: usize = 3;

/// Camera and date.
type CameraDay = (usize, NaiveDate);

/// Pools what happened at least three times: disturbances logged under the same words, and days on
/// which a person was tagged at a camera (a card pulled, a stand walked to).
pub(super) fn repeated(season: &Season, disturbances: &[Disturbance]) -> Vec<Repeated> {
    let mut events: BTreeMap<String, BTreeSet<CameraDay>> = BTreeMap::new();
    for disturbance in disturbances {
        let at = events.entry(disturbance.what.clone()).or_default();
        for (camera, c) in season.cameras.iter().enumerate() {
            let near = &disturbance.near;
            if near.is_empty() || near.iter().any(|n| same_name(n, &c.name)) {
                at.insert((camera, disturbance.start.date()));
            }
        }
    }
    let people = events
        .entry("A person in the picture".to_owned())
        .or_default();
    for (camera, c) in season.cameras.iter().enumerate() {
        people.extend(c.people_on.iter().map(|date| (camera, *date)));
    }
    events
        .into_iter()
        .filter(|(_, at)| at.iter().map(|e| e.1).collect::<BTreeSet<_>>().len() >= FEWEST_TIMES)
        .map(|(what, at)| pooled(season, what, &at))
        .collect()
}

fn pooled(season: &Season, what: String, events: &BTreeSet<CameraDay>) -> Repeated {
    let mut after: Vec<Vec<CameraDay>> = vec![Vec::new(); FOLLOWED_DAYS + 1];
    let mut ordinary = Vec::new();
    let cameras: BTreeSet<usize> = events.iter().map(|e| e.0).collect();
    for camera in cameras {
        for date in &season.cameras[camera].effort.dates {
            let happened = |n: &usize| events.contains(&(camera, *date - Days::new(*n as u64)));
            match (0..=FOLLOWED_DAYS).find(happened) {
                Some(n) => after[n].push((camera, *date)),
                None => ordinary.push((camera, *date)),
            }
        }
    }
    Repeated {
        what,
        times: events.len(),
        after: after.iter().map(|days| on(season, days)).collect(),
        ordinary: on(season, &ordinary),
    }
}

fn on(season: &Season, days: &[CameraDay]) -> DayAfter {
    let visits = || {
        days.iter().flat_map(|(camera, date)| {
            season.cameras[*camera].visits_between(Kind::Deer, *date, *date)
        })
    };
    let counted = visits().filter(|v| v.counted).count();
    let exposure = Exposure {
        events: visits().count() as f64,
        effort: days.len() as f64,
    };
    DayAfter {
        nights: days.len(),
        visits: visits().count(),
        counted,
        share: wilson(Counts::new(counted, visits().count())),
        per_night: rate(exposure, KNOWN),
    }
}
