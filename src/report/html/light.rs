//! Who moves while it is light, where and in which minutes.

use maud::{Markup, html};

use super::contents::Part;
use super::strip::{legend, strip};
use super::{behind, figure};
use crate::debrief::{Behind, DaylightAnswer, Debrief, Usual};
use crate::outlook::Half;
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::visits::Kind;

pub(super) fn section(debrief: &Debrief, gallery: &Gallery) -> Markup {
    let light = debrief.property.settings.share_light();
    html! {
        section id=(Part::Light.id()) {
            h2 { (Part::Light.heading()) }
            p {
                "A visit is all pictures of one kind of deer at one camera until none comes for "
                (debrief.property.settings.gap_min) " minutes. The share counts visits in " (light)
                "; the range behind it is where the true share lies, 19 times in 20. "
                (if debrief.season.cameras.len() < 3 {
                    "It allows for deer that stay for two weeks or so; with so few cameras, and deer that stay longer, it is rather too narrow."
                } else {
                    "It allows for deer that stay for weeks, as far as all cameras together show them."
                })
            }
            (legend())
            (strips(debrief))
            (kinds(debrief))
            details {
                summary { (debrief.season.about.kind.plural()) ", camera by camera: rates and usual minutes" }
                (by_camera(debrief, debrief.season.about.kind))
                (figure(gallery, Subject::Ranking))
            }
            (figure(gallery, Subject::Season(None)))
        }
    }
}

/// One strip a camera, of whom the season is about; a camera that saw none in the newest season in one line.
fn strips(debrief: &Debrief) -> Markup {
    let about = debrief.season.about.kind;
    let Some(year) = debrief.season.newest() else {
        return html! {};
    };
    let visits =
        |c: usize| debrief.season.cameras[c].visits_between(about, year.first(), year.last());
    let worked = |c: &usize| {
        let effort = &debrief.season.cameras[*c].effort;
        !effort.dates_between(year.first(), year.last()).is_empty()
    };
    let cameras = (0..debrief.season.cameras.len()).filter(worked);
    let (seen, none): (Vec<usize>, Vec<usize>) = cameras.partition(|c| !visits(*c).is_empty());
    let is_tagged = |c: &&usize| {
        let answer = debrief.daylight_of(Some(**c), about);
        answer.is_none_or(|a| a.pictures.are_tagged())
    };
    let names: Vec<&str> =
        none.iter().filter(is_tagged).map(|c| debrief.camera_name(Some(*c))).collect();
    html! {
        @for camera in seen {
            @let name = debrief.camera_name(Some(camera));
            div.striped {
                strong { (name) }
                (strip(debrief, visits(camera).iter(), &format!("{} at {name} by hour", about.plural())))
                span { @if let Some(answer) = debrief.daylight_of(Some(camera), about) { (counts(debrief, answer)) } }
            }
        }
        @if !names.is_empty() { p.note { "No visit of " (about.them()) " at " (names.join(", ")) "." } }
    }
}

fn counts(debrief: &Debrief, a: &DaylightAnswer) -> Markup {
    let words = words::share(a.counted, a.visits, a.share);
    match a.visits {
        0 => html! { (words) },
        _ => behind::told(&words, &behind::of_season(debrief, a)),
    }
}

fn kinds(debrief: &Debrief) -> Markup {
    let seen: Vec<Kind> = debrief.kinds_seen().collect();
    let answers = debrief.daylight_now().filter(|a| a.camera.is_none() && seen.contains(&a.kind));
    table(debrief, "The whole property", "Who", answers.map(|a| (a.kind.plural(), a)))
}

fn by_camera(debrief: &Debrief, kind: Kind) -> Markup {
    let answers = debrief.daylight_now().filter(|a| a.camera.is_some() && a.kind == kind);
    table(
        debrief,
        &format!("{}, camera by camera", kind.plural()),
        "Camera",
        answers.map(|a| (debrief.camera_name(a.camera), a)),
    )
}

fn table<'a>(
    debrief: &Debrief,
    caption: &str,
    of: &str,
    rows: impl Iterator<Item = (&'a str, &'a DaylightAnswer)>,
) -> Markup {
    html! {
        div.wide tabindex="0" { table {
            caption { (caption) }
            thead { tr {
                th scope="col" { (of) }
                th scope="col" { "In " (debrief.property.settings.share_light()) }
                th scope="col" { "Of these per 100 nights" }
                th scope="col" { "Evenings, usually" }
                th scope="col" { "Mornings, usually" }
            } }
            tbody { @for (name, answer) in rows { (row(debrief, name, answer)) } }
        } }
    }
}

fn row(debrief: &Debrief, name: &str, a: &DaylightAnswer) -> Markup {
    html! {
        tr {
            th scope="row" { (name) }
            td {
                @if a.visits == 0 && !a.pictures.are_tagged() { "not tagged" }
                @else { (counts(debrief, a)) }
            }
            td {
                @if a.per_100_nights.is_some() && a.visits > 0 { (behind::told(&rate(a), &behind::of_season(debrief, a))) }
                @else { (rate(a)) }
            }
            td { (usual(a, a.evening, words::around_sunset, behind::of_half(debrief, a, Half::Evening))) }
            td { (usual(a, a.morning, words::around_sunrise, behind::of_half(debrief, a, Half::Morning))) }
        }
    }
}

/// A rate, or where too little is tagged what it lies between.
fn rate(a: &DaylightAnswer) -> String {
    match (a.per_100_nights, a.per_100_nights_between) {
        (None, Some((least, most))) => {
            let nothing = match a.pictures.probably_nothing {
                0 => String::new(),
                n => format!(
                    ", with {} left out as probably nothing",
                    words::counted(n, "untagged picture")
                ),
            };
            format!("not tagged: {least:.0} at least, {most:.0} at most{nothing}")
        }
        (rate, _) => words::rate(rate),
    }
}

fn usual(
    a: &DaylightAnswer,
    usual: Option<Usual>,
    told: fn(f64) -> String,
    number: Behind,
) -> Markup {
    let is_evening = number.half == Some(Half::Evening);
    html! {
        @match usual {
            None if !a.pictures.are_tagged() => { "not tagged" }
            None => { "no visits" }
            Some(u) => {
                (told(u.median_min))
                div.note { (behind::told(&words::spread(u, told, is_evening), &number)) }
            }
        }
    }
}
