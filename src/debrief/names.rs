//! Names and dates in the person's tables that fit nothing else: usually a slip of the pen, and one
//! that would otherwise go unseen.

use crate::property::{Problem, Property, same_name};
use crate::visits::{Camera, Season};

/// What looks like a slip.
pub(super) fn check(property: &Property, season: &Season) -> Vec<Problem> {
    let silent = |c: &Camera| c.effort.dates.is_empty();
    let known = |name: &str| season.cameras.iter().any(|c| same_name(&c.name, name));
    let mut problems = Vec::new();
    for camera in season.cameras.iter().filter(|c| silent(c)) {
        problems.push(Problem::file(
            "cameras.csv",
            format!("{} has no picture or sighting with a time.", camera.name),
            "Check that its name is that of its folder, or remove the row.",
        ));
    }
    for correction in property.corrections.iter().filter(|c| !known(&c.camera)) {
        problems.push(Problem::file(
            "clocks.csv",
            format!(
                "there is no camera \"{}\", so its row corrects nothing.",
                correction.camera
            ),
            "Write the camera's name as its folder has it.",
        ));
    }
    for camera in &season.cameras {
        let outside = dates_outside(camera);
        if outside > 0 {
            problems.push(Problem::file(
                "cameras.csv",
                format!(
                    "{} has pictures or sightings on {outside} days outside its dates.",
                    camera.name
                ),
                "Check from and until, or the camera's clock.",
            ));
        }
    }
    problems
}

fn dates_outside(camera: &Camera) -> usize {
    if camera.placements.is_empty() {
        return 0;
    }
    let within = |date: &&chrono::NaiveDate| camera.placements.iter().any(|p| p.covers(**date));
    camera.effort.nights() - camera.effort.dates.iter().filter(within).count()
}
