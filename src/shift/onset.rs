//! When a clear change began, and whether the deer came back.

use chrono::{Days, NaiveDate};

use super::Shift;
use super::compare::Compared;
use super::effects::Question;
use super::instead::clear_question;
use super::window::Windows;
use crate::visits::{Camera, Season};

/// When a share, or visits in light, most likely changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Onset {
    /// What changed.
    pub of: Question,
    /// First day of the change.
    pub date: NaiveDate,
    /// The days within which it began with a chance of 95 %.
    pub interval: (NaiveDate, NaiveDate),
    /// Days from the onset until visits were again what they would have been; `None` where that did not happen, with a
    /// chance of 95 %, up to the end of the pictures.
    pub recovered_after_days: Option<i64>,
    /// Last day with pictures: how far the recovery was followed.
    pub followed_until: NaiveDate,
}

/// A longer gap than this begins another season.
const LONGEST_GAP_DAYS: i64 = 30;

/// A change may have begun so many days before the date that was logged.
const BEFORE_DAYS: u64 = 30;

/// When what is clear began, visits in light first, and when it ended: both from the fit of the whole record, cut some weeks
/// before the date, so that a change that began earlier shows.
pub(super) fn onset(
    season: &Season,
    camera: usize,
    row: &Shift,
    compared: &Compared,
) -> Option<Onset> {
    let of = clear_question(row)?;
    let date = compared.windows.after.0;
    let cut = date - Days::new(BEFORE_DAYS);
    let windows = Windows::at(cut, BEFORE_DAYS as u32);
    let at_date = compared.fit_from(camera, of, compared.windows)?;
    let ended = at_date.ended().map(|[middle, ..]| middle.round());
    let until = ended.map_or(f64::INFINITY, |days| days + BEFORE_DAYS as f64);
    let [middle, first, last] =
        compared.fit_from(camera, of, &windows)?.began(at_date.step().value, until)?;
    let on = |days: f64| cut + Days::new(days.round().max(0.0) as u64);
    let began = on(middle);
    let ended = ended.map(|days| date + Days::new(days as u64));
    Some(Onset {
        of,
        date: began,
        interval: (on(first), on(last)),
        recovered_after_days: ended.map(|on| (on - began).num_days()),
        followed_until: followed_until(&season.cameras[camera], compared.windows)?,
    })
}

/// The last day up to which the camera can be followed: at the same place, without a gap that makes
/// it another season.
fn followed_until(camera: &Camera, windows: &Windows) -> Option<NaiveDate> {
    let dates = camera.effort.dates_between(windows.after.0, NaiveDate::MAX);
    let stays = |pair: &[NaiveDate]| {
        (pair[1] - pair[0]).num_days() <= LONGEST_GAP_DAYS
            && !camera.moved_between(pair[1], windows.after.0)
    };
    let kept = dates.windows(2).take_while(|pair| stays(pair)).count();
    dates.get(kept).copied()
}
