//! Where and when to sit.

use maud::{Markup, html};

use super::behind;
use super::contents::Part;
use crate::debrief::{Behind, Debrief};
use crate::outlook::{BesideBest, Half, StandRow};
use crate::report::{outlook_words, words};

pub(super) fn section(debrief: &Debrief) -> Markup {
    let rows = &debrief.outlook.stands;
    let told = rows.iter().any(|r| r.per_ten.is_some());
    html! {
        @if told {
            section id=(Part::Stands.id()) {
                h2 { (Part::Stands.heading()) }
                p.answer { (in_short(rows)) }
                p {
                    "Visits of " (debrief.season.about.kind.them()) " in " (debrief.property.settings.share_light())
                    " to be expected in ten mornings or ten evenings, with the range that holds the true number 19 times in 20. Stands speak for each other: one with few days is drawn towards the rest. "
                    @if debrief.property.stands.is_empty() { "No stands are written down, so cameras stand in for them; stands.csv names stands, the cameras that watch them, and their winds. " }
                    "A morning lasts until the sun's noon. Deer that walk where no camera looks are in none of these numbers. "
                    @if debrief.outlook.stands.iter().any(|r| r.wind.is_some()) { "By wind there are only counts, too few to set one wind against another." }
                }
                @if let Some(words) = outlook_words::unwatched(&debrief.outlook.unwatched) { p.note { (words) } }
                @for part in groups(rows) { (group(debrief, part)) }
                p.note {
                    "Hours and seasons come from your local regulations: check them. Wear a harness on every stand above the ground, and tell somebody where you sit."
                }
            }
        }
    }
}

/// Rows of one part of the season.
fn groups(rows: &[StandRow]) -> impl Iterator<Item = &[StandRow]> {
    rows.chunk_by(|a, b| a.part == b.part)
}

fn best(rows: &[StandRow]) -> Option<&StandRow> {
    let told = rows.iter().filter(|r| r.beside_best == BesideBest::AmongTheBest);
    let mean = |r: &StandRow| r.per_ten.map_or(0.0, |e| e.value);
    told.max_by(|a, b| mean(a).total_cmp(&mean(b)))
}

/// For every part and half whether one stand leads.
fn in_short(rows: &[StandRow]) -> String {
    let halves = rows.chunk_by(|a, b| a.part == b.part && a.half == b.half);
    let mut alone = Vec::new();
    let mut open = 0;
    for half in halves {
        let among = half.iter().filter(|r| r.beside_best == BesideBest::AmongTheBest).count();
        match best(half) {
            Some(best) if among == 1 => {
                alone.push(format!("{} in the {}s of {}", best.stand, best.half.word(), best.part))
            }
            Some(_) => open += 1,
            None => {}
        }
    }
    match (alone.is_empty(), open) {
        (true, 0) => "There is nothing to choose between by these pictures.".to_owned(),
        (true, _) => "No stand is clearly better than all others at any time: within a group that is too close to call, choose by wind and way in.".to_owned(),
        (false, 0) => format!("Clearly best: {}.", alone.join("; ")),
        (false, _) => format!("Clearly best: {}. Everything else is too close to call.", alone.join("; ")),
    }
}

fn group(debrief: &Debrief, rows: &[StandRow]) -> Markup {
    let Some(first) = rows.first() else {
        return html! {};
    };
    let has_wind = rows.iter().any(|r| r.wind.is_some());
    let from = rows.iter().map(|r| r.span.0).min().unwrap_or(first.span.0);
    let until = rows.iter().map(|r| r.span.1).max().unwrap_or(first.span.1);
    let sun = |half: Half| rows.iter().find(|r| r.half == half).map(|r| r.sun_from.name());
    html! {
        h3 { (words::capital(&first.part)) }
        p.note {
            (from.format("%-d %B")) " to " (words::day(until)) ". The sun comes up in the " (sun(Half::Morning).unwrap_or("–"))
            " and goes down in the " (sun(Half::Evening).unwrap_or("–")) ": who looks that way then looks into it."
        }
        div.wide tabindex="0" { table {
            thead { tr {
                th scope="col" { "Stand" }
                th scope="col" { "In ten of them" }
                th scope="col" { "Three of four came" }
                @if has_wind { th scope="col" { "By wind" } }
            } }
            tbody { @for row in rows { (stand(debrief, row, has_wind)) } }
        } }
    }
}

fn stand(debrief: &Debrief, row: &StandRow, has_wind: bool) -> Markup {
    let cameras: Vec<&str> = row.cameras.iter().map(|c| debrief.camera_name(Some(*c))).collect();
    html! {
        tr {
            th scope="row" {
                (row.stand) ", " (row.half.word()) "s"
                @if cameras != [row.stand.as_str()] { br; small { (cameras.join(", ")) } }
            }
            td {
                strong { (outlook_words::per_ten(row.per_ten)) }
                br; (behind::some(row.visits, &words::counted(row.visits, "visit"), &behind::of_stand(row))) " in " (words::counted(row.outings, row.half.word()))
                br; (outlook_words::beside_best(row))
                @if is_much_left_out(row) { br; (words::grouped(row.left_out)) " left out: the camera may have been dead, or is not tagged" }
            }
            td { (outlook_words::three_of_four(row)) }
            @if has_wind { td { (by_wind(row)) } }
        }
    }
}

/// The same words as elsewhere, each number with its visits.
fn by_wind(row: &StandRow) -> Markup {
    let Some(wind) = row.wind else {
        return html! { (outlook_words::wind(None)) };
    };
    let words = outlook_words::wind(Some(wind));
    let (suited, others) = words.split_once(", ").unwrap_or((&words, ""));
    let days = |days: &str| Behind { days: days.to_owned(), ..behind::of_stand(row) };
    html! {
        (first_words(wind.suited_visits, suited, &days("suited"))) ", "
        (first_words(wind.others_visits, others, &days("other")))
    }
}

/// Words up to the day's number lead to the visits.
fn first_words(visits: usize, words: &str, number: &Behind) -> Markup {
    let (told, rest) = words.split_once(" on ").unwrap_or((words, ""));
    html! { (behind::some(visits, told, number)) " on " (rest) }
}

/// A tenth or more of the days on which its cameras hung.
fn is_much_left_out(row: &StandRow) -> bool {
    row.left_out * 10 >= row.outings + row.left_out && row.left_out > 0
}
