//! Changes that nobody logged.

use maud::{Markup, html};

use super::contents::Part;
use crate::debrief::Debrief;
use crate::report::words;
use crate::shift::Unlogged;

pub(super) fn section(debrief: &Debrief) -> Markup {
    let shifts = &debrief.shifts;
    html! {
        section id=(Part::Unlogged.id()) {
            h2 { (Part::Unlogged.heading()) }
            @if shifts.unlogged.is_empty() && !shifts.could_be_watched {
                p { "Whether something changed that is not logged cannot be told: it takes several cameras at work in the same weeks with enough visits." }
            } @else if shifts.unlogged.is_empty() {
                p { "No camera shows a change that is not logged and that nobody could overlook. Smaller ones stay hidden: every camera is looked at on every third day, and with so many looks even the loss of everything at one camera is mostly missed. Log what happens; what is logged is seen far sooner." }
            }
            @for change in &shifts.unlogged { p.mind { (unlogged(debrief, change)) } }
        }
    }
}

fn unlogged(debrief: &Debrief, change: &Unlogged) -> String {
    format!(
        "{} at {}: {}, and nothing is logged there. Look at what happened between {} and {}. If nothing had happened, luck would show as much {} seasons.",
        change.kind.plural(),
        debrief.camera_name(Some(change.camera)),
        words::against_others(change),
        words::day(change.dates.0),
        words::day(change.dates.1),
        words::once_in(change.p_adjusted),
    )
}
