//! The season cut into screens: the pictures of one camera that belong together, shown and tagged as
//! one visit.

use std::collections::BTreeMap;

use anyhow::Result;
use chrono::{NaiveDate, TimeDelta};

use crate::card::Crawl;
use crate::clock::{LocalTime, Timeline};
use crate::property::Property;
use crate::sun::{Light, SunDay, SunTable};

/// Pictures further apart than this are shown apart. Shorter than the gap that ends a visit: what is
/// in the pictures is not known yet, and one answer must fit all of them.
const APART_MIN: i64 = 5;
/// More pictures than a person flicks through are cut into several screens.
const PICTURES_MAX: usize = 24;

/// One screen.
#[derive(Debug, Clone)]
pub(super) struct Screen {
    /// Index into [`Screens::cameras`].
    pub camera: usize,
    /// Indexes into the crawl's pictures, in order of time.
    pub pictures: Vec<u32>,
    /// When it begins and in what light; `None` where the pictures carry no time.
    pub moment: Option<Moment>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub first: LocalTime,
    pub last: LocalTime,
    pub light: Light,
    /// Minutes since sunrise of that date; negative before it.
    pub after_sunrise_min: f64,
    /// Minutes until sunset of that date; negative after it.
    pub before_sunset_min: f64,
}

/// All screens, camera by camera in order of time.
#[derive(Debug, Default)]
pub(super) struct Screens {
    pub cameras: Vec<String>,
    pub all: Vec<Screen>,
    /// The screen of every picture.
    pub of_picture: Vec<u32>,
    /// Local time of every picture.
    pub times: Vec<Option<LocalTime>>,
}

impl Screens {
    pub fn of(property: &Property, crawl: &Crawl) -> Result<Self> {
        let times = Timeline::of(property, crawl)?.times(crawl.pictures.len())?;
        let mut sun = SunTable::default();
        let mut screens = Self::default();
        for (name, mut pictures) in by_camera(crawl) {
            pictures.sort_by_key(|p| (times[*p as usize].is_none(), times[*p as usize], *p));
            let camera = screens.cameras.len();
            for together in pictures.chunk_by(|a, b| belong_together(&times, *a, *b)) {
                for some in together.chunks(PICTURES_MAX) {
                    let moment = moment(property, name, some, &times, &mut sun)?;
                    screens.all.push(Screen { camera, pictures: some.to_vec(), moment });
                }
            }
            screens.cameras.push(name.to_owned());
        }
        screens.of_picture = vec![0; crawl.pictures.len()];
        for (i, screen) in (0..).zip(&screens.all) {
            for picture in &screen.pictures {
                screens.of_picture[*picture as usize] = i;
            }
        }
        screens.times = times;
        Ok(screens)
    }

    /// The camera of a screen.
    pub fn camera(&self, screen: &Screen) -> &str {
        &self.cameras[screen.camera]
    }
}

fn by_camera(crawl: &Crawl) -> BTreeMap<&str, Vec<u32>> {
    let mut cameras: BTreeMap<&str, Vec<u32>> = BTreeMap::new();
    for (picture, index) in crawl.pictures.iter().zip(0..) {
        cameras.entry(&picture.camera).or_default().push(index);
    }
    cameras
}

fn belong_together(times: &[Option<LocalTime>], a: u32, b: u32) -> bool {
    match (times[a as usize], times[b as usize]) {
        (Some(a), Some(b)) => b.utc() - a.utc() <= TimeDelta::minutes(APART_MIN),
        _ => false,
    }
}

fn moment(
    property: &Property,
    camera: &str,
    pictures: &[u32],
    times: &[Option<LocalTime>],
    sun: &mut SunTable,
) -> Result<Option<Moment>> {
    let time = |p: Option<&u32>| times[*p? as usize];
    let (Some(first), Some(last)) = (time(pictures.first()), time(pictures.last())) else {
        return Ok(None);
    };
    let date = first.date();
    let day: SunDay = sun.day(date, property.position(camera, date))?;
    Ok(Some(Moment {
        first,
        last,
        light: Light::at(first, &day, &property.settings),
        after_sunrise_min: first.minutes_since(day.sunrise),
        before_sunset_min: -first.minutes_since(day.sunset),
    }))
}

impl Moment {
    pub fn date(&self) -> NaiveDate {
        self.first.date()
    }

    /// `24 min before sunset`, by whichever of the two is nearer.
    pub fn to_sun(self) -> String {
        let (minutes, event) = if self.after_sunrise_min.abs() <= self.before_sunset_min.abs() {
            (self.after_sunrise_min, "sunrise")
        } else {
            (-self.before_sunset_min, "sunset")
        };
        let side = if minutes < 0.0 { "before" } else { "after" };
        let whole = minutes.abs().round() as u32;
        match (whole / 60, whole % 60) {
            (0, 0) => format!("at {event}"),
            (0, min) => format!("{min} min {side} {event}"),
            (hours, min) => format!("{hours} h {min} min {side} {event}"),
        }
    }
}
