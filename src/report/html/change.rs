//! Before and after each disturbance, with its working.

use chrono::Days;
use maud::{Markup, html};

use super::{figure, plan, rests_on, summary};
use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::property::{By, Disturbance};
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Enough, MOST_TIMES, Onset, POWER, Placebo, Question, Role, Shift, Side};
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
            @for note in notes(debrief, disturbance, &near, &others) { p.mind { (note) } }
            (figure(gallery, Subject::Changes(index)))
            @for shift in &near { @if let Some(figure) = activity(shift) { (figure) } }
            @for kind in debrief.season.about.kinds() { (table(debrief, disturbance, kind)) }
            (working(debrief, gallery, index, disturbance, &near))
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
    if s.role == Role::Control || side.visits * 2 > other.visits {
        return String::new();
    }
    format!(
        " It took no picture of anything on the others. If it was dead, nothing is known of them, and they are left out; if it worked, visits in light were {} in {} here, beside {}, and deer may have left.",
        side.counted,
        words::counted(days, "night"),
        words::counted_in_nights(other)
    )
}

/// What a sceptic asks next: over other days, then camera by camera.
fn working(
    debrief: &Debrief,
    gallery: &Gallery,
    index: usize,
    disturbance: &Disturbance,
    near: &[&Shift],
) -> Markup {
    let about = debrief.season.about.kind;
    let together = debrief.shifts.together(&disturbance.id, about);
    html! {
        details {
            summary { "Working: " (about.them()) " at the near cameras, other numbers of days, minutes, other dates, what could be seen" }
            (figure(gallery, Subject::Sketch(index)))
            (plan::other_days(debrief, &disturbance.id))
            @if let Some(together) = together.filter(|_| near.len() > 1) {
                h4 { "All near cameras together" }
                ul { @for line in findings(debrief, together) { li { (line) } } }
            }
            @for shift in near {
                h4 { (debrief.camera_name(shift.camera)) }
                ul { @for line in findings(debrief, shift) { li { (line) } } }
                @if let Some(camera) = shift.camera {
                    (figure(gallery, Subject::Placebo { disturbance: index, camera }))
                }
            }
        }
    }
}

fn findings(debrief: &Debrief, shift: &Shift) -> Vec<String> {
    let mut lines = Vec::new();
    lines.extend(shift.rests_on.as_ref().map(rests_on::sentence));
    if shift.light_verdict.is_clear() || shift.verdict.is_clear() {
        lines.push("A change that was picked out because it is clear looks larger than it is: chance had to help it over the bar. The truth is more likely in the half of the range that lies nearer to no change.".to_owned());
    }
    lines.extend(shift.onset.as_ref().map(|o| onset(debrief, o)));
    if let Some(timing) = shift.timing {
        lines.extend(minutes(
            "Evening visits, by the sunset of their day,",
            timing.evening_min,
            timing.evening_against_min,
        ));
        lines.extend(minutes(
            "Morning visits, by the sunrise of their day,",
            timing.morning_min,
            timing.morning_against_min,
        ));
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
    lines.push(unlike(shift));
    lines.extend(shift.enough.map(could_be_seen));
    lines.extend(shift.fall_ruled_out.map(|loss| {
        format!(
            "A loss of more than {} of the visits in light is ruled out, with 95 % confidence.",
            words::percent(loss)
        )
    }));
    lines.extend(shift.placebo.as_ref().map(placebo));
    lines
}

fn minutes(visits: &str, own: Option<Estimate>, against: Option<Estimate>) -> Option<String> {
    let own = own?;
    Some(match against {
        Some(against) => format!(
            "{visits} came {}; against the control cameras, whose evenings and mornings the season moves too, {}.",
            words::later(own),
            words::later(against)
        ),
        None => format!(
            "{visits} came {}; too few control cameras have visits enough to say what the season alone would have moved.",
            words::later(own)
        ),
    })
}

/// What runs of days and unlike cameras cost.
fn unlike(shift: &Shift) -> String {
    let runs = format!(
        "Runs of days: {:.1} visits here are worth one independent visit.",
        shift.runs.design_effect
    );
    let against = match shift.controls {
        0 => return runs,
        1 => "one other camera or earlier year".to_owned(),
        n => format!("{n} other cameras and earlier years"),
    };
    let between = |b: Option<f64>| {
        b.filter(|b| *b > 0.0)
            .map(|b| words::factor(b.sqrt().exp()))
    };
    match between(shift.between[0]) {
        Some(times) => format!(
            "{runs} Set against {against}; by itself a camera's visits in light change by about {times} up or down while nothing is logged."
        ),
        None => {
            format!("{runs} Set against {against}, which differ no more than few visits explain.")
        }
    }
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

fn onset(debrief: &Debrief, onset: &Onset) -> String {
    let (from, until) = onset.interval;
    let what = match onset.of {
        Question::Share => "The share".to_owned(),
        _ => format!("Visits in {}", debrief.property.settings.share_light()),
    };
    let recovery = onset.recovered_after_days.map_or_else(
        || {
            format!(
                "no clear return is seen up to {}, when the pictures end",
                words::day(onset.followed_until)
            )
        },
        |days| {
            let days = usize::try_from(days).unwrap_or(0);
            format!(
                "a clear return begins within two weeks of the day {} later",
                words::counted(days, "day")
            )
        },
    );
    format!(
        "{what} most likely changed on {} (between {} and {}); {recovery}.",
        words::day(onset.date),
        words::day(from),
        words::day(until)
    )
}

fn could_be_seen(enough: Enough) -> String {
    let repeats = format!("{} of 10 repeats", (POWER * 10.0).round());
    let loss = enough.smallest_loss.map_or_else(
        || "not even the loss of all visits in light would have been found".to_owned(),
        |loss| {
            format!(
                "the loss of {} of the visits in light or more would have been found",
                words::percent(loss)
            )
        },
    );
    let drop = enough.smallest_drop.map_or_else(
        || "no drop of the share".to_owned(),
        |drop| format!("a drop of the share by {:.0} points or more", drop * 100.0),
    );
    let times = match enough.times_nights {
        Some(times) if times <= 1.0 => String::new(),
        Some(times) => format!(
            " To find the loss of half of them takes about {times:.1} times as many camera-nights."
        ),
        None => format!(
            " To find the loss of half of them takes more than {MOST_TIMES:.0} times as many camera-nights, or more control cameras: they differ too much among themselves."
        ),
    };
    format!("In {repeats} of these weeks {loss}, and {drop}.{times}")
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
