//! What is in doubt: days whose clock is wrong and not settled yet, and cameras that seem to have moved.

use crate::card::CameraTime;
use crate::clock::Clocks;
use crate::property::{Problem, Property, same_name};
use crate::trust::{CameraClock, ViewChange};
use crate::visits::Season;

pub(super) fn mark(season: &mut Season, property: &Property, clocks: &[CameraClock]) {
    let read = Clocks::of(property);
    for finding in clocks.iter().flat_map(|c| &c.findings) {
        let date = |t| read.local(&finding.camera, CameraTime::new(t), None).date();
        let days = (date(finding.from), date(finding.until));
        let camera = season
            .cameras
            .iter_mut()
            .find(|c| same_name(&c.name, &finding.camera));
        if let Some(camera) = camera {
            camera.clock_in_doubt.push(days);
        }
    }
}

/// A view that has changed, and the row that would say so.
pub(super) fn moved(change: &ViewChange) -> Problem {
    let ViewChange {
        camera,
        before,
        after,
        ..
    } = change;
    Problem::file(
        "cameras.csv",
        format!(
            "{camera} seems to look at something else since {}: compare {} of {} with {}. A comparison across that day would compare two places.",
            after.1, before.0, before.1, after.0
        ),
        format!(
            "If it was moved or turned, end its row with until {} and give it a new one from {} with another place or setting.",
            before.1, after.1
        ),
    )
}
