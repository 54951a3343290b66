//! What was found, in sentences and numbers as a person reads them.

use super::Answers;
use super::event::{CoopVerdict, EventAnswer, EventAnswers, FEWEST_PROPERTIES, GroupShares};
use super::question::{CoopQuestion, Happened};
use crate::measure::Estimate;
use crate::report::{capital, day, grouped, percent_range, whole_percent};
use crate::shift::Question;
use crate::visits::Kind;

/// The word of a question in files.
pub(super) fn word(question: Question) -> &'static str {
    match question {
        Question::LightVisits => "visits in light per camera-night",
        Question::Share => "daylight share",
        Question::AllVisits => "visits at all hours per camera-night",
    }
}

/// `0.62 times (0.48–0.80)`
pub(super) fn factor(e: Estimate) -> String {
    format!("{} times ({}–{})", two(e.value), two(e.low), two(e.high))
}

/// `48 % (46–50 %)`
pub(super) fn share(e: Estimate) -> String {
    format!("{:.0} % ({})", whole_percent(e.value), percent_range(e))
}

/// A factor as it is told.
pub(super) fn two(x: f64) -> String {
    match x {
        x if x >= 100.0 => "over 100".to_owned(),
        x if x >= 10.0 => format!("{x:.0}"),
        x if x >= 0.005 => format!("{x:.2}"),
        _ => "under 0.01".to_owned(),
    }
}

pub(super) fn properties(n: usize) -> String {
    match n {
        1 => "1 property".to_owned(),
        n => format!("{} properties", grouped(n)),
    }
}

/// What was found, in lines for a terminal.
pub fn lines(answers: &Answers, question: &CoopQuestion) -> Vec<String> {
    let mut lines = Vec::new();
    if let (Some(event), Ok(kind)) = (&answers.event, question.kind()) {
        for asked in [Question::Share, Question::LightVisits] {
            lines.push(sentence(event, &event.answers[asked as usize], kind));
        }
    }
    let newest = answers.seasons.last().map(|s| &s.season);
    for s in answers.seasons.iter().filter(|s| Some(&s.season) == newest) {
        if let Some(spread) = s.share {
            lines.push(format!(
                "{}, {}: daylight share {}, the mean of {}",
                s.season,
                s.kind.them(),
                share(spread.mean),
                properties(spread.properties)
            ));
        }
    }
    lines
}

/// What the factor of a question is of.
pub(super) fn counted_by(question: Question) -> &'static str {
    match question {
        Question::Share => "the odds that a visit comes in light",
        Question::LightVisits => "visits in light per camera-night",
        Question::AllVisits => "visits at all hours per camera-night",
    }
}

pub(super) fn when(question: &CoopQuestion) -> String {
    let dates: Vec<_> = question.dates().into_iter().collect();
    match (&question.happened, dates.as_slice()) {
        (Some(Happened::Everywhere(date)), _) => format!("at every property on {}", day(date.0)),
        (_, [one]) => format!("on {}", day(*one)),
        (_, [first, .., last]) => format!("from {} to {}", day(*first), day(*last)),
        _ => String::new(),
    }
}

/// The sentence of a question.
pub(super) fn sentence(event: &EventAnswers, a: &EventAnswer, kind: Kind) -> String {
    let what = format!("{} of {}", word(a.question), kind.them());
    let own = a.own.map(factor).unwrap_or_default();
    let against = format!(
        "{} were {} what they would have been, by {} where it happened and {} where it did not",
        capital(counted_by(a.question)),
        a.against.map(factor).unwrap_or_default(),
        properties(a.exposed),
        a.controls
    );
    let shares = match a.question {
        Question::Share => group_words(event),
        _ => String::new(),
    };
    match a.verdict {
        CoopVerdict::ClearDrop => format!("The {what} fell. {shares}{against}."),
        CoopVerdict::ClearRise => format!("The {what} rose. {shares}{against}."),
        CoopVerdict::NoClearChange => {
            format!("No clear change of the {what}. {shares}{against}: {}.", why_not(a))
        }
        CoopVerdict::TooFewProperties => format!(
            "Nothing can be said of the {what}: {} where it happened can be used, and {FEWEST_PROPERTIES} are needed.",
            properties(a.exposed)
        ),
        CoopVerdict::NoControl => format!(
            "No verdict on the {what}. {shares}{} were {own} what they were before, by {}, and there are too few properties where it did not happen: the season, the rut or the weather may have done it.",
            capital(counted_by(a.question)),
            properties(a.exposed)
        ),
        CoopVerdict::NotChecked => format!(
            "No verdict on the {what}. {shares}{against}, but too few other dates were watched to know how far these groups drift apart for no reason."
        ),
        CoopVerdict::NotTagged => format!(
            "No verdict on the {what}. {shares}{against}, but after it happened another part of the pictures is without a tag than before, and what is in them could make the difference: tag them."
        ),
    }
    .trim_end()
    .to_owned()
}

/// Why a change is not clear.
fn why_not(a: &EventAnswer) -> &'static str {
    let is_apart = a.against.is_some_and(|e| e.low > 1.0 || e.high < 1.0);
    match is_apart {
        _ if a.is_mostly_drift() => {
            "these groups drift apart as far for no reason, as other dates show. More days watched before and after would say more, more properties would not"
        }
        true if a.is_matched_elsewhere() => "on another date they lay as far apart",
        true => "it is one of two questions asked, and one of two looks so too often",
        false => "chance alone can do that",
    }
}

/// What the share went from and to, in both groups.
fn group_words(event: &EventAnswers) -> String {
    let went = |s: GroupShares| {
        format!(
            "from {:.0} to {:.0} %, the mean of {}",
            whole_percent(s.before.value),
            whole_percent(s.after.value),
            properties(s.properties)
        )
    };
    match (event.exposed.map(went), event.controls.map(went)) {
        (Some(here), Some(there)) => {
            format!("Where it happened the share went {here}; where it did not, {there}. ")
        }
        (Some(here), None) => format!("Where it happened the share went {here}. "),
        _ => String::new(),
    }
}

pub(super) fn all_hours(a: &EventAnswer, kind: Kind) -> String {
    let them = kind.them();
    match (a.against, a.own) {
        (Some(against), _) => format!(
            "Visits of {them} at all hours per camera-night, told beside and not judged, were {} what they would have been.",
            factor(against)
        ),
        (None, Some(own)) => format!(
            "Visits of {them} at all hours per camera-night were {} what they were before.",
            factor(own)
        ),
        (None, None) => String::new(),
    }
}

/// How far properties differ in a change.
pub(super) fn differ(sd: f64) -> String {
    const HARDLY: f64 = 1.05;
    match sd.exp() {
        times if times < HARDLY => "properties hardly differ in it".to_owned(),
        times => format!(
            "two of three properties lie within {} times of their mean, what deer do by themselves in so few weeks included",
            two(times)
        ),
    }
}
