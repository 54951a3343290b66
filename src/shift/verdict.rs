//! What can be said, in the words of the findings file.

use std::collections::HashSet;

use super::Shift;
use super::compare::LEVEL;
use crate::visits::Kind;

/// What happened to the daylight share.
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
        }
    }

    /// Whether a change was found.
    pub fn is_clear(self) -> bool {
        matches!(self, Self::ClearDrop | Self::ClearRise)
    }
}

/// What the rates of visits did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// The deer still come, but in the dark.
    WentDark,
    /// They come less at all hours.
    Left,
    /// They come less here and more at another camera.
    Moved,
    /// Neither share nor rate changed clearly.
    Stayed,
}

impl Pattern {
    /// The words in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::WentDark => "went dark",
            Self::Left => "left",
            Self::Moved => "moved",
            Self::Stayed => "stayed",
        }
    }
}

/// Gives every row that has enough visits its verdict, then its pattern.
///
/// A clear change needs an adjusted p-value at or under 0.05 and the camera's own share moving in
/// the direction of the tested difference: a camera that stood still while the controls rose is
/// not called a drop.
pub(super) fn judge(rows: &mut [Shift]) {
    for row in rows.iter_mut() {
        if row.verdict == Verdict::NoClearChange {
            row.verdict = verdict(row);
        }
    }
    let is_more = |row: &&Shift| visits_changed(row) == Some(Some(false));
    let more: HashSet<(String, Kind)> = rows
        .iter()
        .filter(is_more)
        .map(|row| (row.disturbance.clone(), row.kind))
        .collect();
    let patterns: Vec<Option<Pattern>> = rows.iter().map(|row| pattern(row, &more)).collect();
    for (row, pattern) in rows.iter_mut().zip(patterns) {
        row.pattern = pattern;
    }
}

fn verdict(row: &Shift) -> Verdict {
    let own = row.share_change.map_or(0.0, |c| c.value);
    let tested = row.share_change_against_controls.map_or(own, |c| c.value);
    if row.p_adjusted.is_none_or(|p| p > LEVEL) || own * tested <= 0.0 {
        Verdict::NoClearChange
    } else if own < 0.0 {
        Verdict::ClearDrop
    } else {
        Verdict::ClearRise
    }
}

/// `more` holds the disturbances and kinds of which some camera had clearly more visits.
fn pattern(row: &Shift, more: &HashSet<(String, Kind)>) -> Option<Pattern> {
    match visits_changed(row)? {
        Some(fewer) if fewer => Some(if more.contains(&(row.disturbance.clone(), row.kind)) {
            Pattern::Moved
        } else {
            Pattern::Left
        }),
        Some(_) => None,
        None if row.verdict == Verdict::ClearDrop => Some(Pattern::WentDark),
        None if row.verdict == Verdict::NoClearChange => Some(Pattern::Stayed),
        None => None,
    }
}

/// Whether visits at all hours clearly changed, and if so whether they became fewer; `None` where
/// the rate is not known. As for shares, the camera's own rate must have moved in the direction of
/// the tested difference: one that lost less than the controls has not been left.
fn visits_changed(row: &Shift) -> Option<Option<bool>> {
    let own = row.all_hours_ratio?.value.ln();
    let clear = row.rate_p_adjusted? <= LEVEL && own * row.rate_against? > 0.0;
    Some(clear.then_some(own < 0.0))
}
