//! This season against earlier ones, camera by camera, over the days of the year on which a camera worked in
//! both.

use rayon::prelude::*;

use super::compare::Compared;
use super::gate::{self, KEPT};
use super::quiet::Quiet;
use super::roles::Logged;
use super::window::Windows;
use super::{Role, Shift, verdict};
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

/// Every earlier season beside the newest, the last before it first; empty with one season.
pub(super) fn years(season: &Season, log: &[Logged]) -> Vec<YearRow> {
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
    let rows = with.into_iter().zip(rows);
    rows.map(|(with, shift)| YearRow { with, shift }).collect()
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
