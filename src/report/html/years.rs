//! This season and earlier ones.

use maud::{Markup, html};

use super::contents::Part;
use super::said::{Said, Sure};
use super::{behind, figure};
use crate::debrief::{Beside, Debrief};
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Shift, Verdict, YearRow};
use crate::visits::DeerYear;

pub(super) fn section(debrief: &Debrief, gallery: &Gallery) -> Markup {
    let seasons = debrief.season.years.len();
    html! {
        @if seasons > 1 {
            section id=(Part::Years.id()) {
                h2 { (Part::Years.heading()) }
                p {
                    "A season runs from "
                    (debrief.season.newest().map_or_else(String::new, |y| y.first().format("%-d %B").to_string()))
                    ". Two seasons are compared over the days of the year on which a camera worked in both, at the place where it hangs now, and each camera against the others: what the year did to all of them is taken out."
                    @if seasons == 2 { " Two years are no trend." }
                }
                (figure(gallery, Subject::Seasons))
                @for year in earlier(debrief) { (one(debrief, year)) }
            }
        }
    }
}

fn earlier(debrief: &Debrief) -> Vec<DeerYear> {
    let mut years: Vec<DeerYear> = debrief.shifts.years.iter().map(|y| y.with).collect();
    years.dedup();
    years
}

fn of_about(debrief: &Debrief, with: DeerYear) -> impl Iterator<Item = &YearRow> {
    let about = debrief.season.about.kind;
    let years = debrief.shifts.years.iter();
    years.filter(move |y| y.with == with && y.shift.kind == about)
}

fn one(debrief: &Debrief, with: DeerYear) -> Markup {
    let Some(newest) = debrief.season.newest() else {
        return html! {};
    };
    html! {
        h3 { (newest.name()) " against " (with.name()) }
        p.answer { (words::capital(&found(debrief, with).sentence(debrief, with))) }
        div.wide tabindex="0" { table {
            thead { tr {
                th scope="col" { "Camera" }
                th scope="col" { "Visits in " (debrief.property.settings.share_light()) " per night" }
                th scope="col" { (with.name()) }
                th scope="col" { (newest.name()) }
                th scope="col" { "Against the other cameras" }
                th scope="col" { "Part of all visits" }
            } }
            tbody { @for year in of_about(debrief, with) { (row(debrief, &year.shift, &with.name())) } }
        } }
    }
}

fn row(debrief: &Debrief, s: &Shift, with: &str) -> Markup {
    let name = match s.camera {
        Some(_) => debrief.camera_name(s.camera),
        None => "Whole property",
    };
    html! {
        tr {
            th scope="row" { (name) }
            td { strong { (s.light_verdict.word()) } }
            td { (behind::side(&s.before, &words::in_nights(&s.before), &behind::of_years(debrief, s, with, Beside::Before))) }
            td { (behind::side(&s.after, &words::in_nights(&s.after), &behind::of_years(debrief, s, with, Beside::After))) }
            td { (words::times(s.rate_ratio_against_controls)) }
            td { strong { (s.verdict.word()) } }
        }
    }
}

/// This season against the one before it, for the first page.
pub(super) fn said(debrief: &Debrief) -> Option<Said> {
    let last = debrief.shifts.years.first()?.with;
    let found = found(debrief, last);
    let heart = words::capital(&found.sentence(debrief, last));
    let small = match earlier(debrief).len() {
        0 | 1 => "",
        _ => "Earlier seasons stand there too.",
    };
    let sure = match found {
        Found::Clear(_) => Sure::Shown,
        Found::NothingClear => Sure::Counted,
        Found::NotTagged | Found::CannotBeTold => Sure::Open,
    };
    Some(Said {
        more: Some(format!("#{}", Part::Years.id())),
        small: small.to_owned(),
        ..Said::plain(sure, heart)
    })
}

/// What this season's cameras did against an earlier one.
enum Found {
    /// What is clear, camera by camera.
    Clear(Vec<String>),
    NothingClear,
    NotTagged,
    CannotBeTold,
}

fn found(debrief: &Debrief, with: DeerYear) -> Found {
    let clear: Vec<String> = of_about(debrief, with)
        .filter(|y| y.is_clear())
        .map(|y| clear(debrief, &y.shift))
        .collect();
    let is_judged =
        |y: &YearRow| [y.shift.light_verdict, y.shift.verdict].contains(&Verdict::NoClearChange);
    match clear.is_empty() {
        false => Found::Clear(clear),
        true if of_about(debrief, with).any(is_judged) => Found::NothingClear,
        true if of_about(debrief, with).any(|y| y.shift.light_verdict == Verdict::NotTagged) => {
            Found::NotTagged
        }
        true => Found::CannotBeTold,
    }
}

impl Found {
    fn sentence(&self, debrief: &Debrief, with: DeerYear) -> String {
        let with = with.name();
        match self {
            Self::Clear(clear) => format!("compared with {with}: {}.", clear.join("; ")),
            Self::NothingClear => format!(
                "compared with {with}, no camera stands out in {} in {}, once you allow for having checked all of them.",
                debrief.season.about.kind.them(),
                debrief.property.settings.share_light(),
            ),
            Self::NotTagged => format!(
                "compared with {with}: can't tell yet, because too little of one of the two seasons has a tag."
            ),
            Self::CannotBeTold => format!(
                "compared with {with}: can't tell, because too few cameras and visits are there in both seasons to show what the years themselves did."
            ),
        }
    }
}

fn clear(debrief: &Debrief, s: &Shift) -> String {
    let them = debrief.season.about.kind.them();
    let camera = debrief.camera_name(s.camera);
    let fell = |v: Verdict| {
        if v == Verdict::ClearDrop { "fell" } else { "rose" }
    };
    match s.light_verdict.is_clear() {
        true => format!(
            "at {camera} {them} in {} {} from {} to {} on the same days of the year",
            debrief.property.settings.share_light(),
            fell(s.light_verdict),
            words::counted_in_nights(&s.before),
            words::counted_in_nights(&s.after)
        ),
        false => format!(
            "at {camera} the part of the visits of {them} in light {} from {} of {} to {} of {}",
            fell(s.verdict),
            s.before.counted,
            s.before.visits,
            s.after.counted,
            s.after.visits
        ),
    }
}
