//! The answers as a page: what was asked, what came of it, and who joined.

use anyhow::Result;
use maud::{Markup, PreEscaped, html};

use super::event::{EventAnswers, FEWEST_PROPERTIES, GroupShares, Part};
use super::other_dates::plot;
use super::question::CoopQuestion;
use super::season::Spread;
use super::words::{all_hours, counted_by, differ, properties, sentence, share, two, when};
use super::write::{FEWEST_FOR_QUARTERS, about};
use super::{Answers, SeasonAnswer};
use crate::report::{capital, grouped, page_of};
use crate::shift::Question;
use crate::visits::Kind;

/// Builds the page.
pub(super) fn page(answers: &Answers, question: &CoopQuestion) -> Result<String> {
    let heading = html! { (capital(&question.what)) };
    let below = html! {
        p.sub {
            (properties(answers.records.len()))
            @if !answers.left_out.is_empty() { ", and " (answers.left_out.len()) " that were left out" }
            ". No number here rests on fewer than five visits or five properties."
        }
    };
    let event = match &answers.event {
        Some(event) => event_section(event, answers, question)?,
        None => html! {},
    };
    let main = html! {
        (event)
        (seasons(answers))
        (joined(answers, question))
        (cautions())
    };
    Ok(page_of(&question.what, heading, below, main).into_string())
}

fn event_section(
    event: &EventAnswers,
    answers: &Answers,
    question: &CoopQuestion,
) -> Result<Markup> {
    let kind = question.kind()?;
    let judged = [Question::Share, Question::LightVisits];
    let of = |q: Question| &event.answers[q as usize];
    let mut plots = Vec::new();
    for question_asked in judged {
        plots.extend(plot(of(question_asked), question)?);
    }
    Ok(html! {
        section id="event" {
            h2 { "Did it move the deer?" }
            p {
                "It happened " (when(question)) ". Compared are the " (question.days)
                " days from each property's date on with the " (question.days) " days before, camera by camera at each property."
                @if !answers.left_out.is_empty() { " Properties that were left out are listed below." }
            }
            @for q in judged { p.answer { (sentence(event, of(q), kind)) } }
            p { (all_hours(of(Question::AllVisits), kind)) }
            (groups(event))
            @for q in judged {
                @if let (Some(new), Some(sd)) = (of(q).new_property, of(q).between_sd) {
                    p {
                        "At one more property, " (counted_by(q)) " would be between "
                        (two(new.low)) " and " (two(new.high)) " times what they would have been (95 % prediction range; " (differ(sd)) ")."
                    }
                }
            }
            @for plot in &plots { div.wide tabindex="0" { (PreEscaped(plot)) } }
            @if !plots.is_empty() {
                p.note {
                    "On the other dates nothing is known to have happened. How far the hollow marks lie from 1 beyond their own ranges says how far these properties drift apart for no reason; that is in the range of the filled one."
                }
            }
        }
    })
}

fn groups(event: &EventAnswers) -> Markup {
    let row = |name: &str, shares: Option<GroupShares>| {
        html! {
            @if let Some(s) = shares {
                tr {
                    th scope="row" { (name) }
                    td { (s.properties) }
                    td { (share(s.before)) }
                    td { (share(s.after)) }
                }
            }
        }
    };
    html! {
        @if event.exposed.is_some() || event.controls.is_some() {
            div.wide tabindex="0" { table {
                thead { tr {
                    th scope="col" { "Daylight share, mean of properties" }
                    th scope="col" { "Properties" }
                    th scope="col" { "Before" }
                    th scope="col" { "After" }
                } }
                tbody {
                    (row("Where it happened", event.exposed))
                    (row("Where it did not", event.controls))
                }
            } }
        }
    }
}

fn seasons(answers: &Answers) -> Markup {
    let told = |s: &SeasonAnswer| s.share.is_some() || s.per_100_nights.is_some();
    let percent = |s: Option<Spread>| {
        s.map_or_else(
            || "–".to_owned(),
            |s| format!("{}, {}", share(s.mean), properties(s.properties)),
        )
    };
    let half = |s: Option<Spread>| {
        s.filter(|s| s.properties >= FEWEST_FOR_QUARTERS).map_or_else(
            || "–".to_owned(),
            |s| {
                let whole = |x: f64| (x * 100.0).round();
                format!(
                    "{}–{} %, {}",
                    whole(s.middle_half.0),
                    whole(s.middle_half.1),
                    properties(s.properties)
                )
            },
        )
    };
    let rate = |s: Option<Spread>| {
        s.map_or_else(
            || "–".to_owned(),
            |s| {
                format!(
                    "{:.1} ({:.1}–{:.1}), {}",
                    s.mean.value,
                    s.mean.low,
                    s.mean.high,
                    properties(s.properties)
                )
            },
        )
    };
    let names = answers.season_names();
    html! {
        section id="seasons" {
            h2 { "The seasons at all properties" }
            p { "Each property counts alike, however large it is. The share is the part of a kind's visits that came in light; a property's counts from five visits on." }
            @for name in names.iter().rev() {
                @let rows: Vec<&SeasonAnswer> = answers.seasons.iter().filter(|s| s.season == *name).collect();
                h3 { "Season " (name) }
                p { (of_season(&rows)) }
                @if rows.iter().any(|s| told(s)) {
                    div.wide tabindex="0" { table {
                        thead { tr {
                            th scope="col" { "Kind" }
                            th scope="col" { "Daylight share, mean of the properties" }
                            th scope="col" { "Middle half of the properties" }
                            th scope="col" { "Visits in light per 100 camera-nights" }
                        } }
                        tbody {
                            @for s in rows.iter().filter(|s| told(s)) {
                                tr {
                                    th scope="row" { (s.kind.plural()) }
                                    td { (percent(s.share)) }
                                    td { (half(s.share)) }
                                    td { (rate(s.per_100_nights)) }
                                }
                            }
                        }
                    } }
                }
            }
        }
    }
}

fn of_season(rows: &[&SeasonAnswer]) -> String {
    let Some(deer) = rows.iter().find(|s| s.kind == Kind::Deer) else {
        return String::new();
    };
    if deer.properties < super::FEWEST_PROPERTIES {
        return format!(
            "{}: too few to tell of them together.",
            capital(&properties(deer.properties))
        );
    }
    format!(
        "{}, about {} camera-nights and {} visits of deer.",
        capital(&properties(deer.properties)),
        grouped(about(deer.nights)),
        grouped(about(deer.visits))
    )
}

fn joined(answers: &Answers, question: &CoopQuestion) -> Markup {
    let not_there = answers.missing(question);
    let parts = answers.event.iter().flat_map(|e| &e.parts);
    let mut not_used: Vec<(String, String)> = parts
        .filter_map(|(id, part)| {
            let why = match part {
                Part::Exposed(_) | Part::Control => return None,
                Part::Unusable(_, why) => format!("it happened there: {}", why.word()),
                Part::UnusableControl(why) => format!("it did not happen there: {}", why.word()),
                Part::Unsaid => "nobody says whether it happened there".to_owned(),
            };
            Some((id.clone(), why))
        })
        .collect();
    not_used
        .extend(answers.left_out.iter().map(|(id, why)| (id.clone(), format!("left out: {why}"))));
    not_used.extend(
        not_there.into_iter().map(|id| (id, "is named, and is not in the data set".to_owned())),
    );
    let of = |part: fn(&Part) -> bool| {
        let all = answers.event.iter().flat_map(|e| &e.parts);
        all.filter(|(_, p)| part(p)).count()
    };
    html! {
        section id="joined" {
            h2 { "Who joined" }
            @if answers.event.is_some() {
                p {
                    "Used: " (properties(of(|p| matches!(p, Part::Exposed(_))))) " where it happened and "
                    (of(|p| matches!(p, Part::Control))) " where it never did." @if of(|p| matches!(p, Part::Control)) < FEWEST_PROPERTIES && question.dates().len() > 1 { " Those whose own date lies " (2 * question.days) " days away or more stand in for them." }
                }
            }
            @if not_used.is_empty() {
                p { "Every property could be used." }
            } @else {
                p { (capital(&properties(not_used.len()))) " could not be used:" }
                div.wide tabindex="0" { table {
                    thead { tr { th scope="col" { "Property" } th scope="col" { "Why" } } }
                    tbody {
                        @for (id, why) in &not_used { tr { th scope="row" { (id) } td { (why) } } }
                    }
                } }
            }
            p.note { "Each property's own answers are rows of " code { "properties.csv" } " and " code { "joined.csv" } ", everything on this page is in " code { "coop.json" } "." }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section id="cautions" {
            h2 { "Before you act on it" }
            ul {
                li { "Properties joined because their owners wanted to. What holds for them need not hold for others." }
                li { "Where it happened and where it did not was not drawn by lot. Whatever else began on the same days at the same properties, a front or the rut in one region, would look the same; and a place that was chosen because many deer moved in daylight there falls back by itself." }
                li { "A change in a pattern is not proof of who or what caused it, and nothing to confront a neighbour with." }
                li { "Hours, seasons and rules come from local regulations and those who make them, not from this page." }
            }
        }
    }
}
