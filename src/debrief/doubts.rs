//! What is in doubt: days whose clock is wrong and not settled yet, and cameras that seem to have moved.

use chrono::NaiveDate;

use crate::card::CameraTime;
use crate::clock::Clocks;
use crate::clock_check::{CameraClock, Finding};
use crate::property::{Cause, Problem, Property};
use crate::view_check::ViewChange;

/// Dates, by the clock as it is read now, whose times are in doubt.
pub(super) fn of_clocks(
    property: &Property,
    clocks: &[CameraClock],
) -> Vec<(String, (NaiveDate, NaiveDate))> {
    let read = Clocks::of(property);
    let dates = |finding: &Finding| {
        let clock = read.of_camera(&finding.camera);
        let date = |t| clock.local(CameraTime::new(t), None).date();
        (finding.camera.clone(), (date(finding.from), date(finding.until)))
    };
    clocks.iter().flat_map(|c| &c.findings).map(dates).collect()
}

/// A view that has changed, and the row that would say so.
pub(super) fn moved(change: &ViewChange) -> Problem {
    Problem::file(
        "cameras.csv",
        Cause::ViewChanged {
            camera: change.camera.clone(),
            before: Box::new(change.before.clone()),
            after: Box::new(change.after.clone()),
        },
    )
}
