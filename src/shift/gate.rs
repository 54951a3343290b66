//! In which order everything is asked, so that one error rate holds for all of it.
//!
//! Each disturbance begins with an equal part of the allowance. Its two first questions, visits in light and the
//! daylight share of the deer that the season is about at all near cameras together, get nineteen twentieths of it,
//! three parts and one: a share that fell is seen at a quarter of the level that visits need. The one that is answered passes its allowance to the other, and both then pass it on: to the near cameras
//! one by one, then to the other kinds, then to the controls, and to the other disturbances. The last twentieth is
//! kept for the other kinds, so that what nobody could overlook is told although the first questions stay open.

use std::collections::BTreeMap;

use super::effects::Question;
use super::{Role, Shift};
use crate::measure::{Family, graph_adjusted};
use crate::visits::Kind;

/// Part of the allowance kept for what is not the first question.
pub(super) const KEPT: f64 = 0.05;

/// The families of one disturbance, in the order in which they are asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Light,
    Share,
    Cameras,
    Kinds,
    Controls,
}

const RANKS: [Rank; 5] = [Rank::Light, Rank::Share, Rank::Cameras, Rank::Kinds, Rank::Controls];

/// What a first question leaves to others than the other first question: an edge that vanishes (Bretz et al. 2009,
/// section 3.3), so that nothing is lost when both are answered.
const VANISHING: f64 = 1e-3;

/// The part of the first questions' allowance that visits in light begin with; the share has the rest. Chosen by
/// measurement (`tests/bench/error_rates.md`).
const OF_LIGHT: f64 = 0.75;

/// The level at which visits in light are asked about, of so many disturbances.
pub(super) fn first_level(disturbances: usize) -> f64 {
    super::LEVEL * (1.0 - KEPT) * OF_LIGHT / disturbances.max(1) as f64
}

/// Gives every row its adjusted p-values.
pub(super) fn adjust(rows: &mut [Shift], about: Kind) {
    let names: Vec<String> = {
        let mut names: Vec<String> = rows.iter().map(|r| r.disturbance.clone()).collect();
        names.dedup();
        names
    };
    let number: BTreeMap<&str, usize> =
        names.iter().enumerate().map(|(i, n)| (n.as_str(), i)).collect();
    let near: Vec<usize> = names.iter().map(|n| near_cameras(rows, n, about)).collect();
    let families = families(&near);
    answer(rows, families, |_, row, question| {
        let event = number[row.disturbance.as_str()];
        let rank = rank(row, question, about, near[event])?;
        Some(event * RANKS.len() + rank as usize)
    });
    alike(rows, &names, &near);
}

/// Puts every question of every row into its family and gives the rows their adjusted p-values; `family_of` is
/// told a row's place, and says `None` of what is not asked.
pub(super) fn answer(
    rows: &mut [Shift],
    mut families: Vec<Family>,
    family_of: impl Fn(usize, &Shift, Question) -> Option<usize>,
) {
    let mut asked: Vec<Vec<(usize, Question)>> = vec![Vec::new(); families.len()];
    for (i, row) in rows.iter().enumerate() {
        for (question, p) in row.questions() {
            if let Some(family) = family_of(i, row, question) {
                families[family].p_values.push(p);
                asked[family].push((i, question));
            }
        }
    }
    for (family, p_values) in asked.iter().zip(graph_adjusted(&families)) {
        for ((row, question), p) in family.iter().zip(p_values) {
            *rows[*row].adjusted(*question) = Some(p);
        }
    }
}

/// The family of a question; `None` where it is the same as that of all near cameras together.
fn rank(row: &Shift, question: Question, about: Kind, near: usize) -> Option<Rank> {
    match (row.role, row.camera, row.kind == about) {
        (Role::Near, Some(_), _) if near == 1 => None,
        (Role::Near, None, true) => Some(match question {
            Question::LightVisits => Rank::Light,
            _ => Rank::Share,
        }),
        (Role::Near, Some(_), true) => Some(Rank::Cameras),
        (Role::Near, _, false) => Some(Rank::Kinds),
        (Role::Control, ..) => Some(Rank::Controls),
    }
}

fn near_cameras(rows: &[Shift], disturbance: &str, kind: Kind) -> usize {
    let near = |r: &&Shift| {
        r.disturbance == disturbance && r.kind == kind && r.role == Role::Near && r.camera.is_some()
    };
    rows.iter().filter(near).count()
}

/// Empty families, with their allowances and heirs; `near` holds how many cameras are near each disturbance.
fn families(near: &[usize]) -> Vec<Family> {
    let events = near.len() as f64;
    let mut all = Vec::new();
    for (event, near) in near.iter().enumerate() {
        let of = |rank: Rank| event * RANKS.len() + rank as usize;
        let others = (0..events as usize).filter(|e| *e != event);
        let next = |part: f64| -> Vec<(usize, f64)> {
            let each = part / (events - 1.0);
            let first = |e: usize| {
                [(Rank::Light, OF_LIGHT), (Rank::Share, 1.0 - OF_LIGHT)]
                    .map(|(rank, part)| (e * RANKS.len() + rank as usize, each * part))
            };
            others.clone().flat_map(first).collect()
        };
        let onward = |other: Rank| -> Vec<(usize, f64)> {
            let mut heirs = vec![(of(other), 1.0 - VANISHING)];
            match (*near, events > 1.0) {
                // One near camera is all of them: there is nothing to ask of each.
                (1, true) => heirs.extend(next(VANISHING)),
                (_, true) => {
                    heirs.push((of(Rank::Cameras), VANISHING / 2.0));
                    heirs.extend(next(VANISHING / 2.0));
                }
                _ => heirs.push((of(Rank::Cameras), VANISHING)),
            }
            heirs
        };
        for rank in RANKS {
            let (weight, heirs) = match rank {
                Rank::Light => ((1.0 - KEPT) * OF_LIGHT / events, onward(Rank::Share)),
                Rank::Share => ((1.0 - KEPT) * (1.0 - OF_LIGHT) / events, onward(Rank::Light)),
                Rank::Cameras => (0.0, vec![(of(Rank::Kinds), 1.0)]),
                Rank::Kinds => (KEPT / events, vec![(of(Rank::Controls), 1.0)]),
                Rank::Controls => (0.0, next(1.0)),
            };
            all.push(Family { p_values: Vec::new(), weight, heirs });
        }
    }
    all
}

/// Where one camera is near, its row asks what the row of all near cameras asks, and has its answer.
fn alike(rows: &mut [Shift], names: &[String], near: &[usize]) {
    for (name, _) in names.iter().zip(near).filter(|(_, near)| **near == 1) {
        for kind in Kind::ALL {
            let of = |r: &Shift| r.disturbance == *name && r.kind == kind && r.role == Role::Near;
            let together = rows.iter().find(|r| of(r) && r.camera.is_none());
            let answers = together.map(|r| (r.light_p_adjusted, r.p_adjusted));
            let alone = rows.iter_mut().find(|r| of(r) && r.camera.is_some());
            if let (Some((light, share)), Some(row)) = (answers, alone) {
                (row.light_p_adjusted, row.p_adjusted) = (light, share);
            }
        }
    }
}
