//! What the order of the files says: a clock that fell back to a factory date and ran on from there.

use std::path::Path;

use chrono::{Datelike, NaiveDateTime, TimeDelta};

use super::shown_time;
use crate::card::{Picture, Untimed};
use crate::clock::Clocks;

/// A run of pictures taken after the clock was reset.
pub(super) struct Reset<'a> {
    /// The pictures, in the order in which they were taken.
    pub pictures: Vec<&'a Picture>,
    /// What the clock showed on the last picture before.
    pub before: Option<NaiveDateTime>,
    /// What it showed on the first picture after, when it had been set again.
    pub after: Option<NaiveDateTime>,
}

impl Reset<'_> {
    pub fn holds(&self, picture: &Picture) -> bool {
        self.pictures.iter().any(|p| std::ptr::eq(*p, picture))
    }
}

/// Cameras number their pictures, so the names' order is the order of taking, within one folder.
/// (When the counter rolls over, the newest pictures come first; their dates are then ordinary, and
/// an ordinary date is never taken for a reset.)
pub(super) fn resets<'a>(pictures: &[&'a Picture], clocks: &Clocks) -> Vec<Reset<'a>> {
    let mut found: Vec<Reset> = Vec::new();
    let mut ordered: Vec<&Picture> = pictures
        .iter()
        .copied()
        .filter(|p| shown_time(p).is_some_and(|t| !clocks.corrected(&p.camera, t)))
        .collect();
    ordered.sort_by(|a, b| a.path.cmp(&b.path));
    let mut before: Option<(&Path, NaiveDateTime)> = None;
    let mut at = 0;
    while let Some(&picture) = ordered.get(at) {
        let time = shown_time(picture).map(|t| t.shown());
        let folder = picture.file.parent().unwrap_or(Path::new(""));
        let (Some(time), last) = (time, before.filter(|(f, _)| *f == folder).map(|(_, t)| t))
        else {
            at += 1;
            continue;
        };
        let fell = last.is_some_and(|l| l - time > TimeDelta::days(1));
        let starts = impossible(picture) || (fell && factory(time));
        if !starts {
            before = Some((folder, time));
            at += 1;
            continue;
        }
        let from = at;
        let mut latest = time;
        while let Some(next) = ordered.get(at) {
            let Some(t) = shown_time(next).map(|t| t.shown()) else {
                break;
            };
            let runs_on = t - latest < TimeDelta::days(20) && t + TimeDelta::hours(2) > latest;
            if at > from && !(runs_on && next.file.parent() == Some(folder)) {
                break;
            }
            latest = latest.max(t);
            at += 1;
        }
        let after = ordered.get(at).and_then(|p| shown_time(p));
        found.push(Reset {
            pictures: ordered[from..at].to_vec(),
            before: last,
            after: after
                .map(|t| t.shown())
                .filter(|t| *t > latest && last.is_none_or(|l| *t > l)),
        });
    }
    found
}

fn impossible(picture: &Picture) -> bool {
    matches!(picture.time, Err(Untimed::TooEarly(_) | Untimed::Future(_)))
}

/// Factory clocks start on the first of January (common trade practice).
fn factory(time: NaiveDateTime) -> bool {
    time.ordinal() <= 2
}
