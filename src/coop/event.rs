//! Whether what happened moved the deer: properties are the units, those where it did not happen say what those days
//! did by themselves, and the same sum on other dates says how far two groups of properties drift apart for no reason.

use chrono::NaiveDate;

use super::contrast::Unusable;
use super::groups::Groups;
use super::question::CoopQuestion;
use super::record::Record;
use crate::measure::{Estimate, holm_adjusted};
use crate::shift::{LEVEL, Question};

/// Fewer properties than this are no group: nothing is told of them together.
pub const FEWEST_PROPERTIES: usize = 5;
/// With fewer other dates to look at, how far groups drift apart is not known.
pub(super) const FEWEST_DATES: usize = 2;

/// What can be said of what happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoopVerdict {
    /// It fell where it happened, against where it did not.
    ClearDrop,
    /// It rose.
    ClearRise,
    /// Nothing that could not be chance.
    NoClearChange,
    /// Fewer than [`FEWEST_PROPERTIES`] where it happened can be used.
    TooFewProperties,
    /// Fewer than that where it did not happen: the season may have made the change.
    NoControl,
    /// A change, and too few other dates to know how far the groups drift apart for no reason.
    NotChecked,
    /// A change, and what is in pictures without a tag could have made it.
    NotTagged,
}

impl CoopVerdict {
    /// The words in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::ClearDrop => "clear drop",
            Self::ClearRise => "clear rise",
            Self::NoClearChange => "no clear change",
            Self::TooFewProperties => "too few properties",
            Self::NoControl => "no control",
            Self::NotChecked => "not checked",
            Self::NotTagged => "not tagged",
        }
    }
}

/// The answer to one question.
#[derive(Debug, Clone, PartialEq)]
pub struct EventAnswer {
    /// What was asked.
    pub question: Question,
    /// Properties where it happened that say something.
    pub exposed: usize,
    /// Properties where it did not.
    pub controls: usize,
    /// The change where it happened by itself, as a factor: an odds ratio for the share, else a ratio of rates.
    pub own: Option<Estimate>,
    /// The change where it did not happen, on the same dates.
    pub elsewhere: Option<Estimate>,
    /// The first over the second, its range with what the groups drift apart on other dates.
    pub against: Option<Estimate>,
    /// Between what factors the change of one more property would lie.
    pub new_property: Option<Estimate>,
    /// Standard deviation between the properties' true changes, of log factors.
    pub between_sd: Option<f64>,
    /// What the groups drift apart on other dates beyond their counts, a standard deviation of log factors.
    pub drift_sd: Option<f64>,
    /// Standard error of the log of `against`, the drift in it.
    pub error: Option<f64>,
    /// The same on other dates: days by which they lie apart, and the factor.
    pub other_dates: Vec<OtherDate>,
    /// Two-sided p-value of no change.
    pub p_value: Option<f64>,
    /// The same, adjusted for the two questions that are judged.
    pub p_adjusted: Option<f64>,
    /// What runs of days cost a property's own change; the mean of properties needs it not, their scatter says it.
    pub design_effect: f64,
    /// Whether the change would be clear whatever is in the pictures without a tag that one side has beyond the other.
    pub holds_untagged: bool,
    /// What can be said.
    pub verdict: CoopVerdict,
}

impl EventAnswer {
    /// Whether the groups lay as far apart on another date, and not by going back.
    pub(super) fn is_matched_elsewhere(&self) -> bool {
        let change = self.against.map_or(0.0, |e| e.value.ln());
        self.other_dates.iter().any(|o| {
            let there = o.change.value.ln();
            !passes(o.days_later, there, change) && there.abs() >= change.abs()
        })
    }

    /// Whether most of the range is what groups drift apart on other dates: then more properties make it no smaller.
    pub(super) fn is_mostly_drift(&self) -> bool {
        let both = self.drift_sd.zip(self.error);
        both.is_some_and(|(drift, all)| 2.0 * drift * drift > all * all)
    }
}

/// The same sum on dates on which nothing is known to have happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OtherDate {
    /// Days later, negative earlier.
    pub days_later: i64,
    /// The change against the controls, or by itself where there are none.
    pub change: Estimate,
    /// Properties that say something.
    pub exposed: usize,
}

/// Shares before and after, each the mean of properties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupShares {
    /// Properties with visits on both sides.
    pub properties: usize,
    /// Before.
    pub before: Estimate,
    /// After.
    pub after: Estimate,
}

/// What became of a property's part in the question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// It happened there, on that date, and it can be used.
    Exposed(NaiveDate),
    /// It did not happen there, and it can be used on at least one date.
    Control,
    /// It happened there, and it cannot be used.
    Unusable(NaiveDate, Unusable),
    /// It did not happen there, and it cannot be used on any date.
    UnusableControl(Unusable),
    /// The co-op does not say whether it happened there.
    Unsaid,
}

/// Everything about the event.
#[derive(Debug, Clone, PartialEq)]
pub struct EventAnswers {
    /// One for each question, in the order of [`Question::ALL`].
    pub answers: Vec<EventAnswer>,
    /// Daylight shares where it happened.
    pub exposed: Option<GroupShares>,
    /// And where it did not, on the same dates.
    pub controls: Option<GroupShares>,
    /// The properties in the order of their names.
    pub parts: Vec<(String, Part)>,
}

/// Answers the question from all properties' records.
pub(super) fn answers(records: &[Record], question: &CoopQuestion) -> EventAnswers {
    let groups = Groups::of(records, question);
    let mut answers: Vec<EventAnswer> = Question::ALL.map(|q| groups.answer(q)).to_vec();
    // Visits at all hours tell how it came about; they are not judged.
    let judged = [Question::Share, Question::LightVisits];
    let of = |a: &&mut EventAnswer| judged.contains(&a.question) && a.p_value.is_some();
    let asked: Vec<f64> = answers.iter_mut().filter(of).filter_map(|a| a.p_value).collect();
    let adjusted = holm_adjusted(asked);
    for (answer, p) in answers.iter_mut().filter(of).zip(adjusted) {
        answer.p_adjusted = Some(p);
    }
    for answer in &mut answers {
        judge(answer);
    }
    let (exposed, controls) = (groups.shares_exposed(), groups.shares_controls());
    EventAnswers { answers, exposed, controls, parts: groups.parts() }
}

/// Whether a change on a later date may be what happened going back: nothing that was there without it.
pub(super) fn passes(days_later: i64, there: f64, here: f64) -> bool {
    days_later > 0 && there * here < 0.0
}

/// A clear change needs its p-value, its own direction in that of the difference, other dates to know the drift by, and
/// to be larger than on any of them.
fn judge(answer: &mut EventAnswer) {
    if answer.exposed < FEWEST_PROPERTIES {
        answer.verdict = CoopVerdict::TooFewProperties;
        return;
    }
    let (Some(against), Some(own)) = (answer.against, answer.own) else {
        answer.verdict = CoopVerdict::NoControl;
        return;
    };
    let is_clear = answer.p_adjusted.is_some_and(|p| p <= LEVEL)
        && against.value.ln() * own.value.ln() > 0.0
        && !answer.is_matched_elsewhere();
    answer.verdict = match is_clear {
        false => CoopVerdict::NoClearChange,
        true if answer.other_dates.len() < FEWEST_DATES => CoopVerdict::NotChecked,
        true if !answer.holds_untagged => CoopVerdict::NotTagged,
        true if against.value < 1.0 => CoopVerdict::ClearDrop,
        true => CoopVerdict::ClearRise,
    };
}
