//! What else could have made a clear change: each other explanation is taken out, and the same question asked again.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::compare::Compared;
use super::doings::{Doing, SITS};
use super::effects::Question;
use super::record::LeftOut;
use super::{LEVEL, RestsOn, Shift};

/// Another explanation of a clear change, and whether the change is clear without it.
#[derive(Debug, Clone, PartialEq)]
pub struct Instead {
    /// The explanation.
    pub what: Explanation,
    /// The p-value of the change without it.
    pub p_value: Option<f64>,
    /// Whether it is clear without it, at the level at which it was found; of earlier years, whether they changed less.
    pub still_clear: bool,
}

/// What else it could have been.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Explanation {
    /// One buck that came or went: the one without whom least is left.
    OneBuck(String),
    /// The person's own sits: without the days on which somebody sat there.
    OwnSits,
    /// The season: visits in light before and after in the same weeks of earlier years at the same cameras.
    EarlierYears([usize; 2]),
}

impl Explanation {
    /// The words in files and tables.
    pub fn word(&self) -> &'static str {
        match self {
            Self::OneBuck(_) => "one buck",
            Self::OwnSits => "own sits",
            Self::EarlierYears(_) => "earlier years",
        }
    }
}

/// The level at which a row's question was found, as a level of its own p-value: what the other questions cost stays
/// what it was.
pub(super) fn own_level(row: &Shift, question: Question) -> f64 {
    let (p, adjusted) = match question {
        Question::LightVisits => (row.light_p_value, row.light_p_adjusted),
        _ => (row.p_value, row.p_adjusted),
    };
    match (p, adjusted) {
        (Some(p), Some(adjusted)) if adjusted > 0.0 => LEVEL * p / adjusted,
        _ => LEVEL,
    }
}

/// What is clear of a row, visits in light first.
pub(super) fn clear_question(row: &Shift) -> Option<Question> {
    [Question::LightVisits, Question::Share].into_iter().find(|q| row.verdict_on(*q).is_clear())
}

/// Asks a clear row again without each of the other explanations that there are.
pub(super) fn instead(compared: &Compared, row: &Shift, doings: &[Doing]) -> Vec<Instead> {
    let Some(question) = clear_question(row) else { return Vec::new() };
    let level = own_level(row, question);
    let told = |what, p_value: Option<f64>| {
        let still_clear = p_value.is_some_and(|p| p <= level);
        Instead { what, p_value, still_clear }
    };
    let again = |without: LeftOut| compared.p_value_without(row.camera, question, without);
    let mut all: Vec<Instead> = row.rests_on.iter().filter_map(one_buck).collect();
    let cameras = compared.cameras_of(row.camera);
    let sits: BTreeSet<(usize, NaiveDate)> = doings
        .iter()
        .filter(|d| d.what == SITS)
        .flat_map(|d| d.days.iter().copied())
        .filter(|(camera, _)| cameras.contains(camera))
        .collect();
    if !sits.is_empty() {
        let on = |camera: usize, date: NaiveDate| sits.contains(&(camera, date));
        all.push(told(Explanation::OwnSits, again(LeftOut::Days(&on))));
    }
    all.extend(earlier_years(compared, row));
    all
}

/// What the same weeks did in earlier years.
fn earlier_years(compared: &Compared, row: &Shift) -> Option<Instead> {
    let then = compared.earlier_years(row.camera)?;
    let ratio = |before: usize, after: usize| (after as f64 + 0.5) / (before as f64 + 0.5);
    let now = ratio(row.before.counted, row.after.counted).ln();
    let [before, after] = [then.before.counted, then.after.counted];
    let theirs = ratio(before, after).ln();
    Some(Instead {
        what: Explanation::EarlierYears([before, after]),
        p_value: None,
        still_clear: theirs * now <= 0.0 || theirs.abs() < now.abs() / 2.0,
    })
}

/// The buck without whom least is left.
fn one_buck(rests: &RestsOn) -> Option<Instead> {
    let left = rests.without.iter().filter(|w| w.still_clear.is_some());
    let most = left.max_by(|a, b| a.p_value.total_cmp(&b.p_value))?;
    Some(Instead {
        what: Explanation::OneBuck(most.name.clone()),
        p_value: Some(most.p_value),
        still_clear: most.still_clear == Some(true),
    })
}
