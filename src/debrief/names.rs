//! Names and dates in the person's tables that fit nothing else: usually a slip of the pen, and one
//! that would otherwise go unseen.

use chrono::NaiveDate;

use crate::property::{Cause, Problem, Property, same_name};
use crate::visits::{Camera, Season};

/// What looks like a slip.
pub(super) fn check(property: &Property, season: &Season, today: NaiveDate) -> Vec<Problem> {
    let silent = |c: &Camera| c.effort.dates.is_empty();
    let known = |name: &str| season.cameras.iter().any(|c| same_name(&c.name, name));
    let mut problems = Vec::new();
    for of_season in season.cameras.iter().filter(|c| silent(c)) {
        let camera = of_season.name.clone();
        problems.push(match of_season.placements.is_empty() {
            true => Problem::file(&format!("cards/{camera}"), Cause::SilentFolder { camera }),
            false => Problem::file("cameras.csv", Cause::SilentPlacement { camera }),
        });
    }
    for disturbance in property.disturbances.iter().filter(|d| d.start.date() > today) {
        problems.push(Problem::file(
            "disturbances.csv",
            Cause::FutureDisturbance {
                id: disturbance.id.clone(),
                start: disturbance.start.date(),
            },
        ));
    }
    for correction in property.corrections.iter().filter(|c| !known(&c.camera)) {
        problems.push(Problem::file(
            "clocks.csv",
            Cause::NothingToCorrect { camera: correction.camera.clone() },
        ));
    }
    for camera in &season.cameras {
        let days = dates_outside(camera);
        if days > 0 {
            problems.push(Problem::file(
                "cameras.csv",
                Cause::OutsideDates { camera: camera.name.clone(), days },
            ));
        }
    }
    problems
}

fn dates_outside(camera: &Camera) -> usize {
    if camera.placements.is_empty() {
        return 0;
    }
    let within = |date: &&NaiveDate| camera.placements.iter().any(|p| p.covers(**date));
    camera.effort.nights() - camera.effort.dates.iter().filter(within).count()
}
