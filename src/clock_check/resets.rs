//! A clock that fell back to a factory date and ran on from there, by the order of taking.

use chrono::{Datelike, NaiveDateTime, TimeDelta};

use crate::card::{Picture, Untimed};
use crate::clock::ClockReader;
use crate::pull::Roll;

/// A run of pictures taken after the clock was reset.
pub(super) struct Reset<'a> {
    /// The pictures, in the order in which they were taken.
    pub pictures: Vec<&'a Picture>,
    /// What the clock showed on the last picture before.
    pub before: Option<NaiveDateTime>,
    /// What it showed on the first picture after, when it had been set again.
    pub after: Option<NaiveDateTime>,
    /// When the card was pulled, by UTC.
    pub pulled: Option<NaiveDateTime>,
    /// Its dates have not come yet.
    pub not_yet: bool,
}

impl Reset<'_> {
    pub fn holds(&self, picture: &Picture) -> bool {
        self.pictures.iter().any(|p| std::ptr::eq(*p, picture))
    }
}

/// Runs of pictures that begin with a fall to a factory date, or whose dates cannot be.
pub(super) fn resets<'a>(roll: &Roll<'a>, clock: &ClockReader) -> Vec<Reset<'a>> {
    let ordered: Vec<(&Picture, NaiveDateTime)> = roll
        .pictures
        .iter()
        .filter_map(|p| Some((*p, p.shown_time()?)))
        .filter(|(_, t)| !clock.is_corrected(*t))
        .map(|(p, t)| (p, t.shown()))
        .collect();
    let mut found: Vec<Reset> = Vec::new();
    let mut before: Option<NaiveDateTime> = None;
    let mut at = 0;
    while let Some(&(picture, time)) = ordered.get(at) {
        let fell = before.is_some_and(|l| l - time > TimeDelta::days(1));
        let starts =
            impossible(picture) || (fell && factory(time) && !clock.is_placed(time.date()));
        if !starts {
            before = Some(time);
            at += 1;
            continue;
        }
        let from = at;
        let mut latest = time;
        while let Some(&(next, t)) = ordered.get(at) {
            let runs_on = t - latest < TimeDelta::days(20) && t + TimeDelta::hours(2) > latest;
            if at > from && !(runs_on && impossible(next) == impossible(picture)) {
                break;
            }
            latest = latest.max(t);
            at += 1;
        }
        let after = ordered.get(at).map(|(_, t)| *t);
        found.push(Reset {
            pictures: ordered[from..at].iter().map(|(p, _)| *p).collect(),
            before,
            after: after.filter(|t| before.is_none_or(|l| *t > l)),
            pulled: roll.pulled,
            not_yet: matches!(picture.time, Err(Untimed::Future(_))),
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
