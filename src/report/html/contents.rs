//! The parts of the page, and the way to each.

use maud::{Markup, html};

/// A part of the page that can be gone to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    First,
    Light,
    Changes,
    Years,
    Asked,
    Own,
    Again,
    Unlogged,
    Stands,
    Weather,
    Grounds,
    Herd,
    Deer,
    Cameras,
    Clocks,
    Unknown,
    LeftOut,
    Method,
    Cautions,
}

impl Part {
    /// Its name in addresses.
    pub fn id(self) -> &'static str {
        match self {
            Self::First => "in-short",
            Self::Light => "light",
            Self::Changes => "before-and-after",
            Self::Years => "years",
            Self::Asked => "asked",
            Self::Own => "own",
            Self::Again => "again-and-again",
            Self::Unlogged => "worth-a-look",
            Self::Stands => "where-to-sit",
            Self::Weather => "weather",
            Self::Grounds => "grounds",
            Self::Herd => "herd",
            Self::Deer => "named-deer",
            Self::Cameras => "cameras",
            Self::Clocks => "clocks",
            Self::Unknown => "unknown",
            Self::LeftOut => "left-out",
            Self::Method => "method",
            Self::Cautions => "cautions",
        }
    }

    /// Its heading.
    pub fn heading(self) -> &'static str {
        match self {
            Self::First => "In short",
            Self::Light => "Who moves while it is light",
            Self::Changes => "Before and after",
            Self::Years => "This season and earlier ones",
            Self::Asked => "Asked beforehand",
            Self::Own => "What we did, and what it cost",
            Self::Again => "What happened again and again",
            Self::Unlogged => "Worth a look",
            Self::Stands => "Where and when to sit",
            Self::Weather => "Wind, weather and moon",
            Self::Grounds => "Ground inside and outside the fence",
            Self::Herd => "Who is there",
            Self::Deer => "The deer with names",
            Self::Cameras => "Camera by camera",
            Self::Clocks => "Clocks",
            Self::Unknown => "What cannot be known",
            Self::LeftOut => "What was left out",
            Self::Method => "How this was worked out",
            Self::Cautions => "Before you act on it",
        }
    }
}

/// The way to every part that the page has.
pub(super) fn contents(parts: &[Part]) -> Markup {
    html! {
        nav.contents aria-label="Contents" {
            @for part in parts { a href={ "#" (part.id()) } { (part.heading()) } }
        }
    }
}
