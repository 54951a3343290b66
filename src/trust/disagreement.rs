//! Cameras that saw the same weeks of different years: either they hung in different years, or one clock
//! has a wrong year. The light is the same every year, so only the person knows.

use chrono::{Datelike, NaiveDate};

use super::read_dates;
use crate::card::Crawl;
use crate::property::{Placement, Problem, Property, same_name};
use crate::pull::Catalogue;

/// A camera's dates, and whether something beside its clock speaks for them.
struct Dates {
    camera: String,
    first: NaiveDate,
    last: NaiveDate,
    witnessed: bool,
}

/// Says which cameras disagree about the year and cannot be told from each other.
pub fn disagreements(property: &Property, crawl: &Crawl) -> Vec<Problem> {
    let cameras = dates(property, crawl);
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
    told.iter()
        .map(|(i, j)| problem(&cameras[*i], &cameras[*j]))
        .collect()
}

fn dates(property: &Property, crawl: &Crawl) -> Vec<Dates> {
    let catalogue = Catalogue::read(property);
    let mut cameras: Vec<Dates> = Vec::new();
    for picture in &crawl.pictures {
        let Ok(stamp) = &picture.time else { continue };
        let shown = stamp.time.shown();
        let (date, _) = read_dates(property, &picture.camera, shown, shown);
        match cameras
            .iter_mut()
            .find(|c| same_name(&c.camera, &picture.camera))
        {
            Some(camera) => {
                camera.first = camera.first.min(date);
                camera.last = camera.last.max(date);
            }
            None => cameras.push(Dates {
                camera: picture.camera.clone(),
                first: date,
                last: date,
                witnessed: false,
            }),
        }
    }
    for camera in &mut cameras {
        let is_dated = |p: &Placement| p.from.is_some() || p.until.is_some();
        camera.witnessed = property.placements_of(&camera.camera).any(is_dated)
            || was_pulled_soon(&catalogue, camera);
    }
    cameras
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
    let shorter = (early.last - early.first)
        .min(late.last - late.first)
        .num_days()
        + 1;
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
    let years = years_between(one, other).unwrap_or(1);
    let span = |d: &Dates| format!("{} to {}", d.first, d.last);
    let apart = if years == 1 { "one year" } else { "some years" };
    let which = match other.witnessed {
        true => format!(
            "nothing but its clock speaks for the year of {}",
            one.camera
        ),
        false => "nothing says which of the two is right".to_owned(),
    };
    Problem::file(
        &format!("cards/{}", one.camera),
        format!(
            "{} and {} were never at work together: {} against {}, the same weeks {apart} apart, and {which}.",
            one.camera,
            other.camera,
            span(one),
            span(other)
        ),
        "If they hung at the same time, one clock has a wrong year: write from and until of both in cameras.csv, and graylight clock says which. If they did not, write that.",
    )
}
