//! Seasons that could come: days of one that was, in another order.

use chrono::{Days, NaiveDate};

use super::season::Camera;
use super::{DayTable, DeerYear, Effort, Kind, Season, Visit};

/// One camera of a season that could come.
#[derive(Debug, Clone)]
pub struct Played<'a> {
    /// The camera whose days it has.
    pub of: usize,
    /// Its name.
    pub name: String,
    /// For every day in turn the date whose visits it has; a date on which the camera did not work is one on which it
    /// does not.
    pub dates: &'a [NaiveDate],
}

impl Season {
    /// A season that begins on `first`, put together from days of this one, of one kind of deer. A visit in light is
    /// left out where `keeps` says so of its camera's place in the new season and its new date.
    pub fn replayed(
        &self,
        played: &[Played],
        first: NaiveDate,
        kind: Kind,
        mut keeps: impl FnMut(usize, NaiveDate) -> bool,
    ) -> Self {
        let cameras: Vec<Camera> = played
            .iter()
            .enumerate()
            .map(|(i, played)| self.replayed_camera(played, first, kind, |date| keeps(i, date)))
            .collect();
        let mut years: Vec<DeerYear> =
            cameras.iter().flat_map(|c| &c.effort.dates).map(|d| self.year_of(*d)).collect();
        years.sort_unstable();
        years.dedup();
        Self {
            grounds: Vec::new(),
            settings: self.settings.clone(),
            days: DayTable::of(&cameras),
            about: self.about,
            years,
            names: self.names.clone(),
            cameras,
        }
    }

    fn replayed_camera(
        &self,
        played: &Played,
        first: NaiveDate,
        kind: Kind,
        mut keeps: impl FnMut(NaiveDate) -> bool,
    ) -> Camera {
        let source = &self.cameras[played.of];
        let mut effort = Effort::default();
        let mut visits: Vec<Visit> = Vec::new();
        for (i, was) in played.dates.iter().enumerate() {
            let date = first + Days::new(i as u64);
            if source.effort.dates.binary_search(was).is_err() {
                continue;
            }
            effort.dates.push(date);
            let days = (date - *was).num_days();
            let seen = source.visits_between(kind, *was, *was).iter();
            let moved = seen.map(|v| v.days_later(days));
            visits.extend(moved.filter(|v| !v.counted || keeps(date)));
        }
        source.with_days(played.name.clone(), effort, kind, visits)
    }
}
