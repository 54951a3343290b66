//! The words of a tag, and the cells that go with them.

use crate::property::{Cause, Problem, Row, parse_count, parse_number};

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
        Self::ALL.into_iter().find(|w| w.word().eq_ignore_ascii_case(word.trim()))
    }

    /// Whether it is a deer of any kind.
    pub fn is_deer(self) -> bool {
        matches!(self, Self::Buck | Self::Doe | Self::Fawn | Self::Deer)
    }
}

/// What a row says was seen: the cells that tags and sightings share.
#[derive(Debug, Clone, PartialEq)]
pub struct Tag {
    /// Who.
    pub who: Who,
    /// How many.
    pub count: u32,
    /// Years, where known.
    pub age: Option<f64>,
    /// The known individual.
    pub name: Option<String>,
    /// The person's note.
    pub note: Option<String>,
}

/// The oldest age that is believed: wild deer rarely pass 10 years and captive ones 20 (common
/// practice, no source).
const OLDEST_AGE: f64 = 20.0;
/// More than so many of one kind in one picture are not believed.
pub const COUNT_MAX: f64 = 200.0;

/// Reads the shared cells of a row. An unknown word or count loses the row; an impossible age
/// loses only the age.
pub(super) fn seen(row: &Row, file: &str, problems: &mut Vec<Problem>) -> Option<Tag> {
    let Some(who) = Who::parse(row.get("who")) else {
        problems.push(Problem::cell(
            file,
            row.line,
            "who",
            Cause::UnknownWho { text: row.get("who").to_owned() },
        ));
        return None;
    };
    let cells = ["count", "age", "name"].map(|column| row.some(column));
    let tag = seen_as(&Tag::of(who), cells, row.line, file, problems)?;
    Some(Tag { note: row.some("note").map(str::to_owned), ..tag })
}

/// A known tag with a row's count, age and name, where the row has them.
pub(super) fn seen_as(
    known: &Tag,
    [count, age, name]: [Option<&str>; 3],
    line: u64,
    file: &str,
    problems: &mut Vec<Problem>,
) -> Option<Tag> {
    let who = known.who;
    let mut problem = |column: &str, cause: Cause| {
        problems.push(Problem::cell(file, line, column, cause));
    };
    let count = match count.map(|c| (c, parse_count(c))) {
        None => known.count,
        Some((_, Some(n))) if n.fract() == 0.0 && (1.0..=COUNT_MAX).contains(&n) => n as u32,
        Some((_, Some(0.0))) if !who.is_deer() => 0,
        Some((text, _)) => {
            let text = text.to_owned();
            problem("count", Cause::NotACount { text });
            return None;
        }
    };
    let age = match age {
        None => known.age,
        Some(text) => {
            let age = parse_number(text).filter(|a| possible_age(who, *a));
            if age.is_none() {
                let (text, who) = (text.to_owned(), who.word().to_owned());
                problem("age", Cause::ImpossibleAge { text, who });
            }
            age
        }
    };
    Some(Tag {
        who,
        count,
        age,
        name: name.map(str::to_owned).or_else(|| known.name.clone()),
        note: None,
    })
}

/// Whether a deer of a kind can have an age in years.
fn possible_age(who: Who, age: f64) -> bool {
    (0.0..=OLDEST_AGE).contains(&age) && !(who == Who::Fawn && age >= 1.0)
}

impl Tag {
    /// One of a kind, and nothing else known.
    pub fn of(who: Who) -> Self {
        Self { who, count: 1, age: None, name: None, note: None }
    }

    /// Whether it can be: a number of animals and an age that are believed, a name and a note of one
    /// line.
    ///
    /// # Errors
    /// In the person's words.
    pub fn check(&self) -> Result<(), String> {
        const TEXT_MAX: usize = 200;
        let most = COUNT_MAX as u32;
        if self.count == 0 || self.count > most {
            return Err(format!("How many must be from 1 to {most}."));
        }
        if let Some(age) = self.age.filter(|a| !possible_age(self.who, *a)) {
            let who = self.who.word();
            return Err(format!("{age} years cannot be the age of a {who}."));
        }
        if self.name.is_some() && self.count > 1 {
            return Err(
                "A named deer is one deer. Put the others on a line of their own.".to_owned()
            );
        }
        let plain = |t: &String| t.chars().count() <= TEXT_MAX && !t.contains(char::is_control);
        for (what, text) in [("name", &self.name), ("note", &self.note)] {
            if !text.iter().all(plain) {
                return Err(format!("A {what} is one line of at most {TEXT_MAX} letters."));
            }
        }
        Ok(())
    }
}
