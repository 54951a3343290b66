//! One thing that is said on the first page, and how sure it is.

use crate::debrief::Behind;

/// How sure a sentence is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sure {
    /// What follows is in doubt until this is settled.
    Mind,
    /// Counted, and no more.
    Counted,
    /// Shown against chance, the season and the other cameras.
    Shown,
    /// Two things go together beyond chance.
    Together,
    /// The loss of half is ruled out.
    Stayed,
    /// It can't be told.
    Open,
    /// What to do.
    Next,
    /// What no picture tells.
    Unknown,
}

impl Sure {
    pub fn class(self) -> &'static str {
        match self {
            Self::Mind => "say mind",
            Self::Counted => "say",
            Self::Shown | Self::Together => "say sure",
            Self::Stayed | Self::Open | Self::Unknown => "say not",
            Self::Next => "say next",
        }
    }

    /// For whom the colour at the edge tells nothing.
    pub fn word(self) -> Option<&'static str> {
        match self {
            Self::Mind => Some("Note"),
            Self::Counted | Self::Unknown => None,
            Self::Shown => Some("Changed"),
            Self::Together => Some("Goes together"),
            Self::Stayed => Some("Stayed"),
            Self::Open => Some("Can't tell"),
            Self::Next => Some("Next"),
        }
    }
}

/// One thing that is said.
pub(super) struct Said {
    pub sure: Sure,
    /// The heart of it.
    pub heart: String,
    /// The rest of it.
    pub rest: String,
    /// Numbers and odds, in small letters.
    pub small: String,
    /// The whole of it, unfolded.
    pub working: Option<String>,
    /// The part of the page with all of it.
    pub more: Option<String>,
    /// The visits that it was counted from, each way in words.
    pub visits: Vec<(String, Behind)>,
}

impl Said {
    pub fn plain(sure: Sure, heart: impl Into<String>) -> Self {
        Self {
            sure,
            heart: heart.into(),
            rest: String::new(),
            small: String::new(),
            working: None,
            more: None,
            visits: Vec::new(),
        }
    }
}
