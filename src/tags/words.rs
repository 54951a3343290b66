//! The words of a tag, and the cells that go with them.

use crate::property::{Problem, Row, parse_number};

/// Who is in a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Who {
    /// A male deer past its first autumn.
    Buck,
    /// A female deer past its first autumn.
    Doe,
    /// A deer in its first year.
    Fawn,
    /// A deer whose kind cannot be told.
    Deer,
    /// Another animal.
    Other,
    /// A person.
    Person,
    /// A vehicle.
    Vehicle,
    /// Nothing.
    Empty,
}

impl Who {
    /// All words, in the order they are listed to the person.
    pub const ALL: [Self; 8] = [
        Self::Buck,
        Self::Doe,
        Self::Fawn,
        Self::Deer,
        Self::Other,
        Self::Person,
        Self::Vehicle,
        Self::Empty,
    ];

    /// The word in the files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Buck => "buck",
            Self::Doe => "doe",
            Self::Fawn => "fawn",
            Self::Deer => "deer",
            Self::Other => "other",
            Self::Person => "person",
            Self::Vehicle => "vehicle",
            Self::Empty => "empty",
        }
    }

    /// The kind a word stands for, capitals or not.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|w| w.word().eq_ignore_ascii_case(word.trim()))
    }

    /// Whether it is a deer of any kind.
    pub fn is_deer(self) -> bool {
        matches!(self, Self::Buck | Self::Doe | Self::Fawn | Self::Deer)
    }
}

/// The cells that tags and sightings share.
pub(super) struct Seen {
    pub who: Who,
    pub count: u32,
    pub age: Option<f64>,
    pub name: Option<String>,
}

/// The oldest age that is believed: wild deer rarely pass 10 years and captive ones 20 (common
/// practice, no source).
const OLDEST_AGE: f64 = 20.0;
const COUNT_MAX: f64 = 200.0;

/// Reads the shared cells of a row. An unknown word or count loses the row; an impossible age
/// loses only the age.
pub(super) fn seen(row: &Row, file: &str, problems: &mut Vec<Problem>) -> Option<Seen> {
    let mut problem = |column: &str, what: String, remedy: &str| {
        problems.push(Problem::cell(file, row.line, column, what, remedy));
    };
    let Some(who) = Who::parse(row.get("who")) else {
        problem(
            "who",
            format!(
                "\"{}\" is not a known word, so the row was left out.",
                row.get("who")
            ),
            "Use buck, doe, fawn, deer, other, person, vehicle or empty.",
        );
        return None;
    };
    let count = match row.some("count").map(|c| (c, parse_number(c))) {
        None => 1,
        Some((_, Some(n))) if n.fract() == 0.0 && (1.0..=COUNT_MAX).contains(&n) => n as u32,
        Some((_, Some(0.0))) if !who.is_deer() => 0,
        Some((text, _)) => {
            problem(
                "count",
                format!("\"{text}\" is not a number of animals, so the row was left out."),
                "Use a whole number from 1, or leave it empty for one.",
            );
            return None;
        }
    };
    let age = row.some("age").and_then(|text| {
        let age = parse_number(text).filter(|a| (0.0..=OLDEST_AGE).contains(a));
        let possible = age.filter(|a| !(who == Who::Fawn && *a >= 1.0));
        if possible.is_none() {
            problem(
                "age",
                format!(
                    "\"{text}\" cannot be the age of a {}; the age was left out and the rest of the row counts.",
                    who.word()
                ),
                "Use years such as 0.5, 1.5, 2.5, or leave it empty.",
            );
        }
        possible
    });
    Some(Seen {
        who,
        count,
        age,
        name: row.some("name").map(str::to_owned),
    })
}
