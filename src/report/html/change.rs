//! Before and after each disturbance, with its working.

use chrono::Days;
use maud::{Markup, html};

use super::{figure, summary};
use crate::debrief::Debrief;
use crate::property::{By, Disturbance};
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Enough, MOST_TIMES, Onset, Placebo, Role, Shift, Side, WORTH_KNOWING};
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
                (one(debrief, gallery, i, disturbance))
            }
        }
    }
}

fn one(debrief: &Debrief, gallery: &Gallery, index: usize, disturbance: &Disturbance) -> Markup {
    let rows: Vec<&Shift> = debrief
        .shifts
        .of(&disturbance.id, debrief.season.about.kind)
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
            p.answer { (words::capital(&summary::verdict_sentence(debrief, &near))) }
            @for note in notes(debrief, disturbance, &near, &others) { p.mind { (note) } }
            (figure(gallery, Subject::Changes(index)))
            @for shift in &near {
                (figure(gallery, Subject::Activity { disturbance: index, camera: shift.camera }))
            }
            @for kind in debrief.season.about.kinds() { (table(debrief, disturbance, kind)) }
            (working(debrief, gallery, index, &near))
            @if !others.is_empty() {
                details {
                    summary { "The same days at the control cameras" }
                    @for shift in &others {
                        (figure(gallery, Subject::Activity { disturbance: index, camera: shift.camera }))
                    }
                }
            }
            details {
                summary { "The other kinds" }
                @for kind in debrief.kinds_seen().filter(|k| !debrief.season.about.kinds().contains(k)) { (table(debrief, disturbance, kind)) }
            }
        }
    }
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
    for s in near.iter().chain(others).filter(|s| s.clock_in_doubt) {
        notes.push(format!(
            "The clock of {} is wrong on some of these days and not settled, so nothing there is called clear{}.",
            debrief.camera_name(Some(s.camera)),
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
                debrief.camera_name(Some(s.camera)),
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
                    "{} is known to have worked on only {} of the {days} days {name}.",
                    debrief.camera_name(Some(s.camera)),
                    side.nights
                ));
            }
        }
    }
    notes
}

/// What a sceptic asks next, camera by camera.
fn working(debrief: &Debrief, gallery: &Gallery, index: usize, near: &[&Shift]) -> Markup {
    html! {
        details {
            summary { "Working: " (debrief.season.about.kind.them()) " at the near cameras, minutes, other dates, what could be seen" }
            (figure(gallery, Subject::Sketch(index)))
            @for shift in near {
                h4 { (debrief.camera_name(Some(shift.camera))) }
                ul { @for line in findings(shift) { li { (line) } } }
                (figure(gallery, Subject::Placebo { disturbance: index, camera: shift.camera }))
            }
        }
    }
}

fn findings(shift: &Shift) -> Vec<String> {
    let mut lines = Vec::new();
    lines.extend(shift.onset.as_ref().map(onset));
    if let Some(timing) = shift.timing {
        lines.extend(timing.evening_min.map(|m| {
            format!(
                "Evening visits, by the sunset of their day, came {}.",
                words::later(m)
            )
        }));
        lines.extend(timing.morning_min.map(|m| {
            format!(
                "Morning visits, by the sunrise of their day, came {}.",
                words::later(m)
            )
        }));
        lines.extend(timing.overlap.map(|o| {
            format!(
                "The patterns of the day before and after overlap by {} ({}); 100 % would be the same pattern. Few visits alone already make patterns differ; that both are one pattern has {}, every visit taken as independent.",
                words::percent(o.value),
                words::percent_range(o),
                timing.pattern_p.map_or_else(|| "too few visits for a test".to_owned(), |p| words::p(Some(p)))
            )
        }));
    }
    lines.push(data(shift));
    lines.push(format!(
        "Runs of days: {:.1} visits here are worth one independent visit.",
        shift.runs.design_effect
    ));
    lines.extend(shift.enough.map(could_be_seen));
    lines.extend(shift.placebo.as_ref().map(placebo));
    lines
}

/// What went into the comparison.
fn data(shift: &Shift) -> String {
    let side = |side: &Side| {
        format!(
            "{} in {}, {} of {} without a tag",
            words::counted(side.visits, "visit"),
            words::counted(side.nights, "camera-night"),
            words::grouped(side.pictures.untagged),
            words::counted(side.pictures.all, "picture")
        )
    };
    format!(
        "Used: before, {}; after, {}. Left out: dates on which the camera is not known to have worked, and everything listed under \"What was left out\".",
        side(&shift.before),
        side(&shift.after)
    )
}

fn onset(onset: &Onset) -> String {
    let (from, until) = onset.interval;
    let recovery = onset.recovered_after_days.map_or_else(
        || {
            format!(
                "it had not come back by {}, when the pictures end",
                words::day(onset.followed_until)
            )
        },
        |days| {
            let days = usize::try_from(days).unwrap_or(0);
            format!(
                "it was within reach of what it had been after {}",
                words::counted(days, "day")
            )
        },
    );
    format!(
        "The share most likely changed on {} (between {} and {}); {recovery}.",
        words::day(onset.date),
        words::day(from),
        words::day(until)
    )
}

fn could_be_seen(enough: Enough) -> String {
    let seen = enough.smallest_drop.map_or_else(
        || "With these visits not even a fall to nothing could have been told from chance".to_owned(),
        |drop| {
            format!(
                "With these visits a drop of {:.0} points or more would have been told from chance, had it been the only question",
                drop * 100.0
            )
        },
    );
    let worth = WORTH_KNOWING * 100.0;
    match enough.times_nights {
        Some(times) if times <= 1.0 => format!("{seen}."),
        Some(times) => format!(
            "{seen}. To see a drop of {worth:.0} points takes about {times:.1} times as many camera-nights."
        ),
        None => format!(
            "{seen}. To see a drop of {worth:.0} points would take more than {MOST_TIMES:.0} times as many camera-nights, or there was not so much to drop from."
        ),
    }
}

fn placebo(placebo: &Placebo) -> String {
    match placebo.untouched {
        0 => "No other date has all its days before the disturbance, so there is none to compare this one with.".to_owned(),
        n => format!(
            "Of {} whose days all lie before the disturbance and hold nothing else that is logged near the camera, {} changed as much, up or down. Neighbouring dates share most of their days, so these are far fewer independent comparisons than they look.",
            words::counted(n, "other date"),
            placebo.as_large
        ),
    }
}

fn table(debrief: &Debrief, disturbance: &Disturbance, kind: Kind) -> Markup {
    let mut rows: Vec<&Shift> = debrief.shifts.of(&disturbance.id, kind).collect();
    rows.sort_by_key(|s| (s.role == Role::Control, s.camera));
    html! {
        div.wide tabindex="0" { table {
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
