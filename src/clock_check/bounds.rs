//! Dates that cannot be: after a reset, outside the placement, after the pull. The light gives the hour;
//! a date is only moved when something beside the light says so too.

use chrono::{Datelike, NaiveDate, NaiveDateTime, TimeDelta};

use super::fault::{ClockRow, Fault, Finding, Found, rows};
use super::light_model::{Shot, Shots, fit};
use super::offset::{Offset, offset};
use super::resets::Reset;
use super::{LightLook, Stretch, minutes_between};
use crate::clock::LocalTime;
use crate::property::{Placement, Property};

const DAY_MIN: f64 = 1440.0;

/// The run after a reset: the date from the pictures before and after it, the hour from the light.
pub(super) fn after_reset(
    property: &Property,
    reset: &Reset,
    stretch: &Stretch,
) -> Option<Finding> {
    let times = reset.pictures.iter().filter_map(|p| Some(p.shown_time()?.shown()));
    let (first, last) = (times.clone().min()?, times.max()?);
    let fault = if reset.not_yet { Fault::NotYet } else { Fault::Reset };
    let mut finding = empty(fault, stretch, (first, last), reset.pictures.len());
    let zone = property.settings.time_zone;
    // Everything in minutes of UTC against the digits, since a clock that runs on knows no daylight time.
    let utc_of = |local: NaiveDateTime| {
        let local = LocalTime::of_wall_clock(local, zone);
        local.utc().naive_utc()
    };
    let low = reset.before.map(|b| minutes_between(first, utc_of(b)));
    let after = reset
        .after
        .map(utc_of)
        .or(reset.pulled.filter(|_| !reset.not_yet || reset.before.is_none()));
    let high = after.map(|a| minutes_between(last, a));
    let evidence = format!(
        "the clock shows {first} {}; its pictures number on without a break",
        reset
            .before
            .map_or_else(|| "at the start of the card".to_owned(), |b| format!("right after {b}"))
    );
    finding.evidence = evidence;
    let (Some(base), true) = (low.or(high.map(|h| h - DAY_MIN)), high >= low || high.is_none())
    else {
        finding.evidence =
            "its dates cannot be, and no picture before or after says when it was".to_owned();
        finding.doubt = Some("point at a picture whose true time you know".to_owned());
        return Some(finding);
    };
    let span = high.zip(low).map_or(f64::INFINITY, |(h, l)| h - l);
    let (to_utc, hour_known) = match span < 60.0 {
        true => (base + span / 2.0, true),
        false => hour_of(property, &stretch.looks, base).map_or((base, false), |m| (m, true)),
    };
    let to_utc = high.map_or(to_utc, |h| to_utc.min(h.max(base)));
    finding.rows = running_on(property, (first, last), to_utc);
    finding.shift_min = finding.rows.first().map_or(0.0, |r| r.shift_min);
    let slack = if span.is_finite() { span } else { DAY_MIN };
    (finding.low_min, finding.high_min) = (finding.shift_min, finding.shift_min + slack);
    finding.doubt = match (hour_known, slack > 60.0) {
        (false, _) => Some("the hour is a guess: too few pictures tell light from dark".to_owned()),
        (true, true) => Some(
            "the hour follows from the light; the day is the first that the pictures before it allow".to_owned(),
        ),
        (true, false) => None,
    };
    Some(finding)
}

fn empty(
    fault: Fault,
    stretch: &Stretch,
    (from, until): (NaiveDateTime, NaiveDateTime),
    pictures: usize,
) -> Finding {
    let none = Offset { minutes: 0.0, low: 0.0, high: 0.0 };
    let found = Found { stretch, offset: none, gain: 0.0 };
    Finding { from, until, pictures, rows: Vec::new(), ..found.finding(fault, 0.0) }
}

/// Minutes that make the digits UTC, from `base` to a day after it, by the light.
fn hour_of(property: &Property, looks: &[LightLook], base: f64) -> Option<f64> {
    if !super::judge::is_enough(looks) {
        return None;
    }
    let shot = |l: &LightLook| Shot {
        minute: l.time.shown().and_utc().timestamp() as f64 / 60.0 + base,
        grey: l.shot.grey,
    };
    let shots = Shots::of(looks.iter().map(shot).collect(), property.settings.position);
    let found = offset(&shots, &shots.moved(0));
    (found.high - found.low < 240.0).then(|| base + found.minutes.rem_euclid(DAY_MIN))
}

/// The rows of a clock that runs on without daylight time: one for each side of a change of the wall
/// clock, which meet end to end. `to_utc` makes its digits UTC.
pub(super) fn running_on(
    property: &Property,
    (first, last): (NaiveDateTime, NaiveDateTime),
    to_utc: f64,
) -> Vec<ClockRow> {
    let zone = property.settings.time_zone;
    let shift_at = |digits: NaiveDateTime| {
        let utc = digits.and_utc() + TimeDelta::seconds((to_utc * 60.0) as i64);
        minutes_between(digits, LocalTime::at(utc, zone).shown())
    };
    let mut rows = vec![ClockRow {
        from: first,
        until: last,
        shift_min: shift_at(first),
        until_shift_min: None,
    }];
    let mut at = first;
    while at < last {
        let next = (at + TimeDelta::hours(1)).min(last);
        let now = shift_at(next);
        if let Some(row) = rows.last_mut().filter(|r| (r.shift_min - now).abs() > 0.5) {
            // Changes of the wall clock fall on whole hours of UTC; the row begins there to the minute.
            let begins = (0..60)
                .map(|m| at + TimeDelta::minutes(m + 1))
                .find(|t| (shift_at(*t) - now).abs() < 0.5)
                .unwrap_or(next);
            row.until = begins - TimeDelta::seconds(1);
            rows.push(ClockRow {
                from: begins,
                until: last,
                shift_min: now,
                until_shift_min: None,
            });
        }
        at = next;
    }
    rows
}

/// Twelve hours on or twelve hours back, minutes, where the days on which the camera hung, or its pull, allow only one.
pub(super) fn way_of_half_day(property: &Property, stretch: &Stretch) -> Option<f64> {
    let added = stretch.looks.first().map_or(0.0, |l| l.added_min);
    let is_allowed = |minutes: f64| {
        let shifted = |t: NaiveDateTime| t + TimeDelta::seconds(((minutes + added) * 60.0) as i64);
        let (first, last) = (shifted(stretch.from), shifted(stretch.until));
        let mut placements = property.placements_of(&stretch.camera).peekable();
        let hung = placements.peek().is_none()
            || placements.any(|p| [first, last].iter().all(|t| p.days_away(t.date()) == 0));
        let utc = LocalTime::of_wall_clock(last, property.settings.time_zone).utc();
        let hour = TimeDelta::hours(1);
        hung && stretch.pulled.is_none_or(|p| utc.naive_utc() <= p + hour)
    };
    let half_day = DAY_MIN / 2.0;
    match [half_day, -half_day].map(is_allowed) {
        [true, false] => Some(half_day),
        [false, true] => Some(-half_day),
        _ => None,
    }
}

/// A date that its placement, or the day of its pull, does not allow.
pub(super) fn wrong_date(property: &Property, stretch: &Stretch) -> Option<Finding> {
    let placements: Vec<&Placement> = property.placements_of(&stretch.camera).collect();
    let bounds = Bounds::of(&placements, stretch)?;
    if bounds.allow(0) {
        return None;
    }
    let years = [1, 2, 3, 4, 5, 6, -1, -2, -3, -4, -5, -6];
    let year = years.into_iter().find_map(|y| {
        let days = days_of_years(stretch.read.0, y)?;
        (bounds.allow(days) && bounds.would_hold(stretch, days)).then_some((y, days))
    });
    let by_light = best_days(property, &stretch.looks, &bounds);
    // The light is the same every year: a whole year is the plainer story where it fits the light too.
    if let Some((y, days)) = year
        && by_light.is_none_or(|l| l.right_fits)
    {
        let mut finding = dated(Fault::WrongYear, stretch, days, (days, days));
        finding.evidence = format!(
            "its dates, {} to {}, lie outside {}; {y:+} years put them inside",
            stretch.read.0, stretch.read.1, bounds.words
        );
        return Some(finding);
    }
    if let Some((set_on, days)) = swapped(stretch, &bounds)
        && by_light.is_none_or(|l| (l.range.0 - STEP_DAYS..=l.range.1 + STEP_DAYS).contains(&days))
    {
        let mut finding = dated(Fault::Swapped, stretch, days, (days, days));
        finding.evidence = format!(
            "its dates, {} to {}, lie outside {}; set on {} with day and month the wrong way round it would show {set_on}, as it does",
            stretch.read.0,
            stretch.read.1,
            bounds.words,
            set_on + TimeDelta::days(days)
        );
        if !bounds.allow_exactly(days) {
            finding.doubt = Some(
                "so read it was at work on days on which by cameras.csv it did not hang: see whether those dates are right".to_owned(),
            );
        }
        return Some(finding);
    }
    let found = by_light?;
    let mut finding = dated(Fault::WrongDate, stretch, found.days, found.range);
    finding.evidence = format!(
        "its dates, {} to {}, lie outside {}, and the length of the days in {} pictures is that of a date {} days {} (between {} and {} days)",
        stretch.read.0,
        stretch.read.1,
        bounds.words,
        stretch.looks.len(),
        found.days.abs(),
        if found.days < 0 { "earlier" } else { "later" },
        found.range.0,
        found.range.1
    );
    // Days are tried three apart, and nothing but a picture tells one from the next.
    finding.doubt = Some(
        "the light gives the season and not the day: point at a picture whose true time you know (--picture, --shows)".to_owned(),
    );
    finding.rows.clear();
    Some(finding)
}

/// The day on which the clock was set with day and month exchanged, as it showed it, and the days to add.
/// A camera is set when it is hung up, so that its first picture follows soon, and the day before or after
/// would mean another month: only one day may fit.
fn swapped(stretch: &Stretch, bounds: &Bounds) -> Option<(NaiveDate, i64)> {
    let fitting = (0..=SLACK_DAYS).filter_map(|before| {
        let shown = stretch.read.0 - TimeDelta::days(before);
        let meant = NaiveDate::from_ymd_opt(shown.year(), shown.day(), shown.month())?;
        let days = (meant - shown).num_days();
        (days != 0 && bounds.allow(days) && bounds.would_hold(stretch, days))
            .then_some((shown, days))
    });
    let fitting: Vec<(NaiveDate, i64)> = fitting.collect();
    match fitting[..] {
        [one] => Some(one),
        _ => None,
    }
}

fn days_of_years(from: NaiveDate, years: i32) -> Option<i64> {
    Some((from.with_year(from.year() + years)? - from).num_days())
}

fn dated(fault: Fault, stretch: &Stretch, days: i64, range: (i64, i64)) -> Finding {
    let mut finding = empty(fault, stretch, (stretch.from, stretch.until), stretch.looks.len());
    finding.shift_min = days as f64 * DAY_MIN;
    (finding.low_min, finding.high_min) = (range.0 as f64 * DAY_MIN, range.1 as f64 * DAY_MIN);
    finding.rows = rows(stretch, finding.shift_min);
    finding
}

/// Days by which a stretch may be moved, from its placements and its pull.
struct Bounds {
    /// First and last number of days, of each placement that the stretch could be from.
    allowed: Vec<(i64, i64)>,
    /// The same with placements as they are written.
    exact: Vec<(i64, i64)>,
    words: &'static str,
}

/// Days between two dates that are tried by the light.
const STEP_DAYS: i64 = 3;
/// A placement is written down from memory.
const SLACK_DAYS: i64 = 3;

impl Bounds {
    /// `None` where nothing bounds the dates.
    fn of(placements: &[&Placement], stretch: &Stretch) -> Option<Self> {
        let (first, last) = stretch.read;
        let bounded = placements.iter().filter(|p| p.from.is_some() || p.until.is_some());
        let within = |slack: i64| -> Vec<(i64, i64)> {
            let days = bounded.clone().map(|p| {
                let low = p.from.map(|f| (f - first).num_days() - slack);
                let high = p.until.map(|u| (u - last).num_days() + slack);
                (low.unwrap_or(i64::MIN / 2), high.unwrap_or(i64::MAX / 2))
            });
            days.filter(|(low, high)| low <= high).collect()
        };
        let (mut allowed, exact) = (within(SLACK_DAYS), within(0));
        let mut words = "the days on which cameras.csv says that it hung";
        // A camera without placements is bounded by its pull alone, and only from above.
        if let Some(pulled) = stretch.pulled {
            let latest = (pulled.date() - last).num_days() + 1;
            if allowed.is_empty()
                && placements.iter().all(|p| p.from.is_none() && p.until.is_none())
            {
                allowed.push((i64::MIN / 2, latest));
                words = "the days before its card was pulled";
            }
            for bound in &mut allowed {
                bound.1 = bound.1.min(latest);
            }
        }
        allowed.retain(|(low, high)| low <= high);
        (!allowed.is_empty()).then_some(Self { allowed, exact, words })
    }

    fn allow(&self, days: i64) -> bool {
        self.allowed.iter().any(|(low, high)| (*low..=*high).contains(&days))
    }

    /// The same by what is written down, to the day.
    fn allow_exactly(&self, days: i64) -> bool {
        let mut exact = self.exact.iter();
        self.exact.is_empty() || exact.any(|(low, high)| (*low..=*high).contains(&days))
    }

    /// Whether the bounds hold a moved stretch on both sides; an open side is no witness for a year.
    fn would_hold(&self, stretch: &Stretch, days: i64) -> bool {
        let closed = |b: &(i64, i64)| b.0 > i64::MIN / 4 && b.1 < i64::MAX / 4;
        let near_pull = stretch.pulled.is_some_and(|pulled| {
            let last = stretch.read.1 + TimeDelta::days(days);
            (pulled.date() - last).num_days() < 60
        });
        near_pull || self.allowed.iter().any(|b| closed(b) && (b.0..=b.1).contains(&days))
    }
}

/// The number of days that the light asks for, within what is allowed.
#[derive(Clone, Copy)]
struct Days {
    days: i64,
    /// Days that explain the light nearly as well, around the best.
    range: (i64, i64),
    /// The light has nothing against the date as it is, so that a whole year fits it too.
    right_fits: bool,
}

fn best_days(property: &Property, looks: &[LightLook], bounds: &Bounds) -> Option<Days> {
    const STEP: i64 = STEP_DAYS;
    const REACH: i64 = 184;
    const TELLS: f64 = 3.0;
    if !super::judge::is_enough(looks) {
        return None;
    }
    let middle = looks.get(looks.len() / 2)?.time.shown().date();
    let noon = |days: i64| super::readings::noon_utc_min(property, middle + TimeDelta::days(days));
    let log = |days: i64| {
        let by = (noon(days)? - noon(0)?) as f64;
        let moved = |l: &LightLook| Shot { minute: l.shot.minute + by, ..l.shot };
        let shots = Shots::of(looks.iter().map(moved).collect(), property.settings.position);
        let logs = (-1..=1).map(|steps| fit(&shots, &shots.moved(steps)).log);
        logs.reduce(f64::max)
    };
    let tried: Vec<(i64, f64)> = (-REACH / STEP..=REACH / STEP)
        .map(|n| n * STEP)
        .filter(|d| bounds.allow(*d))
        .filter_map(|d| Some((d, log(d)?)))
        .collect();
    let best = tried.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let near: Vec<i64> = tried.iter().filter(|t| best.1 - t.1 < TELLS).map(|t| t.0).collect();
    Some(Days {
        days: best.0,
        range: (*near.first()?, *near.last()?),
        right_fits: best.1 - log(0)? < 2.0 * TELLS,
    })
}
