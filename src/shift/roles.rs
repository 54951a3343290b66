//! Which cameras a disturbance could touch, and which it should not.

use chrono::NaiveDate;

use super::pressure::FEWEST_TIMES;
use crate::property::{Cause, Disturbance, Problem, same_name};
use crate::visits::Season;

/// A camera's part in the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The disturbance could touch it.
    Near,
    /// The disturbance should not touch it.
    Control,
}

impl Role {
    /// The word in files and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Control => "control",
        }
    }
}

/// A disturbance and the part of every camera in it.
pub(super) struct Logged<'a> {
    pub disturbance: &'a Disturbance,
    pub roles: Vec<Role>,
}

impl Logged<'_> {
    /// Whether it began or ended, near a camera, on dates from one to another, both included.
    pub fn touches(&self, camera: usize, from: NaiveDate, until: NaiveDate) -> bool {
        let moments = [Some(self.disturbance.start), self.disturbance.end];
        self.roles[camera] == Role::Near
            && moments.into_iter().flatten().any(|moment| (from..=until).contains(&moment.date()))
    }
}

/// Every disturbance with the roles of all cameras.
pub(super) fn logged<'a>(
    season: &Season,
    disturbances: &'a [Disturbance],
    problems: &mut Vec<Problem>,
) -> Vec<Logged<'a>> {
    disturbances
        .iter()
        .map(|disturbance| Logged { disturbance, roles: roles(season, disturbance, problems) })
        .collect()
}

/// Sets apart what happened so often near one camera, under the same words and by the same, that it is one
/// exposure (`pressure`); the rest is looked at one by one. The same work at three places is three events.
pub(super) fn once<'a>(log: Vec<Logged<'a>>) -> Vec<Logged<'a>> {
    let is_repeated: Vec<bool> = log.iter().map(|l| is_repeated(l, &log)).collect();
    let both = log.into_iter().zip(is_repeated);
    both.filter(|(_, again)| !again).map(|(l, _)| l).collect()
}

/// Whether the like of it happened near one of its cameras at least three times.
pub(super) fn is_repeated(here: &Logged, log: &[Logged]) -> bool {
    let like = |l: &&Logged| {
        l.disturbance.what == here.disturbance.what && l.disturbance.by == here.disturbance.by
    };
    let at = |camera: usize| {
        let near = |l: &&Logged| l.roles[camera] == Role::Near;
        log.iter().filter(like).filter(near).count() >= FEWEST_TIMES
    };
    let near = (0..here.roles.len()).filter(|c| here.roles[*c] == Role::Near);
    !here.disturbance.what.is_empty() && near.into_iter().any(at)
}

/// The role of every camera of the season, in its order.
///
/// The person's list decides. Without one, cameras within the property's `near_m` of the
/// disturbance's place are near, and if none is, the nearest one. Without a place either, every
/// camera is near and there is nothing to compare with.
fn roles(season: &Season, disturbance: &Disturbance, problems: &mut Vec<Problem>) -> Vec<Role> {
    let listed = listed(season, disturbance, problems);
    let near: Vec<bool> = match (listed, disturbance.position) {
        (Some(listed), _) => listed,
        (None, Some(place)) => {
            let date = disturbance.first_day_after();
            let distances_m: Vec<f64> = season
                .cameras
                .iter()
                .map(|c| {
                    c.place_on(date).map_or_else(
                        || {
                            problems.push(unplaced(&c.name, disturbance));
                            f64::INFINITY
                        },
                        |p| p.distance_m(place),
                    )
                })
                .collect();
            let nearest_m = distances_m.iter().copied().fold(f64::INFINITY, f64::min);
            let reach_m = season.settings.near_m.max(nearest_m);
            distances_m.iter().map(|d| *d <= reach_m).collect()
        }
        (None, None) => vec![true; season.cameras.len()],
    };
    near.into_iter().map(|near| if near { Role::Near } else { Role::Control }).collect()
}

fn listed(
    season: &Season,
    disturbance: &Disturbance,
    problems: &mut Vec<Problem>,
) -> Option<Vec<bool>> {
    let known = |name: &String| season.cameras.iter().any(|c| same_name(&c.name, name));
    for name in disturbance.near.iter().filter(|n| !known(n)) {
        problems.push(Problem::file(
            "disturbances.csv",
            Cause::UnknownNear { id: disturbance.id.clone(), camera: name.clone() },
        ));
    }
    // A list of which nothing is known makes no camera near: to take them all would be a guess.
    (!disturbance.near.is_empty()).then(|| {
        season
            .cameras
            .iter()
            .map(|c| disturbance.near.iter().any(|n| same_name(n, &c.name)))
            .collect()
    })
}

fn unplaced(camera: &str, disturbance: &Disturbance) -> Problem {
    Problem::file(
        "cameras.csv",
        Cause::Unplaced { camera: camera.to_owned(), id: disturbance.id.clone() },
    )
}
