//! Tags as observations: one row for what was said of one picture.

use std::collections::{HashMap, HashSet};

use anyhow::Result;

use super::deployments::Deployments;
use super::media::{Media, Medium};
use super::sheet::Sheet;
use super::{PackageOptions, moment};
use crate::debrief::Debrief;
use crate::exchange::schema;
use crate::tags::{Sighting, Who};

/// Pictures of people and vehicles.
pub(super) fn private(debrief: &Debrief) -> Result<HashSet<u32>> {
    let rows = debrief.tagged.sightings.rows()?;
    let is_private = |s: &Sighting| matches!(s.who, Who::Person | Who::Vehicle);
    Ok(rows.filter(is_private).filter_map(|s| s.picture).collect())
}

pub(super) fn sheet(
    debrief: &Debrief,
    deployments: &Deployments,
    media: &Media,
    options: &PackageOptions,
) -> Result<Sheet> {
    let mut sheet = Sheet::of(schema::observations());
    let codes = debrief.season.places_of(&debrief.tagged.sightings.cameras);
    let mut rows: Vec<Sighting> = debrief.tagged.sightings.rows()?.collect();
    // In the media's order; those without a picture last, in their own.
    rows.sort_by_key(|s| {
        let place = s.picture.and_then(|p| media.of_picture.get(&p));
        place.copied().unwrap_or(usize::MAX)
    });
    let mut count_of: HashMap<&str, usize> = HashMap::new();
    let mut events = 0;
    for row in &rows {
        let medium = row.picture.map(|p| media.of_picture.get(&p).map(|i| &media.all[*i]));
        let deployment = match medium {
            Some(None) => continue,
            Some(Some(medium)) => Some(medium.deployment),
            None => {
                codes[row.camera as usize].and_then(|c| deployments.at(debrief, c, row.time.date()))
            }
        };
        let Some(deployment) = deployment else {
            continue;
        };
        let medium: Option<&Medium> = medium.flatten();
        let id = match medium {
            Some(medium) => {
                let n = count_of.entry(&medium.id).or_insert(0);
                *n += 1;
                format!("{}-{n}", medium.id)
            }
            None => {
                events += 1;
                format!("event-{events}")
            }
        };
        let mut cells = who_cells(row, options);
        cells.extend([
            ("observationID", id),
            ("deploymentID", deployment.id.clone()),
            ("mediaID", medium.map_or_else(String::new, |m| m.id.clone())),
            ("eventStart", moment(row.time)),
            ("eventEnd", moment(row.time)),
            ("observationLevel", if medium.is_some() { "media" } else { "event" }.to_owned()),
            ("observationComments", row.note.unwrap_or_default().to_owned()),
        ]);
        sheet.add(&cells);
    }
    unclassified(debrief, media, &mut sheet);
    Ok(sheet)
}

/// Pictures that nobody has said anything of.
fn unclassified(debrief: &Debrief, media: &Media, sheet: &mut Sheet) {
    let is_tagged = |m: &&Medium| debrief.tagged.tagged[m.picture as usize];
    for medium in media.all.iter().filter(|m| !is_tagged(m)) {
        sheet.add(&[
            ("observationID", format!("{}-0", medium.id)),
            ("deploymentID", medium.deployment.id.clone()),
            ("mediaID", medium.id.clone()),
            ("eventStart", moment(medium.at)),
            ("eventEnd", moment(medium.at)),
            ("observationLevel", "media".to_owned()),
            ("observationType", "unclassified".to_owned()),
        ]);
    }
}

/// Who, how many, how old and which one. Buck, doe and fawn are species, sex and life stage; the word itself
/// and the age in years, for which the standard has no field, stand among the tags.
fn who_cells(row: &Sighting, options: &PackageOptions) -> Vec<(&'static str, String)> {
    let what = match row.who {
        Who::Person => "human",
        Who::Vehicle => "vehicle",
        Who::Empty => "blank",
        _ => "animal",
    };
    let sex = match row.who {
        Who::Buck => "male",
        Who::Doe => "female",
        _ => "",
    };
    // Deer breed in their second year (common handbook knowledge, from memory): a yearling is subadult.
    let stage = match (row.who, row.age) {
        (Who::Fawn, _) => "juvenile",
        (Who::Buck | Who::Doe, Some(age)) if age < 1.0 => "juvenile",
        (Who::Buck | Who::Doe, Some(age)) if age < 2.0 => "subadult",
        (Who::Buck | Who::Doe, Some(_)) => "adult",
        _ => "",
    };
    let species = if row.who.is_deer() { options.species.as_str() } else { "" };
    let mut tags = vec![format!("who:{}", row.who.word())];
    tags.extend(row.age.map(|a| format!("age:{a}")));
    let is_counted = !matches!(row.who, Who::Empty);
    vec![
        ("observationType", what.to_owned()),
        ("scientificName", species.to_owned()),
        ("count", if is_counted { row.count.to_string() } else { String::new() }),
        ("lifeStage", stage.to_owned()),
        ("sex", sex.to_owned()),
        ("individualID", row.name.unwrap_or("").to_owned()),
        ("observationTags", tags.join("|")),
    ]
}
