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
    match chosen.why {
        WhyDays::Seasons => "No near camera worked on the days around it, so the counts are those of the season before it and the season after, over the days of the year on which a camera worked in both.".to_owned(),
        WhyDays::Set => format!("property.toml says {days} days."),
        WhyDays::Usual | WhyDays::Fewest => format!(
            "Counts are those of {days} days either side; the verdict is from the whole record."
        ),
    }
}

/// The near cameras together over other numbers of days. No verdict: choosing among them after looking would
/// make a clear one out of chance.
pub(super) fn other_days(debrief: &Debrief, disturbance: &str) -> Markup {
    let other_days = debrief.shifts.plan(disturbance).map(|p| p.other_days.as_slice());
    let other_days = other_days.unwrap_or_default();
    html! {
        @if !other_days.is_empty() {
            p { "The same with fewer or more of the days after it, to see how much hangs on them. There is no verdict here: of several one would stand out by chance." }
            div.wide tabindex="0" { table {
                thead { tr {
                    th scope="col" { "Days after" }
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
