//! Observations as sightings, each counted once.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, FixedOffset};

use super::faults::Faults;
use super::kinds::{Kinds, Meaning, tag};
use super::places::Deployment;
use super::source::{Row, Rows};
use crate::exchange::schema;
use crate::tags::Who;

/// A row of `sightings.csv`.
pub(super) struct Sighting {
    pub camera: String,
    pub at: DateTime<FixedOffset>,
    pub who: Who,
    pub count: String,
    pub age: String,
    pub name: String,
    pub note: String,
    id: String,
}

/// What came of the observations.
#[derive(Default)]
pub(super) struct Seen {
    pub sightings: Vec<Sighting>,
    /// Those of deployments whose times are known to be wrong.
    pub doubtful: Vec<Sighting>,
    /// Why rows are not among them, and how many.
    pub left_out: BTreeMap<String, usize>,
    /// What was understood only in part, and how many rows.
    pub in_part: BTreeMap<String, usize>,
}

/// A picture, as far as it matters here.
struct Medium<'a> {
    deployment: &'a str,
    at: DateTime<FixedOffset>,
    is_time_lapse: bool,
}

/// What pictures say of the events they belong to.
#[derive(Default)]
struct Told<'a> {
    events: HashMap<(&'a str, &'a str), ()>,
    moments: HashMap<&'a str, Vec<DateTime<FixedOffset>>>,
}

pub(super) fn read(
    deployments: &[Deployment],
    media: &Rows,
    observations: &Rows,
    kinds: &Kinds,
    faults: &mut Faults,
) -> Seen {
    let places: HashMap<&str, &Deployment> = deployments.iter().map(|d| (d.id, d)).collect();
    let media = read_media(&places, media, faults);
    let mut told = Told::default();
    let mut seen = Seen::default();
    let (of_pictures, of_events): (Vec<Row>, Vec<Row>) = observations
        .iter()
        .partition(|r| r.get("observationLevel") != "event");
    for row in of_pictures {
        let Some((deployment, medium)) = belongs(&places, &media, &row, faults) else {
            continue;
        };
        if medium.is_some_and(|m| m.is_time_lapse) {
            seen.leave_out("pictures taken by the clock (time-lapse) are no triggers");
            continue;
        }
        let at = medium
            .map(|m| m.at)
            .or_else(|| schema::moment(row.get("eventStart")));
        let Some(at) = at else { continue };
        if seen.add(deployment, &row, at, kinds) {
            told.learn(deployment.id, &row, at);
        }
    }
    for moments in told.moments.values_mut() {
        moments.sort_unstable();
    }
    for row in of_events {
        let Some((deployment, _)) = belongs(&places, &media, &row, faults) else {
            continue;
        };
        let (start, end) = (
            schema::moment(row.get("eventStart")),
            schema::moment(row.get("eventEnd")),
        );
        let (Some(start), Some(end)) = (start, end) else {
            continue;
        };
        if end < start {
            faults.add(row.file(), row.line, "eventEnd", "is before eventStart");
        } else if told.knows(deployment.id, row.get("eventID"), (start, end)) {
            seen.leave_out(
                "observations of whole events whose pictures have observations of their own",
            );
        } else {
            seen.add(deployment, &row, start, kinds);
        }
    }
    seen.sightings
        .sort_by(|a, b| (&a.camera, a.at, &a.id).cmp(&(&b.camera, b.at, &b.id)));
    seen
}

fn read_media<'a>(
    places: &HashMap<&str, &Deployment>,
    rows: &'a Rows,
    faults: &mut Faults,
) -> HashMap<&'a str, Medium<'a>> {
    let mut media = HashMap::new();
    for row in rows.iter() {
        let deployment = row.get("deploymentID");
        if !places.contains_key(deployment) {
            let words = format!("\"{deployment}\" is no deployment of this package");
            faults.add(row.file(), row.line, "deploymentID", &words);
        }
        if let Some(at) = schema::moment(row.get("timestamp")) {
            let is_time_lapse = row.get("captureMethod") == "timeLapse";
            media.insert(
                row.get("mediaID"),
                Medium {
                    deployment,
                    at,
                    is_time_lapse,
                },
            );
        }
    }
    media
}

/// The deployment and the picture that an observation names.
fn belongs<'a, 'b>(
    places: &HashMap<&str, &'a Deployment<'a>>,
    media: &'b HashMap<&str, Medium>,
    row: &Row,
    faults: &mut Faults,
) -> Option<(&'a Deployment<'a>, Option<&'b Medium<'b>>)> {
    let (deployment, medium) = (row.get("deploymentID"), row.get("mediaID"));
    let Some(place) = places.get(deployment) else {
        let words = format!("\"{deployment}\" is no deployment of this package");
        faults.add(row.file(), row.line, "deploymentID", &words);
        return None;
    };
    if medium.is_empty() {
        return Some((place, None));
    }
    let Some(found) = media.get(medium) else {
        faults.add(
            row.file(),
            row.line,
            "mediaID",
            &format!("\"{medium}\" is none of this package's media"),
        );
        return None;
    };
    if found.deployment != deployment {
        let words = format!(
            "\"{medium}\" belongs to the deployment \"{}\"",
            found.deployment
        );
        faults.add(row.file(), row.line, "mediaID", &words);
    }
    Some((place, Some(found)))
}

impl<'a> Told<'a> {
    fn learn(&mut self, deployment: &'a str, row: &Row<'a>, at: DateTime<FixedOffset>) {
        let event = row.get("eventID");
        if !event.is_empty() {
            self.events.insert((deployment, event), ());
        }
        self.moments.entry(deployment).or_default().push(at);
    }

    fn knows(
        &self,
        deployment: &str,
        event: &str,
        (start, end): (DateTime<FixedOffset>, DateTime<FixedOffset>),
    ) -> bool {
        if !event.is_empty() && self.events.contains_key(&(deployment, event)) {
            return true;
        }
        let moments = self.moments.get(deployment).map_or(&[][..], Vec::as_slice);
        let first = moments.partition_point(|m| *m < start);
        moments.get(first).is_some_and(|m| *m <= end)
    }
}

impl Seen {
    fn leave_out(&mut self, why: &str) {
        *self.left_out.entry(why.to_owned()).or_insert(0) += 1;
    }

    /// Whether the row says anything.
    fn add(
        &mut self,
        deployment: &Deployment,
        row: &Row,
        at: DateTime<FixedOffset>,
        kinds: &Kinds,
    ) -> bool {
        let (who, word) = match kinds.of(row) {
            Meaning::Seen { who, word } => (who, word),
            Meaning::NotTold(why) => {
                self.leave_out(why);
                return false;
            }
        };
        let age = tag(row, "age:").unwrap_or("").to_owned();
        self.note_parts(row, who, &age);
        let notes = [word.as_str(), row.get("observationComments")];
        let notes: Vec<&str> = notes.into_iter().filter(|n| !n.is_empty()).collect();
        let sighting = Sighting {
            camera: deployment.camera.clone(),
            at,
            who,
            count: row.get("count").to_owned(),
            age,
            name: row.get("individualID").to_owned(),
            note: notes.join("; "),
            id: row.get("observationID").to_owned(),
        };
        match deployment.is_doubtful {
            true => self.doubtful.push(sighting),
            false => self.sightings.push(sighting),
        }
        true
    }

    fn note_parts(&mut self, row: &Row, who: Who, age: &str) {
        let mut note = |what: &str| *self.in_part.entry(what.to_owned()).or_insert(0) += 1;
        match (who, row.get("lifeStage"), row.get("sex")) {
            (Who::Fawn, _, sex) if !sex.is_empty() => note("fawns with a sex: they are fawns here"),
            (Who::Buck, stage, _) if !stage.is_empty() && age.is_empty() => {
                note(
                    "bucks with a life stage and no age in years: they are bucks here, and none is mature",
                );
            }
            (Who::Other, _, _) => {
                note("animals that are no deer: \"other\" here, with their name as the note")
            }
            _ => {}
        }
    }
}
