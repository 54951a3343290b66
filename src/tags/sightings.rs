//! `sightings.csv`: rows that were tagged elsewhere and come without pictures.

use anyhow::Result;
use chrono::{DateTime, Days, FixedOffset, NaiveDate, NaiveDateTime};
use polars::prelude::DataFrame;

use super::Columns;
use super::words::seen;
use crate::property::{Headings, Problem, Property, Sheet, parse_date_time};

const FILE: &str = "sightings.csv";
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
        let Some((time, offset)) = moment(row.get("time")) else {
            problems.push(Problem::cell(
                FILE,
                row.line,
                "time",
                format!("\"{}\" is not a time, so the row was left out.", row.get("time")),
                "Write 2025-10-18T06:30:00, by the camera's clock, or with an offset such as 2025-10-18T06:30:00-05:00.",
            ));
            return;
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

/// ISO 8601 with or without an offset.
fn moment(text: &str) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    if let Some(time) = parse_date_time(text) {
        return Some((time, None));
    }
    let with_offset = DateTime::parse_from_rfc3339(text)
        .or_else(|_| DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M%:z"))
        .or_else(|_| DateTime::parse_from_str(text, "%Y-%m-%dT%H:%M:%S%z"))
        .ok()?;
    Some((with_offset.naive_local(), Some(*with_offset.offset())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_with_and_without_offset() {
        let (time, offset) = moment("2025-10-18T06:30:00-05:00").unwrap();
        assert_eq!(time.to_string(), "2025-10-18 06:30:00");
        assert_eq!(offset.unwrap().local_minus_utc(), -5 * 3600);
        assert!(moment("2025-10-18T06:30:00Z").unwrap().1.is_some());
        assert!(moment("2025-10-18T06:30").unwrap().1.is_none());
        assert!(moment("18.10.2025 06:30").is_none());
    }
}
