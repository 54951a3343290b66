//! Marks the days whose times are in doubt, because a clock is wrong and not settled yet.

use crate::card::CameraTime;
use crate::clock::Clocks;
use crate::property::{Property, same_name};
use crate::trust::CameraClock;
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
