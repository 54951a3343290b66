//! Whether what happened moved the deer: properties are the units, those where it did not happen say what those days
//! did by themselves, and the same sum on other dates says how far two groups of properties drift apart for no reason.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::contrast::{Contrast, Untagged, Unusable};
use super::days::moved;
use super::question::{At, CoopQuestion};
use super::record::Record;
use crate::measure::{Blocks, Effect, Estimate, Pooled, holm_adjusted, mean_of, pooled, two_sided};
use crate::shift::{LEVEL, Question};

/// Fewer properties than this are no group: nothing is told of them together.
pub const FEWEST_PROPERTIES: usize = 5;
/// With fewer other dates to look at, how far groups drift apart is not known.
const FEWEST_DATES: usize = 2;
const AS_TAGGED: (Untagged, Untagged) = (Untagged::LeftOut, Untagged::LeftOut);
/// Each visit stands for itself: what runs of days add to that lies between properties, where it is measured.
const ALONE: f64 = 1.0;

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
    let sides = Sides::of(records, question);
    let mut answers: Vec<EventAnswer> = Question::ALL.map(|q| sides.answer(q)).to_vec();
    // Visits at all hours tell how it came about; they are not judged.
    let judged = [Question::Share, Question::LightVisits];
    let of = |a: &&mut EventAnswer| judged.contains(&a.question) && a.p_value.is_some();
    let asked: Vec<f64> = answers
        .iter_mut()
        .filter(of)
        .filter_map(|a| a.p_value)
        .collect();
    let adjusted = holm_adjusted(asked);
    for (answer, p) in answers.iter_mut().filter(of).zip(adjusted) {
        answer.p_adjusted = Some(p);
    }
    for answer in &mut answers {
        judge(answer);
    }
    let (exposed, controls) = (sides.shares_exposed(), sides.shares_controls());
    EventAnswers {
        answers,
        exposed,
        controls,
        parts: sides.parts(),
    }
}

/// Whether a change on a later date may be what happened going back: nothing that was there without it.
fn passes(days_later: i64, there: f64, here: f64) -> bool {
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

/// The properties on both sides of the question.
struct Sides<'a> {
    records: &'a [Record],
    question: &'a CoopQuestion,
    exposed: Vec<(&'a Record, NaiveDate)>,
    controls: Vec<&'a Record>,
}

/// One group's change against another's at one distance from the dates.
struct Against {
    /// By itself.
    own: Pooled,
    /// Less the controls.
    less: Option<Pooled>,
    /// The controls alone, on the exposed properties' dates.
    elsewhere: Option<(f64, f64, f64)>,
    exposed: usize,
}

impl<'a> Sides<'a> {
    fn of(records: &'a [Record], question: &'a CoopQuestion) -> Self {
        let mut exposed = Vec::new();
        let mut controls = Vec::new();
        for record in records {
            match question.at(&record.property) {
                At::On(date) => exposed.push((record, date)),
                At::Never => controls.push(record),
                At::Unsaid => {}
            }
        }
        Self {
            records,
            question,
            exposed,
            controls,
        }
    }

    fn contrast(record: &Record, date: NaiveDate) -> Option<&Contrast> {
        record.change(date)?.as_ref().ok()
    }

    /// What runs of days cost, from all properties on the dates of the event.
    fn design_effect(&self, question: Question) -> f64 {
        let dates = self.question.dates();
        let exposed = self
            .exposed
            .iter()
            .filter_map(|(r, d)| Self::contrast(r, *d));
        let controls = self.controls.iter();
        let controls = controls.flat_map(|r| dates.iter().filter_map(|d| Self::contrast(r, *d)));
        let mut sum = Blocks::default();
        for contrast in exposed.chain(controls) {
            let (observed, expected, freedom) = contrast.blocks[question as usize];
            sum.observed += observed;
            sum.expected += expected;
            sum.freedom += freedom;
        }
        sum.runs().design_effect
    }

    /// The controls of a date on which it happened, asked for at another date: where it never happened; where it
    /// happened everywhere sooner or later, those whose own days are two windows away from both.
    fn controls_on(&self, date: NaiveDate, asked: NaiveDate) -> Vec<&'a Record> {
        if self.controls.len() >= FEWEST_PROPERTIES {
            return self.controls.clone();
        }
        let apart = 2 * i64::from(self.question.days);
        let is_far = |own: NaiveDate, other: NaiveDate| (own - other).num_days().abs() >= apart;
        let others = self.exposed.iter();
        let far = others.filter(|(_, own)| is_far(*own, date) && is_far(*own, asked));
        let far = far.map(|(r, _)| *r);
        self.controls.iter().copied().chain(far).collect()
    }

    /// The mean change at a date of the controls of a date on which it happened; `None` for too few.
    fn elsewhere(
        &self,
        question: Question,
        untagged: Untagged,
        (date, asked): (NaiveDate, NaiveDate),
    ) -> Option<Pooled> {
        let effects: Vec<Effect> = self
            .controls_on(date, asked)
            .into_iter()
            .filter_map(|r| Self::contrast(r, asked)?.effect(question, untagged, ALONE))
            .collect();
        (effects.len() >= FEWEST_PROPERTIES)
            .then(|| pooled(&effects))
            .flatten()
    }

    /// The exposed properties' change, their dates moved by some days.
    fn against(
        &self,
        question: Question,
        (here, there): (Untagged, Untagged),
        days_later: i64,
    ) -> Option<Against> {
        let effects: Vec<(NaiveDate, Effect)> = self
            .exposed
            .iter()
            .filter_map(|(record, date)| {
                let asked = moved(*date, days_later)?;
                let effect = Self::contrast(record, asked)?.effect(question, here, ALONE)?;
                Some((*date, effect))
            })
            .collect();
        let plain: Vec<Effect> = effects.iter().map(|e| e.1).collect();
        if plain.len() < FEWEST_PROPERTIES {
            return None;
        }
        let own = pooled(&plain)?;
        let mut on: BTreeMap<NaiveDate, Option<Pooled>> = BTreeMap::new();
        for (date, _) in &effects {
            on.entry(*date).or_insert_with(|| {
                self.elsewhere(question, there, (*date, moved(*date, days_later)?))
            });
        }
        let compared: Vec<(NaiveDate, Effect, Pooled)> = effects
            .iter()
            .filter_map(|(date, effect)| Some((*date, *effect, on[date]?)))
            .collect();
        if compared.len() < FEWEST_PROPERTIES {
            return Some(Against {
                own,
                less: None,
                elsewhere: None,
                exposed: plain.len(),
            });
        }
        let less = |(_, effect, there): &(_, Effect, Pooled)| Effect {
            value: effect.value - there.mean,
            variance: effect.variance,
        };
        let changes: Vec<Effect> = compared.iter().map(less).collect();
        let own_less = pooled(&changes)?;
        let plain: Vec<Effect> = compared.iter().map(|c| c.1).collect();
        let elsewhere = of_controls(&compared, own_less.between);
        Some(Against {
            own: pooled(&plain)?,
            less: Some(own_less.less_by(own_less.mean, elsewhere.1, elsewhere.2)),
            elsewhere: Some(elsewhere),
            exposed: plain.len(),
        })
    }

    fn answer(&self, question: Question) -> EventAnswer {
        let mut answer = EventAnswer {
            question,
            exposed: 0,
            controls: self.controls_used(question),
            own: None,
            elsewhere: None,
            against: None,
            new_property: None,
            between_sd: None,
            drift_sd: None,
            other_dates: Vec::new(),
            error: None,
            holds_untagged: false,
            p_value: None,
            p_adjusted: None,
            design_effect: self.design_effect(question),
            verdict: CoopVerdict::TooFewProperties,
        };
        let Some(here) = self.against(question, AS_TAGGED, 0) else {
            let usable = self.exposed.iter().filter(|(r, d)| {
                Self::contrast(r, *d)
                    .is_some_and(|c| c.effect(question, Untagged::LeftOut, ALONE).is_some())
            });
            answer.exposed = usable.count();
            return answer;
        };
        answer.exposed = here.exposed;
        answer.own = Some(factor(here.own.estimate()));
        let moves = self.question.moves();
        let there: Vec<(i64, Against)> = moves
            .iter()
            .filter_map(|m| Some((*m, self.against(question, AS_TAGGED, *m)?)))
            .filter(|(_, a)| a.less.is_some() == here.less.is_some())
            .collect();
        answer.other_dates = there.iter().map(|(days, a)| other_date(*days, a)).collect();
        let Some(less) = here.less else {
            return answer;
        };
        if let Some((mean, error, freedom)) = here.elsewhere {
            let half = crate::measure::critical(freedom) * error;
            answer.elsewhere = Some(factor(Estimate {
                value: mean,
                low: mean - half,
                high: mean + half,
            }));
        }
        let others = there.iter().filter_map(|(days, a)| Some((*days, a.less?)));
        let others: Vec<(i64, Pooled)> = others
            .filter(|(days, other)| !passes(*days, other.mean, less.mean))
            .collect();
        // Two groups may lie apart on these days alone, as where the rut comes later in one of them.
        let step = i64::from(self.question.days);
        let next = others.iter().filter(|(days, _)| days.abs() == step);
        let all = drift(others.iter().map(|o| o.1));
        let near = drift(next.map(|o| o.1));
        let (drift, freedom) = if near.0 > all.0 { near } else { all };
        let less = less.less_by(less.mean, drift.sqrt(), freedom);
        answer.against = Some(factor(less.estimate()));
        answer.new_property = less.of_a_new_one(here.exposed).map(factor);
        answer.between_sd = Some(less.between.sqrt());
        answer.drift_sd = (there.len() >= FEWEST_DATES).then_some(drift.sqrt());
        answer.p_value = Some(two_sided(less.mean / less.error, less.freedom));
        answer.error = Some(less.error);
        // The untagged at their worst for what was found: on both sides against it.
        let worst = match less.mean < 0.0 {
            true => (Untagged::ForMore, Untagged::ForLess),
            false => (Untagged::ForLess, Untagged::ForMore),
        };
        let at_worst = self.against(question, worst, 0).and_then(|a| a.less);
        answer.holds_untagged = at_worst.is_some_and(|worst| {
            let worst = worst.less_by(worst.mean, drift.sqrt(), freedom);
            let p = two_sided(worst.mean / worst.error, worst.freedom);
            worst.mean * less.mean > 0.0 && p <= LEVEL
        });
        answer
    }

    fn controls_used(&self, question: Question) -> usize {
        let dates = self.question.dates();
        let says = |r: &Record, d: NaiveDate| {
            Self::contrast(r, d)
                .is_some_and(|c| c.effect(question, Untagged::LeftOut, ALONE).is_some())
        };
        let used = |r: &&Record| {
            dates.iter().any(|d| {
                says(r, *d)
                    && self
                        .controls_on(*d, *d)
                        .iter()
                        .any(|c| std::ptr::eq(*c, *r))
            })
        };
        self.records.iter().filter(used).count()
    }

    fn shares_exposed(&self) -> Option<GroupShares> {
        let all = self
            .exposed
            .iter()
            .filter_map(|(r, d)| Self::contrast(r, *d));
        shares(all)
    }

    fn shares_controls(&self) -> Option<GroupShares> {
        let dates = self.question.dates();
        let one = |r: &&'a Record| dates.iter().find_map(|d| Self::contrast(r, *d));
        shares(self.controls.iter().filter_map(one))
    }

    fn parts(&self) -> Vec<(String, Part)> {
        let dates = self.question.dates();
        let part = |record: &Record| match self.question.at(&record.property) {
            At::Unsaid => Part::Unsaid,
            At::On(date) => match record.change(date) {
                Some(Ok(_)) => Part::Exposed(date),
                Some(Err(why)) => Part::Unusable(date, *why),
                None => Part::Unusable(date, Unusable::NotWatched),
            },
            At::Never => {
                let all: Vec<&Result<Contrast, Unusable>> =
                    dates.iter().filter_map(|d| record.change(*d)).collect();
                let reasons: Option<Vec<Unusable>> =
                    all.iter().map(|c| c.as_ref().err().copied()).collect();
                // The last of its reasons stands for all.
                let why = reasons.map(|r| r.last().copied().unwrap_or(Unusable::NotWatched));
                why.map_or(Part::Control, Part::UnusableControl)
            }
        };
        let named = |r: &Record| (r.property.clone(), part(r));
        self.records.iter().map(named).collect()
    }
}

/// The mean of the controls on the dates of those they are compared with, its error, as if the same properties stood
/// for every date, and the fewest degrees of freedom.
fn of_controls(compared: &[(NaiveDate, Effect, Pooled)], between: f64) -> (f64, f64, f64) {
    let (mut weights, mut mean, mut error) = (0.0, 0.0, 0.0);
    let mut freedom = f64::INFINITY;
    for (_, effect, there) in compared {
        let weight = 1.0 / (effect.variance + between);
        weights += weight;
        mean += weight * there.mean;
        error += weight * there.error;
        freedom = freedom.min(there.freedom);
    }
    (mean / weights, error / weights, freedom)
}

/// What groups drift apart on other dates beyond what their counts explain, a variance with its degrees of freedom.
fn drift(others: impl Iterator<Item = Pooled>) -> (f64, f64) {
    let all: Vec<Pooled> = others.collect();
    let n = all.len() as f64;
    if all.is_empty() {
        return (0.0, f64::INFINITY);
    }
    let mean = |of: fn(&Pooled) -> f64| all.iter().map(of).sum::<f64>() / n;
    let (seen, explained) = (mean(|p| p.mean * p.mean), mean(|p| p.error * p.error));
    let beyond = (seen - explained).max(0.0);
    // A variance estimated from n squares has n degrees of freedom; what is left of it after a part is taken away is
    // known less well (Satterthwaite 1946, Biometrics Bulletin 2:110-114).
    let freedom = if beyond > 0.0 {
        n * (beyond / seen).powi(2)
    } else {
        f64::INFINITY
    };
    (beyond, freedom.max(1.0))
}

fn other_date(days_later: i64, there: &Against) -> OtherDate {
    OtherDate {
        days_later,
        change: factor(there.less.unwrap_or(there.own).estimate()),
        exposed: there.exposed,
    }
}

/// A log factor and its range as factors.
fn factor(log: Estimate) -> Estimate {
    Estimate {
        value: log.value.exp(),
        low: log.low.exp(),
        high: log.high.exp(),
    }
}

fn shares<'a>(contrasts: impl Iterator<Item = &'a Contrast>) -> Option<GroupShares> {
    let share =
        |light: u32, visits: u32| (visits > 0).then(|| f64::from(light) / f64::from(visits));
    let both = |c: &Contrast| {
        Some((
            share(c.before.light, c.before.visits)?,
            share(c.after.light, c.after.visits)?,
        ))
    };
    let (before, after): (Vec<f64>, Vec<f64>) = contrasts.filter_map(both).unzip();
    if before.len() < FEWEST_PROPERTIES {
        return None;
    }
    let bounded = |values: &[f64]| {
        mean_of(values).map(|e| Estimate {
            value: e.value,
            low: e.low.max(0.0),
            high: e.high.min(1.0),
        })
    };
    Some(GroupShares {
        properties: before.len(),
        before: bounded(&before)?,
        after: bounded(&after)?,
    })
}
