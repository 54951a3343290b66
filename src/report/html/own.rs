//! What the person did that cost them, what did not, and what cannot be told.

use maud::{Markup, html};

use super::contents::Part;
use super::{behind, pressure};
use crate::debrief::{Beside, Debrief};
use crate::measure::Estimate;
use crate::property::By;
use crate::report::words;
use crate::shift::{Repeated, Role, Side, Verdict, rules_loss_out};

/// Which of three a doing belongs to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Cost {
    Lost,
    DidNot,
    CannotBeTold,
}

impl Cost {
    const ALL: [Self; 3] = [Self::Lost, Self::DidNot, Self::CannotBeTold];

    fn heading(self) -> &'static str {
        match self {
            Self::Lost => "What cost us",
            Self::DidNot => "Where a loss of half is ruled out",
            Self::CannotBeTold => "What cannot be told",
        }
    }
}

pub(super) fn section(debrief: &Debrief) -> Markup {
    let all: Vec<(Cost, Markup)> = again(debrief).chain(once(debrief)).collect();
    html! {
        @if !all.is_empty() {
            section id=(Part::Own.id()) {
                h2 { (Part::Own.heading()) }
                p {
                    "Own work, sits and cards taken. That a loss of half is ruled out leaves a smaller one open; where neither is shown it cannot be told. "
                    @if debrief.shifts.repeated.is_empty() { "" } @else { a href={ "#" (Part::Again.id()) } { "The numbers day by day" } }
                }
                @for cost in Cost::ALL {
                    @if all.iter().any(|(c, _)| *c == cost) {
                        h3 { (cost.heading()) }
                        ul { @for (_, text) in all.iter().filter(|(c, _)| *c == cost) { li { (text) } } }
                    }
                }
            }
        }
    }
}

fn cost(verdict: Verdict, ratio: Option<Estimate>) -> Cost {
    match verdict {
        Verdict::ClearDrop => Cost::Lost,
        Verdict::ClearRise => Cost::DidNot,
        Verdict::NoClearChange if ratio.is_some_and(rules_loss_out) => Cost::DidNot,
        _ => Cost::CannotBeTold,
    }
}

fn again(debrief: &Debrief) -> impl Iterator<Item = (Cost, Markup)> {
    let repeated = debrief.shifts.repeated.iter();
    let own = repeated.filter(|r| matches!(r.by, Some(By::Own) | None));
    own.map(|r| {
        let ratio = r.ratio.filter(|_| r.p_value.is_some());
        let cost = match cost(r.verdict, ratio) {
            // What is true of some stands need not be of all.
            Cost::DidNot if r.pools_what_cannot_be_told => Cost::CannotBeTold,
            cost => cost,
        };
        let times = format!(
            "{} ({} on {})",
            r.what,
            words::counted(r.times, "time"),
            words::counted(r.camera_days, "camera-day")
        );
        let found = match (ratio, r.verdict) {
            (Some(ratio), _) => html! {
                (pressure::matched(r, Beside::After)) " on " (words::counted(r.matched.days, "camera-day"))
                " on that day or the two after it, " (pressure::matched(r, Beside::Before)) " on "
                (words::counted(r.matched.other_days, "other")) " like them: " (words::times_or_part_of(ratio.value))
                " what those lead to expect (" (words::factor_range(ratio)) ")" (back(r))
            },
            (None, Verdict::NoControl) => html! {
                "it happened so often that hardly any other day of the same fortnight is like them"
            },
            (None, Verdict::NotTagged) => html! { "too many of the pictures have no tag yet" },
            (None, _) => html! { "too few visits in light on such days" },
        };
        (cost, html! { (times) ": " (found) "." })
    })
}

/// When it was over, for what clearly cost something: the first day whose range holds no loss.
fn back(repeated: &Repeated) -> String {
    if repeated.verdict != Verdict::ClearDrop {
        return String::new();
    }
    let is_back = |e: &Option<Estimate>| e.is_some_and(|e| e.high >= 1.0 && e.value >= 0.8);
    let days = (1..repeated.recovery.len()).find(|n| is_back(&repeated.recovery[*n]));
    match days {
        Some(1) => "; the next day is not shown to be any worse than others".to_owned(),
        Some(n) => format!("; from day {n} after it on none is shown to be worse than others"),
        None => "; within a week it was not over".to_owned(),
    }
}

/// Own work that happened once.
fn once(debrief: &Debrief) -> impl Iterator<Item = (Cost, Markup)> {
    let about = debrief.season.about.kind;
    let own = debrief.single_disturbances().filter(|d| d.by == By::Own);
    own.filter_map(move |d| {
        let row = debrief.shifts.together(&d.id, about)?;
        let alone = debrief.shifts.of(&d.id, about);
        let dropped =
            alone.filter(|s| s.role == Role::Near).any(|s| s.light_verdict == Verdict::ClearDrop);
        let against = row.rate_ratio_against_controls;
        let cost = match dropped {
            true => Cost::Lost,
            false => cost(row.light_verdict, against),
        };
        let counts = |side: &Side, beside: Beside| {
            let number = behind::in_light(behind::of_change(debrief, row, beside));
            behind::some(side.counted, &words::counted_in_nights(side), &number)
        };
        let against = against.map_or_else(String::new, |r| {
            format!(
                "; {} what the other cameras lead to expect ({})",
                words::times_or_part_of(r.value),
                words::factor_range(r)
            )
        });
        let day = words::day(d.start.date());
        let text = html! {
            (d.what) " (" (day) "): in light " (counts(&row.before, Beside::Before)) " before, "
            (counts(&row.after, Beside::After)) " after" (against) "."
        };
        Some((cost, text))
    })
}
