//! The same ruler laid over every other date: how unusual is this one?

use chrono::{Days, NaiveDate};
use rayon::prelude::*;

use super::Role;
use super::compare::Compared;
use super::effects::Question;
use super::noise::Noise;
use super::quiet::Quiet;
use super::roles::Logged;
use super::window::Windows;
use crate::visits::Season;

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

/// Lays the ruler over every date for the kind that the season is about; one result per camera, `None` at
/// controls.
pub(super) fn placebos(
    season: &Season,
    here: &Logged,
    windows: &Windows,
    log: &[Logged],
    quiet: &Quiet,
) -> Vec<Option<Placebo>> {
    let roles = &here.roles;
    let Some((first, last)) = season.span() else {
        return vec![None; roles.len()];
    };
    let kind = season.about.kind;
    let days = windows.days();
    let changes = |windows: &Windows, is_asked: &dyn Fn(usize) -> bool| -> Vec<Option<f64>> {
        let noise = vec![Noise::NONE; roles.len()];
        let compared = Compared::with(noise, season, windows, kind, roles, log, quiet);
        let change = |c: usize| is_asked(c).then(|| compared.share_change(c)).flatten();
        (0..roles.len()).map(change).collect()
    };
    let own = changes(windows, &|c| roles[c] == Role::Near);
    let reach = Days::new(REACH_DAYS);
    let (from, until) = (first.max(windows.after.0 - reach), last.min(windows.after.0 + reach));
    let is_any_asked = own.iter().any(Option::is_some);
    let dates = from.iter_days().take_while(|d| is_any_asked && *d <= until);
    let dates: Vec<NaiveDate> = dates.collect();
    let measured: Vec<Vec<Option<f64>>> = dates
        .par_iter()
        .map(|date| changes(&Windows::at(*date, days), &|c| own[c].is_some()))
        .collect();
    let one = |camera: usize| -> Option<Placebo> {
        (roles[camera] == Role::Near).then(|| {
            let at = |(date, m): (&NaiveDate, &Vec<Option<f64>>)| Some((*date, m[camera]?));
            let changes: Vec<(NaiveDate, f64)> =
                dates.iter().zip(&measured).filter_map(at).collect();
            counted(camera, own[camera], changes, windows, log)
        })
    };
    (0..roles.len()).map(one).collect()
}

fn counted(
    camera: usize,
    own: Option<f64>,
    changes: Vec<(NaiveDate, f64)>,
    here: &Windows,
    log: &[Logged],
) -> Placebo {
    let days = here.days();
    let is_untouched = |date: NaiveDate| {
        let there = Windows::at(date, days);
        let other = |l: &Logged| l.touches(camera, there.before.0 + Days::new(1), there.after.1);
        there.after.1 <= here.before.1 && !log.iter().any(other)
    };
    let untouched = || changes.iter().filter(|(date, _)| is_untouched(*date));
    let as_large = |own: f64| untouched().filter(|(_, c)| c.abs() >= own.abs()).count();
    Placebo { untouched: untouched().count(), as_large: own.map_or(0, as_large), changes }
}

/// Dates before an event of which so many must be known before they say anything against it.
const FEWEST_DATES: usize = 7;

/// Whether at least every second date before the event, with nothing logged in its days, changed as much at a camera
/// as the event's own did: then the change is nothing out of the ordinary there, whatever a model says.
pub(super) fn is_ordinary(
    season: &Season,
    here: &Logged,
    windows: &Windows,
    log: &[Logged],
    quiet: &Quiet,
    camera: usize,
    question: Question,
) -> bool {
    let kind = season.about.kind;
    let change = |windows: &Windows| {
        let noise = vec![Noise::NONE; here.roles.len()];
        let compared = Compared::with(noise, season, windows, kind, &here.roles, log, quiet);
        compared.plain_change(camera, question)
    };
    let Some((first, _)) = season.span() else { return false };
    let Some(own) = change(windows) else { return false };
    let days = windows.days();
    let last = windows.before.1 - Days::new(u64::from(days) - 1);
    let dates = first.iter_days().take_while(|date| *date <= last);
    let is_quiet = |there: &Windows| {
        let touches = |l: &Logged| l.touches(camera, there.before.0 + Days::new(1), there.after.1);
        !log.iter().any(touches)
    };
    let there = dates.map(|date| Windows::at(date, days)).filter(is_quiet);
    let changes: Vec<f64> = there.filter_map(|windows| change(&windows)).collect();
    let as_large = changes.iter().filter(|c| c.abs() >= own.abs()).count();
    changes.len() >= FEWEST_DATES && as_large * 2 >= changes.len()
}
