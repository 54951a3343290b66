//! When a clear change began, and whether the deer came back.

use chrono::{Days, NaiveDate};

use super::compare::Compared;
use super::effects::Question;
use super::noise::{Noise, Watched, days};
use super::window::Windows;
use super::{LEVEL, Shift};
use crate::measure::{DayCount, Law, change_point};
use crate::visits::{Camera, Season};

/// When a share, or visits in light, most likely changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Onset {
    /// What changed.
    pub of: Question,
    /// First day of the change.
    pub date: NaiveDate,
    /// First and last day that the visits do not speak against.
    pub interval: (NaiveDate, NaiveDate),
    /// Days from the onset until a stretch that is clearly not what it had become and nearer to what it was;
    /// `None` where there is none up to the end of the pictures.
    pub recovered_after_days: Option<i64>,
    /// Last day with pictures: how far the recovery was followed.
    pub followed_until: NaiveDate,
}

/// Days of a stretch in which a return is looked for.
const STRETCH_DAYS: u64 = 14;
/// A longer gap than this begins another season.
const LONGEST_GAP_DAYS: i64 = 30;

/// Looks for the day of the change within the days compared, of what is clear, the share first; and for a
/// recovery after them.
pub(super) fn onset(
    season: &Season,
    camera: usize,
    row: &Shift,
    compared: &Compared,
) -> Option<Onset> {
    let windows = compared.windows;
    let of = if row.verdict.is_clear() { Question::Share } else { Question::LightVisits };
    let watched = Watched { season, cameras: &[camera], kind: row.kind };
    let noise = Noise::of(watched, windows);
    let span = (windows.before.0, windows.after.1);
    let seen = days(watched, span, |_| windows.after.0);
    let last = followed_until(&season.cameras[camera], windows)?;
    let found = match of {
        Question::Share => {
            let counts: Vec<DayCount> = seen.iter().map(|d| d.count).collect();
            change_point(&counts, Law::Binomial, noise.share.design_effect)?
        }
        _ => {
            let night = |d: &super::noise::DaySeen| DayCount {
                hits: d.count.hits,
                trials: f64::from(u8::from(d.worked)),
            };
            let counts: Vec<DayCount> = seen.iter().map(night).collect();
            change_point(&counts, Law::Poisson, noise.light.design_effect)?
        }
    };
    let date_of = |index: usize| span.0 + Days::new(index as u64);
    let date = date_of(found.at);
    let returned = returned_on(compared, camera, of, last);
    Some(Onset {
        of,
        date,
        interval: (date_of(found.interval.0), date_of(found.interval.1)),
        recovered_after_days: returned.map(|on| (on - date).num_days()),
        followed_until: last,
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

/// The first day of the first stretch behind the days compared that differs from those after the change,
/// against the controls and with all stretches allowed for, and is nearer to what was before it. A share
/// that merely cannot be told from what it was has not come back.
fn returned_on(
    compared: &Compared,
    camera: usize,
    of: Question,
    last: NaiveDate,
) -> Option<NaiveDate> {
    let windows = compared.windows;
    let stretch = Days::new(STRETCH_DAYS - 1);
    let starts: Vec<NaiveDate> = (windows.after.1 + Days::new(1))
        .iter_days()
        .step_by(STRETCH_DAYS as usize)
        .take_while(|start| *start + stretch <= last)
        .collect();
    let level = LEVEL / starts.len().max(1) as f64;
    starts.iter().copied().find(|start| {
        let since =
            Windows { before: windows.after, after: (*start, *start + stretch), years_apart: None };
        compared.has_turned_back(camera, of, &since, level)
    })
}
