//! Names and dates in the person's tables that fit nothing else: usually a slip of the pen, and one
//! that would otherwise go unseen.

use chrono::NaiveDate;

use crate::property::{Problem, Property, same_name};
use crate::visits::{Camera, Season};

/// What looks like a slip.
pub(super) fn check(property: &Property, season: &Season, today: NaiveDate) -> Vec<Problem> {
    let silent = |c: &Camera| c.effort.dates.is_empty();
    let known = |name: &str| season.cameras.iter().any(|c| same_name(&c.name, name));
    let mut problems = Vec::new();
    for camera in season.cameras.iter().filter(|c| silent(c)) {
        let what = format!("{} has no picture or sighting with a time.", camera.name);
        problems.push(match camera.placements.is_empty() {
            true => Problem::file(
                &format!("cards/{}", camera.name),
                what,
                "See what is said of its pictures.",
            ),
            false => Problem::file(
                "cameras.csv",
                what,
                "Check that its name is that of its folder, or remove the row.",
            ),
        });
    }
    for disturbance in property
        .disturbances
        .iter()
        .filter(|d| d.start.date() > today)
    {
        problems.push(Problem::file(
            "disturbances.csv",
            format!(
                "{} begins on {}, which has not come yet, so there is nothing after it.",
                disturbance.id,
                disturbance.start.date()
            ),
            "Check the year.",
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
    let within = |date: &&NaiveDate| camera.placements.iter().any(|p| p.covers(**date));
    camera.effort.nights() - camera.effort.dates.iter().filter(within).count()
}
