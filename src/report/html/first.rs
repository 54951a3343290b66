//! The first page: what a person would say at the table, each sentence with how sure it is at its edge and its
//! working one press away.

use maud::{Markup, html};

use super::bucks::photo;
use super::contents::Part;
use super::land::{self, Detail};
use super::said::{Said, Sure};
use super::{advice, answer, asked, behind, change, pressure, summary, weather, years};
use crate::debrief::{Behind, Beside, Debrief};
use crate::property::Disturbance;
use crate::report::photos::Photos;
use crate::report::words;
use crate::shift::{Answer, Question, Shift};

/// Disturbances that are told of on the first page; the others in their own part.
const MOST_TOLD: usize = 4;

pub(super) fn section(debrief: &Debrief, photos: &Photos) -> Markup {
    laid_out(debrief, &sentences(debrief), photos, Detail::Whole)
}

/// The same where there is no other part to go to.
pub(super) fn section_alone(debrief: &Debrief, photos: &Photos, detail: Detail) -> Markup {
    let alone = |said: Said| Said { more: None, visits: Vec::new(), ..said };
    let sentences: Vec<Said> = sentences(debrief).into_iter().map(alone).collect();
    laid_out(debrief, &sentences, photos, detail)
}

fn laid_out(debrief: &Debrief, sentences: &[Said], photos: &Photos, detail: Detail) -> Markup {
    html! {
        section.first id=(Part::First.id()) {
            div.top {
                div { @for said in sentences { (say(said)) } }
                (land::drawing(debrief, detail))
            }
            @if !photos.first.is_empty() {
                div.photos { @for p in &photos.first { (photo(p)) } }
            }
        }
    }
}

fn say(said: &Said) -> Markup {
    html! {
        div class=(said.sure.class()) {
            p {
                @if let Some(word) = said.sure.word() { span.sureness { (word) ": " } }
                strong { (said.heart) } @if !said.rest.is_empty() { " " (said.rest) }
            }
            @if !said.small.is_empty() || said.more.is_some() || !said.visits.is_empty() {
                p.small {
                    (said.small)
                    @if let Some(more) = &said.more { " " a href=(more) { "Details" } }
                    @for (words, number) in &said.visits { (behind::way(words, number)) }
                }
            }
            @if let Some(working) = &said.working {
                details.working { summary { "How we know" } p { (working) } }
            }
        }
    }
}

fn sentences(debrief: &Debrief) -> Vec<Said> {
    let mut all: Vec<Said> =
        summary::to_mind(debrief).into_iter().map(|text| Said::plain(Sure::Mind, text)).collect();
    all.push(season(debrief));
    let logged: Vec<&Disturbance> = debrief.single_disturbances().collect();
    let mut told: Vec<Said> = logged.iter().map(|d| disturbance(debrief, d)).collect();
    // What is shown comes first; otherwise in the order of the log.
    told.sort_by_key(|s| s.sure != Sure::Shown);
    let more = told.len().saturating_sub(MOST_TOLD);
    told.truncate(MOST_TOLD);
    all.extend(told);
    if more > 0 {
        all.push(Said {
            more: Some(format!("#{}", Part::Changes.id())),
            ..Said::plain(
                Sure::Open,
                format!("Of {} nothing is told here.", words::counted(more, "more logged event")),
            )
        });
    }
    all.extend(asked::said(debrief));
    all.extend(years::said(debrief));
    all.extend(pressure::said(debrief));
    all.extend(weather::said(debrief));
    all.push(advice::next(debrief));
    all.push(advice::unknown(debrief));
    all
}

/// The season as a whole, and the camera that leads.
fn season(debrief: &Debrief) -> Said {
    let (heart, small) = summary::season(debrief);
    let all = debrief.daylight_of(None, debrief.season.about.kind);
    let all = all.filter(|a| a.visits > 0);
    Said {
        rest: summary::leads(debrief).unwrap_or_default(),
        small,
        working: summary::best_camera(debrief),
        more: Some(format!("#{}", Part::Light.id())),
        visits: all
            .map(|a| ("The visits".to_owned(), behind::of_season(debrief, a)))
            .into_iter()
            .chain(leaders(debrief))
            .collect(),
        ..Said::plain(Sure::Counted, heart)
    }
}

fn disturbance(debrief: &Debrief, disturbance: &Disturbance) -> Said {
    let told = answer::of_event(debrief, disturbance);
    let row = answer::row_of(debrief, disturbance);
    let sure = match row {
        Some(row) if row.is_clear() => Sure::Shown,
        Some(row) if row.answer(Question::LightVisits) == Answer::Stayed => Sure::Stayed,
        _ => Sure::Open,
    };
    let more = row.map_or_else(String::new, |row| {
        let more = [answer::since(row), answer::instead(row)];
        let more: String =
            more.into_iter().filter(|s| !s.is_empty()).map(|s| format!(" {s}")).collect();
        more + &apart_from(debrief, disturbance)
    });
    Said {
        sure,
        heart: format!(
            "{} ({}). {}",
            disturbance.what,
            day(debrief, disturbance),
            words::capital(&told.heart)
        ),
        rest: told.rest + &more,
        small: String::new(),
        working: None,
        more: Some(format!("#event-{}", change::anchor(debrief, disturbance))),
        visits: row.map_or_else(Vec::new, |row| ways(debrief, row)),
    }
}

/// To the visits at the camera that leads.
fn leaders(debrief: &Debrief) -> Option<(String, Behind)> {
    let leader = debrief.leader?;
    let at = debrief.daylight_of(Some(leader.camera), debrief.season.about.kind)?;
    let number = Behind { since: leader.since.to_string(), ..behind::of_season(debrief, at) };
    let camera = debrief.camera_name(Some(leader.camera));
    Some((format!("Those at {camera}"), number))
}

/// To the visits on both sides, as far as there are any.
fn ways(debrief: &Debrief, row: &Shift) -> Vec<(String, Behind)> {
    [
        ("The visits before", &row.before, Beside::Before),
        ("The visits after", &row.after, Beside::After),
    ]
    .into_iter()
    .filter(|(_, side, _)| side.visits > 0)
    .map(|(words, _, beside)| (words.to_owned(), behind::of_change(debrief, row, beside)))
    .collect()
}

/// Its date; with the year where that is not the newest season's.
fn day(debrief: &Debrief, disturbance: &Disturbance) -> String {
    let date = disturbance.start.date();
    let is_now = debrief.season.newest().is_some_and(|y| y.contains(date));
    match is_now {
        true => date.format("%-d %B").to_string(),
        false => words::day(date),
    }
}

/// What else happened there within the days compared.
fn apart_from(debrief: &Debrief, disturbance: &Disturbance) -> String {
    let others: Vec<String> = change::mixed_with(debrief, disturbance)
        .into_iter()
        .map(|d| format!("\"{}\" ({})", d.what, day(debrief, d)))
        .collect();
    match others.is_empty() {
        true => String::new(),
        false => format!(
            " It cannot be told apart from {}, within the same days at the same camera.",
            others.join(" and ")
        ),
    }
}
