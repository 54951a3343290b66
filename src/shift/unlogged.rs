//! Changes that nobody logged: where and when to go and look.

use std::sync::atomic::{AtomicBool, Ordering};

use chrono::{Days, NaiveDate};
use rayon::prelude::*;

use super::Role;
use super::compare::{self, LEVEL};
use super::roles::Logged;
use super::window::Windows;
use crate::visits::{Kind, Season};

/// A change of the daylight share at one camera that no logged disturbance accounts for.
#[derive(Debug, Clone, PartialEq)]
pub struct Unlogged {
    /// Index of the camera.
    pub camera: usize,
    /// The kind of deer.
    pub kind: Kind,
    /// First and last date at which a change is clear: the days to go and look at.
    pub dates: (NaiveDate, NaiveDate),
    /// The change against all other cameras at the clearest of them, as a fraction.
    pub change: f64,
    /// Its p-value, times the number of cameras, kinds and dates looked at.
    pub p_adjusted: f64,
}

/// Days from one date looked at to the next.
const STEP_DAYS: usize = 3;

/// Looks at every camera on every third date for changes that nobody logged. Every p-value is multiplied by the number of looks (Bonferroni),
/// so that at most one season in twenty raises a false alarm. Says also whether any camera could be compared.
pub(super) fn unlogged(season: &Season, log: &[Logged]) -> (Vec<Unlogged>, bool) {
    let days = season.settings.shift_days;
    let Some((first, last)) = season.span() else {
        return (Vec::new(), false);
    };
    let kinds = season.about.kinds();
    let any = AtomicBool::new(false);
    let dates: Vec<NaiveDate> = first
        .iter_days()
        .take_while(|d| *d <= last)
        .skip(days as usize / 2)
        .step_by(STEP_DAYS)
        .filter(|date| could_show(season, &Windows::at(*date, days)))
        .collect();
    let looks = (dates.len() * season.cameras.len() * kinds.len()) as f64;
    let alarms: Vec<Unlogged> = dates
        .par_iter()
        .flat_map_iter(|date| {
            let look = |kind| look(season, *date, kind, looks, log, &any);
            kinds.iter().map(|kind| look(*kind)).collect::<Vec<_>>()
        })
        .flatten_iter()
        .filter(|alarm| !is_logged(season, log, alarm))
        .collect();
    let alarms = together(alarms, Days::new(u64::from(days)));
    (alarms, any.into_inner())
}

/// Whether any camera has visits on both sides: most of a year has none.
fn could_show(season: &Season, windows: &Windows) -> bool {
    let any = |c: usize, side| {
        let mut days = season.days.between(c, Kind::Deer, side, windows.after.0);
        days.any(|d| d.seen.visits > 0)
    };
    (0..season.cameras.len()).any(|c| any(c, windows.before) && any(c, windows.after))
}

/// Every camera against all others at one date.
fn look(
    season: &Season,
    date: NaiveDate,
    kind: Kind,
    looks: f64,
    log: &[Logged],
    any: &AtomicBool,
) -> Vec<Unlogged> {
    let roles = vec![Role::Control; season.cameras.len()];
    let windows = Windows::at(date, season.settings.shift_days);
    let compared = compare::shares(season, &windows, kind, &roles, log, |_| true);
    let alarm = |(camera, c): (usize, &Option<compare::Comparison>)| {
        let c = c.as_ref()?;
        any.fetch_or(c.has_controls(), Ordering::Relaxed);
        Some(Unlogged {
            camera,
            kind,
            dates: (date, date),
            p_adjusted: c.p_value_up_to(LEVEL / looks)? * looks,
            change: c.tested_change()?,
        })
    };
    compared.iter().enumerate().filter_map(alarm).collect()
}

/// Whether a disturbance that could touch the camera began or ended within the days compared.
fn is_logged(season: &Season, log: &[Logged], alarm: &Unlogged) -> bool {
    let windows = Windows::at(alarm.dates.0, season.settings.shift_days);
    log.iter()
        .any(|l| l.touches(alarm.camera, windows.before.0, windows.after.1))
}

/// Alarms of one camera and kind that follow each other within `gap` are one, at its clearest.
fn together(mut alarms: Vec<Unlogged>, gap: Days) -> Vec<Unlogged> {
    alarms.sort_by_key(|a| (a.camera, a.kind, a.dates.0));
    let mut merged: Vec<Unlogged> = Vec::new();
    for alarm in alarms {
        match merged.last_mut() {
            Some(m)
                if m.camera == alarm.camera
                    && m.kind == alarm.kind
                    && alarm.dates.0 <= m.dates.1 + gap =>
            {
                m.dates.1 = alarm.dates.1;
                if alarm.p_adjusted < m.p_adjusted {
                    m.p_adjusted = alarm.p_adjusted;
                    m.change = alarm.change;
                }
            }
            _ => merged.push(alarm),
        }
    }
    merged
}
