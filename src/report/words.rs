//! Numbers in the words a landowner says. A percentage never goes without its counts.

use chrono::NaiveDate;

use crate::debrief::{KnownDeer, Usual};
use crate::measure::Estimate;
use crate::shift::{Question, Side, Unlogged};

/// Keeps a number and its sign on one line.
const NBSP: char = '\u{a0}';

/// `32 %`
pub(super) fn percent(share: f64) -> String {
    format!("{:.0}{NBSP}%", whole_percent(share))
}

/// `19–49 %`
pub(crate) fn percent_range(estimate: Estimate) -> String {
    format!("{:.0}–{:.0}{NBSP}%", whole_percent(estimate.low), whole_percent(estimate.high))
}

/// A share as whole percents, halves upward: 11 of 200 is 6 %, although its nearest binary fraction lies
/// under 5.5.
pub(crate) fn whole_percent(share: f64) -> f64 {
    const NOISE: f64 = 1e-9;
    (share * 100.0 + 0.5 + NOISE).floor()
}

/// `11 of 34 visits, 32 % (19–49 %)`; without visits just `no visits`.
pub(super) fn share(counted: usize, visits: usize, share: Option<Estimate>) -> String {
    match share {
        None => "no visits".to_owned(),
        Some(s) => format!(
            "{} of {}, {} ({})",
            grouped(counted),
            self::counted(visits, "visit"),
            percent(s.value),
            percent_range(s)
        ),
    }
}

/// `down 38 points (from 12 to 57 down)` in the plainest signed form: `−38 points (−57 to −12)`.
pub(super) fn points(change: Estimate) -> String {
    format!(
        "{} points ({} to {})",
        signed(change.value * 100.0),
        signed(change.low * 100.0),
        signed(change.high * 100.0)
    )
}

/// Rounded, and never minus zero.
pub(crate) fn whole(value: f64) -> f64 {
    value.round() + 0.0
}

/// A whole number with a true minus or a plus sign.
pub(super) fn signed(value: f64) -> String {
    let rounded = value.round();
    if rounded < 0.0 {
        format!("−{:.0}", -rounded)
    } else if rounded > 0.0 {
        format!("+{rounded:.0}")
    } else {
        "0".to_owned()
    }
}

/// `×0.4 (0.2–0.9)`
pub(super) fn times(ratio: Option<Estimate>) -> String {
    match ratio {
        None => "–".to_owned(),
        // From nearly none to a hundred times as many is no range to be told.
        Some(r) if r.high > 100.0 && r.low < 0.05 => "–".to_owned(),
        Some(r) if r.high <= 100.0 => format!("×{:.2} ({:.2}–{:.2})", r.value, r.low, r.high),
        Some(r) => format!("×{:.2} (over {:.2})", r.value, r.low),
    }
}

/// `12.3 (8.1–18.6)`
pub(super) fn rate(estimate: Option<Estimate>) -> String {
    estimate
        .map_or_else(|| "–".to_owned(), |e| format!("{:.1} ({:.1}–{:.1})", e.value, e.low, e.high))
}

/// `11 of 34 visits in 21 nights`
pub(super) fn in_nights(side: &Side) -> String {
    if side.visits == 0 && !side.pictures.are_tagged() {
        return format!("not tagged, {}", counted(side.nights, "night"));
    }
    if side.visits == 0 {
        return format!("no visit in {}", counted(side.nights, "night"));
    }
    format!(
        "{} of {} in {}",
        grouped(side.counted),
        counted(side.visits, "visit"),
        counted(side.nights, "night")
    )
}

/// `11 visits in 21 nights`: those in light alone.
pub(super) fn counted_in_nights(side: &Side) -> String {
    format!("{} in {}", counted(side.counted, "visit"), counted(side.nights, "night"))
}

/// A ratio as a part or a multiple: `6 %` or `2.1 times`.
pub(super) fn factor(ratio: f64) -> String {
    match ratio {
        r if r < 1.0 => percent(r),
        r if r < 100.0 => format!("{r:.1}{NBSP}times"),
        _ => format!("over 100{NBSP}times"),
    }
}

/// A range of ratios: `0.35 to 1.9 times`.
pub(super) fn factor_range(ratio: Estimate) -> String {
    format!("{:.2} to {}", ratio.low, high_factor(ratio.high))
}

fn high_factor(high: f64) -> String {
    match high {
        h if h < 10.0 => format!("{h:.2}{NBSP}times"),
        h if h < 100.0 => format!("{h:.0}{NBSP}times"),
        _ => format!("over 100{NBSP}times"),
    }
}

/// `6 % of` or `2.1 times`, before what it is a part or a multiple of.
pub(super) fn times_or_part_of(ratio: f64) -> String {
    match ratio < 1.0 {
        true => factor(ratio) + " of",
        false => factor(ratio),
    }
}

/// A change that nobody logged, against the other cameras: `visits in light ×0.21` or `the daylight share −38
/// points`.
pub fn against_others(change: &Unlogged) -> String {
    match change.of {
        Question::Share => format!(
            "the daylight share {} points against the other cameras",
            signed(change.change * 100.0)
        ),
        _ => format!("visits in light per night ×{:.2} against the other cameras", change.change),
    }
}

/// Chance is told no finer than this: what is rarer was not measured (`tests/bench/error_rates.md`).
const RAREST: f64 = 0.02;

/// `once in 40`, of what has that probability.
pub(super) fn once_in(p: f64) -> String {
    match p < RAREST {
        true => "less than once in 50".to_owned(),
        false => format!("once in {}", (1.0 / p).floor().max(1.0)),
    }
}

/// A length with its yards: `200 m (219 yd)`
pub(super) fn length(metres: f64) -> String {
    format!("{metres:.0} m ({:.0} yd)", metres / 0.9144)
}

/// The longest round length that is no longer than so many metres; 10 m at least.
pub(super) fn round_length_m(most_m: f64) -> f64 {
    const LENGTHS_M: [f64; 6] = [1000.0, 500.0, 200.0, 100.0, 50.0, 20.0];
    LENGTHS_M.into_iter().find(|m| *m <= most_m).unwrap_or(10.0)
}

/// `p = 0.012`, `p < 0.001`
pub(super) fn p(value: Option<f64>) -> String {
    match value {
        None => "–".to_owned(),
        Some(p) if p < 0.001 => "p < 0.001".to_owned(),
        Some(p) if p < 0.1 => format!("p = {p:.3}"),
        Some(p) => format!("p = {p:.2}"),
    }
}

/// `25 min after sunset`, `at sunset`
pub(super) fn around_sunset(minutes_before: f64) -> String {
    around(-minutes_before, "sunset")
}

/// `25 min after sunrise`
pub(super) fn around_sunrise(minutes_after: f64) -> String {
    around(minutes_after, "sunrise")
}

/// `from 40 min before sunset to 5 min before sunset`, from minutes before it.
pub(super) fn span_around_sunset(one: f64, other: f64) -> String {
    let (early, late) = (one.max(other), one.min(other));
    from_to(around_sunset(early), around_sunset(late))
}

/// The same of sunrise, from minutes after it.
pub(super) fn span_around_sunrise(one: f64, other: f64) -> String {
    let (early, late) = (one.min(other), one.max(other));
    from_to(around_sunrise(early), around_sunrise(late))
}

/// `from sunset to 5 min after sunset`
fn from_to(one: String, other: String) -> String {
    let plain = |moment: String| moment.strip_prefix("at ").map_or(moment.clone(), str::to_owned);
    format!("from {} to {}", plain(one), plain(other))
}

fn around(minutes_after: f64, event: &str) -> String {
    let rounded = minutes_after.round();
    if rounded == 0.0 {
        format!("at {event}")
    } else {
        let side = if rounded > 0.0 { "after" } else { "before" };
        format!("{} {side} {event}", duration(rounded.abs()))
    }
}

fn duration(minutes: f64) -> String {
    if minutes < 120.0 {
        format!("{minutes:.0}{NBSP}min")
    } else {
        format!("{:.0}{NBSP}h{NBSP}{:02.0}{NBSP}min", (minutes / 60.0).floor(), minutes % 60.0)
    }
}

/// How the visits spread around their usual minute: where the middle half of them lies, and how
/// many there are; `told` says a minute.
pub(super) fn spread(usual: Usual, told: fn(f64) -> String, is_evening: bool) -> String {
    let visits = counted(usual.visits, "visit");
    if usual.visits < 4 {
        return visits;
    }
    let (a, b) = usual.middle_half_min;
    // Minutes before sunset grow against the clock.
    let (early, late) = if is_evening { (b, a) } else { (a, b) };
    format!("of {visits}, half {}", from_to(told(early), told(late)))
}

/// `38 min later (12 to 71 min later)`; negative is earlier.
pub(super) fn later(change: Estimate) -> String {
    let told = |minutes: f64| match minutes.round() {
        m if m > 0.0 => format!("{} later", duration(m)),
        m if m < 0.0 => format!("{} earlier", duration(-m)),
        _ => "no later".to_owned(),
    };
    format!("{} ({} to {})", told(change.value), told(change.low), told(change.high))
}

/// `Ghost, 4½`, or the name alone where no age is known.
pub(super) fn deer_and_age(deer: &KnownDeer) -> String {
    deer.age.map_or_else(|| deer.name.clone(), |age| format!("{}, {}", deer.name, years(age)))
}

/// Years as they are said of deer: `4½`.
fn years(age: f64) -> String {
    let whole = age.floor();
    match age - whole {
        half if (half - 0.5).abs() < 1e-9 => format!("{whole:.0}½"),
        _ => format!("{age}"),
    }
}

/// `18 October 2025`
pub(crate) fn day(date: NaiveDate) -> String {
    date.format("%-d %B %Y").to_string()
}

/// `1 visit`, `2 visits`
pub(crate) fn counted(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{} {one}s", grouped(n)) }
}

/// Thousands set apart: `12,345`.
pub(crate) fn grouped(n: usize) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// A sentence with a capital at its start.
pub(crate) fn capital(sentence: &str) -> String {
    let mut chars = sentence.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// `A, B and C`.
pub(super) fn listed(all: &[String]) -> String {
    match all {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Counts, wilson};

    #[test]
    fn a_share_reads_like_speech() {
        let s = wilson(Counts::new(11, 34));
        assert_eq!(share(11, 34, s).replace(NBSP, " "), "11 of 34 visits, 32 % (19–49 %)");
        assert_eq!(share(0, 0, None), "no visits");
        assert_eq!(
            share(1, 1, wilson(Counts::new(1, 1))).replace(NBSP, " "),
            "1 of 1 visit, 100 % (21–100 %)"
        );
    }

    #[test]
    fn minutes_read_like_speech() {
        let plain = |words: String| words.replace(NBSP, " ");
        assert_eq!(plain(around_sunset(-25.2)), "25 min after sunset");
        assert_eq!(around_sunset(0.2), "at sunset");
        assert_eq!(plain(around_sunrise(-200.0)), "3 h 20 min before sunrise");
        assert_eq!(signed(-38.4), "−38");
        assert_eq!(grouped(1234567), "1,234,567");
        assert_eq!((years(4.5), years(3.0)), ("4½".to_owned(), "3".to_owned()));
    }
}
