//! Dates and times as people and spreadsheets write them.
//!
//! ISO 8601 is always understood. Beside it stands what spreadsheets make of a date: `10/25/2025`,
//! `25.10.2025`, `08-Oct-19 9:03:32`, `6:30 PM` (common practice, no standard). Where day and month
//! could be either way round the cell alone cannot say which; a [`DateOrder`] does.

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};
use serde::Deserialize;

/// Which of two numbers comes first in a date that ends with its year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum DateOrder {
    /// `25/10/2025`
    #[serde(rename = "day first")]
    DayFirst,
    /// `10/25/2025`
    #[serde(rename = "month first")]
    MonthFirst,
}

/// Why a text is no date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoDate {
    /// It is none, whatever the order.
    Never,
    /// It is two: the day first, and the month first.
    Either(NaiveDate, NaiveDate),
}

/// Years in which a trail camera can have taken a picture.
const YEARS: std::ops::RangeInclusive<i32> = 2000..=2100;

/// An ISO 8601 date, `2025-10-18`, from 2000 to 2100: `25-10-18` is not the year 25.
pub fn parse_date(text: &str) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d").ok().filter(|d| YEARS.contains(&d.year()))
}

/// An ISO 8601 date and time without an offset: `2025-10-18T06:30`, with seconds or without, with
/// a blank in place of the `T`.
pub fn parse_date_time(text: &str) -> Option<NaiveDateTime> {
    if let Some(time) = plain_date_time(text.trim()) {
        return Some(time);
    }
    const SHAPES: [&str; 4] =
        ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"];
    SHAPES
        .iter()
        .find_map(|shape| NaiveDateTime::parse_from_str(text.trim(), shape).ok())
        .filter(|t| YEARS.contains(&t.year()))
}

/// `2025-10-18T06:30:00` or `2025-10-18T06:30`, the shapes that nearly every row has, ten times as fast
/// as by the general reader. Anything else is left to that.
fn plain_date_time(text: &str) -> Option<NaiveDateTime> {
    let bytes = text.as_bytes();
    let marks = [(4, b'-'), (7, b'-'), (10, b'T'), (13, b':')];
    let has_seconds = bytes.len() == 19 && bytes[16] == b':';
    if !(bytes.len() == 16 || has_seconds) || marks.iter().any(|(i, m)| bytes[*i] != *m) {
        return None;
    }
    let number = |from: usize, until: usize| {
        bytes[from..until]
            .iter()
            .try_fold(0_u32, |n, b| b.is_ascii_digit().then(|| n * 10 + u32::from(b - b'0')))
    };
    let seconds = if has_seconds { number(17, 19)? } else { 0 };
    let year = i32::try_from(number(0, 4)?).ok()?;
    NaiveDate::from_ymd_opt(year, number(5, 7)?, number(8, 10)?)?
        .and_hms_opt(number(11, 13)?, number(14, 16)?, seconds)
        .filter(|t| YEARS.contains(&t.year()))
}

/// A date with a time of day, in any of the ways that are understood; `None` where it is none, or two.
pub fn parse_moment(text: &str, order: Option<DateOrder>) -> Option<NaiveDateTime> {
    let (date, time) = read(text, order).ok()?;
    Some(date.and_time(time?))
}

/// The date of a date or a moment, in any of the ways that are understood; `None` where it is none, or two.
pub fn parse_day(text: &str, order: Option<DateOrder>) -> Option<NaiveDate> {
    Some(read(text, order).ok()?.0)
}

/// A date, with a time of day or without one, in any of the ways that are understood.
pub(super) fn read(
    text: &str,
    order: Option<DateOrder>,
) -> Result<(NaiveDate, Option<NaiveTime>), NoDate> {
    if let Some(moment) = parse_date_time(text) {
        return Ok((moment.date(), Some(moment.time())));
    }
    // `2025:08:30 06:30:08`, as EXIF has it.
    let in_exif = text.trim().get(..10).filter(|d| {
        let bytes = d.as_bytes();
        bytes[4] == b':' && bytes[7] == b':'
    });
    if let Some(date) = in_exif {
        let text = date.replace(':', "-") + &text.trim()[10..];
        return read(&text, order);
    }
    let (date, time) = apart(text.trim());
    let time = match time {
        "" => None,
        time => Some(time_of_day(time).ok_or(NoDate::Never)?),
    };
    Ok((date_of(date, order)?, time))
}

/// What a text says of the order in its column: a number over twelve is no month.
pub(super) fn order_of(text: &str) -> Option<DateOrder> {
    let (date, _) = apart(text.trim());
    let Shape::YearLast(first, second, year) = shape(date)? else {
        return None;
    };
    match (first > 12, second > 12) {
        (true, false) => NaiveDate::from_ymd_opt(year, second, first).map(|_| DateOrder::DayFirst),
        (false, true) => {
            NaiveDate::from_ymd_opt(year, first, second).map(|_| DateOrder::MonthFirst)
        }
        _ => None,
    }
}

/// The date and the time of day of a text. The time begins at the word with a colon in it; a `T` may
/// stand between the two.
fn apart(text: &str) -> (&str, &str) {
    let Some(colon) = text.find(':') else {
        return (text, "");
    };
    let before = &text[..colon];
    let is_between = |c: char| c.is_whitespace() || c == 'T' || c == ',';
    match before.rfind(is_between) {
        Some(at) => {
            let rest = text[at..].trim_start_matches(is_between);
            (text[..at].trim_end_matches([',', ' ']), rest)
        }
        None => ("", text),
    }
}

/// `6:30`, `06:30:15.5`, `6:30 PM`, `6:30 p.m.`
fn time_of_day(text: &str) -> Option<NaiveTime> {
    let (digits, half) = match text.find(|c: char| c.is_alphabetic()) {
        None => (text, None),
        Some(at) => {
            let half: String = text[at..].chars().filter(|c| c.is_alphabetic()).collect();
            let afternoon = match half.to_ascii_lowercase().as_str() {
                "am" | "a" => false,
                "pm" | "p" => true,
                _ => return None,
            };
            (text[..at].trim_end(), Some(afternoon))
        }
    };
    let mut parts = digits.splitn(3, ':');
    let mut whole = |required: bool| match parts.next() {
        None if !required => Some(0),
        part => part?.parse::<u32>().ok(),
    };
    let (hour, minute) = (whole(true)?, whole(true)?);
    let seconds: f64 = match digits.splitn(3, ':').nth(2) {
        None => 0.0,
        Some(text) => text.replace(',', ".").parse().ok()?,
    };
    let hour = match half {
        None => hour,
        Some(afternoon) if (1..=12).contains(&hour) => hour % 12 + if afternoon { 12 } else { 0 },
        Some(_) => return None,
    };
    let second = (0.0..60.0).contains(&seconds).then(|| seconds.floor())?;
    let milli = ((seconds - second) * 1000.0).floor() as u32;
    NaiveTime::from_hms_milli_opt(hour, minute, second as u32, milli)
}

/// The numbers of a date, by where its year stands.
enum Shape {
    /// Year, month, day.
    YearFirst(i32, u32, u32),
    /// Two numbers, and the year; which is the month is open.
    YearLast(u32, u32, i32),
    /// The month is a word: year, month, day.
    Named(i32, u32, u32),
    /// The marks between the numbers say that the day comes first: year, month, day.
    DayFirst(i32, u32, u32),
}

fn shape(text: &str) -> Option<Shape> {
    let text = without_weekday(text);
    let marks: Vec<char> = text.chars().filter(|c| !c.is_alphanumeric()).collect();
    let parts: Vec<&str> =
        text.split(|c: char| !c.is_alphanumeric()).filter(|p| !p.is_empty()).collect();
    let [a, b, c] = parts[..] else { return None };
    let number = |p: &str| p.parse::<u32>().ok();
    let named = |day: &str, month: &str, year: &str| {
        Some(Shape::Named(year_of(year)?, month_of(month)?, number(without_ordinal(day))?))
    };
    match (number(a), number(b), number(c)) {
        (Some(y), Some(m), Some(d)) if a.len() == 4 => {
            Some(Shape::YearFirst(i32::try_from(y).ok()?, m, d))
        }
        (Some(d), Some(m), Some(_)) if marks.iter().all(|m| *m == '.') => {
            Some(Shape::DayFirst(year_of(c)?, m, d))
        }
        // Three pairs of digits with dashes may as well begin with the year.
        (Some(_), Some(_), Some(_)) if c.len() != 4 && marks.contains(&'-') => None,
        (Some(x), Some(y), Some(_)) => Some(Shape::YearLast(x, y, year_of(c)?)),
        (Some(_), None, Some(_)) if a.len() == 4 => named(c, b, a),
        (Some(_), None, Some(_)) => named(a, b, c),
        _ => named(b, a, c),
    }
}

fn date_of(text: &str, order: Option<DateOrder>) -> Result<NaiveDate, NoDate> {
    let of = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).filter(|d| YEARS.contains(&d.year()));
    match shape(text).ok_or(NoDate::Never)? {
        Shape::YearFirst(y, m, d) | Shape::Named(y, m, d) | Shape::DayFirst(y, m, d) => {
            of(y, m, d).ok_or(NoDate::Never)
        }
        Shape::YearLast(a, b, year) => match (of(year, b, a), of(year, a, b), order) {
            (day_first, _, Some(DateOrder::DayFirst)) => day_first.ok_or(NoDate::Never),
            (_, month_first, Some(DateOrder::MonthFirst)) => month_first.ok_or(NoDate::Never),
            (Some(day_first), Some(month_first), None) if day_first != month_first => {
                Err(NoDate::Either(day_first, month_first))
            }
            (day_first, month_first, None) => day_first.or(month_first).ok_or(NoDate::Never),
        },
    }
}

/// Two digits are a year of this century.
fn year_of(text: &str) -> Option<i32> {
    let year: i32 = text.parse().ok()?;
    match text.len() {
        4 => Some(year),
        2 => Some(2000 + year),
        _ => None,
    }
}

/// A month by its English name or the first three letters of it.
fn month_of(word: &str) -> Option<u32> {
    const MONTHS: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let word = word.to_lowercase();
    let fits = |m: &&str| m.starts_with(&word) || (word == "sept" && m.starts_with("sep"));
    let is_long_enough = word.len() >= 3;
    let at = MONTHS.iter().position(|m| is_long_enough && fits(m))?;
    u32::try_from(at + 1).ok()
}

fn without_weekday(text: &str) -> &str {
    const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
    let Some((word, rest)) = text.split_once([' ', ',']) else {
        return text;
    };
    let lower = word.to_lowercase();
    let is_day = DAYS.iter().any(|d| lower.starts_with(d)) && month_of(word).is_none();
    if is_day { rest.trim_start() } else { text }
}

fn without_ordinal(day: &str) -> &str {
    let endings = ["st", "nd", "rd", "th"];
    let short = endings.iter().find_map(|e| day.strip_suffix(e));
    short.unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, order: Option<DateOrder>) -> Option<String> {
        let (date, time) = read(text, order).ok()?;
        Some(time.map_or(date.to_string(), |t| format!("{date} {t}")))
    }

    #[test]
    fn times_with_and_without_seconds() {
        let want = NaiveDate::from_ymd_opt(2024, 2, 29).and_then(|d| d.and_hms_opt(6, 30, 0));
        assert_eq!(parse_date_time("2024-02-29T06:30"), want);
        assert_eq!(parse_date_time("2024-02-29 06:30:00"), want);
        assert_eq!(parse_date_time("2025-02-29 06:30:00"), None);
        assert_eq!(parse_date_time("2025-10-18T24:00"), None);
        assert_eq!(parse_date_time("1999-10-18T06:30"), None);
        assert_eq!(parse_date("25-10-18"), None);
        assert_eq!(parse_date("+262142-12-31"), None);
    }

    #[test]
    fn what_spreadsheets_make_of_a_date() {
        for (text, want) in [
            ("2025-10-08", "2025-10-08"),
            ("2025/10/8", "2025-10-08"),
            ("25.10.2025", "2025-10-25"),
            ("10.11.2025", "2025-11-10"),
            ("10/25/2025", "2025-10-25"),
            ("25/10/2025", "2025-10-25"),
            ("08-Oct-19 9:03:32", "2019-10-08 09:03:32"),
            ("8 October 2019", "2019-10-08"),
            ("Oct 8, 2019, 6:30 PM", "2019-10-08 18:30:00"),
            ("October 8th 2019 6:30 p.m.", "2019-10-08 18:30:00"),
            ("Wed, 08 Oct 2025 12:05 AM", "2025-10-08 00:05:00"),
            ("10/25/25 6:30PM", "2025-10-25 18:30:00"),
            ("2025-10-25T06:30:15.5", "2025-10-25 06:30:15.500"),
            ("12/12/2025", "2025-12-12"),
            ("29/2/2024", "2024-02-29"),
            ("2025:08:30 06:30:08", "2025-08-30 06:30:08"),
        ] {
            assert_eq!(shown(text, None).as_deref(), Some(want), "{text}");
        }
        for text in [
            "29/2/2025",
            "25-10-18",
            "10/25/1999",
            "13/13/2025",
            "soon",
            "6:30",
            "10/25/2025 25:00",
            "10/25/2025 13:00 PM",
            "1/2",
            "",
            "1e3/2/2025",
            "10/25/2025 6:30 XM",
        ] {
            assert_eq!(shown(text, None), None, "{text}");
        }
    }

    #[test]
    fn a_date_that_could_be_either_is_not_guessed() {
        let text = "10/11/2025 06:30";
        assert!(matches!(read(text, None), Err(NoDate::Either(..))));
        let day = shown(text, Some(DateOrder::DayFirst));
        assert_eq!(day.as_deref(), Some("2025-11-10 06:30:00"));
        let month = shown(text, Some(DateOrder::MonthFirst));
        assert_eq!(month.as_deref(), Some("2025-10-11 06:30:00"));
        assert_eq!(shown("25/10/2025", Some(DateOrder::MonthFirst)), None);
        assert_eq!(order_of("25/10/2025"), Some(DateOrder::DayFirst));
        assert_eq!(order_of("10/25/25 6:30 PM"), Some(DateOrder::MonthFirst));
        assert_eq!(order_of("10/11/2025"), None);
        assert_eq!(order_of("25.10.2025"), None);
    }
}
