//! The deer year: what people mean by a season.

use chrono::{Datelike, Days, NaiveDate};

use crate::property::DayOfYear;

/// A season as people count them: from a day that the property may set, 1 June unless set, to the day before it
/// a year later.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeerYear {
    first: NaiveDate,
    next: NaiveDate,
}

impl DeerYear {
    /// The season that a date lies in.
    pub fn of(date: NaiveDate, start: DayOfYear) -> Self {
        let begins = |year: i32| {
            // A start is a day of every year, so this cannot fail within the calendar.
            NaiveDate::from_ymd_opt(year, start.month, start.day).unwrap_or(date)
        };
        let year = if date < begins(date.year()) { date.year() - 1 } else { date.year() };
        Self { first: begins(year), next: begins(year + 1) }
    }

    /// Its first day.
    pub fn first(self) -> NaiveDate {
        self.first
    }

    /// Its last day.
    pub fn last(self) -> NaiveDate {
        self.next - Days::new(1)
    }

    /// Whether a date lies in it.
    pub fn contains(self, date: NaiveDate) -> bool {
        self.first <= date && date < self.next
    }

    /// How many years it begins after another.
    pub fn years_after(self, other: Self) -> i32 {
        self.first.year() - other.first.year()
    }

    /// `2025-26`; `2025` where it is the calendar's year.
    pub fn name(self) -> String {
        let (first, last) = (self.first.year(), self.last().year());
        match first == last {
            true => first.to_string(),
            false => format!("{first}-{:02}", last.rem_euclid(100)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn a_season_runs_over_the_new_year() {
        let june = DayOfYear { month: 6, day: 1 };
        let season = DeerYear::of(day(2026, 1, 15), june);
        assert_eq!(season.name(), "2025-26");
        assert_eq!((season.first(), season.last()), (day(2025, 6, 1), day(2026, 5, 31)));
        assert!(season.contains(day(2026, 5, 31)) && !season.contains(day(2026, 6, 1)));
        assert_eq!(DeerYear::of(day(2026, 6, 1), june).years_after(season), 1);
        let january = DayOfYear { month: 1, day: 1 };
        assert_eq!(DeerYear::of(day(2024, 2, 29), january).name(), "2024");
        assert_eq!(DeerYear::of(day(1999, 12, 31), june).name(), "1999-00");
    }
}
