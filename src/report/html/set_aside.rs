//! What did not count, how the rest was counted, and what to keep in mind.

use maud::{Markup, html};

use super::contents::Part;
use crate::card::TimeOrigin;
use crate::debrief::Debrief;
use crate::report::words;

/// More lines than this are left to `set-aside.csv`.
const LISTED: usize = 40;

pub(super) fn left_out(debrief: &Debrief) -> Markup {
    let crawl = &debrief.crawl;
    let untimed: Vec<(&str, String)> = crawl
        .pictures
        .iter()
        .filter_map(|p| Some((p.path.as_str(), p.time.as_ref().err()?.to_string())))
        .collect();
    let cut: Vec<(&str, String)> = crawl
        .pictures
        .iter()
        .filter(|p| p.cut_short)
        .map(|p| (p.path.as_str(), "the end is missing; its time counts".to_owned()))
        .collect();
    let unreadable: Vec<(&str, String)> =
        crawl.unreadable.iter().map(|(path, why)| (path.as_str(), why.to_string())).collect();
    let copies: Vec<(&str, String)> = crawl
        .duplicates
        .iter()
        .map(|(copy, original)| (copy.as_str(), format!("the same as {original}")))
        .collect();
    let problems: Vec<(&str, String)> =
        debrief.problems.iter().map(|p| ("", p.to_string())).collect();
    let dated_by_file: Vec<(&str, String)> = crawl
        .pictures
        .iter()
        .filter_map(|p| Some((p, p.time.as_ref().ok()?)))
        .filter(|(_, stamp)| stamp.origin == TimeOrigin::FileDate)
        .map(|(p, stamp)| (p.path.as_str(), stamp.time.to_string()))
        .collect();
    let untagged = crawl.pictures.len() - debrief.tagged.pictures();
    html! {
        section id=(Part::LeftOut.id()) {
            h2 { (Part::LeftOut.heading()) }
            @if crawl.found() == 0 {
                p { "There are no picture files: everything counted comes from " code { "sightings.csv" } "." }
            } @else {
            p {
                (words::counted(crawl.found(), "picture file")) " found, "
                (words::grouped(crawl.readable())) " readable, "
                (words::grouped(crawl.timed())) " with a time that can be used, "
                (words::grouped(debrief.tagged.pictures())) " tagged. "
                @if untagged > 0 {
                    (words::counted(untagged, "picture")) " without a tag "
                    (if untagged == 1 { "is" } else { "are" }) " counted here and nowhere else; nothing is guessed."
                }
            }
            }
            (list("Files that could not be read", &unreadable))
            (list("Pictures whose time cannot be used", &untimed))
            (list("Pictures that are cut short", &cut))
            (list("Clips that carry no time and go by their file's date, which a computer may have changed", &dated_by_file))
            (list("Copies of a picture that is already counted", &copies))
            (list("Rows and folders that could not be used", &problems))
        }
    }
}

fn list(heading: &str, lines: &[(&str, String)]) -> Markup {
    html! {
        @if !lines.is_empty() {
            details {
                summary { (heading) ": " (words::grouped(lines.len())) }
                ul {
                    @for (path, why) in lines.iter().take(LISTED) {
                        li { @if !path.is_empty() { code { (path) } ": " } (why) }
                    }
                }
                @if lines.len() > LISTED {
                    p.note { "and " (words::grouped(lines.len() - LISTED)) " more, all in " code { "set-aside.csv" } "." }
                }
            }
        }
    }
}

pub(super) fn method(debrief: &Debrief) -> Markup {
    let s = &debrief.property.settings;
    html! {
        section id=(Part::Method.id()) {
            h2 { (Part::Method.heading()) }
            ul {
                li {
                    "Light: sunrise and sunset at each camera for each date. Legal light here runs from "
                    (s.legal_before_sunrise_min) " minutes before sunrise to " (s.legal_after_sunset_min)
                    " minutes after sunset, as set in " code { "property.toml" } "."
                }
                li { "A buck is mature from " (s.mature_age) " years. A buck tagged without an age is a buck, not a mature one." }
                li { "A visit takes the light and the minute of its first picture. Group size is the most seen at one moment." }
                li { "Ranges of shares are Wilson's score interval. They and the ranges of rates are widened where visits come in runs, of up to two weeks for a whole season." }
                li { "Rates are left out where more than a tenth of the pictures has no tag yet: what is not tagged would look like deer that stayed away. A camera that was moved counts only where it hung on the day of the disturbance." }
                li {
                    "A change is judged from the whole record by one model (Poisson for visits in light, binomial for the share, fitted by Laplace's approximation): a season that all cameras share, each camera's own level, drift and years, the luck of nights, and a step that every camera takes by itself at any date. The counts before and after beside a verdict are of equal numbers of whole days, for reading. Without other cameras nothing is called changed."
                }
                li {
                    "Everything tested around what is logged shares one error rate of 5 %, shared out by a graph (Bretz et al. 2009): first "
                    (debrief.season.about.kind.them()) " at all near cameras together, their visits in light with three quarters and the part of all visits that came in light with one, each passing on what it has when it is answered; then each near camera, the other kinds, the controls. A change needs an adjusted p at or under 0.05."
                }
                li { "Curves of activity are in sun-anchored time: every day and night is stretched to the mean sunrise and sunset, then smoothed over about 50 minutes." }
                li { "Assumed: the clocks are right as " code { "cameras.csv" } " and " code { "clocks.csv" } " say, tags are right, and without the disturbance a near camera would have changed like one more control." }
            }
            p.note { "Every visit behind these numbers is a row of " code { "visits.csv" } "; the same facts for a program are in " code { "findings.json" } "." }
        }
    }
}

pub(super) fn cautions(debrief: &Debrief) -> Markup {
    let s = &debrief.property.settings;
    html! {
        section id=(Part::Cautions.id()) {
            h2 { (Part::Cautions.heading()) }
            ul {
                li {
                    "Legal light as shown (" (s.legal_before_sunrise_min) " minutes before sunrise, "
                    (s.legal_after_sunset_min) " minutes after sunset) is this property's own setting. Hours and seasons come from your local regulations, not from this program: check them."
                }
                li { "A change in a pattern is not proof of who or what caused it, and nothing to confront a neighbour with." }
                li { "Wear a full-body harness whenever you are off the ground, hang and climb by the maker's instructions, and tell somebody where you sit." }
                li { "Identify your target and what lies beyond it. A minute inside legal light can still be too dark to be sure." }
            }
        }
    }
}
