//! What was asked beforehand, and its answer.

use maud::{Markup, html};

use super::contents::Part;
use super::said::{Said, Sure};
use crate::debrief::{Answered, Debrief};
use crate::report::{outlook_words, words};

pub(super) fn section(debrief: &Debrief) -> Markup {
    let all = &debrief.answered;
    html! {
        @if !all.is_empty() {
            section id=(Part::Asked.id()) {
                h2 { (Part::Asked.heading()) }
                p { "A question that was written down before its days came is answered by the comparison that was planned then, whatever else is found. Questions of one season share one error rate." }
                ul { @for answered in all { li {
                    strong { (outlook_words::question(&answered.question)) }
                    " Asked on " (words::day(answered.question.asked))
                    @if let Some(chance) = answered.question.chance { ", when the plan gave it " (words::grouped((chance * 100.0).round() as usize)) " chances in 100" }
                    ". " (outlook_words::answer(answered))
                } } }
            }
        }
    }
}

/// For the first page, what is due in the newest season.
pub(super) fn said(debrief: &Debrief) -> impl Iterator<Item = Said> {
    let newest = debrief.season.newest();
    let is_now =
        move |a: &&Answered| a.is_due && newest.is_some_and(|y| y.contains(a.question.from));
    debrief.answered.iter().filter(is_now).map(|a| {
        let is_clear = a.row.as_ref().is_some_and(|r| r.light_verdict.is_clear());
        Said {
            rest: outlook_words::answer(a),
            more: Some(format!("#{}", Part::Asked.id())),
            ..Said::plain(
                if is_clear { Sure::Shown } else { Sure::Open },
                format!(
                    "Asked on {}: {}",
                    words::day(a.question.asked),
                    outlook_words::question(&a.question)
                ),
            )
        }
    })
}
