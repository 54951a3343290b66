//! Naming what is wrong with a clock from the light in its pictures.

use chrono::{NaiveDateTime, TimeDelta};

use super::Look;
use super::date::{Date, best_date, weekend_on};
use super::fault::{Fault, Finding, Found, likelier};
use super::light_model::{
    Offset, Shot, SunYear, best, best_drift, best_from, best_split, refine, right_offsets,
};
use crate::property::Property;

/// What the light says of a camera.
pub(super) struct Judged {
    pub offset: Offset,
    pub findings: Vec<Finding>,
}

/// A fault must make what was seen e^5.5 (about 250) times likelier than a clock that is right.
const GAIN: f64 = 5.5;
/// One more stretch has two more unknowns, and could begin anywhere.
const SPLIT_GAIN: f64 = 11.0;
/// How much less likely a simpler story may be.
const SIMPLER: f64 = 6.0;
/// A clock is called right within this, minutes: no more than people set it by.
const RIGHT_WITHIN_MIN: f64 = 15.0;

pub(super) fn by_light(property: &Property, camera: &str, looks: &[Look], sun: &SunYear) -> Judged {
    let shots: Vec<Shot> = looks.iter().map(|l| l.shot).collect();
    let near = best(&shots, sun, all_offsets()).1;
    Judged {
        offset: refine(&shots, sun, near, 45.0),
        findings: stories(property, camera, looks, &shots, sun),
    }
}

/// The simplest story that explains the pictures: a right clock; one hour since a daylight-time
/// weekend; one wrong date or one offset; a drift; two stretches. A simpler one may be a little less
/// likely.
fn stories(
    property: &Property,
    camera: &str,
    looks: &[Look],
    shots: &[Shot],
    sun: &SunYear,
) -> Vec<Finding> {
    let right = best(shots, sun, right_offsets()).0;
    let one = best(shots, sun, all_offsets()).0;
    let weekend = best_weekend(property, looks, shots, sun);
    let date = best_date(property, looks, sun).map_or(f64::NEG_INFINITY, |d| d.likelihood);
    let (drift, start, end) = best_drift(shots, sun);
    let split = best_split(shots, sun).map(|(cut, gain)| (cut, one + gain));
    let split_likelihood = split.map_or(f64::NEG_INFINITY, |s| s.1);
    let most = [one, date, drift, split_likelihood]
        .into_iter()
        .fold(right, f64::max);
    if most - right < GAIN {
        return Vec::new();
    }
    let least = (most - SIMPLER).max(right + GAIN);
    if let Some(weekend) = weekend.filter(|w| w.likelihood > least) {
        return vec![not_reset(camera, looks, sun, &weekend)];
    }
    if one.max(date) > most - SIMPLER {
        return stretch(property, camera, looks, sun).into_iter().collect();
    }
    if drift > most - SIMPLER && (end - start).abs() >= 2.0 * RIGHT_WITHIN_MIN {
        return vec![drifting(camera, looks, (start, end), drift - right)];
    }
    match split {
        Some((cut, likelihood)) if likelihood - one > SPLIT_GAIN => [&looks[..cut], &looks[cut..]]
            .into_iter()
            .filter_map(|part| stretch(property, camera, part, sun))
            .collect(),
        _ => stretch(property, camera, looks, sun).into_iter().collect(),
    }
}

/// A clock that was left alone over a daylight-time weekend, or moved when it should not have been.
struct Weekend {
    from: NaiveDateTime,
    cut: usize,
    hour: f64,
    likelihood: f64,
}

fn best_weekend(
    property: &Property,
    looks: &[Look],
    shots: &[Shot],
    sun: &SunYear,
) -> Option<Weekend> {
    let (first, last) = (looks.first()?.time.shown(), looks.last()?.time.shown());
    let days = (last.date() - first.date()).num_days();
    (0..=days)
        .filter_map(|n| weekend_on(property, first.date() + TimeDelta::days(n)))
        .map(|from| {
            let cut = looks.partition_point(|l| l.time.shown() < from);
            let minute = shots.get(cut).map_or(f64::INFINITY, |s| s.minute);
            let hours = [-60.0, 60.0].into_iter();
            let (likelihood, hour) = best_from(shots, sun, minute, hours, right_offsets());
            Weekend {
                from,
                cut,
                hour,
                likelihood,
            }
        })
        .max_by(|a, b| a.likelihood.total_cmp(&b.likelihood))
}

fn not_reset(camera: &str, looks: &[Look], sun: &SunYear, weekend: &Weekend) -> Finding {
    let after = &looks[weekend.cut..];
    let shots: Vec<Shot> = after.iter().map(|l| l.shot).collect();
    let found = Found {
        camera,
        looks: after,
        offset: refine(&shots, sun, weekend.hour, 45.0),
    };
    let right = best(&shots, sun, right_offsets()).0;
    let off = best(&shots, sun, std::iter::once(weekend.hour)).0;
    let evidence = format!(
        "{}, and {} pictures before the weekend agree with the light",
        found.evidence(off - right),
        weekend.cut
    );
    let mut finding = found.finding(Fault::NotReset, weekend.hour, evidence);
    finding.from = weekend.from;
    finding
}

fn all_offsets() -> impl Iterator<Item = f64> {
    (-144..144).map(|n| f64::from(n) * 5.0)
}

/// Judges one stretch that has one offset.
fn stretch(property: &Property, camera: &str, looks: &[Look], sun: &SunYear) -> Option<Finding> {
    let shots: Vec<Shot> = looks.iter().map(|l| l.shot).collect();
    let right = best(&shots, sun, right_offsets()).0;
    let (off, near) = best(&shots, sun, all_offsets());
    let date = best_date(property, looks, sun);
    let found = Found {
        camera,
        looks,
        offset: refine(&shots, sun, near, 45.0),
    };
    // A date is the larger claim: it must explain the pictures better than a plain offset does.
    if let Some(date) = date.filter(|d| d.likelihood - right > GAIN && d.likelihood - off > 3.0) {
        return Some(found.wrong_date(&date));
    }
    let Offset { low, high, .. } = found.offset;
    let outside = low > RIGHT_WITHIN_MIN || high < -RIGHT_WITHIN_MIN;
    (off - right > GAIN && outside).then(|| found.off(property, off - right))
}

impl Found<'_> {
    fn off(&self, property: &Property, gain: f64) -> Finding {
        let Offset { minutes, low, high } = self.offset;
        let within = |m: f64| (low - 3.0..=high + 3.0).contains(&m);
        let evidence = self.evidence(gain);
        let half = [-720.0, 720.0]
            .into_iter()
            .find(|m| within(*m) || (minutes - m).abs() < 20.0);
        if let Some(half) = half {
            let mut finding = self.finding(Fault::HalfDay, half, evidence);
            finding.doubt = Some(
                "the light cannot tell twelve hours ahead from twelve hours behind; the date may be one day off".to_owned(),
            );
            return finding;
        }
        let hour = [-60.0, 60.0].into_iter().find(|m| within(*m));
        let first = self.looks.first().map(|l| l.time.shown().date());
        let weekend = first.is_some_and(|date| {
            (-10..=10).any(|n| weekend_on(property, date + TimeDelta::days(n)).is_some())
        });
        match hour {
            Some(hour) if weekend => self.finding(Fault::NotReset, hour, evidence),
            Some(hour) => self.finding(Fault::Off, hour, evidence),
            None => self.finding(Fault::Off, minutes.round(), evidence),
        }
    }

    fn wrong_date(&self, date: &Date) -> Finding {
        let evidence = format!(
            "the length of the days in {} pictures is that of a date {} days {} (between {} and {} days)",
            self.looks.len(),
            date.days.abs(),
            if date.days < 0 { "earlier" } else { "later" },
            date.range.0,
            date.range.1
        );
        let mut finding = self.finding(Fault::WrongDate, date.days as f64 * 1440.0, evidence);
        finding.low_min = date.range.0 as f64 * 1440.0;
        finding.high_min = date.range.1 as f64 * 1440.0;
        finding.doubt = Some(match date.rival {
            None => "the light gives the season, not the day: check the date against something you remember".to_owned(),
            Some(days) => format!(
                "days are as long in spring as in autumn, so {days} days fits nearly as well: check the date against something you remember"
            ),
        });
        finding
    }
}

fn drifting(camera: &str, looks: &[Look], (start, end): (f64, f64), gain: f64) -> Finding {
    let found = Found {
        camera,
        looks,
        offset: Offset {
            minutes: (start + end) / 2.0,
            low: start.min(end),
            high: start.max(end),
        },
    };
    let evidence = format!(
        "the light asks for {start:+.0} minutes at the start and {end:+.0} at the end ({} times likelier than a right clock)",
        likelier(gain)
    );
    let mut finding = found.finding(Fault::Drift, (start + end) / 2.0, evidence);
    finding.doubt = Some(
        "one number of minutes cannot follow a drift: it puts the middle right, and the ends stay off".to_owned(),
    );
    finding
}
