//! Equal stretches of whole days on either side of a disturbance.

use chrono::{Days, NaiveDate};

use crate::measure::{Counts, DayCount, Estimate, wilson};
use crate::property::Disturbance;
use crate::visits::{Camera, Kind};

/// The dates compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Windows {
    /// First and last date before.
    pub before: (NaiveDate, NaiveDate),
    /// First and last date after.
    pub after: (NaiveDate, NaiveDate),
}

impl Windows {
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
    pub fn of(camera: &Camera, kind: Kind, (from, until): (NaiveDate, NaiveDate)) -> Self {
        let visits = camera.visits_between(kind, from, until);
        let dates: Vec<NaiveDate> = from.iter_days().take_while(|d| *d <= until).collect();
        let mut days = vec![DayCount::default(); dates.len()];
        for visit in visits {
            let day = &mut days[(visit.date() - from).num_days() as usize];
            day.trials += 1.0;
            day.hits += f64::from(visit.counted);
        }
        let worked = || {
            dates
                .iter()
                .zip(&days)
                .filter(|(date, _)| camera.effort.worked_on(**date))
        };
        let counted = visits.iter().filter(|v| v.counted).count();
        Self {
            side: Side {
                from,
                until,
                nights: worked().count(),
                visits: visits.len(),
                legal: visits.iter().filter(|v| v.light.is_legal()).count(),
                counted,
                share: wilson(Counts::new(counted, visits.len())),
            },
            counted_per_night: worked().map(|(_, day)| day.hits).collect(),
            visits_per_night: worked().map(|(_, day)| day.trials).collect(),
            days,
        }
    }

    /// Counts for the share.
    pub fn counts(&self) -> Counts {
        Counts::new(self.side.counted, self.side.visits)
    }
}
