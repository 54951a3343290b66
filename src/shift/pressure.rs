//! What the n-th day after something looks like, over all the times it happened: the cost of a sit,
//! of a walk to a camera, of work on a plot.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use super::Role;
use super::roles::Logged;
use crate::measure::{Counts, Estimate, Exposure, KNOWN, rate, wilson};
use crate::visits::{Kind, PicturesOn, Season};

/// Something that happened several times.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeated {
    /// What it was, in the person's words, or that somebody was in the picture.
    pub what: String,
    /// How many times it happened.
    pub times: usize,
    /// On how many days, counted at each camera it could touch.
    pub camera_days: usize,
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
    /// Visits per camera-night, at all hours, every visit taken as independent; `None` where too many
    /// of the pictures have no tag.
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
pub(super) fn repeated(season: &Season, log: &[Logged]) -> Vec<Repeated> {
    let mut events: BTreeMap<&str, Events> = BTreeMap::new();
    for Logged { disturbance, roles } in log {
        let event = events.entry(&disturbance.what).or_default();
        let first = disturbance.start.date();
        let last = disturbance.end.map_or(first, |e| e.date());
        event.starts.insert(first);
        for camera in (0..roles.len()).filter(|c| roles[*c] == Role::Near) {
            let days = first.iter_days().take_while(|d| *d <= last);
            event.days.extend(days.map(|date| (camera, date)));
        }
    }
    let people = events.entry("A person in the picture").or_default();
    for (camera, c) in season.cameras.iter().enumerate() {
        people.starts.extend(&c.people_on);
        people.days.extend(c.people_on.iter().map(|d| (camera, *d)));
    }
    events
        .into_iter()
        .filter(|(_, event)| event.starts.len() >= FEWEST_TIMES)
        .map(|(what, event)| pooled(season, what, &event))
        .collect()
}

/// When something happened, and at which cameras on which days it went on.
#[derive(Default)]
struct Events {
    starts: BTreeSet<NaiveDate>,
    days: BTreeSet<CameraDay>,
}

fn pooled(season: &Season, what: &str, events: &Events) -> Repeated {
    let mut after: Vec<Vec<CameraDay>> = vec![Vec::new(); FOLLOWED_DAYS + 1];
    let mut ordinary = Vec::new();
    let cameras: BTreeSet<usize> = events.days.iter().map(|e| e.0).collect();
    for camera in cameras {
        let here = &season.cameras[camera];
        // Days at a place where it never happened say nothing about it.
        let comparable = |date: NaiveDate| {
            let mut at_camera = events.days.iter().filter(|e| e.0 == camera);
            at_camera.any(|e| !here.moved_between(e.1, date))
        };
        for date in here.effort.dates.iter().filter(|d| comparable(**d)) {
            let happened = |n: &usize| {
                let day = *date - Days::new(*n as u64);
                events.days.contains(&(camera, day))
            };
            match (0..=FOLLOWED_DAYS).find(happened) {
                Some(n) => after[n].push((camera, *date)),
                None => ordinary.push((camera, *date)),
            }
        }
    }
    Repeated {
        what: what.to_owned(),
        times: events.starts.len(),
        camera_days: events.days.len(),
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
    let untagged = |(camera, date): &CameraDay| {
        let on = season.cameras[*camera].pictures_between(*date, *date);
        (on.all, on.untagged)
    };
    let pictures = days
        .iter()
        .map(untagged)
        .fold(PicturesOn::default(), |s, p| PicturesOn {
            all: s.all + p.0,
            untagged: s.untagged + p.1,
        });
    let tagged = pictures.are_tagged();
    let exposure = Exposure {
        events: visits().count() as f64,
        effort: days.len() as f64,
    };
    DayAfter {
        nights: days.len(),
        visits: visits().count(),
        counted,
        share: wilson(Counts::new(counted, visits().count())),
        per_night: tagged.then(|| rate(exposure, KNOWN)).flatten(),
    }
}
