//! The order of taking. Cameras number their pictures, so the names' order is the order of taking, but
//! only within what one pull brought: the next card begins to count anew.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::Path;

use chrono::NaiveDateTime;

use super::{Catalogue, Remembered};
use crate::card::{Picture, before_numbering};

/// What one pull brought of one camera, in the order of taking.
pub struct Roll<'a> {
    /// The pictures.
    pub pictures: Vec<&'a Picture>,
    /// When it was pulled, by the clock of UTC.
    pub pulled: Option<NaiveDateTime>,
}

/// Knows which pull brought each picture.
pub struct Pulls {
    by_path: HashMap<String, Remembered>,
}

impl Pulls {
    /// From what pulls remember.
    pub fn of(catalogue: Catalogue) -> Self {
        let by_path = catalogue.files.into_iter().map(|f| (f.path.clone(), f)).collect();
        Self { by_path }
    }

    /// A camera's pictures by roll. Pictures that no pull remembers make a roll of their own; where a
    /// name was numbered because it came again, it belongs to a later one.
    pub fn rolls<'a>(&self, pictures: &[&'a Picture]) -> Vec<Roll<'a>> {
        let names: HashSet<&Path> = pictures.iter().map(|p| p.file()).collect();
        type Key = (Option<String>, u32);
        let mut rolls: BTreeMap<Key, Vec<(String, &'a Picture)>> = BTreeMap::new();
        for &picture in pictures {
            let (key, name) = match self.by_path.get(&picture.path) {
                Some(pulled) => ((Some(pulled.pull.clone()), 0), pulled.on_card.clone()),
                None => match before_numbering(picture.file())
                    .filter(|(base, _)| names.contains(base.as_path()))
                {
                    Some((base, n)) => ((None, n), base.to_string_lossy().into_owned()),
                    None => ((None, 1), picture.path.clone()),
                },
            };
            rolls.entry(key).or_default().push((name, picture));
        }
        let roll = |((pull, _), mut pictures): (Key, Vec<(String, &'a Picture)>)| {
            pictures.sort_by(|a, b| a.0.cmp(&b.0));
            Roll {
                pulled: pull.as_deref().and_then(pulled_at),
                pictures: pictures.into_iter().map(|(_, p)| p).collect(),
            }
        };
        rolls.into_iter().map(roll).collect()
    }
}

/// The moment in a pull's name, by the clock of UTC.
pub fn pulled_at(pull: &str) -> Option<NaiveDateTime> {
    NaiveDateTime::parse_from_str(pull, "pull-%Y%m%dT%H%M%S%.3fZ").ok()
}
