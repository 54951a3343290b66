//! The kinds of deer that answers are given for.

use crate::tags::Who;

/// A kind of deer. A visit belongs to every kind that its deer belong to, so the kinds overlap:
/// mature bucks are bucks, and all are deer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// A buck at or over the property's mature age.
    MatureBuck,
    /// Any buck.
    Buck,
    /// Any doe.
    Doe,
    /// Any fawn.
    Fawn,
    /// All deer, also those whose kind could not be told.
    Deer,
}

impl Kind {
    /// Every kind, in the order of all tables.
    pub const ALL: [Self; 5] = [Self::MatureBuck, Self::Buck, Self::Doe, Self::Fawn, Self::Deer];

    /// The word in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::MatureBuck => "mature buck",
            Self::Buck => "buck",
            Self::Doe => "doe",
            Self::Fawn => "fawn",
            Self::Deer => "deer",
        }
    }

    /// The kind that a word in files and tables means.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.word() == word)
    }

    /// The plural within a sentence.
    pub fn them(self) -> &'static str {
        match self {
            Self::MatureBuck => "mature bucks",
            Self::Buck => "bucks",
            Self::Doe => "does",
            Self::Fawn => "fawns",
            Self::Deer => "deer",
        }
    }

    /// The plural, to begin a sentence with.
    pub fn plural(self) -> &'static str {
        match self {
            Self::MatureBuck => "Mature bucks",
            Self::Buck => "Bucks",
            Self::Doe => "Does",
            Self::Fawn => "Fawns",
            Self::Deer => "Deer of all kinds",
        }
    }

    /// Whether a sighting is of this kind. A buck of unknown age is not mature.
    pub fn includes(self, who: Who, age: Option<f64>, mature_age: f64) -> bool {
        match self {
            Self::MatureBuck => who == Who::Buck && age.is_some_and(|a| a >= mature_age),
            Self::Buck => who == Who::Buck,
            Self::Doe => who == Who::Doe,
            Self::Fawn => who == Who::Fawn,
            Self::Deer => who.is_deer(),
        }
    }
}
