//! The same ruler laid over every other date: how unusual is this one?

use chrono::{Days, NaiveDate};
use rayon::prelude::*;

use super::Role;
use super::compare;
use super::roles::Logged;
use super::window::Windows;
use crate::visits::{Kind, Season};

/// The change that would have been measured at every date of the season.
#[derive(Debug, Clone, PartialEq)]
pub struct Placebo {
    /// Date and change: against the controls where there are any, else the camera's own.
    pub changes: Vec<(NaiveDate, f64)>,
    /// Dates whose days all lie before the disturbance and hold no other logged near the camera, so
    /// that nothing logged can show in them.
    pub untouched: usize,
    /// How many of them changed as much or more, in either direction.
    pub as_large: usize,
}

/// Dates further from the disturbance than this are another season, in days.
const REACH_DAYS: u64 = 180;

/// Lays the ruler over every date for one kind; one result per camera, `None` at controls.
pub(super) fn placebos(
    season: &Season,
    here: &Logged,
    kind: Kind,
    log: &[Logged],
) -> Vec<Option<Placebo>> {
    let Logged { disturbance, roles } = here;
    let days = season.settings.shift_days;
    let here = Windows::around(disturbance, days);
    let Some((first, last)) = season.span() else {
        return vec![None; roles.len()];
    };
    let reach = Days::new(REACH_DAYS);
    let (from, until) = (
        first.max(here.after.0 - reach),
        last.min(here.after.0 + reach),
    );
    let mut placebos: Vec<Option<Placebo>> = roles
        .iter()
        .map(|role| {
            (*role == Role::Near).then_some(Placebo {
                changes: Vec::new(),
                untouched: 0,
                as_large: 0,
            })
        })
        .collect();
    let is_near = |camera: usize| roles[camera] == Role::Near;
    let changes = |windows: &Windows| -> Vec<Option<f64>> {
        let compared = compare::shares(season, windows, kind, roles, log, is_near);
        compared
            .iter()
            .map(|c| c.as_ref()?.tested_change())
            .collect()
    };
    let own = changes(&here);
    let dates: Vec<NaiveDate> = from.iter_days().take_while(|d| *d <= until).collect();
    let measured: Vec<Vec<Option<f64>>> = dates
        .par_iter()
        .map(|date| changes(&Windows::at(*date, days)))
        .collect();
    for (date, measured) in dates.into_iter().zip(measured) {
        let windows = Windows::at(date, days);
        let before_it = windows.after.1 <= here.before.1;
        for (camera, ((placebo, change), own)) in
            placebos.iter_mut().zip(measured).zip(&own).enumerate()
        {
            let (Some(placebo), Some(change), Some(own)) = (placebo, change, own) else {
                continue;
            };
            placebo.changes.push((date, change));
            let other = log
                .iter()
                .any(|l| l.touches(camera, windows.before.0 + Days::new(1), windows.after.1));
            if before_it && !other {
                placebo.untouched += 1;
                placebo.as_large += usize::from(change.abs() >= own.abs());
            }
        }
    }
    placebos
}
