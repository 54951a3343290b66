//! Which days are compared, why so many, and how much hangs on it.

use maud::{Markup, html};

use crate::debrief::Debrief;
use crate::report::words;
use crate::shift::{Chosen, WhyDays};

/// The days compared, and how their number was chosen.
pub(super) fn compared(debrief: &Debrief, disturbance: &str) -> String {
    let Some(plan) = debrief.shifts.plan(disturbance) else {
        return String::new();
    };
    let (before, after) = (plan.windows.before, plan.windows.after);
    format!(
        "Compared: {} to {} with {} to {}. {}",
        words::day(before.0),
        words::day(before.1),
        words::day(after.0),
        words::day(after.1),
        why(plan.chosen)
    )
}

fn why(chosen: Chosen) -> String {
    let days = chosen.days;
    let likely = chosen.power.map(|p| format!("{} times in 100", words::whole_percent(p)));
    match (chosen.why, likely) {
        (WhyDays::Seasons, _) => "No near camera worked on the days around it, so the season before it and the season after are compared, over the days of the year on which a camera worked in both.".to_owned(),
        (WhyDays::Set, _) => format!("property.toml says {days} days."),
        (WhyDays::Enough, Some(likely)) => format!(
            "{days} days either side: the fewest in which, by the days before alone and if cameras go on differing no more than they did, the loss of half of the visits in light would be found {likely}."
        ),
        (_, Some(likely)) => format!(
            "{days} days either side: the most that the pictures and the log allow. By the days before alone, and if cameras go on differing no more than they did, the loss of half of the visits in light would be found {likely}."
        ),
        (_, None) => {
            format!("{days} days either side: the days before do not say how many it would take.")
        }
    }
}

/// The near cameras together over other numbers of days. No verdict: choosing among them after looking would
/// make a clear one out of chance.
pub(super) fn other_days(debrief: &Debrief, disturbance: &str) -> Markup {
    let other_days = debrief.shifts.plan(disturbance).map(|p| p.other_days.as_slice());
    let other_days = other_days.unwrap_or_default();
    html! {
        @if !other_days.is_empty() {
            p { "The same over other numbers of days, to see how much hangs on the choice. There is no verdict here: of several numbers of days one would be clear by chance." }
            div.wide tabindex="0" { table {
                thead { tr {
                    th scope="col" { "Days either side" }
                    th scope="col" { "Visits in light per night, against the controls" }
                    th scope="col" { "Part of all visits, against the controls" }
                } }
                tbody { @for other in other_days { tr {
                    th scope="row" { (other.days) }
                    td { (words::times(other.rate_ratio)) }
                    td { (other.share_change.map_or_else(|| "–".to_owned(), words::points)) }
                } } }
            } }
        }
    }
}
