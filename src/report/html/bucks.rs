//! The deer that have names: a sheet each.

use maud::{Markup, html};

use super::behind;
use super::contents::Part;
use super::strip::{legend, strip};
use crate::debrief::{Behind, Debrief, DeerSeason, KnownDeer, Staying};
use crate::report::photos::{Photo, Photos};
use crate::report::words;
use crate::visits::{Kind, Visit};

/// Deer with a sheet of their own; the others are rows.
const SHEETS: usize = 24;

pub(super) fn section(debrief: &Debrief, photos: &Photos) -> Markup {
    let known = &debrief.known_deer;
    html! {
        @if !known.is_empty() {
            section id=(Part::Deer.id()) {
                h2 { (Part::Deer.heading()) }
                p {
                    (words::grouped(known.len())) (if known.len() == 1 { " deer has" } else { " deer have" })
                    " a name in the tags. " (unnamed(debrief))
                    " Resident is one that was seen in at least half of the weeks in which cameras worked in the season of its last visit; a passer-by was seen within two weeks only."
                }
                (legend())
                @for (i, deer) in known.iter().take(SHEETS).enumerate() {
                    (sheet(debrief, deer, photos.of_deer.get(i).map_or(&[], Vec::as_slice)))
                }
                @if known.len() > SHEETS {
                    p.note {
                        "And " (known[SHEETS..].iter().map(|d| format!("{} ({})", d.name, words::counted(d.visits.len(), "visit"))).collect::<Vec<_>>().join(", ")) "."
                    }
                }
            }
        }
    }
}

/// Unnamed bucks are counted and never guessed.
fn unnamed(debrief: &Debrief) -> String {
    let bucks = || debrief.season.cameras.iter().flat_map(|c| c.visits(Kind::Buck));
    let nobody = bucks().filter(|v| v.named() == crate::visits::Named::Nobody).count();
    format!(
        "Of {} of bucks, {} show none that is named; whose they were is not guessed.",
        words::counted(bucks().count(), "visit"),
        words::grouped(nobody)
    )
}

fn sheet(debrief: &Debrief, deer: &KnownDeer, photos: &[Photo]) -> Markup {
    html! {
        article.deer {
            h3 { (words::deer_and_age(deer)) @if deer.is_mature(debrief.property.settings.mature_age) { span.mature title="mature" { " ▲" } } }
            @if !photos.is_empty() {
                div.photos { @for p in photos { (photo(p)) } }
            }
            p { (told(debrief, deer)) }
            @for season in deer.seasons.iter().rev().take(2) { (row(debrief, deer, season)) }
        }
    }
}

pub(super) fn photo(photo: &Photo) -> Markup {
    let (width, height) = photo.size();
    html! {
        figure.photo {
            img src=(photo.address()) width=(width) height=(height) alt=(photo.alt) loading="lazy";
            figcaption { (photo.caption) }
        }
    }
}

fn told(debrief: &Debrief, deer: &KnownDeer) -> Markup {
    let staying = match deer.staying {
        Staying::Resident => "Resident.",
        Staying::PasserBy => "A passer-by.",
        Staying::Between => "Came and went.",
        Staying::CannotBeTold => "Resident or not cannot be told from so little.",
    };
    let all = behind::of_deer(&deer.name, "");
    html! {
        @if let Some((first, last)) = deer.span() {
            "First seen " (words::day(first)) ", last " (words::day(last)) ". "
        }
        (behind::some(deer.visits.len(), &words::counted(deer.visits.len(), "visit"), &all)) ": "
        @for (i, (camera, n)) in deer.cameras().into_iter().enumerate() {
            @let camera = debrief.camera_name(Some(camera));
            @let here = Behind { camera: camera.to_owned(), ..all.clone() };
            @if i > 0 { ", " }
            (camera) " (" (behind::told(&words::grouped(n), &here)) ")"
        }
        ". " (staying)
    }
}

fn row(debrief: &Debrief, deer: &KnownDeer, season: &DeerSeason) -> Markup {
    let visits = || -> Vec<&Visit> {
        let of_year = |v: &&(usize, Visit)| season.year.contains(v.1.date());
        deer.visits.iter().filter(of_year).map(|v| &v.1).collect()
    };
    let visits = visits();
    let light = debrief.property.settings.share_light();
    let words = words::share(season.counted, season.visits, season.share);
    html! {
        div.striped {
            strong { (season.year.name()) }
            (strip(debrief, visits.iter().copied(), &format!("{} by hour, {}", deer.name, season.year.name())))
            span { (behind::told(&words, &behind::of_deer(&deer.name, &season.year.name()))) " in " (light) }
        }
    }
}
