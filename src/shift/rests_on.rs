//! On which deer a clear change rests, and whether it holds without each of them.

use std::collections::BTreeMap;

use super::Shift;
use super::behind::visits_compared;
use super::compare::Compared;
use super::effects::{Question, Sides};
use super::instead::{clear_question, own_level};
use super::quiet;
use super::record::{LeftOut, Span};
use crate::visits::{Kind, Named, Season, Visit};

/// The bucks behind a verdict.
#[derive(Debug, Clone, PartialEq)]
pub struct RestsOn {
    /// What is clear; `None` where nothing is.
    pub of: Option<Question>,
    /// Visits of unnamed deer.
    pub unnamed: usize,
    /// Every named one, the one with the most visits first.
    pub without: Vec<Without>,
}

/// What is left without one deer.
#[derive(Debug, Clone, PartialEq)]
pub struct Without {
    /// Its name.
    pub name: String,
    /// Its own visits on both sides.
    pub visits: usize,
    /// Visits that the share counts, and all, before and after, without it.
    pub left: [(usize, usize); 2],
    /// The p-value without it; 1 where that cannot be told.
    pub p_value: f64,
    /// Whether the change is clear without it, at the same level; nothing where it was not clear with it.
    pub still_clear: Option<bool>,
}

/// `None` where the kind is not told one by one.
pub(super) fn rests_on(season: &Season, compared: &Compared, row: &Shift) -> Option<RestsOn> {
    let named_kind = matches!(row.kind, Kind::MatureBuck | Kind::Buck);
    if !named_kind {
        return None;
    }
    let of = clear_question(row);
    let cameras = compared.cameras_of(row.camera);
    let mut visits: BTreeMap<u16, usize> = BTreeMap::new();
    let mut unnamed = 0;
    for visit in cameras.iter().flat_map(|c| seen(season, *c, row, compared)) {
        match visit.named() {
            Named::One(name) => *visits.entry(name).or_default() += 1,
            Named::Nobody | Named::Several => unnamed += 1,
        }
    }
    let mut without: Vec<Without> = visits
        .into_iter()
        .map(|(name, visits)| left(season, compared, row, of, name, visits))
        .collect();
    without.sort_by(|a, b| b.visits.cmp(&a.visits).then_with(|| a.name.cmp(&b.name)));
    Some(RestsOn { of, unnamed, without })
}

/// The visits on both sides at one camera.
fn seen<'a>(
    season: &'a Season,
    camera: usize,
    row: &Shift,
    compared: &Compared,
) -> impl Iterator<Item = &'a Visit> + use<'a> {
    visits_compared(season, camera, row.kind, compared.windows).into_iter().flatten()
}

fn left(
    season: &Season,
    compared: &Compared,
    row: &Shift,
    of: Option<Question>,
    name: u16,
    visits: usize,
) -> Without {
    let windows = compared.windows;
    let theirs = |camera: usize| {
        let visits = season.cameras[camera].visits(row.kind).iter();
        visits.filter(move |v| v.named() == Named::One(name))
    };
    let less = |camera: usize, (from, until): Span| {
        let there = theirs(camera).filter(|v| (from..=until).contains(&v.date()));
        there.fold((0, 0), |sum, v| (sum.0 + usize::from(v.counted), sum.1 + 1))
    };
    let counts = |camera: usize| -> Sides {
        let mut sides = quiet::sides(season, camera, row.kind, windows);
        let theirs = seen(season, camera, row, compared);
        for visit in theirs.filter(|v| v.named() == Named::One(name)) {
            let sums = match visit.date() <= windows.before.1 {
                true => &mut sides.before,
                false => &mut sides.after,
            };
            sums.visits -= 1;
            sums.counted -= usize::from(visit.counted);
            sums.legal -= usize::from(visit.light.is_legal());
        }
        sides
    };
    let again = of.and_then(|question| {
        let p = compared.p_value_without(row.camera, question, LeftOut::Visits(&less))?;
        Some((p, p <= own_level(row, question)))
    });
    let mut sums = [(0, 0); 2];
    for sides in compared.cameras_of(row.camera).into_iter().map(counts) {
        for (sum, side) in sums.iter_mut().zip([sides.before, sides.after]) {
            *sum = (sum.0 + side.counted, sum.1 + side.visits);
        }
    }
    Without {
        name: season.names[usize::from(name)].clone(),
        visits,
        left: sums,
        p_value: again.map_or(1.0, |a| a.0),
        still_clear: again.map(|a| a.1),
    }
}
