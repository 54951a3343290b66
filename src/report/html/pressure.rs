//! What happened several times, and what the days after it looked like: own beside neighbours'.

use maud::{Markup, html};

use super::behind;
use super::contents::Part;
use super::said::{Said, Sure};
use crate::debrief::{Behind, Beside, Debrief};
use crate::property::By;
use crate::report::words;
use crate::shift::{DayAfter, Repeated, Verdict};

pub(super) fn section(debrief: &Debrief) -> Markup {
    let all = &debrief.shifts.repeated;
    html! {
        @if !all.is_empty() {
            section id=(Part::Again.id()) {
                h2 { (Part::Again.heading()) }
                p {
                    "The same act under the same words is one question, whatever its number. The day it happened and the two after it are set against other days of the same camera and fortnight, weekends and weekdays apart, a week or more after any of them."
                }
                (side_by_side(debrief, all))
                @for repeated in all { (after(debrief, repeated)) }
            }
        }
    }
}

fn whose(by: Option<By>) -> &'static str {
    match by {
        Some(By::Own) => "your own",
        Some(By::Neighbour) => "a neighbour's",
        Some(By::Nature) => "nature's",
        Some(By::NotSaid) => "not said",
        None => "people in the pictures",
    }
}

fn side_by_side(debrief: &Debrief, all: &[Repeated]) -> Markup {
    let light = debrief.property.settings.share_light();
    html! {
        div.wide tabindex="0" { table {
            caption { (debrief.season.about.kind.plural()) " in " (light) ", that day and the two after it over other days" }
            thead { tr {
                th scope="col" { "What" }
                th scope="col" { "Whose" }
                th scope="col" { "Times" }
                th scope="col" { "Visits in " (light) }
                th scope="col" { "Verdict" }
            } }
            tbody { @for r in all { tr {
                th scope="row" { (r.what) }
                td { (whose(r.by)) }
                td { (r.times) }
                td {
                    (words::times(r.ratio))
                    @if r.ratio.is_some() {
                        br; (matched(r, Beside::After)) " on " (words::counted(r.matched.days, "day")) ", "
                        (matched(r, Beside::Before)) " on " (words::counted(r.matched.other_days, "other"))
                    }
                }
                td { strong { (r.verdict.word()) } br; (why(r)) }
            } } }
        } }
    }
}

/// The visits in light on the days after, or on the others.
pub(super) fn matched(repeated: &Repeated, side: Beside) -> Markup {
    let (visits, words) = match side {
        Beside::Before => {
            let visits = repeated.matched.other_visits;
            (visits, words::grouped(visits))
        }
        Beside::After | Beside::Both => {
            let visits = repeated.matched.visits;
            (visits, words::counted(visits, "visit"))
        }
    };
    behind::some(visits, &words, &behind::of_again(repeated, side))
}

/// The odds of a clear one, or why nothing can be said.
fn why(repeated: &Repeated) -> String {
    match repeated.verdict {
        Verdict::NoControl => "too few other days like these: it happened often".to_owned(),
        Verdict::NotTagged => "too many pictures without a tag".to_owned(),
        _ => match repeated.p_adjusted {
            Some(p) if repeated.verdict.is_clear() => {
                format!("luck would do this {}", words::once_in(p))
            }
            _ => String::new(),
        },
    }
}

/// What is clear of it, for the first page.
pub(super) fn said(debrief: &Debrief) -> impl Iterator<Item = Said> {
    let clear = debrief.shifts.repeated.iter();
    let clear = clear.filter_map(|r| sentence(debrief, r));
    let clear = clear.map(|text| (Sure::Shown, text));
    let open = not_asked(debrief).map(|text| (Sure::Open, text));
    clear.chain(open).map(|(sure, text)| Said {
        more: Some(format!("#{}", Part::Again.id())),
        ..Said::plain(sure, text)
    })
}

/// What comes again and again is set against other days, so what it may have changed for good is in both.
fn not_asked(debrief: &Debrief) -> Option<String> {
    let log = &debrief.property.disturbances;
    let is_logged = |r: &&Repeated| log.iter().any(|d| d.what == r.what);
    let logged: Vec<&Repeated> = debrief.shifts.repeated.iter().filter(is_logged).collect();
    let open: Vec<String> = logged
        .iter()
        .filter(|r| sentence(debrief, r).is_none())
        .map(|r| format!("{} ({})", r.what, words::counted(r.times, "time")))
        .collect();
    let shown = match open.is_empty() {
        true => String::new(),
        false => format!(
            "{}: no change shown on these days and the two after each. ",
            words::listed(&open)
        ),
    };
    (!logged.is_empty()).then(|| {
        format!(
            "{shown}Whether something stayed changed from the first of them on is not asked of what comes again and again: to ask it, log its first day alone, under words of its own."
        )
    })
}

/// One act in a sentence, where something is clear.
fn sentence(debrief: &Debrief, repeated: &Repeated) -> Option<String> {
    let ratio = repeated.ratio.filter(|_| repeated.verdict.is_clear())?;
    let change = match repeated.verdict {
        Verdict::ClearDrop => "fewer",
        _ => "more",
    };
    Some(format!(
        "{} ({}, {} on {}): clearly {change} visits of {} in {} on that day and the two after, {} those on other days like them ({}–{}).",
        repeated.what,
        whose(repeated.by),
        words::counted(repeated.times, "time"),
        words::counted(repeated.camera_days, "camera-day"),
        debrief.season.about.kind.them(),
        debrief.property.settings.share_light(),
        words::times_or_part_of(ratio.value),
        words::factor(ratio.low),
        words::factor(ratio.high),
    ))
}

fn after(debrief: &Debrief, repeated: &Repeated) -> Markup {
    let light = debrief.property.settings.share_light();
    let about = debrief.season.about.kind;
    html! {
        h3 { (repeated.what) ", " (words::counted(repeated.times, "time")) }
        p.note { (words::counted(repeated.camera_days, "camera-day")) " on which it happened." }
        details {
            summary { "Day by day" }
            p {
                "Day by day nothing is tested. The middle column sets visits of " (about.them()) " in " (light)
                " against matched days; the others are deer of all kinds at the cameras it could touch, every visit taken as independent."
            }
            div.wide tabindex="0" { table {
                thead { tr {
                    th scope="col" { "Day" }
                    th scope="col" { "Nights" }
                    th scope="col" { (about.plural()) " in " (light) ", against matched days" }
                    th scope="col" { "Deer per night" }
                    th scope="col" { "Deer in " (light) }
                } }
                tbody {
                    @for (n, day) in repeated.after.iter().enumerate() {
                        @let name = if n == 0 { "the day itself".to_owned() } else { format!("{n} after") };
                        (row(&name, &words::times(repeated.recovery.get(n).copied().flatten()), day, &day_by_day(repeated, n.to_string())))
                    }
                    (row("other days", "×1", &repeated.ordinary, &day_by_day(repeated, "other".to_owned())))
                }
            } }
        }
    }
}

fn day_by_day(repeated: &Repeated, days: String) -> Behind {
    Behind { days, ..behind::of_again(repeated, Beside::After) }
}

fn row(name: &str, against: &str, day: &DayAfter, number: &Behind) -> Markup {
    let rate = day
        .per_night
        .map_or_else(|| "–".to_owned(), |r| format!("{:.1} ({:.1}–{:.1})", r.value, r.low, r.high));
    html! {
        tr {
            th scope="row" { (name) }
            td { (words::grouped(day.nights)) }
            td { (against) }
            td { (rate) }
            td { (behind::some(day.visits, &words::share(day.counted, day.visits, day.share), number)) }
        }
    }
}
