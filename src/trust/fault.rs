//! Naming what is wrong with a clock.

use chrono::{Datelike, Days, NaiveDate, NaiveDateTime, TimeDelta};

use super::light_model::{Offset, Shot, SunYear, best, best_drift, best_from, best_split, refine};
use super::order::Reset;
use super::{Look, minutes_between, shown_time};
use crate::card::{CameraTime, Picture};
use crate::clock::{Reading, to_local};
use crate::property::{ClockSetting, Property};

/// What people and batteries do to clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Twelve hours off: morning and afternoon mistaken.
    HalfDay,
    /// One hour off after a daylight-time weekend: the clock was not changed, or was when it should
    /// not have been.
    NotReset,
    /// Off by some other time.
    Off,
    /// A wrong day or month.
    WrongDate,
    /// A wrong year.
    WrongYear,
    /// Further and further off.
    Drift,
    /// Fell back to a factory date and ran on from there.
    Reset,
    /// Shown by a picture of the true time.
    Known,
}

impl Fault {
    /// The words in files and on the page.
    pub fn word(self) -> &'static str {
        match self {
            Self::HalfDay => "twelve hours off",
            Self::NotReset => "one hour off since a daylight-time weekend",
            Self::Off => "off by some time",
            Self::WrongDate => "wrong day or month",
            Self::WrongYear => "wrong year",
            Self::Drift => "drifting",
            Self::Reset => "fell back to a factory date",
            Self::Known => "off by a known moment",
        }
    }
}

/// A stretch of pictures whose times are wrong, and what would put them right.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The camera.
    pub camera: String,
    /// First picture, by the camera's own clock.
    pub from: NaiveDateTime,
    /// Last picture, by the camera's own clock.
    pub until: NaiveDateTime,
    /// What happened.
    pub fault: Fault,
    /// Minutes to add to the clock.
    pub shift_min: f64,
    /// Lower end of the 95 % interval.
    pub low_min: f64,
    /// Upper end.
    pub high_min: f64,
    /// Pictures that it rests on.
    pub pictures: usize,
    /// Why it is believed.
    pub evidence: String,
    /// What the evidence leaves open.
    pub doubt: Option<String>,
    /// A row of `clocks.csv` is applied already, and is not right.
    pub corrected: bool,
}

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

fn right_offsets() -> impl Iterator<Item = f64> + Clone {
    (-3..=3).map(|n| f64::from(n) * 5.0)
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

struct Found<'a> {
    camera: &'a str,
    looks: &'a [Look],
    offset: Offset,
}

impl Found<'_> {
    fn finding(&self, fault: Fault, shift_min: f64, evidence: String) -> Finding {
        let time = |l: Option<&Look>| l.map(|l| l.time.shown()).unwrap_or_default();
        Finding {
            camera: self.camera.to_owned(),
            from: time(self.looks.first()),
            until: time(self.looks.last()),
            fault,
            shift_min,
            low_min: self.offset.low,
            high_min: self.offset.high,
            pictures: self.looks.len(),
            evidence,
            doubt: None,
            corrected: self.looks.iter().any(|l| l.corrected),
        }
    }

    fn evidence(&self, gain: f64) -> String {
        let Offset { minutes, low, high } = self.offset;
        format!(
            "{} pictures turn from colour to grey {:.0} minutes {} than the light (95 % between {:.0} and {:.0} minutes; {} times likelier than a right clock)",
            self.looks.len(),
            minutes.abs(),
            if minutes < 0.0 { "later" } else { "earlier" },
            low.abs().min(high.abs()),
            low.abs().max(high.abs()),
            likelier(gain)
        )
    }

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

fn likelier(gain: f64) -> String {
    if gain > 13.8 {
        "over a million".to_owned()
    } else {
        format!("{:.0}", gain.exp())
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

/// Midnight before the clocks change, if they change on this date.
fn weekend_on(property: &Property, date: NaiveDate) -> Option<NaiveDateTime> {
    let noon_min = |d| noon_utc_min(property, d);
    let length = noon_min(date)? - noon_min(date - Days::new(1))?;
    (length != 1440).then(|| date.and_hms_opt(0, 0, 0))?
}

fn noon_utc_min(property: &Property, date: NaiveDate) -> Option<i64> {
    let shown = CameraTime::new(date.and_hms_opt(12, 0, 0)?);
    let kept = Reading::Kept(ClockSetting::Local);
    let noon = to_local(shown, kept, property.settings.time_zone);
    Some(noon.utc().timestamp() / 60)
}

/// The best number of whole days to move a stretch by.
struct Date {
    days: i64,
    likelihood: f64,
    /// Days that fit nearly as well, around the best.
    range: (i64, i64),
    /// A date in another season that fits nearly as well.
    rival: Option<i64>,
}

/// Nearer dates have days of the same length.
const TELLING_DAYS: i64 = 20;

fn best_date(property: &Property, looks: &[Look], sun: &SunYear) -> Option<Date> {
    const STEP: i64 = 4;
    let middle = looks.get(looks.len() / 2)?.time.shown().date();
    // All pictures are moved alike: a clock that is wrong by days knows no daylight-time weekend.
    let minutes = |days: i64| {
        let there = noon_utc_min(property, middle + TimeDelta::days(days))?;
        Some((there - noon_utc_min(property, middle)?) as f64)
    };
    let likelihoods: Vec<(i64, f64)> = (-182 / STEP..=182 / STEP)
        .map(|n| n * STEP)
        .filter(|days| days.abs() >= TELLING_DAYS)
        .filter_map(|days| {
            let by = minutes(days)?;
            let moved = |l: &Look| Shot {
                minute: l.shot.minute + by,
                ..l.shot
            };
            let shots: Vec<Shot> = looks.iter().map(moved).collect();
            Some((days, best(&shots, sun, right_offsets()).0))
        })
        .collect();
    let best = likelihoods
        .iter()
        .copied()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let near = |d: &(i64, f64)| best.1 - d.1 < 3.0;
    let around: Vec<i64> = likelihoods
        .iter()
        .filter(|d| near(d) && (d.0 - best.0).abs() < 60)
        .map(|d| d.0)
        .collect();
    Some(Date {
        days: best.0,
        likelihood: best.1,
        range: (*around.first()?, *around.last()?),
        rival: likelihoods
            .iter()
            .find(|d| near(d) && (d.0 - best.0).abs() >= 60)
            .map(|d| d.0),
    })
}

/// The run after a reset: the date from the pictures before and after it, the hour from the light.
pub(super) fn after_reset(
    property: &Property,
    camera: &str,
    reset: &Reset,
    looks: &[Look],
    sun: &SunYear,
) -> Option<Finding> {
    let times: Vec<NaiveDateTime> = reset
        .pictures
        .iter()
        .filter_map(|p| Some(shown_time(p)?.shown()))
        .collect();
    let (first, last) = (*times.first()?, *times.last()?);
    let found = Found {
        camera,
        looks,
        offset: Offset {
            minutes: 0.0,
            low: 0.0,
            high: 0.0,
        },
    };
    let earliest = reset.before.map(|b| minutes_between(first, b));
    let latest = reset.after.map(|a| minutes_between(last, a));
    let (shift, low, high) = match (earliest, latest) {
        (None, None) => {
            let evidence =
                "its dates cannot be, and no picture before or after says when it was".to_owned();
            let mut finding = found.finding(Fault::Reset, 0.0, evidence);
            (finding.from, finding.until, finding.pictures) = (first, last, times.len());
            finding.doubt = Some("point at a picture whose true time you know".to_owned());
            return Some(finding);
        }
        (Some(low), Some(high)) if high - low < 1440.0 => ((low + high) / 2.0, low, high),
        (low, high) => {
            // The light counts in real minutes, a correction in the digits of the clock, and
            // daylight time lies between them.
            let there = first + TimeDelta::minutes(low.or(high).unwrap_or(0.0) as i64);
            let days = (there.date() - first.date()).num_days();
            let real =
                noon_utc_min(property, there.date())? - noon_utc_min(property, first.date())?;
            let real_less_digits = (real - days * 1440) as f64;
            let bound = |b: Option<f64>| b.map(|b| b + real_less_digits);
            let (shift, low, high) = by_the_hour(looks, sun, bound(low), bound(high));
            let digits = |m: f64| m - real_less_digits;
            (digits(shift), digits(low), digits(high))
        }
    };
    let evidence = format!(
        "the clock shows {first} right after {}; its pictures number on without a break",
        reset
            .before
            .map_or("a good time".to_owned(), |b| b.to_string())
    );
    let mut finding = found.finding(Fault::Reset, shift.round(), evidence);
    (finding.from, finding.until, finding.pictures) = (first, last, times.len());
    (finding.low_min, finding.high_min) = (low, high);
    if high - low > 60.0 {
        finding.doubt = Some(
            "the hour follows from the light; the day is the first that the pictures before it allow".to_owned(),
        );
    }
    Some(finding)
}

/// The first day that fits the neighbours, at the hour that fits the light.
fn by_the_hour(
    looks: &[Look],
    sun: &SunYear,
    earliest: Option<f64>,
    latest: Option<f64>,
) -> (f64, f64, f64) {
    const DAY: f64 = 1440.0;
    let start = earliest.unwrap_or_else(|| latest.unwrap_or(0.0) - DAY);
    let end = latest.unwrap_or(start + DAY);
    let shots: Vec<Shot> = looks.iter().map(|l| l.shot).collect();
    // Offsets count from the reading as it is, which is the uncorrected clock.
    let steps = (end - start).min(DAY) / 5.0;
    let hours = (0..=steps as i32).map(|n| start + f64::from(n) * 5.0);
    let (_, near) = best(&shots, sun, hours);
    let fine = refine(&shots, sun, near, 60.0);
    (fine.minutes.clamp(start, end.max(start)), start, end)
}

/// A year that no other camera knows: the same dates in a year that they do know.
pub(super) fn wrong_year(
    camera: &str,
    pictures: &[&Picture],
    others: &[&Picture],
) -> Option<Finding> {
    const FEWEST: usize = 20;
    const NEAR_DAYS: i64 = 60;
    let dates = |pictures: &[&Picture]| {
        let mut dates: Vec<NaiveDateTime> = pictures
            .iter()
            .filter_map(|p| Some(p.time.as_ref().ok()?.time.shown()))
            .collect();
        dates.sort_unstable();
        dates
    };
    let (here, there) = (dates(pictures), dates(others));
    if there.len() < FEWEST {
        return None;
    }
    let (first, last) = (*here.first()?, *here.last()?);
    let fits = |from: NaiveDateTime, until: NaiveDateTime| {
        let (low, high) = (
            there[there.len() / 20],
            there[there.len() - 1 - there.len() / 20],
        );
        until > low - TimeDelta::days(NEAR_DAYS) && from < high + TimeDelta::days(NEAR_DAYS)
    };
    if fits(first, last) {
        return None;
    }
    let years = [-3, -2, -1, 1, 2, 3, 4, 5, 6];
    let (years, moved) = years.into_iter().find_map(|y| {
        let moved = |t: NaiveDateTime| t.with_year(t.year() + y);
        let (from, until) = (moved(first)?, moved(last)?);
        fits(from, until).then_some((y, from))
    })?;
    let shift_min = minutes_between(first, moved);
    Some(Finding {
        camera: camera.to_owned(),
        from: first,
        until: last,
        fault: Fault::WrongYear,
        shift_min,
        low_min: shift_min,
        high_min: shift_min,
        pictures: here.len(),
        evidence: format!(
            "no other camera has a picture near {} to {}; {years:+} years would put it beside them",
            first.date(),
            last.date()
        ),
        doubt: Some(
            "the light is the same every year, so only the other cameras speak for this".to_owned(),
        ),
        corrected: false,
    })
}
