//! `sightings.csv`: rows that were tagged elsewhere and come without pictures.

use anyhow::Result;
use chrono::{DateTime, Days, FixedOffset, NaiveDate, NaiveDateTime};
use polars::prelude::DataFrame;

use super::Columns;
use super::words::seen;
use crate::property::{Headings, Problem, Property, Row, Sheet, parse_date_time};

pub(super) const FILE: &str = "sightings.csv";
const HEADINGS: Headings = Headings {
    required: &["camera", "time", "who"],
    known: &["camera", "time", "who", "count", "age", "name", "note"],
};

/// The usable rows, or `None` where there is no such file.
pub(super) fn read(
    property: &Property,
    today: NaiveDate,
    problems: &mut Vec<Problem>,
) -> Result<Option<DataFrame>> {
    let Some(sheet) = Sheet::read(&property.root, FILE, &HEADINGS, problems)? else {
        return Ok(None);
    };
    let sheet = sheet.with_order(property.settings.date_order);
    let mut columns = Columns::default();
    sheet.for_each(problems, |row, problems| {
        let Some(camera) = row.some("camera") else {
            problems.push(Problem::cell(
                FILE,
                row.line,
                "camera",
                "no camera is named, so the row was left out.",
                "Write the camera's name as in cameras.csv.",
            ));
            return;
        };
        let (time, offset) = match moment(row) {
            Ok(moment) => moment,
            Err(problem) => return problems.push(problem),
        };
        if time.date() > today + Days::new(1) {
            problems.push(Problem::cell(
                FILE,
                row.line,
                "time",
                format!("{time} has not come yet, so the row was left out."),
                "Check the year.",
            ));
            return;
        }
        if let Some(tag) = seen(row, FILE, problems) {
            columns.camera.push(camera.to_owned());
            columns.picture.push(None);
            columns.camera_time.push(time.and_utc().timestamp_millis());
            columns
                .offset_s
                .push(offset.map(|o| i64::from(o.local_minus_utc())));
            columns.who.push(tag.who.word());
            columns.count.push(tag.count);
            columns.age.push(tag.age);
            columns.name.push(tag.name);
            columns.origin.push(FILE);
        }
    });
    columns.into_table().map(Some)
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
    let no_time = |what: &str| {
        let what = format!("\"{text}\" {what}, so the row was left out.");
        Problem::cell(FILE, row.line, "time", what, REMEDY)
    };
    match row.date("time", REMEDY)? {
        Some((date, Some(time))) => Ok((date.and_time(time), None)),
        Some((_, None)) => Err(no_time("has no time of day")),
        None => Err(no_time("is not a time")),
    }
}

fn with_offset(text: &str) -> Option<DateTime<FixedOffset>> {
    const SHAPES: [&str; 4] = [
        "%Y-%m-%dT%H:%M%:z",
        "%Y-%m-%dT%H:%M:%S%z",
        "%Y-%m-%d %H:%M:%S%.f%:z",
        "%Y-%m-%d %H:%M:%S%.f %z",
    ];
    let other = || {
        SHAPES
            .iter()
            .find_map(|s| DateTime::parse_from_str(text, s).ok())
    };
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
