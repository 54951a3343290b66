//! On which deer a clear change rests.

use maud::{Markup, html};

use super::behind;
use crate::debrief::{Behind, Beside, Debrief};
use crate::report::words;
use crate::shift::{RestsOn, Shift, Without};

/// The bucks behind a change, and whether it holds without each.
pub(super) fn sentence(debrief: &Debrief, shift: &Shift, rests: &RestsOn) -> Markup {
    let unnamed = words::counted(rests.unnamed, "visit");
    if rests.without.is_empty() {
        return html! {
            "It rests on " (unnamed) " of bucks that are not named, so how many they are is not known."
        };
    }
    let others = match rests.unnamed {
        0 => String::new(),
        _ => format!(" and on {unnamed} of bucks without a name"),
    };
    html! {
        "It rests on " (words::counted(rests.without.len(), "named buck")) (others) ": "
        @for (i, one) in rests.without.iter().enumerate() {
            @if i > 0 { "; " }
            (without(debrief, shift, one))
        }
        "."
    }
}

fn without(debrief: &Debrief, shift: &Shift, one: &Without) -> Markup {
    let [before, after] = one.left;
    let clear = match one.still_clear {
        Some(true) => ", still clear",
        Some(false) => ", no longer clear",
        None => "",
    };
    let theirs =
        Behind { deer: one.name.clone(), ..behind::of_change(debrief, shift, Beside::Both) };
    html! {
        "without " (one.name) " (" (behind::some(one.visits, &words::counted(one.visits, "visit"), &theirs)) ") "
        (before.0) " of " (before.1) " in light, then " (after.0) " of " (after.1) (clear)
    }
}
