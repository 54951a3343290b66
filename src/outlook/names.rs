//! Names in the person's tables that mean nothing elsewhere.

use chrono::NaiveDate;

use crate::property::{Cause, Problem, Property, same_name};
use crate::visits::Season;

pub(super) fn check(property: &Property, season: &Season) -> Vec<Problem> {
    let mut problems = Vec::new();
    let last = season.span().map_or(NaiveDate::MIN, |(_, last)| last);
    let has_worked = |c: usize| !season.cameras[c].effort.dates.is_empty();
    let known = |name: &str| season.cameras.iter().any(|c| same_name(&c.name, name));
    let mut listed = |file: &str, (line, column): (u64, &str), of: &str, cameras: &[String]| {
        for camera in cameras.iter().filter(|c| !known(c)) {
            let (camera, of) = (camera.clone(), of.to_owned());
            problems.push(Problem::cell(file, line, column, Cause::UnknownCamera { camera, of }));
        }
    };
    for stand in &property.stands {
        listed("stands.csv", (stand.line, "near"), &stand.name, &stand.near);
    }
    for ground in &property.grounds {
        listed("grounds.csv", (ground.line, "feeds"), &ground.name, &ground.feeds);
    }
    for question in &property.questions {
        let of = format!("the question of {}", question.asked);
        listed("questions.csv", (question.line, "near"), &of, &question.near);
    }
    for stand in &property.stands {
        if !season.watching(stand, last).into_iter().any(has_worked) && !season.cameras.is_empty() {
            let (line, stand) = (stand.line, stand.name.clone());
            problems.push(Problem::cell(
                "stands.csv",
                line,
                "near",
                Cause::StandUnwatched { stand },
            ));
        }
    }
    let mut unknown: Vec<&str> = Vec::new();
    for sit in &property.sits {
        let is_known = property.stands.iter().any(|s| same_name(&s.name, &sit.stand));
        if !is_known && !unknown.iter().any(|u| same_name(u, &sit.stand)) {
            unknown.push(&sit.stand);
            let stand = sit.stand.clone();
            problems.push(Problem::cell(
                "sits.csv",
                sit.line,
                "stand",
                Cause::UnknownStand { stand },
            ));
        }
    }
    problems
}
