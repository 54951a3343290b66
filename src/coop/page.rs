//! The answers as a page: what was asked, what came of it, and who joined.

use anyhow::Result;
use maud::{Markup, PreEscaped, html};

use super::event::{CoopVerdict, EventAnswer, EventAnswers, FEWEST_PROPERTIES, GroupShares, Part};
use super::question::{CoopQuestion, Happened};
use super::season::Spread;
use super::write::{FEWEST_FOR_QUARTERS, missing, word};
use super::{Answers, SeasonAnswer};
use crate::measure::Estimate;
use crate::report::{
    AFTER, IntervalRow, MUTED, Scale, capital, counted, day, grouped, interval_rows, page_of,
    percent_range, whole_percent,
};
use crate::shift::Question;
use crate::visits::Kind;

/// Builds the page.
pub(super) fn page(answers: &Answers, question: &CoopQuestion) -> Result<String> {
    let heading = html! { (capital(&question.what)) };
    let below = html! {
        p.sub {
            (properties(answers.records.len()))
            @if !answers.left_out.is_empty() { ", and " (answers.left_out.len()) " that could not be read" }
            ". Nothing here rests on fewer than five visits or five properties."
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

/// `0.62 times (0.48–0.80)`
fn factor(e: Estimate) -> String {
    format!("{} times ({}–{})", two(e.value), two(e.low), two(e.high))
}

/// `48 % (46–50 %)`
fn share(e: Estimate) -> String {
    format!("{:.0} % ({})", whole_percent(e.value), percent_range(e))
}

/// A factor as it is told.
fn two(x: f64) -> String {
    match x {
        x if x >= 100.0 => "over 100".to_owned(),
        x if x >= 10.0 => format!("{x:.0}"),
        x if x >= 0.005 => format!("{x:.2}"),
        _ => "under 0.01".to_owned(),
    }
}

fn properties(n: usize) -> String {
    match n {
        1 => "1 property".to_owned(),
        n => format!("{} properties", grouped(n)),
    }
}

/// What was found, in lines for a terminal.
pub(super) fn lines(answers: &Answers, question: &CoopQuestion) -> Vec<String> {
    let mut lines = Vec::new();
    if let (Some(event), Ok(kind)) = (&answers.event, question.kind()) {
        for asked in [Question::Share, Question::LightVisits] {
            lines.push(sentence(event, &event.answers[asked as usize], kind));
        }
    }
    let newest = answers.seasons.last().map(|s| &s.season);
    for s in answers.seasons.iter().filter(|s| Some(&s.season) == newest) {
        if let Some(spread) = s.share {
            lines.push(format!(
                "{}, {}: daylight share {}, the mean of {}",
                s.season,
                s.kind.them(),
                share(spread.mean),
                properties(spread.properties)
            ));
        }
    }
    lines
}

/// What the factor of a question is of.
fn counted_by(question: Question) -> &'static str {
    match question {
        Question::Share => "the odds that a visit comes in light",
        Question::LightVisits => "visits in light per camera-night",
        Question::AllVisits => "visits at all hours per camera-night",
    }
}

fn when(question: &CoopQuestion) -> String {
    let dates: Vec<_> = question.dates().into_iter().collect();
    match (&question.happened, dates.as_slice()) {
        (Some(Happened::Everywhere(date)), _) => format!("at every property on {}", day(date.0)),
        (_, [one]) => format!("on {}", day(*one)),
        (_, [first, .., last]) => format!("from {} to {}", day(*first), day(*last)),
        _ => String::new(),
    }
}

/// The sentence of a question.
fn sentence(event: &EventAnswers, a: &EventAnswer, kind: Kind) -> String {
    let what = format!("{} of {}", word(a.question), kind.them());
    let own = a.own.map(factor).unwrap_or_default();
    let against = format!(
        "{} were {} what they would have been, by {} where it happened and {} where it did not",
        capital(counted_by(a.question)),
        a.against.map(factor).unwrap_or_default(),
        properties(a.exposed),
        a.controls
    );
    let shares = match a.question {
        Question::Share => group_words(event),
        _ => String::new(),
    };
    match a.verdict {
        CoopVerdict::ClearDrop => format!("The {what} fell. {against}. {shares}"),
        CoopVerdict::ClearRise => format!("The {what} rose. {against}. {shares}"),
        CoopVerdict::NoClearChange => {
            format!("No clear change of the {what}. {against}: {}. {shares}", why_not(a))
        }
        CoopVerdict::TooFewProperties => format!(
            "Nothing can be said of the {what}: {} where it happened can be used, and {FEWEST_PROPERTIES} are needed.",
            properties(a.exposed)
        ),
        CoopVerdict::NoControl => format!(
            "No verdict on the {what}. {} were {own} what they were before, by {}, and there are too few properties where it did not happen: the season, the rut or the weather may have done it. {shares}",
            capital(counted_by(a.question)),
            properties(a.exposed)
        ),
        CoopVerdict::NotChecked => format!(
            "No verdict on the {what}. {against}, but too few other dates were watched to know how far these groups drift apart for no reason. {shares}"
        ),
        CoopVerdict::NotTagged => format!(
            "No verdict on the {what}. {against}, but after it happened another part of the pictures is without a tag than before, and what is in them could make the difference: tag them. {shares}"
        ),
    }
    .trim_end()
    .to_owned()
}

/// Why a change is not clear.
fn why_not(a: &EventAnswer) -> &'static str {
    let is_apart = a.against.is_some_and(|e| e.low > 1.0 || e.high < 1.0);
    match is_apart {
        _ if a.is_mostly_drift() => {
            "these groups drift apart as far for no reason, as other dates show. More days watched before and after would say more, more properties would not"
        }
        true if a.is_matched_elsewhere() => "on another date they lay as far apart",
        true => "it is one of two questions asked, and one of two looks so too often",
        false => "chance alone can do that",
    }
}

/// What the share went from and to, in both groups.
fn group_words(event: &EventAnswers) -> String {
    let went = |s: GroupShares| {
        format!(
            "from {:.0} to {:.0} %, the mean of {}",
            whole_percent(s.before.value),
            whole_percent(s.after.value),
            properties(s.properties)
        )
    };
    match (event.exposed.map(went), event.controls.map(went)) {
        (Some(here), Some(there)) => {
            format!("Where it happened the share went {here}; where it did not, {there}.")
        }
        (Some(here), None) => format!("Where it happened the share went {here}."),
        _ => String::new(),
    }
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
                @if !answers.left_out.is_empty() { " Properties that could not be read are listed below." }
            }
            @for q in judged { p.answer { (sentence(event, of(q), kind)) } }
            p { (all_hours(of(Question::AllVisits), kind)) }
            (groups(event))
            @for q in judged {
                @if let (Some(new), Some(sd)) = (of(q).new_property, of(q).between_sd) {
                    p {
                        "At one more property, " (counted_by(q)) " would be between "
                        (two(new.low)) " and " (two(new.high)) " times what they would have been (95 % prediction range; from property to property the change differs by "
                        (two(sd.exp())) " times, one standard deviation; what deer do by themselves in so few weeks is in it)."
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

fn all_hours(a: &EventAnswer, kind: Kind) -> String {
    let them = kind.them();
    match (a.against, a.own) {
        (Some(against), _) => format!(
            "Visits of {them} at all hours per camera-night, told beside and not judged, were {} what they would have been.",
            factor(against)
        ),
        (None, Some(own)) => format!(
            "Visits of {them} at all hours per camera-night were {} what they were before.",
            factor(own)
        ),
        (None, None) => String::new(),
    }
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

/// The event among the same comparison on other dates.
fn plot(a: &EventAnswer, question: &CoopQuestion) -> Result<Option<String>> {
    let Some(here) = a.against.or(a.own) else {
        return Ok(None);
    };
    let log = |e: Estimate| {
        let bounded = |x: f64| x.ln().clamp(-REACH, REACH);
        Estimate {
            value: bounded(e.value),
            low: bounded(e.low),
            high: bounded(e.high),
        }
    };
    let weeks = |days: i64| match days {
        d if d % 7 == 0 => counted((d / 7).unsigned_abs() as usize, "week"),
        d => counted(d.unsigned_abs() as usize, "day"),
    };
    let side = |days: i64| if days < 0 { "earlier" } else { "later" };
    let mut rows: Vec<(i64, IntervalRow)> = a
        .other_dates
        .iter()
        .map(|o| {
            let row = IntervalRow {
                name: format!("{} {}", weeks(o.days_later), side(o.days_later)),
                estimate: Some(log(o.change)),
                colour: MUTED,
                filled: false,
                counts: properties(o.exposed),
            };
            (o.days_later, row)
        })
        .collect();
    let itself = IntervalRow {
        name: "When it happened".to_owned(),
        estimate: Some(log(here)),
        colour: AFTER,
        filled: true,
        counts: properties(a.exposed),
    };
    rows.push((0, itself));
    rows.sort_by_key(|r| r.0);
    let rows: Vec<IntervalRow> = rows.into_iter().map(|r| r.1).collect();
    let words = match a.against {
        Some(_) => "times as much, against where it did not happen, with 95 % range",
        None => "times as much, with 95 % range; nothing to compare with",
    };
    let scale = Scale {
        from: -REACH,
        until: REACH,
        words,
        label: |v| two(v.exp()),
        reference: Some(0.0),
    };
    let heading = format!(
        "{}, {} days after over {} before",
        capital(word(a.question)),
        question.days,
        question.days
    );
    Ok(Some(interval_rows(&heading, "", &rows, &scale)?))
}

/// Factors from a quarter to four.
const REACH: f64 = 1.386_294_361_119_890_6;

fn seasons(answers: &Answers) -> Markup {
    let told = |s: &SeasonAnswer| s.share.is_some() || s.per_100_nights.is_some();
    let percent = |s: Option<Spread>| {
        s.map_or_else(
            || "–".to_owned(),
            |s| format!("{}, {}", share(s.mean), properties(s.properties)),
        )
    };
    let half = |s: Option<Spread>| {
        s.filter(|s| s.properties >= FEWEST_FOR_QUARTERS)
            .map_or_else(
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
    let mut names: Vec<&str> = answers.seasons.iter().map(|s| s.season.as_str()).collect();
    names.dedup();
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
        "{}, {} camera-nights, {} visits of deer.",
        capital(&properties(deer.properties)),
        grouped(deer.nights as usize),
        grouped(deer.visits as usize)
    )
}

fn joined(answers: &Answers, question: &CoopQuestion) -> Markup {
    let not_there = missing(answers, question);
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
    not_used.extend(
        answers
            .left_out
            .iter()
            .map(|(id, why)| (id.clone(), format!("could not be read: {why}"))),
    );
    not_used.extend(
        not_there
            .into_iter()
            .map(|id| (id, "is named, and is not in the data set".to_owned())),
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
                    (of(|p| matches!(p, Part::Control))) " where it never did." @if of(|p| matches!(p, Part::Control)) < FEWEST_PROPERTIES { " Those whose own date lies " (2 * question.days) " days away or more stand in for them." }
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
