//! The first page: what a person would say at the table, each sentence with how sure it is at its edge and its
//! working one press away.

use maud::{Markup, html};

use super::bucks::photo;
use super::contents::Part;
use super::land::{self, Detail};
use super::said::{Said, Sure};
use super::{advice, asked, behind, change, pressure, summary, weather, years};
use crate::debrief::{Behind, Beside, Debrief};
use crate::measure::Estimate;
use crate::property::Disturbance;
use crate::report::photos::Photos;
use crate::report::words;
use crate::shift::{Role, Shift, Side, Verdict};

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
                    @if let Some(more) = &said.more { " " a href=(more) { "All of it" } }
                    @for (words, number) in &said.visits { (behind::way(words, number)) }
                }
            }
            @if let Some(working) = &said.working {
                details.working { summary { "The working" } p { (working) } }
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
                Sure::NotShown,
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
    let about = debrief.season.about.kind;
    let title = format!("{} ({})", disturbance.what, day(debrief, disturbance));
    let whole = words::capital(&summary::verdict_sentence(debrief, &disturbance.id));
    let more = Some(format!("#event-{}", change::anchor(debrief, disturbance)));
    let together = debrief.shifts.together(&disturbance.id, about);
    let clear = together.and_then(|together| {
        let alone = debrief.shifts.of(&disturbance.id, about);
        let mut rows = std::iter::once(together).chain(alone);
        rows.find(|s| s.role == Role::Near && s.is_clear())
    });
    match clear {
        Some(shift) => Said {
            sure: Sure::Shown,
            heart: format!("{title}: {}", heart_of(debrief, shift)),
            rest: rest_of(debrief, shift) + &hangs_on(shift) + &apart_from(debrief, disturbance),
            small: summary::chance_words(shift),
            working: Some(whole),
            more,
            visits: ways(debrief, shift),
        },
        None => {
            let (heart, rest) = not_shown(debrief, disturbance);
            Said {
                sure: Sure::NotShown,
                heart: format!("{title}: {heart}"),
                rest,
                small: String::new(),
                working: Some(whole),
                more,
                visits: together.map_or_else(Vec::new, |row| ways(debrief, row)),
            }
        }
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

/// `mature bucks came in legal light less often at North Fence.`
fn heart_of(debrief: &Debrief, shift: &Shift) -> String {
    let them = debrief.season.about.kind.them();
    let light = debrief.property.settings.share_light();
    let place = summary::place(debrief, shift);
    let (fewer, more) = ("fewer", "more");
    match (shift.light_verdict, shift.verdict) {
        (Verdict::ClearDrop, _) => format!("{them} came in {light} less often at {place}."),
        (Verdict::ClearRise, _) => format!("{them} came in {light} more often at {place}."),
        (_, share) if shift.is_alike => {
            let in_the_dark = if share == Verdict::ClearDrop { more } else { fewer };
            format!(
                "{them} came in {light} at {place} as often, and {in_the_dark} visits came in the dark."
            )
        }
        (_, Verdict::ClearDrop) => format!(
            "of the visits of {them} at {place} a smaller part came in {light}; whether fewer did is not shown."
        ),
        (..) => format!(
            "of the visits of {them} at {place} a larger part came in {light}; whether more did is not shown."
        ),
    }
}

/// Counts before and after, and what the others did.
fn rest_of(debrief: &Debrief, shift: &Shift) -> String {
    let (before, after) = (&shift.before, &shift.after);
    let counts = format!(
        "In light {} before, {} after",
        words::counted_in_nights(before),
        words::counted_in_nights(after)
    );
    let others = match shift.controls {
        0 => String::new(),
        _ => "; the other cameras did not change like that".to_owned(),
    };
    let how = summary::how(shift);
    let now = summary::still_so(debrief, shift);
    format!("{counts}{others}{how}.{now}")
}

/// The bucks without whom nothing is clear: then it may be theirs and not the place's.
fn hangs_on(shift: &Shift) -> String {
    let rests = shift.rests_on.iter().flat_map(|r| &r.without);
    let needed = rests.filter(|w| w.still_clear == Some(false));
    let names: Vec<String> = needed.map(|w| w.name.clone()).collect();
    match names.len() {
        0 => String::new(),
        1 => format!(
            " It hangs on one buck: without {} it is no longer clear, and one buck may come or go for reasons of his own.",
            names[0]
        ),
        _ => format!(
            " It hangs on few bucks: without any one of {} it is no longer clear.",
            words::listed(&names)
        ),
    }
}

fn not_shown(debrief: &Debrief, disturbance: &Disturbance) -> (String, String) {
    let about = debrief.season.about.kind;
    let Some(together) = debrief.shifts.together(&disturbance.id, about) else {
        return ("no camera is near it.".to_owned(), "It cannot be set against any.".to_owned());
    };
    let counts = format!(
        "In light {} before, {} after.",
        words::counted_in_nights(&together.before),
        words::counted_in_nights(&together.after)
    );
    let verdicts = (together.light_verdict, together.verdict);
    let is_ahead = debrief.season.span().is_none_or(|(_, last)| disturbance.start.date() > last);
    let is_silent = together.before.nights == 0 || together.after.nights == 0;
    let none_in_light = together.before.counted + together.after.counted == 0;
    let alone = |heart: &str| (heart.to_owned(), String::new());
    let with_counts = |heart: &str, more: &str| (heart.to_owned(), counts + more);
    match verdicts {
        _ if is_ahead => alone("after the last picture, so nothing can be told of it yet."),
        _ if together.before.nights + together.after.nights == 0 => {
            alone("cannot be told: no camera was at work near it, before or after.")
        }
        _ if is_silent => alone("cannot be told: no camera was at work near it on one side."),
        (Verdict::NotTagged, _) => {
            alone("cannot be told yet: some of the pictures of these days have no tag.")
        }
        _ if none_in_light => alone(
            "none came in light near it on the days compared, so there was none to gain or lose.",
        ),
        (Verdict::NoControl, _) | (_, Verdict::NoControl) => {
            with_counts("cannot be told: nothing shows what the season alone would have done.", "")
        }
        (Verdict::TooFewVisits, Verdict::TooFewVisits) => {
            with_counts("too few visits to tell.", "")
        }
        _ if together.is_alike => {
            with_counts("no harm and no gain: visits stayed what they were.", "")
        }
        _ => with_counts("no change shown.", &left_open(together)),
    }
}

/// What a comparison without a clear answer leaves open.
fn left_open(row: &Shift) -> String {
    let is_beside_no_change = |e: Option<Estimate>| e.is_some_and(|e| e.high < 1.0 || e.low > 1.0);
    let per_night = |s: &Side| s.counted as f64 / s.nights.max(1) as f64;
    if is_beside_no_change(row.rate_ratio) && !is_beside_no_change(row.rate_ratio_against_controls)
    {
        return " Too much can change so by itself to call it clear: the season, deer that come and go for weeks, cameras that differ."
            .to_owned();
    }
    match row.fall_ruled_out {
        Some(loss) if loss >= 0.1 && per_night(&row.after) <= per_night(&row.before) => {
            format!(" A loss of up to {} of them could hide in so few.", words::percent(loss))
        }
        _ => String::new(),
    }
}
