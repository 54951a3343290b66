//! Who is there, and how many.

use maud::{Markup, html};

use super::contents::Part;
use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::outlook::Herd;
use crate::report::{outlook_words, words};

pub(super) fn section(debrief: &Debrief) -> Markup {
    html! {
        @if let Some(herd) = debrief.outlook.herd.as_ref().filter(|h| h.bucks.animals + h.does.animals > 0) {
            section id=(Part::Herd.id()) {
                h2 { (Part::Herd.heading()) }
                p.answer { (bucks(herd)) }
                p {
                    (words::day(herd.span.0)) " to " (words::day(herd.span.1)) ", " (words::counted(herd.camera_days, "camera-day"))
                    " that can be counted"
                    @if herd.is_named { ", the survey that property.toml names." }
                    @else { ", the whole season: a survey of two or three weeks before the rut says more, and property.toml can name its days." }
                }
                (table(herd))
                p { (new_ones(herd)) }
                p.note { (outlook_words::HERD_CAUTION) }
            }
        }
    }
}

fn bucks(herd: &Herd) -> String {
    let named = format!(
        "{} of {} in pictures have a name",
        words::grouped(herd.named_bucks),
        words::counted(herd.bucks.animals, "buck")
    );
    match herd.different {
        0 => {
            "No buck has a name, so none can be told from another, and their number cannot be told."
                .to_owned()
        }
        n => format!(
            "At least {} different {}: {named}.",
            words::grouped(n),
            if n == 1 { "buck" } else { "bucks" }
        ),
    }
}

fn table(herd: &Herd) -> Markup {
    let range = |e: Option<Estimate>| {
        e.map_or_else(
            || "cannot be told".to_owned(),
            |e| format!("{:.1} ({:.1}–{:.1})", e.value, e.low, e.high),
        )
    };
    let of_pictures = |a: usize, one: &str, b: usize, other: &str| {
        format!(
            "{} and {}, counted in every picture",
            words::counted(a, one),
            words::counted(b, other)
        )
    };
    let survey = "different bucks, times does or fawns for each buck; only where four of five bucks in pictures have a name";
    let rows = [
        (
            "Bucks, those missed too",
            range(herd.by_once_seen),
            format!(
                "{} seen on one day only, {} on two; only where four of five bucks in pictures have a name",
                words::grouped(herd.once_and_twice.0),
                words::grouped(herd.once_and_twice.1)
            ),
        ),
        (
            "The same by both halves of the days",
            range(herd.by_halves),
            "who was seen in both; the same".to_owned(),
        ),
        (
            "Does for each buck",
            range(herd.does_per_buck),
            of_pictures(herd.does.animals, "doe", herd.bucks.animals, "buck"),
        ),
        (
            "Fawns for each doe",
            range(herd.fawns_per_doe),
            of_pictures(herd.fawns.animals, "fawn", herd.does.animals, "doe"),
        ),
        ("Does, by the camera survey", range(herd.does_there), survey.to_owned()),
        ("Fawns, by the camera survey", range(herd.fawns_there), survey.to_owned()),
    ];
    html! {
        div.wide tabindex="0" { table {
            thead { tr { th scope="col" { "What" } th scope="col" { "How many" } th scope="col" { "From" } } }
            tbody { @for (what, number, from) in rows { tr { th scope="row" { (what) } td { strong { (number) } } td { (from) } } } }
        } }
    }
}

/// New bucks against days: whether more days would have brought more.
fn new_ones(herd: &Herd) -> String {
    let Some((last, _)) = herd.new_on.last() else {
        return String::new();
    };
    let half = herd.span.0 + chrono::Days::new((herd.span.1 - herd.span.0).num_days() as u64 / 2);
    let late: usize = herd.new_on.iter().filter(|(d, _)| *d > half).map(|(_, n)| n).sum();
    format!(
        "The last new one came on {}; {} of {} came in the second half of the days.",
        words::day(*last),
        words::grouped(late),
        words::grouped(herd.different)
    )
}
