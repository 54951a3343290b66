//! Ground by ground: what its cameras saw this season against an earlier one in which it was something else.

use std::collections::BTreeMap;

use super::compare::Compared;
use super::quiet::Quiet;
use super::roles::Logged;
use super::window::Windows;
use super::{LEVEL, Role, Shift, Verdict};
use crate::measure::{Estimate, holm_adjusted};
use crate::property::{FenceSide, Ground, same_name};
use crate::visits::{DeerYear, Season};

/// One ground in the newest season.
#[derive(Debug, Clone)]
pub struct GroundRow {
    /// Its name.
    pub ground: String,
    /// On whose side of the fence it lies.
    pub side: FenceSide,
    /// What it was this season, as far as the table says.
    pub what: String,
    /// The cameras that see the deer it draws, by their place in the season.
    pub cameras: Vec<usize>,
    /// Visits in light at them this season.
    pub light_visits: usize,
    /// Beside earlier seasons, the newest first.
    pub against: Vec<GroundYear>,
}

/// A ground this season against an earlier one.
#[derive(Debug, Clone)]
pub struct GroundYear {
    /// The earlier season.
    pub with: DeerYear,
    /// What it was then.
    pub what: String,
    /// Its cameras together, over the same days of both seasons, the other cameras as controls; before is the earlier
    /// season.
    pub shift: Shift,
    /// The p-value of its visits in light, with all grounds and seasons allowed for.
    pub p_adjusted: Option<f64>,
    /// What can be said about visits in light.
    pub verdict: Verdict,
}

impl GroundYear {
    /// How many visits in light it would be on the days compared, had this season been like that one: this season's, over
    /// the ratio against the other cameras; with its range. `None` where nothing can be compared.
    pub fn had_it_been_so(&self) -> Option<Estimate> {
        let ratio = self.shift.rate_ratio_against_controls?;
        let of = |r: f64| self.shift.after.counted as f64 / r;
        (ratio.low > 0.0 && ratio.value > 0.0).then(|| Estimate {
            value: of(ratio.value),
            low: of(ratio.high),
            high: of(ratio.low),
        })
    }
}

/// Every ground of which some camera is known, those outside the fence first.
pub fn grounds(season: &Season, rows: &[Ground]) -> Vec<GroundRow> {
    let Some((newest, earlier)) = season.years.split_last() else {
        return Vec::new();
    };
    let mut by_name: BTreeMap<(std::cmp::Reverse<FenceSide>, String), Vec<&Ground>> =
        BTreeMap::new();
    for ground in rows {
        let key = (std::cmp::Reverse(ground.side), ground.name.to_lowercase());
        by_name.entry(key).or_default().push(ground);
    }
    let mut all: Vec<GroundRow> = Vec::new();
    for rows in by_name.values() {
        let cameras = cameras(season, rows);
        if cameras.is_empty() {
            continue;
        }
        let of_year = |year: &DeerYear| against(season, rows, &cameras, *year, *newest);
        all.push(GroundRow {
            ground: rows[0].name.clone(),
            side: rows[0].side,
            what: what_in(season, rows, *newest),
            light_visits: light_visits(season, &cameras, *newest),
            against: earlier.iter().rev().filter_map(of_year).collect(),
            cameras,
        });
    }
    adjust(&mut all);
    all
}

fn cameras(season: &Season, rows: &[&Ground]) -> Vec<usize> {
    let is_fed = |c: &usize| {
        let name = &season.cameras[*c].name;
        rows.iter().flat_map(|r| &r.feeds).any(|f| same_name(f, name))
    };
    (0..season.cameras.len()).filter(is_fed).collect()
}

/// What a ground was while cameras worked in a season, in the words of its rows.
fn what_in(season: &Season, rows: &[&Ground], year: DeerYear) -> String {
    let Some((first, last)) = season.span_of(year) else {
        return String::new();
    };
    let then = rows.iter().filter(|r| r.reaches(first, last));
    let words = then.map(|r| r.what.as_str());
    let mut words: Vec<&str> = words.filter(|w| !w.is_empty()).collect();
    words.dedup();
    words.join(", then ")
}

fn light_visits(season: &Season, cameras: &[usize], year: DeerYear) -> usize {
    let kind = season.about.kind;
    let visits = |c: &usize| season.cameras[*c].visits_between(kind, year.first(), year.last());
    cameras.iter().flat_map(visits).filter(|v| v.counted).count()
}

/// `None` of seasons that have no day in common, or in which the table has the ground the same.
fn against(
    season: &Season,
    rows: &[&Ground],
    cameras: &[usize],
    with: DeerYear,
    newest: DeerYear,
) -> Option<GroundYear> {
    let (then, now) = (what_in(season, rows, with), what_in(season, rows, newest));
    if then.is_empty() || then == now {
        return None;
    }
    let years = newest.years_after(with);
    let windows = Windows::of_seasons(season.span_of(with)?, season.span_of(newest)?, years)?;
    let role = |c: usize| match cameras.contains(&c) {
        true => Role::Near,
        false => Role::Control,
    };
    let roles: Vec<Role> = (0..season.cameras.len()).map(role).collect();
    let log: &[Logged] = &[];
    let quiet = Quiet::of(season, &windows, &roles, log);
    let kind = season.about.kind;
    let compared = Compared::of(season, &windows, kind, &roles, log, &quiet);
    let shift = compared.near_together("")?;
    Some(GroundYear { with, what: then, p_adjusted: None, verdict: shift.light_verdict, shift })
}

/// Holm's method over all grounds and seasons.
fn adjust(all: &mut [GroundRow]) {
    let mut asked: Vec<&mut GroundYear> = all
        .iter_mut()
        .flat_map(|g| &mut g.against)
        .filter(|y| y.verdict == Verdict::NoClearChange && y.shift.light_p_value.is_some())
        .collect();
    let p_values = asked.iter().filter_map(|y| y.shift.light_p_value).collect();
    for (year, p) in asked.iter_mut().zip(holm_adjusted(p_values)) {
        year.p_adjusted = Some(p);
        let ratio = year.shift.rate_ratio_against_controls;
        year.verdict = match ratio {
            Some(r) if p <= LEVEL && r.high < 1.0 => Verdict::ClearDrop,
            Some(r) if p <= LEVEL && r.low > 1.0 => Verdict::ClearRise,
            _ => Verdict::NoClearChange,
        };
    }
}
