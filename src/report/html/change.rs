//! Before and after each disturbance, with its working.

use chrono::Days;
use maud::{Markup, html};

use super::{figure, plan, summary, working};
use crate::debrief::Debrief;
use crate::property::{By, Disturbance};
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Role, Shift, Side};
use crate::visits::Kind;

pub(super) fn section(debrief: &Debrief, gallery: &Gallery) -> Markup {
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
                @if debrief.shifts.plan(&disturbance.id).is_some() {
                    (one(debrief, gallery, i, disturbance))
                }
            }
        }
    }
}

fn one(debrief: &Debrief, gallery: &Gallery, index: usize, disturbance: &Disturbance) -> Markup {
    let about = debrief.season.about.kind;
    let rows: Vec<&Shift> = debrief.shifts.of(&disturbance.id, about).collect();
    let of_role =
        |role: Role| -> Vec<&Shift> { rows.iter().copied().filter(|s| s.role == role).collect() };
    let (near, others) = (of_role(Role::Near), of_role(Role::Control));
    let activity = |shift: &Shift| {
        let camera = shift.camera?;
        Some(figure(
            gallery,
            Subject::Activity {
                disturbance: index,
                camera,
            },
        ))
    };
    html! {
        article {
            h3 { (disturbance.what) ", " (words::day(disturbance.start.date())) }
            p.note { (logged(disturbance)) " " (plan::compared(debrief, &disturbance.id)) }
            p.answer { (words::capital(&summary::verdict_sentence(debrief, &disturbance.id))) }
            @if is_outside(&near) { p.note { "It lies outside the pictures, or its cameras were silent, so there is nothing to compare." } }
            @else {
            @for note in notes(debrief, disturbance, &near, &others) { p.mind { (note) } }
            (figure(gallery, Subject::Changes(index)))
            @for shift in &near { @if let Some(figure) = activity(shift) { (figure) } }
            @for kind in debrief.season.about.kinds() { (table(debrief, disturbance, kind)) }
            (working::section(debrief, gallery, index, disturbance, &near))
            @if !others.is_empty() {
                details {
                    summary { "The same days at the control cameras" }
                    @for shift in &others { @if let Some(figure) = activity(shift) { (figure) } }
                }
            }
            details {
                summary { "The other kinds" }
                @for kind in debrief.kinds_seen().filter(|k| !debrief.season.about.kinds().contains(k)) { (table(debrief, disturbance, kind)) }
            }
            }
        }
    }
}

/// Whether no near camera worked on one of the sides.
fn is_outside(near: &[&Shift]) -> bool {
    let none = |of: fn(&Shift) -> &Side| near.iter().all(|s| of(s).nights == 0);
    none(|s| &s.before) || none(|s| &s.after)
}

fn logged(disturbance: &Disturbance) -> &'static str {
    match disturbance.by {
        By::Neighbour => "Logged as a neighbour's.",
        By::Own => "Logged as your own.",
        By::Nature => "Logged as nature's.",
    }
}

/// What a reader must keep in mind about this comparison.
fn notes(
    debrief: &Debrief,
    disturbance: &Disturbance,
    near: &[&Shift],
    others: &[&Shift],
) -> Vec<String> {
    let mut notes = Vec::new();
    for s in near.iter().chain(others).filter(|s| s.clock_in_doubt) {
        notes.push(format!(
            "The clock of {} is wrong on some of these days and not settled, so nothing there is called clear{}.",
            debrief.camera_name(s.camera),
            if s.role == Role::Control {
                ", and no other camera is compared with it"
            } else {
                ""
            }
        ));
    }
    if near.iter().any(|s| s.last_year) {
        notes.push(
            "The same weeks of last year, at the same camera, are among what it is compared with."
                .to_owned(),
        );
    } else if others.is_empty() {
        notes.push(match debrief.season.cameras.len() {
            1 => "There is one camera, so there is nothing to compare with: the season itself may have made the change. A second camera, away from it, would tell.".to_owned(),
            _ => "Every camera counts as near it, so there is nothing to compare with: the season itself may have made the change. Name the near cameras in disturbances.csv.".to_owned(),
        });
    }
    let Some(shift) = near.first().or(others.first()) else {
        return notes;
    };
    for s in others {
        if s.all_hours_ratio.is_some_and(|r| r.low > 1.0) {
            notes.push(format!(
                "{} is a control and had more visits of {} after ({}). If they came from the near cameras, the comparison makes the change look larger than it was.",
                debrief.camera_name(s.camera),
                debrief.season.about.kind.them(),
                words::times(s.all_hours_ratio)
            ));
        }
    }
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
    let plan = debrief.shifts.plan(&disturbance.id);
    let is_of_seasons = plan.is_some_and(|p| p.windows.years_apart.is_some());
    for s in near.iter().chain(others).filter(|_| !is_of_seasons) {
        let Some(camera) = s.camera.map(|c| &debrief.season.cameras[c]) else {
            continue;
        };
        if camera.moved_between(s.before.from, s.after.until) {
            notes.push(format!(
                "{} was moved within these days; only the days at the place where it hung on {} count.",
                camera.name,
                words::day(s.after.from)
            ));
        }
        for (side, name) in [(&s.before, "before"), (&s.after, "after")] {
            if !side.pictures.are_tagged() {
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
                    "{} is known to have worked on only {} of the {days} days {name}.{}",
                    camera.name,
                    side.nights,
                    other_reading(s, side, days)
                ));
            }
        }
    }
    notes
}

/// A silent camera may have been dead, or the deer may have left: what the numbers are if it worked all the
/// same. Only where deer had come before.
fn other_reading(s: &Shift, side: &Side, days: usize) -> String {
    let other = match side.from == s.after.from {
        true => &s.before,
        false => &s.after,
    };
    let is_known = side.pictures.are_tagged();
    if s.role == Role::Control || !is_known || side.visits * 2 > other.visits {
        return String::new();
    }
    format!(
        " It took no picture of anything on the others. If it was dead, nothing is known of them, and they are left out; if it worked, visits in light were {} in {} here, beside {}, and deer may have left.",
        side.counted,
        words::counted(days, "night"),
        words::counted_in_nights(other)
    )
}

fn table(debrief: &Debrief, disturbance: &Disturbance, kind: Kind) -> Markup {
    let worked = |s: &&Shift| s.before.nights + s.after.nights > 0;
    let rows = debrief.shifts.of(&disturbance.id, kind).filter(worked);
    let mut rows: Vec<&Shift> = rows.collect();
    rows.sort_by_key(|s| (s.role == Role::Control, s.camera));
    let near = rows.iter().filter(|s| s.role == Role::Near).count();
    let together = debrief
        .shifts
        .together(&disturbance.id, kind)
        .filter(|_| near > 1);
    let light = debrief.property.settings.share_light();
    html! {
        div.wide tabindex="0" { table {
            caption { (kind.plural()) }
            thead { tr {
                th scope="col" { "Camera" }
                th scope="col" { "Visits in " (light) " per night" }
                th scope="col" { "Before" }
                th scope="col" { "After" }
                th scope="col" { "Against the controls" }
                th scope="col" { "Part of all visits" }
                th scope="col" { "Against the controls" }
            } }
            tbody { @for s in together.into_iter().chain(rows) { (row(debrief, s)) } }
        } }
        p.note { "A range is that of its row by itself, 19 times in 20; verdict and p allow for everything that was looked at." }
    }
}

fn row(debrief: &Debrief, s: &Shift) -> Markup {
    html! {
        tr {
            th scope="row" {
                @match s.camera {
                    Some(_) => { (debrief.camera_name(s.camera)) " (" (s.role.word()) ")" },
                    None => "All near together",
                }
            }
            td {
                strong { (s.light_verdict.word()) }
                @if let Some(pattern) = s.pattern { ", " (pattern.word()) }
                br;
                (words::p(s.light_p_adjusted))
            }
            td { (words::in_nights(&s.before)) }
            td { (words::in_nights(&s.after)) }
            td { (words::times(s.rate_ratio_against_controls)) }
            td { strong { (s.verdict.word()) } br; (words::p(s.p_adjusted)) }
            td { (s.share_change_against_controls.map_or_else(|| "–".to_owned(), words::points)) }
        }
    }
}
