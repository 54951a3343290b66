//! `report.html`: one file, no scripts, nothing fetched; readable on a phone, in print and in the
//! dark.

mod advice;
mod answer;
mod asked;
mod behind;
mod bucks;
mod cameras;
mod change;
mod clocks;
mod contents;
mod first;
mod grounds;
mod herd;
mod land;
mod light;
mod own;
mod plan;
mod pressure;
mod rests_on;
mod said;
mod set_aside;
mod shared;
mod stands;
mod strip;
mod summary;
mod unknown;
mod unlogged;
mod weather;
mod working;
mod years;

use anyhow::Result;
use chrono::NaiveDate;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::gallery::{Gallery, Subject};
use super::photos::Photos;
use super::{ReportOptions, plots, words};
use crate::debrief::Debrief;
use crate::visits::{Camera, Kind};
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
    let photos = photos(debrief, options.with_photos);
    let parts = parts(debrief, &gallery, &photos, options.with_places);
    let names: Vec<Part> = parts.iter().map(|(part, _)| *part).collect();
    let main = html! {
        (first::section(debrief, &photos))
        @for (_, section) in &parts { (section) }
    };
    let markup = document(debrief, "season debrief", contents::contents(&names), main);
    Ok(Page { html: markup.into_string(), gallery })
}

/// The parts that have anything to say, in the page's order.
fn parts(
    debrief: &Debrief,
    gallery: &Gallery,
    photos: &Photos,
    with_places: bool,
) -> Vec<(Part, Markup)> {
    let mut parts = vec![
        (Part::Light, light::section(debrief, gallery)),
        (Part::Changes, change::section(debrief, gallery)),
        (Part::Years, years::section(debrief, gallery)),
        (Part::Asked, asked::section(debrief)),
        (Part::Unlogged, unlogged::section(debrief)),
        (Part::Stands, stands::section(debrief)),
        (Part::Own, own::section(debrief)),
        (Part::Again, pressure::section(debrief)),
        (Part::Grounds, grounds::section(debrief)),
        (Part::Weather, weather::section(debrief)),
        (Part::Herd, herd::section(debrief)),
        (Part::Deer, bucks::section(debrief, photos)),
        (Part::Cameras, cameras::section(debrief, gallery, with_places)),
        (Part::LeftOut, set_aside::left_out(debrief)),
        (Part::Method, set_aside::method(debrief)),
        (Part::Cautions, set_aside::cautions(debrief)),
        (Part::Unknown, unknown::section(debrief)),
    ];
    // A wrong clock must be settled before anything after it is believed.
    let is_wrong = debrief.wrong_clocks().next().is_some();
    let after = |part| parts.iter().position(|(p, _)| *p == part).map_or(0, |i| i + 1);
    let at = if is_wrong { 0 } else { after(Part::Cameras) };
    parts.insert(at, (Part::Clocks, clocks::section(debrief, gallery)));
    parts.retain(|(_, section)| !section.0.is_empty());
    parts
}

/// A page: its head, the season that it is about and what stands below that.
fn document(debrief: &Debrief, what: &str, below: Markup, main: Markup) -> Markup {
    let name = &debrief.property.settings.name;
    let heading = html! {
        (name) @if let Some(year) = debrief.season.newest() { ", season of " (year.name()) }
    };
    let below = html! {
        p.sub { (span(debrief)) }
        (below)
    };
    page_of(&format!("{name}: {what}"), heading, below, main)
}

/// A page with the looks of the report.
pub(crate) fn page_of(title: &str, heading: Markup, below: Markup, main: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(include_str!("style.css"))) (PreEscaped(plots::DARK)) }
            }
            body {
                header {
                    h1 { (heading) }
                    (below)
                }
                main { (main) }
            }
        }
    }
}

fn photos(debrief: &Debrief, are_wanted: bool) -> Photos {
    match are_wanted {
        true => Photos::of(debrief),
        false => Photos::default(),
    }
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
    let pictures = season.pictures_of(year);
    let visits = |c: &Camera| c.visits_between(Kind::Deer, year.first(), year.last()).len();
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
