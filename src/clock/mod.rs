//! From what a camera's clock showed to what the clock on the wall showed.
//!
//! Three kinds of time meet here and nowhere else: [`CameraTime`] (digits in a picture),
//! [`LocalTime`] (the wall clock of the property) and UTC (inside `LocalTime`).

mod clips;
mod local_time;
mod timeline;

use chrono::offset::LocalResult;
use chrono::{
    DateTime, Datelike, Days, FixedOffset, NaiveDate, NaiveDateTime, Offset, TimeDelta, TimeZone,
    Utc,
};
use chrono_tz::{OffsetComponents, Tz};

pub use local_time::LocalTime;
pub use timeline::{CameraCodes, Moments, Timeline};

use crate::card::{CameraTime, Crawl, Picture, Stamp, TimeOrigin, Untimed};
use crate::property::{ClockCorrection, ClockSetting, Placement, Property, same_name};

/// How one camera's clock is to be understood on one date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading {
    /// By the way its owner keeps it.
    Kept(ClockSetting),
    /// By the offset that the camera wrote into the picture.
    Written(FixedOffset),
}

/// Turns camera time into local time.
///
/// * An offset written into the picture says what the clock is; otherwise the placement's `clock`.
/// * `local`: the digits are the wall clock's. In the hour that the wall clock shows twice, the
///   first (daylight time) is taken; digits in the hour that it leaps over belong to a clock that
///   was not yet put forward, and are read as standard time.
/// * `standard`: the digits are the zone's standard time, all year.
pub fn to_local(time: CameraTime, reading: Reading, zone: Tz) -> LocalTime {
    let shown = time.shown();
    let instant = match reading {
        Reading::Written(offset) | Reading::Kept(ClockSetting::Offset(offset)) => {
            utc_of(shown, offset)
        }
        Reading::Kept(ClockSetting::Standard) => utc_of(shown, standard_offset(shown, zone)),
        Reading::Kept(ClockSetting::Local) => match zone.from_local_datetime(&shown) {
            LocalResult::Single(t) => t.to_utc(),
            LocalResult::Ambiguous(first, _) => first.to_utc(),
            LocalResult::None => utc_of(shown, standard_offset(shown, zone)),
        },
    };
    LocalTime::at(instant, zone)
}

fn utc_of(shown: NaiveDateTime, offset: FixedOffset) -> DateTime<Utc> {
    (shown - TimeDelta::seconds(i64::from(offset.local_minus_utc()))).and_utc()
}

fn standard_offset(shown: NaiveDateTime, zone: Tz) -> FixedOffset {
    let base = zone.offset_from_utc_datetime(&shown).base_utc_offset();
    FixedOffset::east_opt(base.num_seconds() as i32).unwrap_or_else(|| Utc.fix())
}

/// The clocks of a property: placements, corrections and zone, ready to be asked.
pub struct Clocks<'a> {
    property: &'a Property,
}

impl<'a> Clocks<'a> {
    /// The clocks as the property's files describe them.
    pub fn of(property: &'a Property) -> Self {
        Self { property }
    }

    /// The local time of a moment that was written down with its offset: nobody's clock is in
    /// doubt, so nothing is corrected.
    pub fn instant(&self, time: CameraTime, offset: FixedOffset) -> LocalTime {
        let zone = self.property.settings.time_zone;
        to_local(time, Reading::Written(offset), zone)
    }

    /// One camera's clock, for many moments.
    pub fn of_camera(&self, camera: &str) -> ClockReader<'a> {
        let mine = |c: &&ClockCorrection| same_name(&c.camera, camera);
        ClockReader {
            corrections: self.property.corrections.iter().filter(mine).collect(),
            placements: self.property.placements_of(camera).collect(),
            zone: self.property.settings.time_zone,
        }
    }
}

/// How one camera's clock is read.
pub struct ClockReader<'a> {
    corrections: Vec<&'a ClockCorrection>,
    placements: Vec<&'a Placement>,
    zone: Tz,
}

impl ClockReader<'_> {
    /// Whether a row of `clocks.csv` is applied at a moment on the clock.
    pub fn is_corrected(&self, time: CameraTime) -> bool {
        self.row(time, false).is_some()
    }

    /// The minutes that `clocks.csv` adds at a moment on the clock. Of several rows that cover it the last
    /// counts: what was found out later.
    pub fn added_min(&self, time: CameraTime) -> f64 {
        let row = self.row(time, false);
        row.map_or(0.0, |row| row.minutes_at(time.shown()))
    }

    fn row(&self, time: CameraTime, of_file_date: bool) -> Option<&ClockCorrection> {
        let mut rows = self.corrections.iter().rev();
        rows.find(|c| c.of_file_date == of_file_date && c.covers(time.shown())).copied()
    }

    /// Whether a row of `cameras.csv` that names its first day says that the camera hung somewhere then.
    pub fn is_placed(&self, date: NaiveDate) -> bool {
        let mut placements = self.placements.iter();
        placements.any(|p| p.from.is_some() && p.covers(date))
    }

    /// The local time of a moment on the clock, corrected by `clocks.csv`.
    pub fn local(&self, time: CameraTime, written: Option<FixedOffset>) -> LocalTime {
        let corrected = time.plus_minutes(self.added_min(time));
        self.read(time, corrected, written)
    }

    /// The local time of a moment on the clock, whatever `clocks.csv` says.
    pub fn uncorrected(&self, time: CameraTime, written: Option<FixedOffset>) -> LocalTime {
        self.read(time, time, written)
    }

    fn read(
        &self,
        time: CameraTime,
        corrected: CameraTime,
        written: Option<FixedOffset>,
    ) -> LocalTime {
        let on = |date: NaiveDate| self.placements.iter().min_by_key(|p| p.days_away(date));
        let kept = on(corrected.shown().date())
            .or_else(|| on(time.shown().date()))
            .map_or(ClockSetting::Local, |p| p.clock);
        let reading = written.map_or(Reading::Kept(kept), Reading::Written);
        to_local(corrected, reading, self.zone)
    }
}

/// What was found on the cards, with the times that a correction makes possible: of pictures whose clock had fallen back
/// to a date before 2000, or stood in the future, once a row of `clocks.csv` puts them right, of pictures
/// without any time once a row for their files' dates does, and of clips once their neighbours say how they are meant.
#[must_use]
pub fn settled(property: &Property, mut crawl: Crawl, today: NaiveDate) -> Crawl {
    let clocks = Clocks::of(property);
    for picture in &mut crawl.pictures {
        let stamp = match picture.time {
            Err(Untimed::TooEarly(time) | Untimed::Future(time)) => {
                by_row(&clocks, picture, time, today)
            }
            Err(_) => by_file_date(&clocks, picture, today),
            Ok(_) => continue,
        };
        if let Some(stamp) = stamp {
            picture.time = Ok(stamp);
        }
    }
    clips::settle(&clocks, &mut crawl);
    crawl
}

fn is_possible(date: NaiveDate, today: NaiveDate) -> bool {
    date.year() >= 2000 && date <= today + Days::new(1)
}

fn by_row(clocks: &Clocks, picture: &Picture, time: CameraTime, today: NaiveDate) -> Option<Stamp> {
    let date = clocks.of_camera(&picture.camera).local(time, None).date();
    (is_possible(date, today) && clocks.of_camera(&picture.camera).is_corrected(time))
        .then_some(Stamp { time, origin: TimeOrigin::Original, offset: None })
}

/// The file's date, put right by a row of `clocks.csv` that says it is for file dates. No other row acts
/// on it afterwards.
fn by_file_date(clocks: &Clocks, picture: &Picture, today: NaiveDate) -> Option<Stamp> {
    let written = picture.written_on?;
    let clock = clocks.of_camera(&picture.camera);
    let row = clock.row(written, true)?;
    let time = written.plus_minutes(row.minutes_at(written.shown()));
    let local = LocalTime::of_wall_clock(time.shown(), clocks.property.settings.time_zone);
    is_possible(local.date(), today).then(|| Stamp {
        time,
        origin: TimeOrigin::FileDate,
        offset: Some(local.offset()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono_tz::America::Chicago;

    fn shown(text: &str) -> CameraTime {
        CameraTime::new(text.parse().unwrap())
    }

    fn utc(time: &str, setting: ClockSetting) -> String {
        let local = to_local(shown(time), Reading::Kept(setting), Chicago);
        local.utc().format("%dT%H:%M").to_string()
    }

    /// In 2025 US daylight time ended on 2 November at 2:00 and began on 9 March at 2:00
    /// (15 U.S.C. 260a).
    #[test]
    fn both_daylight_time_weekends() {
        use ClockSetting::{Local, Standard};
        assert_eq!(utc("2025-11-01T12:00:00", Local), "01T17:00");
        assert_eq!(utc("2025-11-02T01:30:00", Local), "02T06:30");
        assert_eq!(utc("2025-11-02T02:00:00", Local), "02T08:00");
        assert_eq!(utc("2025-03-09T01:59:00", Local), "09T07:59");
        assert_eq!(utc("2025-03-09T02:30:00", Local), "09T08:30");
        assert_eq!(utc("2025-03-09T03:00:00", Local), "09T08:00");
        assert_eq!(utc("2025-11-01T12:00:00", Standard), "01T18:00");
        assert_eq!(utc("2025-11-03T12:00:00", Standard), "03T18:00");
    }

    #[test]
    fn offsets() {
        let west5 = FixedOffset::west_opt(5 * 3600).unwrap();
        assert_eq!(utc("2025-11-01T12:00:00", ClockSetting::Offset(west5)), "01T17:00");
        let written = to_local(shown("2025-11-01T12:00:00"), Reading::Written(west5), Chicago);
        assert_eq!(written.shown().to_string(), "2025-11-01 12:00:00");
    }

    #[test]
    fn a_leap_day() {
        let t = to_local(shown("2024-02-29T18:00:00"), Reading::Kept(ClockSetting::Local), Chicago);
        assert_eq!(t.date().to_string(), "2024-02-29");
        assert!((t.minute_of_day() - 1080.0).abs() < 1e-9);
    }
}
