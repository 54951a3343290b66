//! One visit: pictures of one kind of deer at one camera without a long gap.

use chrono::NaiveDate;

use crate::clock::LocalTime;
use crate::property::{Property, Settings, ShareOf};
use crate::sun::{Light, MeanDay, NoSunrise, SUN_DAY_MIN, SunDay, SunTable};

/// One sighting of deer, its time settled.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub time: LocalTime,
    pub picture: Option<u32>,
    pub count: u32,
    pub aged: bool,
    /// Its place among the season's names, from 1; 0 where it has none.
    pub named: u16,
}

/// Which known individual a visit is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    /// None is named.
    Nobody,
    /// One, by its place among the season's names.
    One(u16),
    /// More than one.
    Several,
}

/// An independent event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit {
    /// The first picture. The visit's light and minutes are those of this moment.
    pub first: LocalTime,
    /// The last picture.
    pub last: LocalTime,
    /// The most deer of the kind seen at one moment.
    pub group: u16,
    /// Whether somebody said how old one of them is.
    pub aged: bool,
    /// See [`Visit::named`].
    named: u16,
    /// The light at the first picture.
    pub light: Light,
    /// Whether the daylight share counts it: legal light, or plain daylight if the property says so.
    pub counted: bool,
    /// Minutes from sunrise of the same local date; negative before it.
    pub after_sunrise_min: f64,
    /// Minutes until sunset of the same local date; negative after it.
    pub before_sunset_min: f64,
}

/// More than one name.
const SEVERAL: u16 = u16::MAX;

impl Visit {
    /// Which known individual it is.
    pub fn named(&self) -> Named {
        match self.named {
            0 => Named::Nobody,
            SEVERAL => Named::Several,
            place => Named::One(place - 1),
        }
    }

    /// The same visit so many days later, by the wall clock.
    pub(super) fn days_later(self, days: i64) -> Self {
        Self { first: self.first.days_later(days), last: self.last.days_later(days), ..self }
    }

    /// The local date on which it began.
    pub fn date(&self) -> NaiveDate {
        self.first.date()
    }

    /// Whether it falls in the half of the day that ends at the sun's noon.
    pub fn is_morning(&self) -> bool {
        self.after_sunrise_min < self.before_sunset_min
    }

    /// Sun-anchored minute of a day whose sunrise is at 6 hours and whose sunset at 18.
    pub fn sun_minute(&self) -> f64 {
        let even = MeanDay { sunrise_min: SUN_DAY_MIN / 4.0, sunset_min: SUN_DAY_MIN * 3.0 / 4.0 };
        even.anchor(self.after_sunrise_min, self.day_length_min())
    }

    /// Minutes after sunrise, before sunset, and of [`Visit::sun_minute`], by the sun of another place.
    pub fn by_the_sun_of(&self, day: &SunDay) -> [f64; 3] {
        let there = Self {
            after_sunrise_min: self.first.minutes_since(day.sunrise),
            before_sunset_min: -self.first.minutes_since(day.sunset),
            ..*self
        };
        [there.after_sunrise_min, there.before_sunset_min, there.sun_minute()]
    }

    /// Minutes from that date's sunrise to its sunset.
    pub fn day_length_min(&self) -> f64 {
        self.after_sunrise_min + self.before_sunset_min
    }
}

/// The visits of one individual at one camera, from the moments at which it was seen there, in order.
///
/// # Errors
/// Where the sun does not rise or set on one of the dates.
pub fn visits_of_one(
    property: &Property,
    camera: &str,
    moments: &[(LocalTime, u32)],
    sun: &mut SunTable,
) -> Result<Vec<Visit>, NoSunrise> {
    let seen: Vec<Moment> = moments
        .iter()
        .map(|(time, picture)| Moment {
            time: *time,
            picture: Some(*picture),
            count: 1,
            aged: false,
            named: 0,
        })
        .collect();
    visits(&seen, &property.settings, |date| sun.day(date, property.position(camera, date)))
}

/// Splits sightings of one kind at one camera, in order of time, into visits: a gap *over*
/// `gap_min` begins a new one.
pub(super) fn visits(
    seen: &[Moment],
    settings: &Settings,
    mut sun: impl FnMut(NaiveDate) -> Result<SunDay, NoSunrise>,
) -> Result<Vec<Visit>, NoSunrise> {
    let gap = settings.gap();
    seen.chunk_by(|a, b| b.time.utc() - a.time.utc() <= gap)
        .map(|pictures| {
            let (first, last) = (pictures[0].time, pictures[pictures.len() - 1].time);
            let sun = sun(first.date())?;
            let light = Light::at(first, &sun, settings);
            Ok(Visit {
                first,
                last,
                group: largest_group(pictures),
                aged: pictures.iter().any(|p| p.aged),
                named: named(pictures),
                light,
                counted: counts(light, settings),
                after_sunrise_min: first.minutes_since(sun.sunrise),
                before_sunset_min: -first.minutes_since(sun.sunset),
            })
        })
        .collect()
}

/// Whether the daylight share counts a visit that begins in this light.
fn counts(light: Light, settings: &Settings) -> bool {
    match settings.share_of {
        ShareOf::Legal => light.is_legal(),
        ShareOf::Daylight => light == Light::Daylight,
    }
}

/// The most counted visits that pictures at these times, in order, can hold, by the dates on which they begin: as
/// many as can begin in light with more than the gap between them.
///
/// # Errors
/// Where the sun does not rise or set on one of the dates.
pub(super) fn most_counted(
    times: &[LocalTime],
    settings: &Settings,
    mut sun: impl FnMut(NaiveDate) -> Result<SunDay, NoSunrise>,
) -> Result<Vec<NaiveDate>, NoSunrise> {
    let mut begun: Vec<LocalTime> = Vec::new();
    for time in times {
        let is_apart = |last: &LocalTime| time.utc() - last.utc() > settings.gap();
        let light = Light::at(*time, &sun(time.date())?, settings);
        if counts(light, settings) && begun.last().is_none_or(is_apart) {
            begun.push(*time);
        }
    }
    Ok(begun.into_iter().map(LocalTime::date).collect())
}

/// The fewest counted visits that sightings, in order of time, can be if there are deer in pictures without a tag
/// too, by the dates on which they begin: such a picture may join two visits, and it may begin one by night.
///
/// # Errors
/// Where the sun does not rise or set on one of the dates.
pub(super) fn fewest_counted(
    seen: &[Moment],
    untagged: &[LocalTime],
    settings: &Settings,
    mut sun: impl FnMut(NaiveDate) -> Result<SunDay, NoSunrise>,
) -> Result<Vec<NaiveDate>, NoSunrise> {
    let seen = seen.iter().map(|m| (m.time, true));
    let mut all: Vec<(LocalTime, bool)> =
        seen.chain(untagged.iter().map(|t| (*t, false))).collect();
    all.sort_by_key(|(time, _)| time.utc());
    let mut begun = Vec::new();
    for together in all.chunk_by(|a, b| b.0.utc() - a.0.utc() <= settings.gap()) {
        let Some(first) = together.iter().position(|p| p.1) else {
            continue;
        };
        let mut is_counted = true;
        for (time, _) in &together[..=first] {
            is_counted &= counts(Light::at(*time, &sun(time.date())?, settings), settings);
        }
        begun.extend(is_counted.then(|| together[first].0.date()));
    }
    Ok(begun)
}

fn named(pictures: &[Moment]) -> u16 {
    let mut names = pictures.iter().map(|p| p.named).filter(|n| *n > 0);
    match names.next() {
        None => 0,
        Some(first) if names.all(|n| n == first) => first,
        Some(_) => SEVERAL,
    }
}

/// The largest number seen in one picture; rows of the same picture add up, and so do rows without
/// a picture at the same moment.
fn largest_group(pictures: &[Moment]) -> u16 {
    pictures
        .chunk_by(|a, b| a.time == b.time && a.picture == b.picture)
        .map(|moment| moment.iter().map(|s| s.count).fold(0, u32::saturating_add))
        .max()
        .map_or(0, |most| u16::try_from(most).unwrap_or(u16::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::{DateTime, TimeDelta, Utc};

    /// Pictures every ten minutes with a gap of a quarter of an hour: a deer in every second one makes a visit of
    /// each, however long the row is.
    #[test]
    fn a_row_of_pictures_can_hold_more_than_one_visit() {
        let folder = tempfile::tempdir().unwrap();
        let written = "name = \"P\"\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = \"America/Chicago\"\n[visits]\ngap_min = 15\n";
        std::fs::write(folder.path().join("property.toml"), written).unwrap();
        let settings = Settings::read(folder.path()).unwrap();
        let noon: DateTime<Utc> = "2025-10-18T17:00:00Z".parse().unwrap();
        let at =
            |minutes: i64| LocalTime::at(noon + TimeDelta::minutes(minutes), settings.time_zone);
        let most = |minutes: &[i64]| {
            let times: Vec<LocalTime> = minutes.iter().map(|m| at(*m)).collect();
            let sun = |date| SunDay::on(date, settings.position);
            most_counted(&times, &settings, sun).unwrap().len()
        };
        assert_eq!(settings.gap().num_minutes(), 15);
        assert_eq!(most(&[0, 10, 20, 30]), 2);
        assert_eq!(most(&[0, 15, 30, 31]), 2);
        // Of those by night none is counted.
        assert_eq!(most(&[0, 60, 600, 700]), 2);
        assert_eq!(most(&[]), 0);
        let fewest = |seen: &[i64], untagged: &[i64]| {
            let seen: Vec<Moment> = seen
                .iter()
                .map(|m| Moment { time: at(*m), picture: None, count: 1, aged: false, named: 0 })
                .collect();
            let untagged: Vec<LocalTime> = untagged.iter().map(|m| at(*m)).collect();
            let sun = |date| SunDay::on(date, settings.position);
            let begun = fewest_counted(&seen, &untagged, &settings, sun);
            begun.unwrap().len()
        };
        assert_eq!(fewest(&[0, 20, 40], &[]), 3);
        // Pictures between them may join them, and one in the dark before may be where it began.
        assert_eq!(fewest(&[0, 20, 40], &[10, 30]), 1);
        assert_eq!(fewest(&[0, 20, 40], &[10]), 2);
        let before_light: Vec<i64> = (-400..0).step_by(10).collect();
        assert_eq!(fewest(&[0], &before_light), 0);
        assert_eq!(fewest(&[0], &[-10]), 1);
    }
}
