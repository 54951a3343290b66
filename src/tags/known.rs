//! Deer that are known by name: one spelling for each, and an age where `deer.csv` has the year of its birth.

use std::collections::{BTreeMap, HashMap};

use anyhow::Result;
use polars::prelude::*;

use super::words::Who;
use crate::clock::LocalTime;
use crate::property::{NamedDeer, same_name};

/// Gives every name the spelling of `deer.csv`, else that of most of its rows, and every sighting of a named deer
/// without an age the one that follows from its year of birth.
pub(super) fn settle(sightings: &mut DataFrame, deer: &[NamedDeer]) -> Result<()> {
    let names = sightings.column("name")?.str()?.clone();
    let known = known(&names, deer);
    if known.iter().all(|(name, k)| k.spelling == *name && k.row.is_none()) {
        return Ok(());
    }
    let who = sightings.column("who")?.u32()?;
    let utc_ms = sightings.column("utc_ms")?.i64()?;
    let offset_s = sightings.column("offset_s")?.i32()?;
    let age = sightings.column("age")?.f64()?;
    let born = |row: usize, name: &str| {
        let time = LocalTime::new(utc_ms.get(row)?, offset_s.get(row)?);
        let is_fawn = who.get(row) == Some(Who::Fawn as u32);
        let age = known[name].row?.age_on(time.date())?;
        (!is_fawn || age < 1.0).then_some(age)
    };
    let rows = || names.iter().zip(age.iter()).enumerate();
    let ages: Vec<Option<f64>> =
        rows().map(|(row, (name, age))| age.or_else(|| born(row, name?))).collect();
    let spelled: StringChunked = names.iter().map(|n| n.map(|n| known[n].spelling)).collect();
    let spelled = spelled.with_name("name".into()).into_column();
    sightings.with_column(Column::new("age".into(), ages))?;
    sightings.with_column(spelled)?;
    Ok(())
}

/// One deer by one of its spellings.
struct Known<'a> {
    spelling: &'a str,
    row: Option<&'a NamedDeer>,
}

/// Every spelling that is there.
fn known<'a>(names: &'a StringChunked, deer: &'a [NamedDeer]) -> HashMap<&'a str, Known<'a>> {
    let mut rows: BTreeMap<&str, usize> = BTreeMap::new();
    for name in names.iter().flatten() {
        *rows.entry(name).or_default() += 1;
    }
    // Of spellings that are as frequent the first by its letters, whatever the order of the rows.
    let mut usual: HashMap<String, (usize, &str)> = HashMap::new();
    for (name, number) in &rows {
        let most = usual.entry(name.to_lowercase()).or_insert((*number, name));
        if *number > most.0 {
            *most = (*number, name);
        }
    }
    let known = |name: &'a str| {
        let row = deer.iter().find(|d| same_name(&d.name, name));
        let spelling = usual[&name.to_lowercase()].1;
        Known { spelling: row.map_or(spelling, |d| d.name.as_str()), row }
    };
    rows.into_keys().map(|name| (name, known(name))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spelling_follows_from_no_order_of_rows() {
        let mut rows = ["ghost", "Ghost", "Lefty", "GHOST", "Ghost", "lefty"];
        for _ in 0..2 {
            let names: StringChunked = rows.iter().copied().map(Some).collect();
            let known = known(&names, &[]);
            let spelled = |name: &str| known[name].spelling;
            assert_eq!([spelled("GHOST"), spelled("lefty")], ["Ghost", "Lefty"]);
            rows.reverse();
        }
    }
}
