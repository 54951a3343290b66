//! Before and after each disturbance, with its working.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use maud::{Markup, html};

use super::contents::Part;
use super::strip::{legend, strip};
use super::{behind, figure, plan, summary, working};
use crate::debrief::{Beside, Debrief};
use crate::property::{By, Disturbance};
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Role, Shift, Side, Verdict, visits_compared};
use crate::visits::Kind;

pub(super) fn section(debrief: &Debrief, gallery: &Gallery) -> Markup {
    let disturbances = &debrief.property.disturbances;
    html! {
        section id=(Part::Changes.id()) {
            h2 { (Part::Changes.heading()) }
            @if debrief.single_disturbances().next().is_some() { (legend()) }
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
        Some(figure(gallery, Subject::Activity { disturbance: index, camera }))
    };
    html! {
        article id={ "event-" (anchor(debrief, disturbance)) } {
            h3 { (disturbance.what) ", " (words::day(disturbance.start.date())) }
            p.note { (logged(disturbance)) " " (plan::compared(debrief, &disturbance.id)) }
            p.answer { (summary::verdict_sentence(debrief, disturbance)) }
            @if is_outside(&near) { p.note { "It lies outside the pictures, or its cameras were silent, so there is nothing to compare." } }
            @else {
            @for note in notes(debrief, disturbance, &near, &others) { p.mind { (note) } }
            @for shift in &near { (strips(debrief, shift)) }
            (figure(gallery, Subject::Changes(index)))
            @for shift in &near { @if let Some(figure) = activity(shift) { (figure) } }
            (table(debrief, disturbance, about))
            (working::section(debrief, gallery, index, disturbance, &near))
            @if !others.is_empty() {
                details {
                    summary { "The same days at the control cameras" }
                    @for shift in &others { (strips(debrief, shift)) }
                }
            }
            details {
                summary { "The other kinds" }
                @for kind in debrief.kinds_seen().filter(|k| *k != about) { (table(debrief, disturbance, kind)) }
            }
            }
        }
    }
}

/// Its place among the logged events, as a name in addresses.
pub(super) fn anchor(debrief: &Debrief, disturbance: &Disturbance) -> usize {
    let mut logged = debrief.property.disturbances.iter();
    logged.position(|d| d.id == disturbance.id).map_or(0, |i| i + 1)
}

/// One camera's visits by the hour, before and after.
fn strips(debrief: &Debrief, shift: &Shift) -> Markup {
    let Some(index) = shift.camera else {
        return html! {};
    };
    let camera = &debrief.season.cameras[index];
    let Some(plan) = debrief.shifts.plan(&shift.disturbance) else {
        return html! {};
    };
    let [before, after] = visits_compared(&debrief.season, index, shift.kind, &plan.windows);
    let sides = [(&shift.before, before, Beside::Before), (&shift.after, after, Beside::After)];
    html! {
        @for (side, visits, beside) in sides {
            @let name = beside.word();
            @if side.nights > 0 {
                div.striped {
                    strong { (camera.name) ", " (name) }
                    (strip(debrief, visits.into_iter(), &format!("{} at {} by hour, {name}", shift.kind.plural(), camera.name)))
                    span { (behind::side(side, &words::share(side.counted, side.visits, side.share), &behind::of_change(debrief, shift, beside))) " in " (words::counted(side.nights, "night")) }
                }
            }
        }
    }
}

/// Other events that began near one of its near cameras within the days compared: the two cannot be told apart.
pub(super) fn mixed_with<'a>(
    debrief: &'a Debrief,
    disturbance: &Disturbance,
) -> Vec<&'a Disturbance> {
    let about = debrief.season.about.kind;
    let near = |id: &str| -> Vec<usize> {
        let rows = debrief.shifts.of(id, about).filter(|s| s.role == Role::Near);
        rows.filter_map(|s| s.camera).collect()
    };
    let Some(plan) = debrief.shifts.plan(&disturbance.id) else {
        return Vec::new();
    };
    let own = near(&disturbance.id);
    let (from, until) = (plan.windows.before.0, plan.windows.after.1);
    let others = debrief.single_disturbances();
    others
        .filter(|d| d.id != disturbance.id)
        .filter(|d| (from..=until).contains(&d.start.date()))
        .filter(|d| near(&d.id).iter().any(|c| own.contains(c)))
        .collect()
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
        By::NotSaid => "Whose doing it was is not logged.",
    }
}

/// What else began within the days compared, each kind of act once.
fn others_within(debrief: &Debrief, disturbance: &Disturbance, shift: &Shift) -> Vec<String> {
    let mut dates: BTreeMap<&str, Vec<NaiveDate>> = BTreeMap::new();
    for other in &debrief.property.disturbances {
        let date = other.start.date();
        let is_within = shift.before.from < other.first_day_after() && date <= shift.after.until;
        if other.id != disturbance.id && is_within {
            dates.entry(&other.what).or_default().push(date);
        }
    }
    let mut all: Vec<(&str, Vec<NaiveDate>)> = dates.into_iter().collect();
    all.sort_by_key(|(_, dates)| dates.iter().min().copied());
    let said = |(what, mut dates): (&str, Vec<NaiveDate>)| {
        dates.sort_unstable();
        let when = match dates[..] {
            [date] => format!("on {}", words::day(date)),
            _ => format!(
                "{}, from {} to {}",
                words::counted(dates.len(), "time"),
                words::day(dates[0]),
                words::day(dates[dates.len() - 1])
            ),
        };
        format!(
            "\"{what}\" began {when}, within the days compared; the two cannot be told apart where both are near."
        )
    };
    all.into_iter().map(said).collect()
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
    notes.extend(others_within(debrief, disturbance, shift));
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
    let worked = |s: &&&Shift| s.before.nights + s.after.nights > 0;
    for s in near.iter().chain(others).filter(|_| !is_of_seasons).filter(worked) {
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
                    "{}: {} of {} on the days {name} without a tag yet, beside {} that show deer, so no rates are given.",
                    camera.name,
                    words::grouped(side.pictures.untagged),
                    words::counted(side.pictures.all, "picture"),
                    words::grouped(side.pictures.with_deer)
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
    let together = debrief.shifts.together(&disturbance.id, kind).filter(|_| near > 1);
    let light = debrief.property.settings.share_light();
    let says = |s: &&Shift| s.role == Role::Near || s.is_clear();
    let (rows, silent): (Vec<&Shift>, Vec<&Shift>) = rows.into_iter().partition(says);
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
        @if !silent.is_empty() {
            p.note { (said_of_silent(debrief, &silent)) " Their rows stand in " code { "shifts.csv" } "." }
        }
        p.note { "A range is that of its row by itself, 19 times in 20; a verdict allows for everything that was looked at." }
    }
}

/// Cameras of which nothing more is to be said, verdict by verdict.
fn said_of_silent(debrief: &Debrief, silent: &[&Shift]) -> String {
    let verdicts =
        [Verdict::NoClearChange, Verdict::TooFewVisits, Verdict::NoControl, Verdict::NotTagged];
    let of = |verdict: Verdict| {
        let asked = |s: &&&Shift| match s.light_verdict == verdict {
            // What one of the two questions could tell is told.
            true => verdict == Verdict::NoClearChange || s.verdict != Verdict::NoClearChange,
            false => verdict == Verdict::NoClearChange && s.verdict == verdict,
        };
        let names: Vec<&str> =
            silent.iter().filter(asked).map(|s| debrief.camera_name(s.camera)).collect();
        let words = words::capital(verdict.word());
        (!names.is_empty()).then(|| format!("{words}: {}.", names.join(", ")))
    };
    verdicts.into_iter().filter_map(of).collect::<Vec<_>>().join(" ")
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
            }
            td { (behind::side(&s.before, &words::in_nights(&s.before), &behind::of_change(debrief, s, Beside::Before))) }
            td { (behind::side(&s.after, &words::in_nights(&s.after), &behind::of_change(debrief, s, Beside::After))) }
            td { (words::times(s.rate_ratio_against_controls)) }
            td { strong { (s.verdict.word()) } }
            td { (s.share_change_against_controls.map_or_else(|| "–".to_owned(), words::points)) }
        }
    }
}
