//! `sightings.csv`: rows that were tagged elsewhere and come without pictures.

use anyhow::Result;
use chrono::{DateTime, Days, FixedOffset, NaiveDate, NaiveDateTime};
use polars::prelude::DataFrame;

use super::sightings::SeenColumns;
use super::words::{Tag, seen};
use crate::card::CameraTime;
use crate::clock::{CameraCodes, ClockReader, Clocks, Moments};
use crate::property::{Cause, Headings, Problem, Property, Row, Sheet, parse_date_time};

pub(super) const FILE: &str = "sightings.csv";
const HEADINGS: Headings = Headings {
    required: &["camera", "time", "who"],
    known: &["camera", "time", "who", "count", "age", "name", "note"],
};

/// The usable rows, or `None` where there is no such file.
pub(super) fn read(
    property: &Property,
    cameras: &mut CameraCodes,
    today: NaiveDate,
    problems: &mut Vec<Problem>,
) -> Result<Option<DataFrame>> {
    let Some(sheet) = Sheet::read(&property.root, FILE, &HEADINGS, problems)? else {
        return Ok(None);
    };
    let sheet = sheet.with_order(property.settings.date_order);
    let clocks = Clocks::of(property);
    let begin = || Part::of(&clocks, cameras);
    let parts =
        sheet.in_parts(problems, begin, |part, row, problems| match moment_of(row, today) {
            Ok((camera, time, offset)) => {
                if let Some(tag) = seen(row, FILE, problems) {
                    part.push(&clocks, camera, (time, offset), tag);
                }
            }
            Err(problem) => problems.push(problem),
        });
    let mut table: Option<DataFrame> = None;
    for part in parts {
        let part = part.into_table(cameras)?;
        match &mut table {
            Some(table) => {
                table.vstack_mut(&part)?;
            }
            None => table = Some(part),
        }
    }
    Ok(table)
}

/// Some of the rows, with camera codes of their own where a camera was not known before.
struct Part<'a> {
    cameras: CameraCodes,
    clocks: Vec<ClockReader<'a>>,
    moments: Moments,
    seen: SeenColumns,
}

impl<'a> Part<'a> {
    fn of(clocks: &Clocks<'a>, cameras: &CameraCodes) -> Self {
        Self {
            cameras: cameras.clone(),
            clocks: cameras.names().iter().map(|n| clocks.of_camera(n)).collect(),
            moments: Moments::default(),
            seen: SeenColumns::default(),
        }
    }

    fn push(
        &mut self,
        clocks: &Clocks<'a>,
        camera: &str,
        (time, offset): (NaiveDateTime, Option<FixedOffset>),
        tag: Tag,
    ) {
        let code = self.cameras.code(camera);
        if self.clocks.len() <= code as usize {
            self.clocks.push(clocks.of_camera(camera));
        }
        let shown = CameraTime::new(time);
        let local = match offset {
            // Written down with its offset: nobody's clock is in doubt, so nothing is corrected.
            Some(offset) => clocks.instant(shown, offset),
            None => self.clocks[code as usize].local(shown, None),
        };
        self.moments.push(None, code, local);
        self.seen.push(tag);
    }

    /// The rows with the codes that all parts share.
    fn into_table(mut self, cameras: &mut CameraCodes) -> Result<DataFrame> {
        let codes: Vec<u32> = self.cameras.names().iter().map(|n| cameras.code(n)).collect();
        self.moments.recode(&codes);
        let columns = [self.moments.into_columns(), self.seen.into_columns()].concat();
        Ok(DataFrame::new_infer_height(columns)?)
    }
}

type Moment<'a> = (&'a str, NaiveDateTime, Option<FixedOffset>);

/// The camera and the moment of a row.
fn moment_of<'a>(row: &'a Row, today: NaiveDate) -> Result<Moment<'a>, Problem> {
    let Some(camera) = row.some("camera") else {
        return Err(Problem::cell(FILE, row.line, "camera", Cause::SightingWithoutCamera));
    };
    let (time, offset) = moment(row)?;
    if time.date() > today + Days::new(1) {
        return Err(Problem::cell(FILE, row.line, "time", Cause::FutureSighting { time }));
    }
    Ok((camera, time, offset))
}

/// A moment with an offset, by ISO 8601, or without one, as people write it.
fn moment(row: &Row) -> Result<(NaiveDateTime, Option<FixedOffset>), Problem> {
    const REMEDY: &str = "Write 2025-10-18T06:30:00, by the camera's clock, or with an offset such as 2025-10-18T06:30:00-05:00.";
    let text = row.get("time");
    if let Some(time) = parse_date_time(text) {
        return Ok((time, None));
    }
    if let Some(moment) = with_offset(text) {
        return Ok((moment.naive_local(), Some(*moment.offset())));
    }
    let date = match row.date("time", REMEDY)? {
        Some((date, Some(time))) => return Ok((date.and_time(time), None)),
        other => other,
    };
    let (text, remedy) = (text.to_owned(), REMEDY.to_owned());
    let cause = match date {
        Some(_) => Cause::NoTimeOfDay { text, remedy },
        None => Cause::NotATime { text, remedy },
    };
    Err(Problem::cell(FILE, row.line, "time", cause))
}

fn with_offset(text: &str) -> Option<DateTime<FixedOffset>> {
    const SHAPES: [&str; 4] = [
        "%Y-%m-%dT%H:%M%:z",
        "%Y-%m-%dT%H:%M:%S%z",
        "%Y-%m-%d %H:%M:%S%.f%:z",
        "%Y-%m-%d %H:%M:%S%.f %z",
    ];
    let other = || SHAPES.iter().find_map(|s| DateTime::parse_from_str(text, s).ok());
    DateTime::parse_from_rfc3339(text).ok().or_else(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_with_an_offset() {
        let moment = with_offset("2025-10-18T06:30:00-05:00").unwrap();
        assert_eq!(moment.naive_local().to_string(), "2025-10-18 06:30:00");
        assert_eq!(moment.offset().local_minus_utc(), -5 * 3600);
        assert!(with_offset("2025-10-18T06:30:00Z").is_some());
        assert!(with_offset("2025-10-18 06:30:00+00:00").is_some());
        assert!(with_offset("2025-10-18T06:30").is_none());
    }
}
