//! What was said of the pictures, each with the person's note.

use std::collections::HashMap;

use anyhow::Result;
use chrono::NaiveDate;

use crate::debrief::Debrief;
use crate::tags::{Sighting, Tag, TagBook, notes_without_picture};

/// Every sighting with what was written beside it, in the sightings' order.
pub(super) fn noted(
    debrief: &Debrief,
    today: NaiveDate,
) -> Result<Vec<(Sighting<'_>, Option<String>)>> {
    let notes = Notes::of(debrief)?;
    let without_picture = notes_without_picture(&debrief.property, today)?;
    let mut unpictured = without_picture.into_iter();
    let mut all = Vec::new();
    for row in debrief.tagged.sightings.rows()? {
        let note = match row.picture {
            Some(_) => notes.of_sighting(&row),
            None => unpictured.next().flatten(),
        };
        all.push((row, note));
    }
    Ok(all)
}

/// What the person wrote beside a tag.
struct Notes(HashMap<u32, Vec<Tag>>);

impl Notes {
    fn of(debrief: &Debrief) -> Result<Self> {
        let (book, _) = TagBook::reopen(&debrief.property, &debrief.crawl)?;
        let all = 0..debrief.crawl.pictures.len() as u32;
        let noted = |p: u32| {
            let tags = book.of_picture(p);
            tags.iter()
                .any(|t| t.note.is_some())
                .then(|| (p, tags.to_vec()))
        };
        Ok(Self(all.filter_map(noted).collect()))
    }

    fn of_sighting(&self, row: &Sighting) -> Option<String> {
        let tags = self.0.get(&row.picture?)?;
        let tag = tags
            .iter()
            .find(|t| t.who == row.who && t.count == row.count)?;
        tag.note.clone()
    }
}
