//! What cannot be known from these pictures, and what would settle it.

use maud::{Markup, html};

use super::contents::Part;
use crate::debrief::Debrief;
use crate::outlook::WhyNot;
use crate::report::words;
use crate::shift::Verdict;

pub(super) fn section(debrief: &Debrief) -> Markup {
    html! {
        section id=(Part::Unknown.id()) {
            h2 { (Part::Unknown.heading()) }
            div.wide tabindex="0" { table {
                thead { tr { th scope="col" { "What cannot be known" } th scope="col" { "What would settle it" } } }
                tbody { @for (what, settles) in open(debrief) { tr { th scope="row" { (what) } td { (settles) } } } }
            } }
        }
    }
}

fn open(debrief: &Debrief) -> Vec<(String, String)> {
    let about = debrief.season.about.kind.them();
    let mut all = vec![
        (
            format!("Whether {about} that are missing from the pictures left, or walk where no camera hangs"),
            "A camera on the ways round the silent one; tracks".to_owned(),
        ),
        (
            "Who or what made them change".to_owned(),
            "Nothing in one season. The same thing happening elsewhere or again, with cameras near and away from it, and the question asked beforehand (graylight plan)".to_owned(),
        ),
        (
            "How many deer there are for each acre".to_owned(),
            "A survey of its own kind; pictures of baited or chosen places count visits, not deer".to_owned(),
        ),
    ];
    all.extend(events(debrief));
    all.extend(weather(debrief));
    all.extend(herd(debrief));
    all.extend(ground(debrief));
    all
}

/// Disturbances of which nothing could be told.
fn events(debrief: &Debrief) -> Option<(String, String)> {
    let about = debrief.season.about.kind;
    let open: Vec<&str> = debrief
        .single_disturbances()
        .filter(|d| {
            let row = debrief.shifts.together(&d.id, about);
            row.is_none_or(|r| {
                matches!(
                    r.light_verdict,
                    Verdict::NoControl | Verdict::TooFewVisits | Verdict::NotTagged
                )
            })
        })
        .map(|d| d.what.as_str())
        .collect();
    (!open.is_empty()).then(|| {
        (
            format!("What these did: {}", open.join("; ")),
            "Cameras at work near it and away from it in the weeks before and after; graylight plan says how many".to_owned(),
        )
    })
}

fn weather(debrief: &Debrief) -> Option<(String, String)> {
    let conditions = &debrief.outlook.conditions;
    match conditions.why_not? {
        WhyNot::NoWeather | WhyNot::OtherDays => Some((
            "Whether wind and weather bring them".to_owned(),
            "Hourly weather of the nearest station for these days, as weather.csv".to_owned(),
        )),
        WhyNot::TooFewVisits | WhyNot::NoCamera => Some((
            "Whether wind, weather and moon bring them".to_owned(),
            "More seasons: all of them are used together".to_owned(),
        )),
    }
}

fn herd(debrief: &Debrief) -> Option<(String, String)> {
    let herd = debrief.outlook.herd.as_ref()?;
    let is_open = herd.does_there.is_none() && herd.bucks.animals > 0;
    is_open.then(|| {
        (
            "How many does and fawns there are".to_owned(),
            format!(
                "A name for four of five bucks in the pictures of the survey: {} of {} have one",
                words::grouped(herd.named_bucks),
                words::grouped(herd.bucks.animals)
            ),
        )
    })
}

fn ground(debrief: &Debrief) -> Option<(String, String)> {
    debrief.grounds.is_empty().then(|| {
        (
            "How much hangs on ground that others decide over".to_owned(),
            "grounds.csv: what grew where in each year, and which cameras see its deer".to_owned(),
        )
    })
}
