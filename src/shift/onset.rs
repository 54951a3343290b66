//! When a clear change began, and whether the deer came back.

use chrono::{Days, NaiveDate};

use super::window::{Tally, Windows};
use crate::measure::{Counts, DayCount, Runs, change_point, wilson};
use crate::visits::{Camera, Kind, Season};

/// When the share most likely changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Onset {
    /// First day of the changed share.
    pub date: NaiveDate,
    /// First and last day that the visits do not speak against.
    pub interval: (NaiveDate, NaiveDate),
    /// Days from the onset until the share was again within reach of what it was; `None` where it
    /// was not, up to the end of the pictures.
    pub recovered_after_days: Option<i64>,
    /// Last day with pictures: how far the recovery was followed.
    pub followed_until: NaiveDate,
}

/// Days over which a share is taken when looking for a recovery.
const STRETCH_DAYS: u64 = 14;
/// A longer gap than this begins another season.
const LONGEST_GAP_DAYS: i64 = 30;
/// A stretch with fewer visits than this shows nothing.
const FEWEST: f64 = 5.0;

/// Looks for the day of the change within the days compared, and for a recovery after it.
pub(super) fn onset(
    season: &Season,
    camera: usize,
    kind: Kind,
    windows: &Windows,
    runs: Runs,
) -> Option<Onset> {
    let start = windows.before.0;
    let last = followed_until(&season.cameras[camera], windows)?;
    let as_on = windows.after.0;
    let tally =
        |from: NaiveDate, until: NaiveDate| Tally::of(season, camera, kind, (from, until), as_on);
    let found = change_point(&tally(start, windows.after.1).days, runs.design_effect)?;
    let date_of = |index: usize| start + Days::new(index as u64);
    let date = date_of(found.at);
    Some(Onset {
        date,
        interval: (date_of(found.interval.0), date_of(found.interval.1)),
        recovered_after_days: recovery(
            &tally(start, date - Days::new(1)).days,
            &tally(date, last.max(date)).days,
            runs.design_effect,
        ),
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

/// The first stretch after the change whose share is nearer to what it was before than to what it
/// became, and whose interval reaches back to it; told by the day in its middle.
fn recovery(before: &[DayCount], after: &[DayCount], design_effect: f64) -> Option<i64> {
    let share_before = counts(before).share()?;
    let stretch = STRETCH_DAYS as usize;
    let changed = counts(&after[..stretch.min(after.len())]).share()?;
    let half_way = (share_before - changed).abs() / 2.0;
    (1..(after.len() + 1).saturating_sub(stretch))
        .find(|&day| {
            let now = counts(&after[day..day + stretch]);
            let reached = wilson(now.divided_by(design_effect)).is_some_and(|w| {
                (w.low..=w.high).contains(&share_before)
                    && (w.value - share_before).abs() < half_way
            });
            now.trials >= FEWEST && reached
        })
        .map(|day| (day + stretch / 2) as i64)
}

fn counts(days: &[DayCount]) -> Counts {
    Counts {
        hits: days.iter().map(|d| d.hits).sum(),
        trials: days.iter().map(|d| d.trials).sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(share_in_ten: f64, n: usize) -> Vec<DayCount> {
        vec![
            DayCount {
                hits: share_in_ten / 10.0,
                trials: 1.0,
            };
            n
        ]
    }

    #[test]
    fn a_share_that_comes_back_after_twenty_days() {
        let after = [days(1.0, 20), days(6.0, 30)].concat();
        let found = recovery(&days(6.0, 21), &after, 1.0).unwrap();
        assert!((18..=24).contains(&found), "{found}");
        assert_eq!(recovery(&days(6.0, 21), &days(1.0, 50), 1.0), None);
    }
}
