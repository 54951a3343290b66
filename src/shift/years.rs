//! This season against earlier ones, camera by camera, over the days of the year on which a camera worked in
//! both.

use rayon::prelude::*;

use super::compare::Compared;
use super::gate::{self, KEPT};
use super::quiet::Quiet;
use super::roles::Logged;
use super::window::Windows;
use super::{Plan, Role, Shift, verdict};
use crate::measure::Family;
use crate::visits::{DeerYear, Kind, Season};

/// The newest season beside an earlier one, at one camera or over the whole property.
#[derive(Debug, Clone)]
pub struct YearRow {
    /// The earlier season.
    pub with: DeerYear,
    /// The comparison: before is the earlier season, after the newest. The other cameras are the controls, so
    /// that the whole property's row has none.
    pub shift: Shift,
}

/// Every earlier season beside the newest, the last before it first; empty with one season. What the row of a
/// disturbance asks already, of the same camera and seasons, has its answers.
pub(super) fn years(
    season: &Season,
    log: &[Logged],
    plans: &[Plan],
    events: &[Shift],
) -> Vec<YearRow> {
    let Some((newest, earlier)) = season.years.split_last() else {
        return Vec::new();
    };
    let roles = vec![Role::Control; season.cameras.len()];
    let of_year = |year: &DeerYear| -> Vec<(DeerYear, Shift)> {
        let Some(windows) = windows(season, *year, *newest) else {
            return Vec::new();
        };
        let quiet = Quiet::of(season, &windows, &roles, log);
        let rows = |kind| {
            let compared = Compared::of(season, &windows, kind, &roles, log, &quiet);
            compared.rows_of_seasons()
        };
        let rows = Kind::ALL.into_iter().flat_map(rows);
        rows.map(|row| (*year, row)).collect()
    };
    let all: Vec<Vec<(DeerYear, Shift)>> = earlier.par_iter().rev().map(of_year).collect();
    let (with, mut rows): (Vec<DeerYear>, Vec<Shift>) = all.into_iter().flatten().unzip();
    adjust(season, &with, &mut rows);
    verdict::judge(&mut rows);
    for (row, with) in rows.iter_mut().zip(&with) {
        if let Some(event) = asked_already(season, row, *with, plans, events) {
            refer(row, event);
        }
    }
    let rows = with.into_iter().zip(rows);
    rows.map(|(with, shift)| YearRow { with, shift }).collect()
}

/// The row of a disturbance that lies between the two seasons of a row, for the same camera and kind.
fn asked_already<'a>(
    season: &Season,
    row: &Shift,
    with: DeerYear,
    plans: &[Plan],
    events: &'a [Shift],
) -> Option<&'a Shift> {
    let newest = season.newest()?;
    let is_between = |id: &str| {
        let plan = plans.iter().find(|p| p.disturbance == id);
        plan.is_some_and(|p| {
            p.windows.years_apart.is_some()
                && with.contains(p.windows.before.0)
                && newest.contains(p.windows.after.0)
        })
    };
    let same = |e: &Shift| e.camera.is_some() && e.camera == row.camera && e.kind == row.kind;
    events.iter().find(|e| same(e) && is_between(&e.disturbance))
}

/// One fact has one verdict.
fn refer(row: &mut Shift, event: &Shift) {
    *row = Shift {
        disturbance: String::new(),
        role: row.role,
        before: row.before.clone(),
        after: row.after.clone(),
        days: row.days,
        same_as: Some(event.disturbance.clone()),
        timing: None,
        onset: None,
        placebo: None,
        rests_on: None,
        ..event.clone()
    };
}

/// The days of the year on which any camera worked in both seasons, from the first to the last.
fn windows(season: &Season, earlier: DeerYear, newest: DeerYear) -> Option<Windows> {
    let span = |year| season.span_of(year);
    Windows::of_seasons(span(earlier)?, span(newest)?, newest.years_after(earlier))
}

/// First the deer that the seasons are about, this season against the last; then against older ones; then the
/// other kinds, for which a twentieth of the allowance is kept.
fn adjust(season: &Season, with: &[DeerYear], rows: &mut [Shift]) {
    let Some(last) = with.first() else { return };
    let about = season.about.kind;
    let families = [(1.0 - KEPT, Some(1)), (0.0, Some(2)), (KEPT, None)]
        .into_iter()
        .map(|(weight, heir)| Family {
            p_values: Vec::new(),
            weight,
            heirs: heir.map(|heir| (heir, 1.0)).into_iter().collect(),
        })
        .collect();
    gate::answer(rows, families, |i, row, _| {
        Some(match (row.kind == about, with[i] == *last) {
            (true, true) => 0,
            (true, false) => 1,
            (false, _) => 2,
        })
    });
}

impl YearRow {
    /// Whether something clearly differs.
    pub fn is_clear(&self) -> bool {
        self.shift.is_clear()
    }
}
