//! Cameras that saw the same weeks of different years: either they hung in different years, or one clock
//! has a wrong year. The light is the same every year, so only the person knows.

use anyhow::Result;
use chrono::{Datelike, NaiveDate};

use crate::clock::Timeline;
use crate::property::{AtWork, Cause, Placement, Problem, Property, same_name};
use crate::pull::Catalogue;

/// A camera's dates, and whether something beside its clock speaks for them.
struct Dates {
    camera: String,
    first: NaiveDate,
    last: NaiveDate,
    witnessed: bool,
}

/// Says which cameras disagree about the year and cannot be told from each other.
///
/// # Errors
/// When the timeline lacks one of its columns.
pub fn disagreements(property: &Property, timeline: &Timeline) -> Result<Vec<Problem>> {
    let mut cameras = dates(timeline)?;
    let disagree = |one: &Dates| cameras.iter().any(|o| years_between(one, o).is_some());
    if !cameras.iter().any(disagree) {
        return Ok(Vec::new());
    }
    find_witnesses(property, &mut cameras);
    let mut told: Vec<(usize, usize)> = Vec::new();
    for (i, one) in cameras.iter().enumerate().filter(|(_, c)| !c.witnessed) {
        let others = cameras.iter().enumerate().filter(|(j, other)| {
            *j != i && years_between(one, other).is_some() && !told.contains(&(*j, i))
        });
        // A camera whose dates are known says more than one whose dates are not.
        let other = others.min_by_key(|(_, c)| (!c.witnessed, c.first));
        if let Some((j, _)) = other
            && !told.iter().any(|(a, b)| *a == i || *b == i)
        {
            told.push((i, j));
        }
    }
    let problem = |(i, j): &(usize, usize)| problem(&cameras[*i], &cameras[*j]);
    Ok(told.iter().map(problem).collect())
}

/// The cameras that have pictures, by name.
fn dates(timeline: &Timeline) -> Result<Vec<Dates>> {
    let names = timeline.cameras.names().iter().zip(timeline.spans()?);
    let camera = |(camera, span): (&String, Option<(NaiveDate, NaiveDate)>)| {
        let (first, last) = span?;
        Some(Dates { camera: camera.clone(), first, last, witnessed: false })
    };
    let mut dates: Vec<Dates> = names.filter_map(camera).collect();
    dates.sort_by(|a, b| a.camera.cmp(&b.camera));
    Ok(dates)
}

/// What beside a camera's clock speaks for its dates.
fn find_witnesses(property: &Property, cameras: &mut [Dates]) {
    let catalogue = Catalogue::read(property);
    for camera in cameras {
        let is_dated = |p: &Placement| p.from.is_some() || p.until.is_some();
        camera.witnessed = property.placements_of(&camera.camera).any(is_dated)
            || was_pulled_soon(&catalogue, camera);
    }
}

/// Whether a pull brought the camera's last picture within weeks of its date.
fn was_pulled_soon(catalogue: &Catalogue, camera: &Dates) -> bool {
    const SOON_DAYS: i64 = 60;
    let pulled = catalogue
        .files
        .iter()
        .filter(|f| same_name(&f.camera, &camera.camera))
        .filter_map(|f| crate::pull::pulled_at(&f.pull))
        .map(|t| t.date())
        .min_by_key(|d| (*d - camera.last).num_days().abs());
    pulled.is_some_and(|d| (0..=SOON_DAYS).contains(&(d - camera.last).num_days()))
}

/// Whole years between two cameras that share no day and, with these years taken off, share most of the
/// shorter one's weeks.
fn years_between(a: &Dates, b: &Dates) -> Option<i32> {
    let (early, late) = if a.first <= b.first { (a, b) } else { (b, a) };
    if early.last >= late.first {
        return None;
    }
    let shorter = (early.last - early.first).min(late.last - late.first).num_days() + 1;
    (1..=late.first.year() - early.first.year() + 1).find(|years| {
        let moved = |d: NaiveDate| d.checked_add_months(chrono::Months::new(12 * *years as u32));
        let (Some(first), Some(last)) = (moved(early.first), moved(early.last)) else {
            return false;
        };
        let shared = (last.min(late.last) - first.max(late.first)).num_days() + 1;
        shared * 2 >= shorter
    })
}

fn problem(one: &Dates, other: &Dates) -> Problem {
    let at_work =
        |d: &Dates| Box::new(AtWork { camera: d.camera.clone(), first: d.first, last: d.last });
    Problem::file(
        &format!("cards/{}", one.camera),
        Cause::YearsApart {
            one: at_work(one),
            other: at_work(other),
            years: years_between(one, other).unwrap_or(1),
            is_witnessed: other.witnessed,
        },
    )
}
