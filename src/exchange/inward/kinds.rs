//! Species, sex and life stage as the kinds that a property knows.

use std::path::Path;

use anyhow::{Context, Result, bail};

use super::source::Row;
use crate::property::{Headings, Sheet};
use crate::tags::Who;

/// Deer, unless a mapping says otherwise: the two species that trail cameras in North America are hung for.
const DEER: [&str; 2] = ["odocoileus virginianus", "odocoileus hemionus"];
const HEADINGS: Headings =
    Headings { required: &["scientificname", "who"], known: &["scientificname", "who"] };
const FILE: &str = "the mapping";

/// What names of species mean.
#[derive(Default)]
pub(super) struct Kinds(Vec<(String, Who)>);

/// What an observation says.
pub(super) enum Meaning {
    /// Somebody or nothing, and the word it came with where a kind is none of ours.
    Seen { who: Who, word: String },
    /// Nobody has looked, or nobody could tell.
    NotTold(&'static str),
}

impl Kinds {
    /// Reads a mapping: a table with `scientificName` and `who`.
    ///
    /// # Errors
    /// With the line of a word that is none.
    pub fn read(file: &Path) -> Result<Self> {
        let shown = file.display();
        let bytes = std::fs::read(file).with_context(|| format!("cannot read {shown}"))?;
        let sheet =
            Sheet::decode(FILE, &bytes).with_context(|| format!("{shown} cannot be read"))?;
        sheet.require(&HEADINGS).with_context(|| format!("{shown} cannot be used"))?;
        let (mut kinds, mut wrong) = (Self::default(), None);
        sheet.for_each(&mut Vec::new(), |row, _| {
            let (name, word) = (row.get("scientificname"), row.get("who"));
            match Who::parse(word) {
                Some(who) => kinds.0.push((name.to_lowercase(), who)),
                None => wrong = wrong.take().or(Some((row.line, word.to_owned()))),
            }
        });
        if let Some((line, word)) = wrong {
            let words: Vec<&str> = Who::ALL.iter().map(|w| w.word()).collect();
            bail!("{shown}, line {line}: \"{word}\" is none of {}", words.join(", "));
        }
        Ok(kinds)
    }

    /// What an observation means; one of our own carries the word itself among its tags.
    pub fn of(&self, row: &Row) -> Meaning {
        if let Some(who) = tag(row, "who:").and_then(Who::parse) {
            return seen(who, String::new());
        }
        match row.get("observationType") {
            "human" => seen(Who::Person, String::new()),
            "vehicle" => seen(Who::Vehicle, String::new()),
            "blank" => seen(Who::Empty, String::new()),
            "animal" => self.animal(row),
            "unclassified" => Meaning::NotTold("nobody has looked at them yet (unclassified)"),
            _ => Meaning::NotTold("nobody could tell what they show (unknown)"),
        }
    }

    fn animal(&self, row: &Row) -> Meaning {
        let name = row.get("scientificName");
        let said = self.0.iter().find(|(n, _)| *n == name.to_lowercase()).map(|(_, who)| *who);
        match said {
            Some(Who::Deer) => seen(deer(row), String::new()),
            Some(who) => seen(who, if who == Who::Other { name.to_owned() } else { String::new() }),
            None if is_deer(name) => seen(deer(row), String::new()),
            None if name.is_empty() => seen(Who::Other, "an animal without a name".to_owned()),
            None => seen(Who::Other, name.to_owned()),
        }
    }
}

fn seen(who: Who, word: String) -> Meaning {
    Meaning::Seen { who, word }
}

/// Of the species, whatever subspecies or author stands behind.
fn is_deer(name: &str) -> bool {
    let name = name.to_lowercase();
    DEER.iter()
        .any(|d| name.strip_prefix(d).is_some_and(|rest| rest.is_empty() || rest.starts_with(' ')))
}

/// A fawn is a fawn whatever its sex.
fn deer(row: &Row) -> Who {
    match (row.get("lifeStage"), row.get("sex")) {
        ("juvenile", _) => Who::Fawn,
        (_, "male") => Who::Buck,
        (_, "female") => Who::Doe,
        _ => Who::Deer,
    }
}

/// The value behind a key among an observation's tags.
pub(super) fn tag<'a>(row: &Row<'a>, key: &str) -> Option<&'a str> {
    row.get("observationTags").split('|').find_map(|t| t.trim().strip_prefix(key)).map(str::trim)
}
