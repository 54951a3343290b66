//! The help in sorting: what was found of the pictures, screen by screen. It suggests, and never tags.

use super::screens::Screens;
use crate::card::Crawl;
use crate::empty_check::{Found, Sequences};
use crate::property::Property;

/// Which pictures were looked at, and what was found.
#[derive(Debug, Default, Clone)]
pub(super) struct Sorting {
    found: Vec<Option<Found>>,
    pub looked_at: usize,
    pub of: usize,
    pub done: bool,
}

impl Sorting {
    pub fn begin(pictures: usize) -> Self {
        Self { found: vec![None; pictures], looked_at: 0, of: pictures, done: false }
    }

    /// Whether none of some pictures shows anything; `None` where one was not looked at, or could not
    /// be compared.
    pub fn quiet(&self, pictures: &[u32]) -> Option<bool> {
        let known: Option<Vec<Found>> = pictures.iter().map(|p| self.of(*p)).collect();
        known.map(|k| k.into_iter().all(|f| f.is_quiet))
    }

    /// What was found of a picture; `None` where it was not looked at, or could not be compared.
    pub fn of(&self, picture: u32) -> Option<Found> {
        *self.found.get(picture as usize)?
    }

    /// The picture that differs most from what the camera sees else; the first where that is not known.
    pub fn most_telling(&self, pictures: &[u32]) -> Option<u32> {
        let apart = |p: &u32| self.of(*p).map_or(0.0, |f| f.apart);
        // The first of those that differ as much.
        pictures.iter().rev().copied().max_by(|a, b| apart(a).total_cmp(&apart(b)))
    }

    /// How far it has come.
    pub fn progress(&self) -> serde_json::Value {
        serde_json::json!({ "done": self.done, "looked_at": self.looked_at, "of": self.of })
    }

    /// Takes in what was found of some pictures.
    pub fn learn(&mut self, found: &[(u32, Option<Found>)]) {
        for (picture, of_picture) in found {
            if let Some(slot) = self.found.get_mut(*picture as usize) {
                *slot = *of_picture;
            }
        }
        self.looked_at += found.len();
    }

    /// There is nothing more to look at: clips and pictures without a time cannot be compared.
    pub fn end(&mut self) {
        self.looked_at = self.of;
        self.done = true;
    }
}

/// What the help in sorting makes of a season: for every visit its pictures, as their places in the
/// crawl, and whether it is probably nothing (`None` where that cannot be said).
///
/// # Errors
/// Where the sun does not rise and set.
pub fn probably_nothing(
    property: &Property,
    crawl: &Crawl,
) -> anyhow::Result<Vec<(Vec<u32>, Option<bool>)>> {
    let screens = Screens::of(property, crawl)?;
    let mut sorting = Sorting::begin(crawl.pictures.len());
    sort(property, crawl, &screens, |found| {
        sorting.learn(found);
        true
    });
    let of_screen = |pictures: &Vec<u32>| (pictures.clone(), sorting.quiet(pictures));
    Ok(screens.all.iter().map(|s| of_screen(&s.pictures)).collect())
}

/// Looks at every picture of the season, camera by camera, and hands on what it finds stretch by
/// stretch; ends early when `take` says so.
pub(super) fn sort(
    property: &Property,
    crawl: &Crawl,
    screens: &Screens,
    mut take: impl FnMut(&[(u32, Option<Found>)]) -> bool,
) {
    let sequences = Sequences::of(property, crawl, &screens.times);
    let mut stretches = sequences.stretches().into_iter();
    stretches.all(|s| take(&sequences.look(&s)));
}
