//! `report.html`: one file, no scripts, nothing fetched; readable on a phone, in print and in the
//! dark.

mod cameras;
mod change;
mod clocks;
mod light;
mod plan;
mod pressure;
mod rests_on;
mod set_aside;
mod summary;
mod unlogged;
mod working;
mod years;

use anyhow::Result;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::gallery::{Gallery, Subject};
use super::{plots, words};
use crate::debrief::Debrief;

/// The page and the plots in it.
pub(super) struct Page {
    pub html: String,
    pub gallery: Gallery,
}

/// Builds the page.
pub(super) fn page(debrief: &Debrief, with_places: bool) -> Result<Page> {
    let gallery = Gallery::draw(debrief)?;
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
                    p.kicker { "Season debrief" }
                    h1 { (name) }
                    p { (span(debrief)) }
                }
                main {
                    (summary::section(debrief))
                    @let clocks = clocks::section(debrief, &gallery);
                    @let wrong = debrief.wrong_clocks().next().is_some();
                    // A wrong clock must be settled before anything after it is believed.
                    @if wrong { (clocks) }
                    (light::section(debrief, &gallery))
                    (change::section(debrief, &gallery))
                    (years::section(debrief, &gallery))
                    (pressure::section(debrief))
                    (unlogged::section(debrief))
                    @if !wrong { (clocks) }
                    (cameras::section(debrief, &gallery, with_places))
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

fn span(debrief: &Debrief) -> String {
    let cameras = words::counted(debrief.season.cameras.len(), "camera");
    match debrief.season.span() {
        None => format!("{cameras}, and not one picture or sighting with a time yet."),
        Some((first, last)) => format!(
            "{cameras}, {} to {}, {}.",
            words::day(first),
            words::day(last),
            words::counted(debrief.crawl.readable(), "picture")
        ),
    }
}

/// A plot in the page, scrolling sideways where the screen is narrower than it can be read at.
fn figure(gallery: &Gallery, subject: Subject) -> Markup {
    html! {
        @if let Some(plot) = gallery.of(subject) {
            figure role="img" aria-label=(plot.alt) tabindex="0" { (PreEscaped(&plot.svg)) }
        }
    }
}
