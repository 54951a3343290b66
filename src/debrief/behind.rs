//! From a number that is told to the visits behind it.

use serde::Deserialize;

use super::Debrief;
use crate::shift::{Role, Shift, Windows, visits_compared};
use crate::visits::{Kind, Visit};

/// Which number: what a page carries beside it, and sends back to ask for its visits.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Behind {
    /// What was counted.
    pub of: Counted,
    /// The word of a [`Kind`]; empty for a deer with a name.
    #[serde(default)]
    pub kind: String,
    /// The camera's name; empty for all that the number is about.
    #[serde(default)]
    pub camera: String,
    /// The disturbance's id, or the deer's name.
    #[serde(default)]
    pub which: String,
    /// The season's name, where it is not the newest.
    #[serde(default)]
    pub season: String,
    /// Of a comparison, which of the two sides.
    #[serde(default)]
    pub side: Beside,
    /// Which half of the day; all of it where nothing is said.
    #[serde(default)]
    pub half: Option<Half>,
    /// The first date, as in 2025-10-18, where not all of the season counts.
    #[serde(default)]
    pub since: String,
}

/// A half of the day, divided by the sun's noon.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Half {
    /// Until noon.
    Morning,
    /// From noon on.
    Evening,
}

impl Half {
    /// The word in a page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Morning => "morning",
            Self::Evening => "evening",
        }
    }
}

/// What was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Counted {
    /// The newest season.
    Season,
    /// The days before or after a disturbance.
    Change,
    /// The newest season, or an earlier one, on the days that both have.
    Years,
    /// A deer with a name, in one season.
    Deer,
}

impl Counted {
    /// The word in a page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Season => "season",
            Self::Change => "change",
            Self::Years => "years",
            Self::Deer => "deer",
        }
    }
}

/// One of the two sides of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Beside {
    /// The earlier one.
    #[default]
    Before,
    /// The later one.
    After,
}

impl Beside {
    /// The word in a page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
        }
    }
}

impl Debrief {
    /// The visits behind a number, each with the index of its camera, camera by camera in order of time;
    /// `None` where the debrief holds no such number.
    pub fn visits_behind(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        match number.of {
            Counted::Season => self.of_season(number),
            Counted::Change => self.of_change(number),
            Counted::Years => self.of_years(number),
            Counted::Deer => self.of_deer(number),
        }
    }

    fn of_season(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let kind = Kind::parse(&number.kind)?;
        let year = self.season.newest()?;
        let cameras: Vec<usize> = match number.camera.is_empty() {
            true => (0..self.season.cameras.len()).collect(),
            false => vec![self.camera_named(&number.camera)?],
        };
        let of = |c: usize| {
            let from = number.since.parse().unwrap_or(year.first());
            let visits = self.season.cameras[c].visits_between(kind, from, year.last());
            let is_meant = |v: &&Visit| {
                number
                    .half
                    .is_none_or(|h| v.is_morning() == (h == Half::Morning))
            };
            visits.iter().filter(is_meant).map(move |v| (c, *v))
        };
        Some(cameras.into_iter().flat_map(of).collect())
    }

    fn of_change(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let kind = Kind::parse(&number.kind)?;
        let windows = self.shifts.plan(&number.which)?.windows;
        let rows = self.shifts.of(&number.which, kind);
        self.of_rows(
            number,
            kind,
            &windows,
            rows.filter(|s| s.role == Role::Near || !number.camera.is_empty()),
        )
    }

    fn of_years(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let kind = Kind::parse(&number.kind)?;
        let years = &self.shifts.years;
        let rows = || {
            years
                .iter()
                .filter(|y| y.with.name() == number.season && y.shift.kind == kind)
        };
        let row = rows().next()?;
        let (before, after) = (&row.shift.before, &row.shift.after);
        let windows = Windows {
            before: (before.from, before.until),
            after: (after.from, after.until),
            years_apart: Some(self.season.newest()?.years_after(row.with)),
        };
        self.of_rows(number, kind, &windows, rows().map(|y| &y.shift))
    }

    /// The visits of one side of those rows that are about one camera, or about the one that is asked for.
    fn of_rows<'a>(
        &self,
        number: &Behind,
        kind: Kind,
        windows: &Windows,
        rows: impl Iterator<Item = &'a Shift>,
    ) -> Option<Vec<(usize, Visit)>> {
        let wanted = match number.camera.is_empty() {
            true => None,
            false => Some(self.camera_named(&number.camera)?),
        };
        let cameras = rows.filter_map(|s| s.camera);
        let cameras = cameras.filter(|c| wanted.is_none_or(|wanted| *c == wanted));
        let of = |c: usize| {
            let [before, after] = visits_compared(&self.season, c, kind, windows);
            let side = match number.side {
                Beside::Before => before,
                Beside::After => after,
            };
            side.into_iter().map(move |v| (c, *v))
        };
        Some(cameras.flat_map(of).collect())
    }

    fn of_deer(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let deer = self.known_deer.iter().find(|d| d.name == number.which)?;
        let season = deer
            .seasons
            .iter()
            .find(|s| s.year.name() == number.season)?;
        let visits = deer
            .visits
            .iter()
            .filter(|(_, v)| season.year.contains(v.date()));
        Some(visits.copied().collect())
    }

    fn camera_named(&self, name: &str) -> Option<usize> {
        self.season.cameras.iter().position(|c| c.name == name)
    }
}
