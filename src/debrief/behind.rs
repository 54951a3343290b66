//! From a number that is told to the visits behind it.

use chrono::NaiveDate;
use serde::Deserialize;

use super::Debrief;
use crate::outlook::{Half, is_usable};
use crate::property::By;
use crate::shift::{CameraDay, DayAfter, Repeated, Role, Shift, Windows, visits_compared};
use crate::visits::{Kind, Named, Visit};

/// Which number: what a page carries beside it, and sends back to ask for its visits.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Behind {
    /// What was counted.
    pub of: Counted,
    /// The word of a [`Kind`]; empty for a deer with a name.
    #[serde(default)]
    pub kind: String,
    /// The camera's name; empty for all that the number is about.
    #[serde(default)]
    pub camera: String,
    /// The disturbance's id, the deer's name, the stand's, what happened again, or the word of a
    /// [`Belief`](crate::outlook::Belief); empty for all weather.
    #[serde(default)]
    pub which: String,
    /// The season's name, where it is not the newest.
    #[serde(default)]
    pub season: String,
    /// Of a comparison, which of the two sides.
    #[serde(default)]
    pub side: Beside,
    /// Of a comparison, only the visits of the deer with this name.
    #[serde(default)]
    pub deer: String,
    /// Whether only those in light are meant.
    #[serde(default)]
    pub only: Option<Only>,
    /// Which half of the day; all of it where nothing is said.
    #[serde(default)]
    pub half: Option<Half>,
    /// Of what happened again day by day, how many days after it, such as 0 for the day itself, or `other`; of a
    /// stand's days by their wind, `suited` or `other`.
    #[serde(default)]
    pub days: String,
    /// The part of the season of a stand; whose what happened again was, the word of a
    /// [`By`](crate::property::By).
    #[serde(default)]
    pub part: String,
    /// The first date, as in 2025-10-18, where not all of the season counts.
    #[serde(default)]
    pub since: String,
}

/// Which visits alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Only {
    /// Those that the daylight share counts.
    Light,
}

impl Only {
    /// The word in a page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Light => "light",
        }
    }
}

/// What was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Counted {
    /// The newest season.
    #[default]
    Season,
    /// The days before or after a disturbance.
    Change,
    /// The newest season, or an earlier one, on the days that both have.
    Years,
    /// A deer with a name, in one season.
    Deer,
    /// What came in light where a stand is, in one half of the days of one part of the season.
    Stand,
    /// What came in light on the days after something that happened several times, or on the others.
    Again,
    /// What came in light in some weather.
    Weather,
}

impl Counted {
    /// The word in a page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Season => "season",
            Self::Change => "change",
            Self::Years => "years",
            Self::Deer => "deer",
            Self::Stand => "stand",
            Self::Again => "again",
            Self::Weather => "weather",
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
    /// One and the other.
    Both,
}

impl Beside {
    /// The word in a page.
    pub fn word(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
            Self::Both => "both",
        }
    }
}

impl Debrief {
    /// The visits behind a number, each with the index of its camera, camera by camera in order of time;
    /// `None` where the debrief holds no such number.
    pub fn visits_behind(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let all = match number.of {
            Counted::Season => self.of_season(number),
            Counted::Change => self.of_change(number),
            Counted::Years => self.of_years(number),
            Counted::Deer => self.of_deer(number),
            Counted::Stand => self.of_stand(number),
            Counted::Again => self.of_again(number),
            Counted::Weather => self.of_weather(number),
        }?;
        let is_meant = |v: &Visit| v.counted || number.only.is_none();
        Some(all.into_iter().filter(|(_, v)| is_meant(v)).collect())
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
            let is_meant = |v: &&Visit| number.half.is_none_or(|h| Half::of(v) == h);
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
        let rows =
            || years.iter().filter(|y| y.with.name() == number.season && y.shift.kind == kind);
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
                Beside::Both => [before, after].concat(),
            };
            let is_meant = |v: &&Visit| match v.named() {
                _ if number.deer.is_empty() => true,
                Named::One(name) => self.season.names[usize::from(name)] == number.deer,
                Named::Nobody | Named::Several => false,
            };
            side.into_iter().filter(is_meant).map(move |v| (c, *v))
        };
        Some(cameras.flat_map(of).collect())
    }

    /// In one season, or where none is named in all of them.
    fn of_deer(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let deer = self.known_deer.iter().find(|d| d.name == number.which)?;
        let season = match number.season.is_empty() {
            true => None,
            false => Some(deer.seasons.iter().find(|s| s.year.name() == number.season)?),
        };
        let camera = match number.camera.is_empty() {
            true => None,
            false => Some(self.camera_named(&number.camera)?),
        };
        let visits = deer.visits.iter().filter(|(c, v)| {
            camera.is_none_or(|camera| camera == *c)
                && season.is_none_or(|s| s.year.contains(v.date()))
        });
        Some(visits.copied().collect())
    }

    fn of_stand(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let row = self.outlook.stands.iter().find(|r| {
            r.stand == number.which && r.part == number.part && Some(r.half) == number.half
        })?;
        let days = match number.days.as_str() {
            "suited" => &row.wind_on[0],
            "other" => &row.wind_on[1],
            _ => &row.outings_on,
        };
        Some(self.in_light(days, number.half))
    }

    fn of_again(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let repeated = self
            .shifts
            .repeated
            .iter()
            .find(|r| r.what == number.which && r.by.map_or("", By::word) == number.part)?;
        if let Some(days) = self.day_after(repeated, &number.days) {
            return Some(self.on_days(Kind::Deer, &days.on));
        }
        let days = match number.side {
            Beside::Before => &repeated.matched.others_on,
            Beside::After | Beside::Both => &repeated.matched.days_on,
        };
        Some(self.in_light(days, None))
    }

    fn of_weather(&self, number: &Behind) -> Option<Vec<(usize, Visit)>> {
        let conditions = &self.outlook.conditions;
        let half_days = match number.which.as_str() {
            "" => &conditions.all_on,
            belief => {
                let row = conditions.rows.iter().find(|r| r.belief.word() == belief)?;
                &row.thirds_on[usize::from(number.side == Beside::After)]
            }
        };
        let of = |(date, half): &(NaiveDate, Half)| {
            let usable = (0..self.season.cameras.len())
                .filter(|c| is_usable(&self.season, *c, *date))
                .map(|c| (c, *date));
            self.in_light(&usable.collect::<Vec<_>>(), Some(*half))
        };
        Some(half_days.iter().flat_map(of).collect())
    }

    fn day_after<'a>(&self, repeated: &'a Repeated, days: &str) -> Option<&'a DayAfter> {
        match days {
            "" => None,
            "other" => Some(&repeated.ordinary),
            number => repeated.after.get(number.parse::<usize>().ok()?),
        }
    }

    /// All visits of a kind on some dates of some cameras.
    fn on_days(&self, kind: Kind, days: &[CameraDay]) -> Vec<(usize, Visit)> {
        let on = |(camera, date): &CameraDay| {
            let camera = *camera;
            let visits = self.season.cameras[camera].visits_between(kind, *date, *date);
            visits.iter().map(move |v| (camera, *v))
        };
        days.iter().flat_map(on).collect()
    }

    /// What came in light of the deer that the season is about, on some dates of some cameras.
    fn in_light(&self, days: &[(usize, NaiveDate)], half: Option<Half>) -> Vec<(usize, Visit)> {
        let mut visits = self.on_days(self.season.about.kind, days);
        visits.retain(|(_, v)| v.counted && half.is_none_or(|h| Half::of(v) == h));
        visits
    }

    fn camera_named(&self, name: &str) -> Option<usize> {
        self.season.place_of(name)
    }
}
