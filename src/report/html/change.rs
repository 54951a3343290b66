//! Before and after each disturbance, with its working.

use chrono::Days;
use maud::{Markup, html};

use super::{figure, summary};
use crate::debrief::Debrief;
use crate::property::{By, Disturbance};
use crate::report::gallery::{Plot, Subject};
use crate::report::words;
use crate::shift::{Role, Shift};
use crate::visits::Kind;

pub(super) fn section(debrief: &Debrief, plots: &[Plot]) -> Markup {
    let disturbances = &debrief.property.disturbances;
    html! {
        section {
            h2 { "Before and after" }
            @if disturbances.is_empty() {
                p {
                    "No disturbance is logged. Write what happened and when into "
                    code { "disturbances.csv" } ", and this part compares the days before and after."
                }
            }
            @for (i, disturbance) in disturbances.iter().enumerate() {
                (one(debrief, plots, i, disturbance))
            }
        }
    }
}

fn one(debrief: &Debrief, plots: &[Plot], index: usize, disturbance: &Disturbance) -> Markup {
    let rows: Vec<&Shift> = debrief
        .shifts
        .of(&disturbance.id, Kind::MatureBuck)
        .collect();
    let near: Vec<&Shift> = rows
        .iter()
        .copied()
        .filter(|s| s.role == Role::Near)
        .collect();
    let others: Vec<&Shift> = rows
        .iter()
        .copied()
        .filter(|s| s.role == Role::Control)
        .collect();
    html! {
        article {
            h3 { (disturbance.what) ", " (words::day(disturbance.start.date())) }
            p.note { (logged(disturbance)) " " (windows(&rows)) }
            p.answer { (capital(&summary::verdict_sentence(debrief, &near))) }
            @for note in notes(debrief, disturbance, &near, &others) { p.mind { (note) } }
            (figure(plots, Subject::Changes(index)))
            @for shift in &near {
                (figure(plots, Subject::Activity { disturbance: index, camera: shift.camera }))
            }
            @for kind in [Kind::MatureBuck, Kind::Deer] { (table(debrief, disturbance, kind)) }
            @if !others.is_empty() {
                details {
                    summary { "The same days at the control cameras" }
                    @for shift in &others {
                        (figure(plots, Subject::Activity { disturbance: index, camera: shift.camera }))
                    }
                }
            }
            details {
                summary { "Bucks of all ages, does and fawns" }
                @for kind in [Kind::Buck, Kind::Doe, Kind::Fawn] { (table(debrief, disturbance, kind)) }
            }
        }
    }
}

fn capital(sentence: &str) -> String {
    let mut chars = sentence.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(chars).collect()
    })
}

fn logged(disturbance: &Disturbance) -> &'static str {
    match disturbance.by {
        By::Neighbour => "Logged as a neighbour's.",
        By::Own => "Logged as your own.",
        By::Nature => "Logged as nature's.",
    }
}

fn windows(rows: &[&Shift]) -> String {
    rows.first().map_or_else(String::new, |s| {
        format!(
            "Compared: {} to {} with {} to {}.",
            words::day(s.before.from),
            words::day(s.before.until),
            words::day(s.after.from),
            words::day(s.after.until)
        )
    })
}

/// What a reader must keep in mind about this comparison.
fn notes(
    debrief: &Debrief,
    disturbance: &Disturbance,
    near: &[&Shift],
    others: &[&Shift],
) -> Vec<String> {
    let mut notes = Vec::new();
    if others.is_empty() {
        notes.push(
            "Every camera counts as near it, so there is nothing to compare with: the season itself may have made the change. Name the near cameras in disturbances.csv."
                .to_owned(),
        );
    }
    let Some(shift) = near.first().or(others.first()) else {
        return notes;
    };
    for other in &debrief.property.disturbances {
        let date = other.start.date();
        if other.id != disturbance.id
            && (shift.before.from < other.first_day_after() && date <= shift.after.until)
        {
            notes.push(format!(
                "\"{}\" began on {}, within the days compared; the two cannot be told apart where both are near.",
                other.what,
                words::day(date)
            ));
        }
    }
    if let Some(end) = disturbance.end.map(|e| e.date())
        && end < shift.after.until
    {
        notes.push(format!(
            "It ended on {}; {} of those compared as after came later than that.",
            words::day(end),
            words::counted((shift.after.until - end).num_days() as usize, "day")
        ));
    }
    for s in near.iter().chain(others) {
        let camera = &debrief.season.cameras[s.camera];
        if camera.moved_between(s.before.from, s.after.until) {
            notes.push(format!(
                "{} was moved within these days; only the days at the place where it hung on {} count.",
                camera.name,
                words::day(s.after.from)
            ));
        }
        for (side, name) in [(&s.before, "before"), (&s.after, "after")] {
            if !side.is_tagged() {
                notes.push(format!(
                    "{}: {} of {} on the days {name} have no tag yet, so no rates are given.",
                    camera.name,
                    words::grouped(side.pictures.untagged),
                    words::counted(side.pictures.all, "picture")
                ));
            }
            let days = (side.until + Days::new(1) - side.from).num_days() as usize;
            if side.nights * 4 < days * 3 {
                notes.push(format!(
                    "{} is known to have worked on only {} of the {days} days {name}.",
                    debrief.camera_name(Some(s.camera)),
                    side.nights
                ));
            }
        }
    }
    notes
}

fn table(debrief: &Debrief, disturbance: &Disturbance, kind: Kind) -> Markup {
    let mut rows: Vec<&Shift> = debrief.shifts.of(&disturbance.id, kind).collect();
    rows.sort_by_key(|s| (s.role == Role::Control, s.camera));
    html! {
        div.wide { table {
            caption { (kind.plural()) }
            thead { tr {
                th scope="col" { "Camera" }
                th scope="col" { "Verdict" }
                th scope="col" { "Before" }
                th scope="col" { "After" }
                th scope="col" { "Share changed by" }
                th scope="col" { "Against the controls" }
                th scope="col" { "Visits in light, after over before" }
            } }
            tbody {
                @for s in rows {
                    tr {
                        th scope="row" { (debrief.camera_name(Some(s.camera))) " (" (s.role.word()) ")" }
                        td {
                            strong { (s.verdict.word()) }
                            @if let Some(pattern) = s.pattern { ", " (pattern.word()) }
                            br;
                            (words::p(s.p_adjusted))
                        }
                        td { (words::share(s.before.counted, s.before.visits, s.before.share)) }
                        td { (words::share(s.after.counted, s.after.visits, s.after.share)) }
                        td { (s.share_change.map_or_else(|| "–".to_owned(), words::points)) }
                        td { (s.share_change_against_controls.map_or_else(|| "–".to_owned(), words::points)) }
                        td { (words::times(s.rate_ratio)) }
                    }
                }
            }
        } }
    }
}
