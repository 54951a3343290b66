//! Who was seen: the kinds of deer, other animals by the word they came with, people and vehicles.

use std::collections::BTreeMap;

use anyhow::Result;

use super::Site;
use crate::clock::LocalTime;
use crate::debrief::Debrief;
use crate::sun::SunTable;
use crate::tags::Who;
use crate::visits::{DeerYear, Kind, Visit, visits_of_one};

/// A species or kind, and its events.
#[derive(Debug, Clone)]
pub struct Species {
    /// The kind of deer, the animal's word, `other animal`, `person` or `vehicle`.
    pub name: String,
    /// Which kind of deer it is.
    pub kind: Option<Kind>,
    /// Its events, site by site in order of time.
    pub events: Vec<Vec<Visit>>,
}

impl Species {
    /// Whether an animal can be counted in both: a mature buck is a buck, and all are deer.
    pub(super) fn shares_animals_with(&self, other: &Self) -> bool {
        let is_in = |a: Kind, b: Kind| {
            b == Kind::Deer || a == b || (a == Kind::MatureBuck && b == Kind::Buck)
        };
        matches!((self.kind, other.kind), (Some(a), Some(b)) if is_in(a, b) || is_in(b, a))
    }
}

/// Everybody who was seen in the season.
pub(super) fn seen(debrief: &Debrief, year: DeerYear, sites: &[Site]) -> Result<Vec<Species>> {
    let mut all: Vec<Species> = Kind::ALL.iter().map(|k| deer(debrief, year, sites, *k)).collect();
    all.extend(others(debrief, year, sites)?);
    all.retain(|s| s.events.iter().any(|e| !e.is_empty()));
    Ok(all)
}

fn deer(debrief: &Debrief, year: DeerYear, sites: &[Site], kind: Kind) -> Species {
    let here = |site: &Site| {
        let visits = debrief.season.cameras[site.camera_index].visits_between(
            kind,
            year.first(),
            year.last(),
        );
        at_site(debrief, site, visits.to_vec())
    };
    Species {
        name: kind.word().to_owned(),
        kind: Some(kind),
        events: sites.iter().map(here).collect(),
    }
}

/// Those of a camera's visits that fall on dates on which it hung there.
fn at_site(debrief: &Debrief, site: &Site, mut visits: Vec<Visit>) -> Vec<Visit> {
    let days = &debrief.season.days;
    visits.retain(|v| days.placement(site.camera_index, v.date()) == site.placement);
    visits
}

/// By camera and word, the moments with their pictures.
type Moments = BTreeMap<String, BTreeMap<usize, Vec<(LocalTime, u32)>>>;

fn others(debrief: &Debrief, year: DeerYear, sites: &[Site]) -> Result<Vec<Species>> {
    let codes = debrief.season.places_of(&debrief.tagged.sightings.cameras);
    let mut moments = Moments::new();
    for (i, row) in (0..).zip(debrief.tagged.sightings.rows()?) {
        let word = match row.who {
            Who::Person | Who::Vehicle => row.who.word().to_owned(),
            Who::Other => word_of(row.name, row.note),
            _ => continue,
        };
        if let Some(camera) = codes[row.camera as usize].filter(|_| year.contains(row.time.date()))
        {
            let of_word = moments.entry(word).or_default();
            let picture = row.picture.unwrap_or(u32::MAX - i);
            of_word.entry(camera).or_default().push((row.time, picture));
        }
    }
    let mut sun = SunTable::default();
    let mut all = Vec::new();
    for (name, by_camera) in moments {
        let mut visits: BTreeMap<usize, Vec<Visit>> = BTreeMap::new();
        for (camera, mut at) in by_camera {
            at.sort_unstable();
            let word = &debrief.season.cameras[camera].name;
            visits.insert(camera, visits_of_one(&debrief.property, word, &at, &mut sun)?);
        }
        let here = |site: &Site| {
            let of_camera = visits.get(&site.camera_index).cloned();
            at_site(debrief, site, of_camera.unwrap_or_default())
        };
        let events = sites.iter().map(here).collect();
        all.push(Species { name, kind: None, events });
    }
    Ok(all)
}

/// The word that an animal came with: its name, or a note of a word or three, up to the first comma or stop. Capitals,
/// hyphens and blanks make no other species of it.
fn word_of(name: Option<&str>, note: Option<&str>) -> String {
    const WORDS_MAX: usize = 3;
    let plain = |text: &str| -> String {
        let first = text.split([',', ';', '.', '(', '\n', '\r']).next().unwrap_or("");
        let words = first.split(|c: char| c.is_whitespace() || c == '-' || c == '_');
        let words: Vec<&str> = words.filter(|w| !w.is_empty()).collect();
        words.join(" ").to_lowercase()
    };
    let note = note.map(plain).filter(|n| n.split(' ').count() <= WORDS_MAX);
    let word = name.map(plain).filter(|w| !w.is_empty()).or(note);
    let is_taken = |word: &str| {
        Kind::ALL.iter().any(|k| k.word() == word) || Who::ALL.iter().any(|w| w.word() == word)
    };
    match word.unwrap_or_default() {
        none if none.is_empty() => OTHER.to_owned(),
        word if is_taken(&word) || word == OTHER => format!("other: {word}"),
        word => word,
    }
}

/// An animal that came without a word.
const OTHER: &str = "other animal";

#[cfg(test)]
mod tests {
    use super::word_of;

    #[test]
    fn spellings_make_no_other_species() {
        for (name, note, word) in [
            (Some("Gray  Fox"), None, "gray fox"),
            (Some("gray-fox"), None, "gray fox"),
            (None, Some("Coyote, limping"), "coyote"),
            (None, Some("coyote.\nline two"), "coyote"),
            (None, Some("stood there for a long while"), "other animal"),
            (None, None, "other animal"),
            (Some(""), Some("turkey"), "turkey"),
            (Some("Buck"), None, "other: buck"),
            (Some("person"), None, "other: person"),
        ] {
            assert_eq!(word_of(name, note), word);
        }
    }
}
