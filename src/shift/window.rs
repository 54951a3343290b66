//! Equal stretches of whole days on either side of a disturbance.

use chrono::{Datelike, Days, NaiveDate};

use crate::measure::{Counts, Estimate, wilson};
use crate::property::Disturbance;
use crate::visits::{Day, Kind, PicturesOn, Season};

/// The dates compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Windows {
    /// First and last date before.
    pub before: (NaiveDate, NaiveDate),
    /// First and last date after.
    pub after: (NaiveDate, NaiveDate),
    /// Where seasons are compared: how many years lie between them. Only dates that a camera worked on in both
    /// count then.
    pub years_apart: Option<i32>,
}

impl Windows {
    /// Dates after, from the first to the last.
    pub fn days(&self) -> u32 {
        (self.after.1 - self.after.0).num_days() as u32 + 1
    }

    /// As many days before a date as from it on.
    pub fn at(date: NaiveDate, days: u32) -> Self {
        let (one, further) = (Days::new(1), Days::new(u64::from(days) - 1));
        Self {
            before: (date - one - further, date - one),
            after: (date, date + further),
            years_apart: None,
        }
    }

    /// The same weeks of the year before.
    pub fn a_year_earlier(&self) -> Option<Self> {
        // 52 weeks, so that weekends stay weekends.
        let year = Days::new(364);
        let back = |(from, until): (NaiveDate, NaiveDate)| {
            Some((from.checked_sub_days(year)?, until.checked_sub_days(year)?))
        };
        Some(Self { before: back(self.before)?, after: back(self.after)?, years_apart: None })
    }

    /// One season, as far as it was watched, and the same days of a later one from a date on; `None` where
    /// they have none in common.
    pub fn of_seasons(
        before: (NaiveDate, NaiveDate),
        after: (NaiveDate, NaiveDate),
        years_apart: i32,
    ) -> Option<Self> {
        let on = |date: NaiveDate, years: i32| {
            let there = date.with_year(date.year() + years);
            // Only 29 February is not a day of every year.
            there.or_else(|| date.pred_opt()?.with_year(date.year() + years)).unwrap_or(date)
        };
        let from = after.0.max(on(before.0, years_apart));
        let until = after.1.min(on(before.1, years_apart));
        (from <= until).then(|| Self {
            before: (on(from, -years_apart), on(until, -years_apart)),
            after: (from, until),
            years_apart: Some(years_apart),
        })
    }

    /// The same days so many years later, or earlier.
    pub fn years_later(&self, years: i32) -> Option<Self> {
        let on = |date: NaiveDate| date.with_year(date.year() + years);
        let span = |(from, until): (NaiveDate, NaiveDate)| Some((on(from)?, on(until)?));
        Some(Self {
            before: span(self.before)?,
            after: span(self.after)?,
            years_apart: self.years_apart,
        })
    }

    /// As many days before as after. A disturbance that began within a day leaves that day out.
    pub fn around(disturbance: &Disturbance, days: u32) -> Self {
        let further = Days::new(u64::from(days) - 1);
        let (last, first) = (disturbance.last_day_before(), disturbance.first_day_after());
        Self { before: (last - further, last), after: (first, first + further), years_apart: None }
    }
}

/// One camera on one side of a disturbance.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// First date.
    pub from: NaiveDate,
    /// Last date.
    pub until: NaiveDate,
    /// Dates on which the camera is known to have worked.
    pub nights: usize,
    /// Visits at all hours.
    pub visits: usize,
    /// Visits in legal light.
    pub legal: usize,
    /// Visits the daylight share counts: those in legal light, unless the property says daylight.
    pub counted: usize,
    /// The daylight share, with Wilson's interval.
    pub share: Option<Estimate>,
    /// Pictures taken, and how many of them have no tag yet.
    pub pictures: PicturesOn,
}

/// What one camera saw of a kind on some dates.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    /// Dates on which it worked.
    pub nights: usize,
    /// Visits at all hours.
    pub visits: usize,
    /// Visits in legal light.
    pub legal: usize,
    /// Visits that the daylight share counts.
    pub counted: usize,
    /// Pictures.
    pub pictures: PicturesOn,
}

impl Sums {
    /// Counts a camera's dates from one to another, as far as it hung where it did on `as_on`: a
    /// camera that was moved is another camera.
    pub fn of(
        season: &Season,
        camera: usize,
        kind: Kind,
        span: (NaiveDate, NaiveDate),
        as_on: NaiveDate,
    ) -> Self {
        let all = season.days.together(camera, kind, span, as_on);
        Self {
            nights: all.nights,
            visits: all.seen.visits as usize,
            legal: all.seen.legal as usize,
            counted: all.seen.counted as usize,
            pictures: all.pictures,
        }
    }

    /// Counts the dates on which a camera worked in both of two seasons, the earlier and the later.
    pub fn of_both(
        season: &Season,
        camera: usize,
        kind: Kind,
        windows: &Windows,
        years_apart: i32,
        as_on: NaiveDate,
    ) -> [Self; 2] {
        let days = |span| season.days.between(camera, kind, span, as_on);
        let earlier: Vec<Day> = days(windows.before).collect();
        let dates = windows.after.0.iter_days();
        let mut sums = [Self::default(); 2];
        for (date, now) in dates.zip(days(windows.after)) {
            let Some(then_on) = date.with_year(date.year() - years_apart) else {
                continue;
            };
            let place = usize::try_from((then_on - windows.before.0).num_days());
            let Some(then) = place.ok().and_then(|n| earlier.get(n)) else {
                continue;
            };
            if then.worked && now.worked {
                let pictures = |date| season.days.pictures(camera, date);
                sums[0].take_in(*then, pictures(then_on));
                sums[1].take_in(now, pictures(date));
            }
        }
        sums
    }

    fn take_in(&mut self, day: Day, pictures: PicturesOn) {
        self.nights += usize::from(day.worked);
        self.visits += day.seen.visits as usize;
        self.legal += day.seen.legal as usize;
        self.counted += day.seen.counted as usize;
        self.pictures += pictures;
    }

    /// Counts for the share.
    pub fn share(&self) -> Counts {
        Counts::new(self.counted, self.visits)
    }
}

impl std::ops::AddAssign for Sums {
    fn add_assign(&mut self, other: Self) {
        self.nights += other.nights;
        self.visits += other.visits;
        self.legal += other.legal;
        self.counted += other.counted;
        self.pictures += other.pictures;
    }
}

impl Side {
    pub(super) fn of(sums: &Sums, (from, until): (NaiveDate, NaiveDate)) -> Self {
        Self {
            from,
            until,
            nights: sums.nights,
            visits: sums.visits,
            legal: sums.legal,
            counted: sums.counted,
            share: wilson(sums.share()),
            pictures: sums.pictures,
        }
    }
}
