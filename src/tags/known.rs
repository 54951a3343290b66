//! Deer that are known by name: one spelling for each, and an age where `deer.csv` has the year of its birth.

use std::collections::HashMap;

use anyhow::Result;
use polars::prelude::*;

use super::words::Who;
use crate::clock::LocalTime;
use crate::property::NamedDeer;

/// Gives every name the spelling of `deer.csv`, else that of its first row, and every sighting of a named deer
/// without an age the one that follows from its year of birth.
pub(super) fn settle(sightings: &mut DataFrame, deer: &[NamedDeer]) -> Result<()> {
    let names = sightings.column("name")?.str()?.clone();
    if names.null_count() == names.len() {
        return Ok(());
    }
    let mut known: HashMap<String, (String, Option<&NamedDeer>)> = HashMap::new();
    for one in deer {
        known.insert(one.name.to_lowercase(), (one.name.clone(), Some(one)));
    }
    let who = sightings.column("who")?.u32()?.clone();
    let utc_ms = sightings.column("utc_ms")?.i64()?.clone();
    let offset_s = sightings.column("offset_s")?.i32()?.clone();
    let mut ages: Vec<Option<f64>> = sightings.column("age")?.f64()?.iter().collect();
    let mut is_other = false;
    let mut spelled: Vec<Option<String>> = Vec::with_capacity(names.len());
    for (row, name) in names.iter().enumerate() {
        let Some(name) = name else {
            spelled.push(None);
            continue;
        };
        let first = || (name.to_owned(), None);
        let (spelling, one) = known.entry(name.to_lowercase()).or_insert_with(first);
        is_other |= spelling != name;
        spelled.push(Some(spelling.clone()));
        let time = utc_ms.get(row).zip(offset_s.get(row));
        if let (None, Some(one), Some((utc, offset))) = (ages[row], *one, time) {
            let is_fawn = who.get(row) == Some(Who::Fawn as u32);
            let age = one.age_on(LocalTime::new(utc, offset).date());
            ages[row] = age.filter(|a| !is_fawn || *a < 1.0);
            is_other |= ages[row].is_some();
        }
    }
    if !is_other {
        return Ok(());
    }
    sightings.with_column(Column::new("name".into(), spelled))?;
    sightings.with_column(Column::new("age".into(), ages))?;
    Ok(())
}
