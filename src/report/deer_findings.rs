//! The deer with names, for a program.

use serde_json::{Value, json};

use super::digits;
use crate::debrief::{Debrief, DeerSeason, KnownDeer, Staying};

/// Every deer that has a name, in the page's order.
pub fn deer(debrief: &Debrief) -> Value {
    let one = |d: &KnownDeer| one(debrief, d);
    digits::rounded(debrief.known_deer.iter().map(one).collect())
}

fn one(debrief: &Debrief, deer: &KnownDeer) -> Value {
    let cameras: Vec<Value> = deer
        .cameras()
        .into_iter()
        .map(|(c, n)| json!({ "camera": debrief.camera_name(Some(c)), "visits": n }))
        .collect();
    json!({
        "name": deer.name,
        "who": deer.who.word(),
        "age": deer.age,
        "mature": deer.is_mature(debrief.property.settings.mature_age),
        "visits": deer.visits.len(),
        "pictures": deer.pictures.len(),
        "first_seen": deer.span().map(|s| s.0.to_string()),
        "last_seen": deer.span().map(|s| s.1.to_string()),
        "cameras": cameras,
        "seasons": deer.seasons.iter().map(season).collect::<Vec<_>>(),
        "staying": match deer.staying {
            Staying::Resident => json!("resident"),
            Staying::PasserBy => json!("passer-by"),
            Staying::Between => json!("came and went"),
            Staying::CannotBeTold => Value::Null,
        },
    })
}

fn season(season: &DeerSeason) -> Value {
    json!({
        "season": season.year.name(),
        "visits": season.visits,
        "counted_visits": season.counted,
        "share": season.share.map(|s| s.value),
        "low": season.share.map(|s| s.low),
        "high": season.share.map(|s| s.high),
    })
}
