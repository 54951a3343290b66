//! The properties where it happened and those where it did not, and what the ones changed more than the others, on the
//! dates of the event and on others.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::contrast::{Contrast, Untagged, Unusable};
use super::days::moved;
use super::event::{
    CoopVerdict, EventAnswer, FEWEST_DATES, FEWEST_PROPERTIES, GroupShares, OtherDate, Part, passes,
};
use super::question::{At, CoopQuestion};
use super::record::Record;
use crate::measure::{Blocks, Effect, Estimate, Pooled, mean_of, pooled, two_sided};
use crate::shift::{LEVEL, Question};

const AS_TAGGED: (Untagged, Untagged) = (Untagged::LeftOut, Untagged::LeftOut);

/// The properties on both sides of the question.
pub(super) struct Groups<'a> {
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
    elsewhere: Option<Pooled>,
    exposed: usize,
}

impl<'a> Groups<'a> {
    pub fn of(records: &'a [Record], question: &'a CoopQuestion) -> Self {
        let mut exposed = Vec::new();
        let mut controls = Vec::new();
        for record in records {
            match question.at(&record.property) {
                At::On(date) => exposed.push((record, date)),
                At::Never => controls.push(record),
                At::Unsaid => {}
            }
        }
        Self { records, question, exposed, controls }
    }

    /// What runs of days cost, from all properties on the dates of the event.
    fn design_effect(&self, question: Question) -> f64 {
        let dates = self.question.dates();
        let exposed = self.exposed.iter().filter_map(|(r, d)| contrast(r, *d));
        let controls = self.controls.iter();
        let controls = controls.flat_map(|r| dates.iter().filter_map(|d| contrast(r, *d)));
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
            .filter_map(|r| contrast(r, asked)?.effect(question, untagged))
            .collect();
        (effects.len() >= FEWEST_PROPERTIES).then(|| pooled(&effects)).flatten()
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
                let effect = contrast(record, asked)?.effect(question, here)?;
                Some((*date, effect))
            })
            .collect();
        let of = |effects: &[(NaiveDate, Effect)]| {
            let plain: Vec<Effect> = effects.iter().map(|e| e.1).collect();
            (plain.len() >= FEWEST_PROPERTIES).then(|| pooled(&plain)).flatten()
        };
        let alone =
            Against { own: of(&effects)?, less: None, elsewhere: None, exposed: effects.len() };
        let mut on: BTreeMap<NaiveDate, Option<Pooled>> = BTreeMap::new();
        for (date, _) in &effects {
            on.entry(*date).or_insert_with(|| {
                self.elsewhere(question, there, (*date, moved(*date, days_later)?))
            });
        }
        let (compared, there): (Vec<(NaiveDate, Effect)>, Vec<Pooled>) =
            effects.iter().filter_map(|(date, effect)| Some(((*date, *effect), on[date]?))).unzip();
        let Some(own) = of(&compared) else {
            return Some(alone);
        };
        let less = compared.iter().zip(&there).map(|((_, effect), there)| Effect {
            value: effect.value - there.mean,
            variance: effect.variance,
        });
        let less = pooled(&less.collect::<Vec<_>>())?;
        let elsewhere = of_controls(&compared, &there, less.between);
        Some(Against {
            own,
            less: Some(less.less_by(less.mean, elsewhere.error, elsewhere.freedom)),
            elsewhere: Some(elsewhere),
            exposed: compared.len(),
        })
    }

    /// The answer to a question, not judged yet.
    pub fn answer(&self, question: Question) -> EventAnswer {
        let mut answer = self.unanswered(question);
        let Some(here) = self.against(question, AS_TAGGED, 0) else {
            let exposed = self.exposed.iter();
            answer.exposed = exposed.filter(|(r, d)| says(r, *d, question)).count();
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
        if let (Some(less), Some(elsewhere)) = (here.less, here.elsewhere) {
            answer.elsewhere = Some(factor(elsewhere.estimate()));
            let others = there.iter().filter_map(|(days, a)| Some((*days, a.less?)));
            let drift = self.drift(less, others.collect());
            self.compare(&mut answer, less, drift);
        }
        answer
    }

    fn unanswered(&self, question: Question) -> EventAnswer {
        EventAnswer {
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
        }
    }

    /// What the groups drift apart on other dates, or on the next ones if it is more: two groups may lie apart on these
    /// days alone, as where the rut comes later in one of them.
    fn drift(&self, here: Pooled, others: Vec<(i64, Pooled)>) -> Drift {
        let step = i64::from(self.question.days);
        let others = others.into_iter();
        let others: Vec<(i64, Pooled)> =
            others.filter(|(days, other)| !passes(*days, other.mean, here.mean)).collect();
        let next = others.iter().filter(|(days, _)| days.abs() == step);
        let all = Drift::of(others.iter().map(|o| o.1));
        let near = Drift::of(next.map(|o| o.1));
        if near.variance > all.variance { near } else { all }
    }

    /// The change against the controls, with the drift in its range.
    fn compare(&self, answer: &mut EventAnswer, here: Pooled, drift: Drift) {
        let less = drift.added_to(here);
        answer.against = Some(factor(less.estimate()));
        answer.new_property = less.of_a_new_one(answer.exposed).map(factor);
        answer.between_sd = Some(less.between.sqrt());
        let is_known = answer.other_dates.len() >= FEWEST_DATES;
        answer.drift_sd = is_known.then_some(drift.variance.sqrt());
        answer.p_value = Some(two_sided(less.mean / less.error, less.freedom));
        answer.error = Some(less.error);
        // The untagged at their worst for what was found: on both sides against it.
        let worst = match less.mean < 0.0 {
            true => (Untagged::ForMore, Untagged::ForLess),
            false => (Untagged::ForLess, Untagged::ForMore),
        };
        let at_worst = self.against(answer.question, worst, 0).and_then(|a| a.less);
        answer.holds_untagged = at_worst.is_some_and(|worst| {
            let worst = drift.added_to(worst);
            let p = two_sided(worst.mean / worst.error, worst.freedom);
            worst.mean * less.mean > 0.0 && p <= LEVEL
        });
    }

    fn controls_used(&self, question: Question) -> usize {
        let dates = self.question.dates();
        let used = |d: &NaiveDate| {
            let controls = self.controls_on(*d, *d).into_iter();
            let saying = controls.filter(|r| says(r, *d, question));
            saying.map(|r| r.property.as_str()).collect::<Vec<_>>()
        };
        let used: BTreeSet<&str> = dates.iter().flat_map(used).collect();
        used.len()
    }

    pub fn shares_exposed(&self) -> Option<GroupShares> {
        let all = self.exposed.iter().filter_map(|(r, d)| contrast(r, *d));
        shares(all)
    }

    pub fn shares_controls(&self) -> Option<GroupShares> {
        let dates = self.question.dates();
        let one = |r: &&'a Record| dates.iter().find_map(|d| contrast(r, *d));
        shares(self.controls.iter().filter_map(one))
    }

    pub fn parts(&self) -> Vec<(String, Part)> {
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

/// A property's own change at a date, if it can say one.
fn contrast(record: &Record, date: NaiveDate) -> Option<&Contrast> {
    record.change(date)?.as_ref().ok()
}

/// Whether a property says anything of a question at a date.
fn says(record: &Record, date: NaiveDate, question: Question) -> bool {
    let change = contrast(record, date);
    change.is_some_and(|c| c.effect(question, Untagged::LeftOut).is_some())
}

/// The mean of the controls on the dates of those they are compared with, its error, as if the same properties stood
/// for every date, and the fewest degrees of freedom.
fn of_controls(compared: &[(NaiveDate, Effect)], there: &[Pooled], between: f64) -> Pooled {
    let (mut weights, mut mean, mut error) = (0.0, 0.0, 0.0);
    let mut freedom = f64::INFINITY;
    for ((_, effect), there) in compared.iter().zip(there) {
        let weight = 1.0 / (effect.variance + between);
        weights += weight;
        mean += weight * there.mean;
        error += weight * there.error;
        freedom = freedom.min(there.freedom);
    }
    Pooled { mean: mean / weights, error: error / weights, freedom, between: 0.0 }
}

/// What groups drift apart on other dates beyond what their counts explain.
#[derive(Clone, Copy)]
struct Drift {
    variance: f64,
    freedom: f64,
}

impl Drift {
    fn of(others: impl Iterator<Item = Pooled>) -> Self {
        let all: Vec<Pooled> = others.collect();
        let n = all.len() as f64;
        let mean = |of: fn(&Pooled) -> f64| all.iter().map(of).sum::<f64>() / n.max(1.0);
        let (seen, explained) = (mean(|p| p.mean * p.mean), mean(|p| p.error * p.error));
        if seen <= explained {
            return Self { variance: 0.0, freedom: f64::INFINITY };
        }
        let beyond = seen - explained;
        // A variance estimated from n squares has n degrees of freedom; what is left of it after a part is taken away
        // is known less well (Satterthwaite 1946, Biometrics Bulletin 2:110-114).
        Self { variance: beyond, freedom: (n * (beyond / seen).powi(2)).max(1.0) }
    }

    fn added_to(self, change: Pooled) -> Pooled {
        change.less_by(change.mean, self.variance.sqrt(), self.freedom)
    }
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
    Estimate { value: log.value.exp(), low: log.low.exp(), high: log.high.exp() }
}

fn shares<'a>(contrasts: impl Iterator<Item = &'a Contrast>) -> Option<GroupShares> {
    let share =
        |light: u32, visits: u32| (visits > 0).then(|| f64::from(light) / f64::from(visits));
    let both = |c: &Contrast| {
        Some((share(c.before.light, c.before.visits)?, share(c.after.light, c.after.visits)?))
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
