//! What can be said, in the words of the findings file.

use std::collections::BTreeMap;

use super::{LEVEL, Question, Shift, Side};
use crate::measure::{Estimate, holm_adjusted};
use crate::visits::Kind;

/// What happened to the daylight share, or to visits in light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It fell, and not by chance.
    ClearDrop,
    /// It rose, and not by chance.
    ClearRise,
    /// Nothing that could not be chance.
    NoClearChange,
    /// Even the largest possible change could not have been told from chance.
    TooFewVisits,
    /// There is nothing to compare with: the season itself may have made the change.
    NoControl,
    /// Too many pictures have no tag yet: what is not tagged would look like deer that stayed away.
    NotTagged,
}

impl Verdict {
    /// The words in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::ClearDrop => "clear drop",
            Self::ClearRise => "clear rise",
            Self::NoClearChange => "no clear change",
            Self::TooFewVisits => "too few visits",
            Self::NoControl => "no control",
            Self::NotTagged => "not tagged",
        }
    }

    /// Whether a change was found.
    pub fn is_clear(self) -> bool {
        matches!(self, Self::ClearDrop | Self::ClearRise)
    }
}

/// What can be said of a question, in one of four words.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Answer {
    /// It changed, and not by chance.
    Changed,
    /// The loss of half is ruled out, with 95 % confidence.
    Stayed,
    /// Neither.
    CannotTell(Why),
    /// Losing everything would not have stood out.
    TooFew,
}

/// Why nothing can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// Too many pictures have no tag yet.
    NotTagged,
    /// The camera's clock is wrong and not settled.
    ClockInDoubt,
    /// There is no other camera to tell what the season did.
    NoControl,
    /// The date was found by looking at when the pictures changed.
    DateFromPictures,
    /// At least every second date before it changed as much there.
    OtherDatesToo,
    /// Other animals fell at the camera as well: it may see less.
    SeesLess,
    /// A ground that feeds the camera changed in the same days.
    GroundChanged,
    /// No other camera looks at the same sort of place.
    AloneInItsSort,
    /// It changed the other way than it did against the others: they changed, and it did not.
    OthersChanged,
    /// Cameras differ so much, also while nothing happens, that more nights would not help.
    CamerasDiffer,
    /// With this many times as many nights the loss of half would be found.
    MoreNights(f64),
    /// It was not looked at closer: by itself it did not change.
    NotLookedAt,
}

impl Answer {
    /// The word in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::Stayed => "stayed",
            Self::CannotTell(_) => "can't tell",
            Self::TooFew => "too few",
        }
    }
}

impl std::fmt::Display for Answer {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self {
            Self::CannotTell(why) => write!(f, "{} ({})", self.word(), why.word()),
            _ => f.write_str(self.word()),
        }
    }
}

impl Why {
    /// The words in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::NotTagged => "not tagged",
            Self::ClockInDoubt => "clock in doubt",
            Self::NoControl => "no control",
            Self::DateFromPictures => "date from the pictures",
            Self::OtherDatesToo => "other dates changed as much",
            Self::SeesLess => "the camera may see less",
            Self::GroundChanged => "a ground changed",
            Self::AloneInItsSort => "no control of its sort",
            Self::OthersChanged => "the others changed",
            Self::CamerasDiffer => "cameras differ",
            Self::MoreNights(_) => "more nights",
            Self::NotLookedAt => "nothing stood out",
        }
    }
}

impl Shift {
    /// What can be said of visits in light, or of the share.
    pub fn answer(&self, question: Question) -> Answer {
        let is_light = question == Question::LightVisits;
        let stayed = if is_light { self.light_stayed() } else { self.share_stayed };
        match self.verdict_on(question) {
            Verdict::ClearDrop | Verdict::ClearRise => Answer::Changed,
            Verdict::TooFewVisits => Answer::TooFew,
            Verdict::NotTagged => Answer::CannotTell(Why::NotTagged),
            Verdict::NoControl => Answer::CannotTell(self.blocked.unwrap_or(Why::NoControl)),
            Verdict::NoClearChange if self.clock_in_doubt => Answer::CannotTell(Why::ClockInDoubt),
            Verdict::NoClearChange if stayed => Answer::Stayed,
            Verdict::NoClearChange if self.is_blocked(question) => {
                Answer::CannotTell(self.blocked.unwrap_or(Why::NoControl))
            }
            Verdict::NoClearChange => Answer::CannotTell(self.why_not(is_light)),
        }
    }

    fn why_not(&self, is_light: bool) -> Why {
        let (p, adjusted) = match is_light {
            true => (self.light_p_value, self.light_p_adjusted),
            false => (self.p_value, self.p_adjusted),
        };
        if p.is_none() {
            return Why::NotLookedAt;
        }
        if adjusted.is_some_and(|p| p <= LEVEL) {
            return Why::OthersChanged;
        }
        let times = self.enough.and_then(|e| match is_light {
            true => e.times_nights,
            false => e.times_nights_for_drop,
        });
        times.filter(|t| *t > 1.0).map_or(Why::CamerasDiffer, Why::MoreNights)
    }
}

/// What visits did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// The deer still come, but in the dark.
    WentDark,
    /// They come less at all hours.
    Left,
    /// They come less here and more at another camera.
    Moved,
    /// It is ruled out that half of the visits in light are lost.
    Stayed,
    /// Neither a change nor its absence can be told.
    CannotTell,
}

impl Pattern {
    /// The words in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::WentDark => "went dark",
            Self::Left => "left",
            Self::Moved => "moved",
            Self::Stayed => "stayed",
            Self::CannotTell => "can't tell",
        }
    }
}

/// Gives every row that can be judged its verdicts, then its pattern.
///
/// A clear change needs an adjusted p-value at or under 0.05 and the row's own change in the direction of the
/// tested difference: a camera that stood still while the controls rose is not called a drop.
pub(super) fn judge(rows: &mut [Shift]) {
    for row in rows.iter_mut() {
        if row.verdict == Verdict::NoClearChange {
            let own = row.share_change.map_or(0.0, |c| c.value);
            let own = if own.abs() < LEAST_POINTS { 0.0 } else { own };
            let tested = row.share_change_against_controls.map_or(0.0, |c| c.value);
            row.verdict = verdict(row.p_adjusted, own, tested);
        }
        if row.light_verdict == Verdict::NoClearChange {
            let own = plain_change_per_night(row);
            row.light_verdict =
                verdict(row.light_p_adjusted, own, log(row.rate_ratio_against_controls));
        }
    }
    adjust_all_hours(rows);
    let more: Vec<(String, Kind)> = rows
        .iter()
        .filter(|row| {
            row.camera.is_some() && changed_at_all_hours(row, row.rate_p_adjusted) == Some(false)
        })
        .map(|row| (row.disturbance.clone(), row.kind))
        .collect();
    for row in rows.iter_mut() {
        row.pattern = pattern(row, more.contains(&(row.disturbance.clone(), row.kind)));
    }
}

fn verdict(p_adjusted: Option<f64>, own: f64, tested: f64) -> Verdict {
    if p_adjusted.is_none_or(|p| p > LEVEL) || own * tested <= 0.0 {
        Verdict::NoClearChange
    } else if own < 0.0 {
        Verdict::ClearDrop
    } else {
        Verdict::ClearRise
    }
}

fn log(ratio: Option<Estimate>) -> f64 {
    ratio.map_or(0.0, |r| r.value.ln())
}

/// A camera whose own counts changed by less than this stood still, whatever the others did: points of the share, and
/// a factor of visits in light per night.
const LEAST_POINTS: f64 = 0.05;
const LEAST_FACTOR: f64 = 1.25;

/// The change of visits in light per night; none where it is less than [`LEAST_FACTOR`].
fn plain_change_per_night(row: &Shift) -> f64 {
    let rate = |s: &Side| s.counted as f64 / s.nights.max(1) as f64;
    let (before, after) = (rate(&row.before), rate(&row.after));
    match before.max(after) < LEAST_FACTOR * before.min(after) {
        true => 0.0,
        false => after - before,
    }
}

fn change_per_night(row: &Shift, count: fn(&Side) -> usize) -> f64 {
    let rate = |s: &Side| count(s) as f64 / s.nights.max(1) as f64;
    rate(&row.after) - rate(&row.before)
}

/// Visits at all hours are looked at around one disturbance at a time, with Holm's method over its cameras.
/// They only tell how visits in light were lost, or where they went.
fn adjust_all_hours(rows: &mut [Shift]) {
    let mut families: BTreeMap<(String, Kind), Vec<usize>> = BTreeMap::new();
    for (i, row) in rows.iter().enumerate() {
        let is_compared = row.all_hours_against_controls.is_some();
        if row.camera.is_some() && is_compared && !row.clock_in_doubt {
            families.entry((row.disturbance.clone(), row.kind)).or_default().push(i);
        }
    }
    for cameras in families.values() {
        let p_values = cameras.iter().filter_map(|i| rows[*i].rate_p_value);
        for (i, p) in cameras.iter().zip(holm_adjusted(p_values.collect())) {
            *rows[*i].adjusted(Question::AllVisits) = Some(p);
        }
    }
}

/// Whether visits at all hours clearly changed, and if so whether they became fewer.
fn changed_at_all_hours(row: &Shift, p: Option<f64>) -> Option<bool> {
    let own = change_per_night(row, |s| s.visits);
    let is_clear = p? <= LEVEL && own * row.all_hours_against_controls?.ln() > 0.0;
    is_clear.then_some(own < 0.0)
}

/// How visits in light were lost, once they are clearly lost; `more` says that some camera clearly had more
/// visits at all hours.
fn pattern(row: &Shift, more: bool) -> Option<Pattern> {
    match row.light_verdict {
        Verdict::ClearDrop => {
            let fewer = changed_at_all_hours(row, row.rate_p_value) == Some(true);
            match (fewer, more) {
                (true, true) => Some(Pattern::Moved),
                (true, false) => Some(Pattern::Left),
                (false, _) if row.verdict == Verdict::ClearDrop => Some(Pattern::WentDark),
                (false, _) => None,
            }
        }
        Verdict::NoClearChange if row.light_stayed() => Some(Pattern::Stayed),
        Verdict::NoClearChange => Some(Pattern::CannotTell),
        _ => None,
    }
}
