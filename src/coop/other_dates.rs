//! The event among the same comparison on other dates.

use anyhow::Result;

use super::event::EventAnswer;
use super::question::CoopQuestion;
use super::words::{properties, two, word};
use crate::measure::Estimate;
use crate::report::{AFTER, IntervalRow, MUTED, Scale, capital, counted, interval_rows};

/// One row a date; none where nothing can be said.
pub(super) fn plot(a: &EventAnswer, question: &CoopQuestion) -> Result<Option<String>> {
    let Some(here) = a.against.or(a.own) else {
        return Ok(None);
    };
    let log = |e: Estimate| {
        let bounded = |x: f64| x.ln().clamp(-REACH, REACH);
        Estimate { value: bounded(e.value), low: bounded(e.low), high: bounded(e.high) }
    };
    let weeks = |days: i64| match days {
        d if d % 7 == 0 => counted((d / 7).unsigned_abs() as usize, "week"),
        d => counted(d.unsigned_abs() as usize, "day"),
    };
    let side = |days: i64| if days < 0 { "earlier" } else { "later" };
    let mut rows: Vec<(i64, IntervalRow)> = a
        .other_dates
        .iter()
        .map(|o| {
            let row = IntervalRow {
                name: format!("{} {}", weeks(o.days_later), side(o.days_later)),
                estimate: Some(log(o.change)),
                colour: MUTED,
                filled: false,
                counts: properties(o.exposed),
            };
            (o.days_later, row)
        })
        .collect();
    let itself = IntervalRow {
        name: "When it happened".to_owned(),
        estimate: Some(log(here)),
        colour: AFTER,
        filled: true,
        counts: properties(a.exposed),
    };
    rows.push((0, itself));
    rows.sort_by_key(|r| r.0);
    let rows: Vec<IntervalRow> = rows.into_iter().map(|r| r.1).collect();
    let words = match a.against {
        Some(_) => "times as much, against where it did not happen, with 95 % range",
        None => "times as much, with 95 % range; nothing to compare with",
    };
    let scale =
        Scale { from: -REACH, until: REACH, words, label: |v| two(v.exp()), reference: Some(0.0) };
    let heading = format!(
        "{}, {} days after over {} before",
        capital(word(a.question)),
        question.days,
        question.days
    );
    Ok(Some(interval_rows(&heading, "", &rows, &scale)?))
}

/// Factors from a quarter to four.
const REACH: f64 = 1.386_294_361_119_890_6;
