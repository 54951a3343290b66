//! `report.html`: one file, no scripts, nothing fetched; readable on a phone, in print and in the
//! dark.

mod advice;
mod bucks;
mod cameras;
mod change;
mod clocks;
mod contents;
mod first;
mod land;
mod light;
mod plan;
mod pressure;
mod rests_on;
mod said;
mod set_aside;
mod shared;
mod strip;
mod summary;
mod unlogged;
mod working;
mod years;

use anyhow::Result;
use chrono::NaiveDate;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::gallery::{Gallery, Subject};
use super::photos::Photos;
use super::{ReportOptions, plots, words};
use crate::debrief::Debrief;
use crate::visits::{Camera, Kind, PicturesOn};
use contents::Part;
pub use shared::{ShareOptions, one_page};

/// The page and the plots in it.
pub(super) struct Page {
    pub html: String,
    pub gallery: Gallery,
}

/// Builds the page.
pub(super) fn page(debrief: &Debrief, options: ReportOptions) -> Result<Page> {
    let gallery = Gallery::draw(debrief)?;
    let photos = photos(debrief, options);
    let name = &debrief.property.settings.name;
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (name) ": season debrief" }
                style { (PreEscaped(include_str!("style.css"))) (PreEscaped(plots::DARK)) }
            }
            body {
                header {
                    h1 { (name) @if let Some(year) = debrief.season.newest() { ", season of " (year.name()) } }
                    p.sub { (span(debrief)) }
                    (contents::contents(&parts(debrief)))
                }
                main {
                    (first::section(debrief, &photos))
                    @let clocks = clocks::section(debrief, &gallery);
                    @let wrong = debrief.wrong_clocks().next().is_some();
                    // A wrong clock must be settled before anything after it is believed.
                    @if wrong { (clocks) }
                    (light::section(debrief, &gallery))
                    (change::section(debrief, &gallery))
                    (years::section(debrief, &gallery))
                    (pressure::section(debrief))
                    (unlogged::section(debrief))
                    (bucks::section(debrief, &photos))
                    (cameras::section(debrief, &gallery, options.with_places))
                    @if !wrong { (clocks) }
                    (set_aside::left_out(debrief))
                    (set_aside::method(debrief))
                    (set_aside::cautions(debrief))
                }
            }
        }
    };
    Ok(Page {
        html: markup.into_string(),
        gallery,
    })
}

fn photos(debrief: &Debrief, options: ReportOptions) -> Photos {
    match options.with_photos {
        true => Photos::of(debrief),
        false => Photos::default(),
    }
}

/// The parts that the page has, in its order.
fn parts(debrief: &Debrief) -> Vec<Part> {
    let wrong = debrief.wrong_clocks().next().is_some();
    let has_clocks = !debrief.clocks.is_empty();
    let all = [
        (Part::Clocks, wrong),
        (Part::Light, true),
        (Part::Changes, true),
        (Part::Years, debrief.season.years.len() > 1),
        (Part::Again, !debrief.shifts.repeated.is_empty()),
        (Part::Unlogged, true),
        (Part::Deer, !debrief.known_deer.is_empty()),
        (Part::Cameras, true),
        (Part::Clocks, has_clocks && !wrong),
        (Part::LeftOut, true),
        (Part::Method, true),
        (Part::Cautions, true),
    ];
    all.into_iter()
        .filter(|(_, is_there)| *is_there)
        .map(|(part, _)| part)
        .collect()
}

/// When the newest season was watched, with how much, and how far it is tagged.
fn span(debrief: &Debrief) -> String {
    let season = &debrief.season;
    let cameras = |n| words::counted(n, "camera");
    let Some(year) = season.newest() else {
        let all = cameras(season.cameras.len());
        return format!("{all}, and not one picture or sighting with a time yet.");
    };
    let dates = |c: &Camera| c.effort.dates_between(year.first(), year.last()).to_vec();
    let worked: Vec<Vec<NaiveDate>> = season.cameras.iter().map(dates).collect();
    let nights: usize = worked.iter().map(Vec::len).sum();
    let first = worked.iter().filter_map(|d| d.first()).min();
    let last = worked.iter().filter_map(|d| d.last()).max();
    let of_year = |c: &Camera| c.pictures_between(year.first(), year.last());
    let pictures: PicturesOn = season.cameras.iter().map(of_year).sum();
    let visits = |c: &Camera| {
        c.visits_between(Kind::Deer, year.first(), year.last())
            .len()
    };
    let seen = match pictures.all {
        0 => format!(
            "{} of deer, written down without pictures",
            words::counted(season.cameras.iter().map(visits).sum(), "visit")
        ),
        all => format!(
            "{}, {} of them tagged",
            words::counted(all, "picture"),
            words::grouped(all - pictures.untagged)
        ),
    };
    let earlier = match season.years.len() {
        0 | 1 => String::new(),
        n => format!(" · beside {}", words::counted(n - 1, "earlier season")),
    };
    format!(
        "{} to {} · {}, {} · {seen}{earlier}",
        first.map_or_else(String::new, |d| words::day(*d)),
        last.map_or_else(String::new, |d| words::day(*d)),
        cameras(worked.iter().filter(|d| !d.is_empty()).count()),
        words::counted(nights, "camera-night"),
    )
}

/// A plot in the page, scrolling sideways where the screen is narrower than it can be read at.
fn figure(gallery: &Gallery, subject: Subject) -> Markup {
    html! {
        @if let Some(plot) = gallery.of(subject) {
            figure role="img" aria-label=(plot.alt) tabindex="0" { (PreEscaped(&plot.svg)) }
        }
    }
}
