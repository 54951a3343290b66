//! Changes that nobody logged, and what the days after something that happened often look like.

use maud::{Markup, html};

use crate::debrief::Debrief;
use crate::report::words;
use crate::shift::{DayAfter, Repeated, Unlogged};

pub(super) fn section(debrief: &Debrief) -> Markup {
    let shifts = &debrief.shifts;
    html! {
        section {
            h2 { "Worth a look" }
            @if shifts.unlogged.is_empty() && !shifts.could_be_watched {
                p { "Whether something changed that is not logged cannot be told: it takes two cameras at work in the same weeks with enough visits at both, or the same weeks of another year." }
            } @else if shifts.unlogged.is_empty() {
                p { "No camera shows a clear change that is not logged. Every camera was looked at on every third day, and the more looks, the more it takes to be called clear: one false alarm in twenty seasons at most." }
            }
            @for change in &shifts.unlogged { p.mind { (unlogged(debrief, change)) } }
            @for repeated in &shifts.repeated { (after(debrief, repeated)) }
        }
    }
}

fn unlogged(debrief: &Debrief, change: &Unlogged) -> String {
    format!(
        "{} at {}: the daylight share moved by {} points against the other cameras, and nothing is logged there. Look at what happened between {} and {} ({} with all looks allowed for).",
        change.kind.plural(),
        debrief.camera_name(Some(change.camera)),
        words::signed(change.change * 100.0),
        words::day(change.dates.0),
        words::day(change.dates.1),
        words::p(Some(change.p_adjusted)),
    )
}

fn after(debrief: &Debrief, repeated: &Repeated) -> Markup {
    let light = debrief.property.settings.share_light();
    html! {
        h3 { (repeated.what) ", " (words::counted(repeated.times, "time")) }
        p.note { (words::counted(repeated.camera_days, "camera-day")) " on which it happened." }
        p {
            "Deer of all kinds at the cameras it could touch, on the day itself and on the days after, all times together. Nothing is tested here and every visit is taken as independent: ranges that do not meet the last row's are a reason to keep a log, not proof."
        }
        div.wide tabindex="0" { table {
            thead { tr {
                th scope="col" { "Day" }
                th scope="col" { "Nights" }
                th scope="col" { "Visits per night" }
                th scope="col" { "In " (light) }
            } }
            tbody {
                @for (n, day) in repeated.after.iter().enumerate() {
                    (row(&if n == 0 { "the day itself".to_owned() } else { format!("{n} after") }, day))
                }
                (row("other days", &repeated.ordinary))
            }
        } }
    }
}

fn row(name: &str, day: &DayAfter) -> Markup {
    let rate = day.per_night.map_or_else(
        || "–".to_owned(),
        |r| format!("{:.1} ({:.1}–{:.1})", r.value, r.low, r.high),
    );
    html! {
        tr {
            th scope="row" { (name) }
            td { (words::grouped(day.nights)) }
            td { (rate) }
            td { (words::share(day.counted, day.visits, day.share)) }
        }
    }
}
