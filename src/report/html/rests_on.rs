//! On which deer a clear change rests.

use crate::report::words;
use crate::shift::{RestsOn, Without};

/// The bucks behind a change, and whether it holds without each.
pub(super) fn sentence(rests: &RestsOn) -> String {
    let unnamed = words::counted(rests.unnamed, "visit");
    if rests.without.is_empty() {
        return format!(
            "It rests on {unnamed} of bucks that are not named, so how many they are is not known."
        );
    }
    let named: Vec<String> = rests.without.iter().map(without).collect();
    let others = match rests.unnamed {
        0 => String::new(),
        _ => format!(" and on {unnamed} of bucks without a name"),
    };
    format!(
        "It rests on {}{others}: {}.",
        words::counted(rests.without.len(), "named buck"),
        named.join("; ")
    )
}

fn without(one: &Without) -> String {
    let [before, after] = one.left;
    let clear = match one.still_clear {
        Some(true) => ", still clear",
        Some(false) => ", no longer clear",
        None => "",
    };
    format!(
        "without {} ({}) {} of {} in light, then {} of {}{clear}",
        one.name,
        words::counted(one.visits, "visit"),
        before.0,
        before.1,
        after.0,
        after.1,
    )
}
