//! A moment that is known for certain: a picture of a watch.

use anyhow::{Result, bail};
use chrono::NaiveDateTime;

use super::fault::{Fault, Finding};
use super::{minutes_between, shown_time};
use crate::card::Crawl;
use crate::property::same_name;

/// What a clock is off by when a picture shows the true time. The finding covers the pictures of the
/// same camera that its clock numbers without a jump around this one.
///
/// # Errors
/// When no picture, or more than one, has that name, or when it carries no time.
pub fn known_moment(crawl: &Crawl, name: &str, truth: NaiveDateTime) -> Result<Finding> {
    let name = name.replace('\\', "/");
    let named: Vec<_> = crawl
        .pictures
        .iter()
        .filter(|p| p.path == name || p.path.ends_with(&format!("/{name}")))
        .collect();
    let [picture] = named[..] else {
        bail!(
            "{} pictures are called \"{name}\". Write its path below the property, such as cards/Oak/IMG_0001.JPG.",
            named.len()
        );
    };
    let Some(shown) = shown_time(picture) else {
        bail!(
            "{} carries no time, so it cannot be set against {truth}.",
            picture.path
        );
    };
    let mut times: Vec<NaiveDateTime> = crawl
        .pictures
        .iter()
        .filter(|p| same_name(&p.camera, &picture.camera))
        .filter_map(|p| Some(shown_time(p)?.shown()))
        .collect();
    times.sort_unstable();
    // A clock that was set anew leaves a gap or a jump; within 30 days it is one clock.
    let near = |a: &NaiveDateTime, b: &NaiveDateTime| (*b - *a).num_days() <= 30;
    let stretch = times
        .chunk_by(near)
        .find(|c| c.contains(&shown.shown()))
        .unwrap_or(&times);
    let minutes = minutes_between(shown.shown(), truth);
    Ok(Finding {
        camera: picture.camera.clone(),
        from: stretch.first().copied().unwrap_or(shown.shown()),
        until: stretch.last().copied().unwrap_or(shown.shown()),
        fault: Fault::Known,
        shift_min: minutes,
        low_min: minutes,
        high_min: minutes,
        pictures: stretch.len(),
        evidence: format!("{} shows {truth}, and its clock says {shown}", picture.path),
        doubt: None,
        corrected: false,
    })
}
