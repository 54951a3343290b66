//! Equal stretches of whole days on either side of a disturbance.

use chrono::{Days, NaiveDate};

use crate::measure::{Counts, DayCount, Estimate, wilson};
use crate::property::Disturbance;
use crate::visits::{DayVisits, Kind, PicturesOn, Season};

/// The dates compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Windows {
    /// First and last date before.
    pub before: (NaiveDate, NaiveDate),
    /// First and last date after.
    pub after: (NaiveDate, NaiveDate),
}

impl Windows {
    /// As many days before a date as from it on.
    pub fn at(date: NaiveDate, days: u32) -> Self {
        let (one, further) = (Days::new(1), Days::new(u64::from(days) - 1));
        Self {
            before: (date - one - further, date - one),
            after: (date, date + further),
        }
    }

    /// The same weeks of the year before.
    pub fn a_year_earlier(&self) -> Option<Self> {
        // 52 weeks, so that weekends stay weekends.
        let year = Days::new(364);
        let back = |(from, until): (NaiveDate, NaiveDate)| {
            Some((from.checked_sub_days(year)?, until.checked_sub_days(year)?))
        };
        Some(Self {
            before: back(self.before)?,
            after: back(self.after)?,
        })
    }

    /// As many days before as after. A disturbance that began within a day leaves that day out.
    pub fn around(disturbance: &Disturbance, days: u32) -> Self {
        let further = Days::new(u64::from(days) - 1);
        let (last, first) = (disturbance.last_day_before(), disturbance.first_day_after());
        Self {
            before: (last - further, last),
            after: (first, first + further),
        }
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

/// One side's visits, day by day.
pub(super) struct Tally {
    pub side: Side,
    /// Every date of the window, in order.
    pub days: Vec<DayCount>,
    /// Counted visits on each date on which the camera worked.
    pub counted_per_night: Vec<f64>,
    /// Visits at all hours on each such date.
    pub visits_per_night: Vec<f64>,
}

impl Tally {
    /// Counts a camera's dates from one to another, as far as it hung where it did on `as_on`: a
    /// camera that was moved is another camera.
    pub fn of(
        season: &Season,
        camera: usize,
        kind: Kind,
        (from, until): (NaiveDate, NaiveDate),
        as_on: NaiveDate,
    ) -> Self {
        let mut sum = DayVisits::default();
        let mut pictures = PicturesOn::default();
        let length = usize::try_from((until - from).num_days() + 1).unwrap_or(0);
        let [mut counted_per_night, mut visits_per_night] =
            [0, 1].map(|_| Vec::with_capacity(length));
        let mut days = Vec::with_capacity(length);
        for day in season.days.between(camera, kind, (from, until), as_on) {
            let seen = day.seen;
            sum.visits += seen.visits;
            sum.legal += seen.legal;
            sum.counted += seen.counted;
            pictures.all += day.pictures as usize;
            pictures.untagged += day.untagged as usize;
            let (hits, trials) = (f64::from(seen.counted), f64::from(seen.visits));
            days.push(DayCount { hits, trials });
            if day.worked {
                counted_per_night.push(hits);
                visits_per_night.push(trials);
            }
        }
        let (visits, counted) = (sum.visits as usize, sum.counted as usize);
        Self {
            side: Side {
                from,
                until,
                nights: counted_per_night.len(),
                visits,
                legal: sum.legal as usize,
                counted,
                share: wilson(Counts::new(counted, visits)),
                pictures,
            },
            counted_per_night,
            visits_per_night,
            days,
        }
    }

    /// Counts for the share.
    pub fn counts(&self) -> Counts {
        Counts::new(self.side.counted, self.side.visits)
    }
}
