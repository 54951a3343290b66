//! What was asked before it happened, and what the pictures say of it.

use chrono::NaiveTime;

use crate::property::{By, Disturbance, Property, Question};
use crate::shift::{Shift, asked};
use crate::visits::Season;

/// A question of `questions.csv`.
#[derive(Debug, Clone)]
pub struct Answered {
    /// As it was asked.
    pub question: Question,
    /// Whether the pictures reach the day by which it was to be known.
    pub is_due: bool,
    /// The comparison that was planned; `None` where no near camera worked on both sides, or it is not due.
    pub row: Option<Shift>,
}

/// Every question; those of one season share one error rate.
pub(super) fn answered(property: &Property, season: &Season) -> Vec<Answered> {
    let last = season.span().map(|(_, last)| last);
    let answer = |question: &Question| {
        let is_due = last.is_some_and(|last| question.by <= last);
        let year = season.year_of(question.from);
        let beside = property.questions.iter();
        let questions = beside.filter(|q| season.year_of(q.from) == year).count();
        let event = Disturbance {
            is_dated_by_pictures: false,
            id: format!("asked {}", question.asked),
            start: question.from.and_time(NaiveTime::MIN),
            end: None,
            by: By::NotSaid,
            what: String::new(),
            position: None,
            near: question.near.clone(),
        };
        let row = || asked(season, &event, question.days(), questions);
        Answered { question: question.clone(), is_due, row: is_due.then(row).flatten() }
    };
    property.questions.iter().map(answer).collect()
}
