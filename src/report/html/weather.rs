//! Wind, weather and moon: what is believed of them, tested.

use maud::{Markup, html};

use super::behind;
use super::contents::Part;
use super::said::{Said, Sure};
use crate::debrief::{Beside, Debrief};
use crate::outlook::{BeliefRow, Held};
use crate::report::{outlook_words, words};

pub(super) fn section(debrief: &Debrief) -> Markup {
    let conditions = &debrief.outlook.conditions;
    let is_told = conditions.rows.iter().any(|r| r.held != Held::CannotBeTold);
    let about = debrief.season.about.kind;
    let light = debrief.property.settings.share_light();
    html! {
        @if is_told || conditions.why_not.is_none() {
            section id=(Part::Weather.id()) {
                h2 { (Part::Weather.heading()) }
                p.answer { (outlook_words::conditions(conditions)) }
                p {
                    "Looked at: " (about.them()) " in " (light) ", " (behind::some(conditions.all.visits, &outlook_words::tally(conditions.all), &behind::of_all_weather())) " at cameras that worked, in "
                    (words::counted(conditions.seasons, "season"))
                    ", against the air at sunrise or sunset. What the time of year does by itself is taken out first. A cold week and a week of visits fall together easily, so the weather is turned against the visits day by day to see how often it does; and with ten beliefs asked, one of them must be ten times as sure. So a range that leaves ×1 out is not enough: of ten there is one every other season."
                }
                @if let Some(why) = outlook_words::why_not(conditions) { p.note { (why) } }
                div.wide tabindex="0" { table {
                    thead { tr {
                        th scope="col" { "Belief" }
                        th scope="col" { "Found" }
                        th scope="col" { "Visits in " (light) }
                        th scope="col" { "With the least of it" }
                        th scope="col" { "With the most of it" }
                        th scope="col" { "Could have been seen" }
                    } }
                    tbody { @for row in &conditions.rows { (belief(row)) } }
                } }
            }
        }
    }
}

fn belief(row: &BeliefRow) -> Markup {
    html! {
        tr {
            th scope="row" { (outlook_words::belief(row.belief)) }
            td {
                strong { (row.held.word()) }
                @if let (true, Some(p)) = (matches!(row.held, Held::More | Held::Fewer), row.p_adjusted) {
                    br; (outlook_words::odds(p))
                    @if !row.not_apart_from.is_empty() {
                        br; "not to be told apart from: " (row.not_apart_from.iter().map(|b| outlook_words::belief(*b).to_lowercase()).collect::<Vec<_>>().join("; "))
                    }
                }
            }
            td { (outlook_words::ratio(outlook_words::belief_ratio(row))) " " (outlook_words::step(row.belief)) }
            @for (i, side) in [Beside::Before, Beside::After].into_iter().enumerate() {
                td {
                    (behind::some(row.thirds[i].visits, &outlook_words::tally(row.thirds[i]), &behind::of_weather(row, side)))
                    ", " (outlook_words::thirds(row.belief)[i])
                }
            }
            td { (outlook_words::smallest(row)) }
        }
    }
}

/// For the first page, where weather was looked at.
pub(super) fn said(debrief: &Debrief) -> Option<Said> {
    let conditions = &debrief.outlook.conditions;
    if conditions.why_not.is_some() {
        return None;
    }
    let is_shown = |r: &BeliefRow| matches!(r.held, Held::More | Held::Fewer);
    let shown: Vec<&BeliefRow> = conditions.rows.iter().filter(|r| is_shown(r)).collect();
    let small = shown.iter().map(|r| {
        format!(
            "{}, {}: {}",
            outlook_words::belief(r.belief),
            outlook_words::step(r.belief),
            outlook_words::ratio(outlook_words::belief_ratio(r))
        )
    });
    let sure = if shown.is_empty() { Sure::Open } else { Sure::Together };
    Some(Said {
        small: match shown.is_empty() {
            true => outlook_words::tally(conditions.all) + ".",
            false => small.collect::<Vec<_>>().join("; ") + ".",
        },
        more: Some(format!("#{}", Part::Weather.id())),
        ..Said::plain(sure, outlook_words::conditions(conditions))
    })
}
