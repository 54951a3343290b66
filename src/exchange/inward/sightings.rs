//! Observations as sightings, each counted once.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::{DateTime, FixedOffset, TimeDelta};

use super::faults::Faults;
use super::kinds::{Kinds, Meaning, tag};
use super::places::Deployment;
use super::source::{Row, Rows};
use crate::exchange::schema;
use crate::tags::{COUNT_MAX, Who};

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
    /// Media of which no observation says who was there.
    pub unseen_media: usize,
}

/// A picture, as far as it matters here.
struct Medium<'a> {
    deployment: &'a str,
    at: DateTime<FixedOffset>,
    is_time_lapse: bool,
}

/// What pictures say: who was seen in each event and at each moment of a deployment, and which of its moments only
/// the clock has released.
#[derive(Default)]
struct Told {
    events: HashSet<(String, String, Said)>,
    moments: HashMap<(String, Said), Vec<DateTime<FixedOffset>>>,
}

/// Who, and the name of one that is none of ours.
type Said = (Who, String);

type Span = (DateTime<FixedOffset>, DateTime<FixedOffset>);

pub(super) fn read(
    deployments: &[Deployment],
    media: &Rows,
    observations: &Rows,
    kinds: &Kinds,
    gap: TimeDelta,
    faults: &mut Faults,
) -> Seen {
    let places: HashMap<&str, &Deployment> = deployments.iter().map(|d| (d.id, d)).collect();
    let media = read_media(&places, media, faults);
    let released = Released::of(&media);
    let mut told = Told::default();
    let mut seen = Seen::default();
    let mut spoken_of: HashSet<&str> = HashSet::new();
    let (of_pictures, of_events): (Vec<Row>, Vec<Row>) =
        observations.iter().partition(|r| r.get("observationLevel") != "event");
    for row in of_pictures {
        let Some((deployment, medium)) = belongs(&places, &media, &row, faults) else {
            continue;
        };
        let Some(medium) = medium else {
            faults.add(
                row.file(),
                row.line,
                "mediaID",
                "is empty, though the observation is of one picture (observationLevel media)",
            );
            continue;
        };
        span(&row, faults);
        if medium.is_time_lapse {
            seen.leave_out("pictures taken by the clock (time-lapse) are no triggers");
            spoken_of.insert(row.get("mediaID"));
            continue;
        }
        if let Some(said) = seen.add(deployment, &row, &[medium.at], kinds) {
            spoken_of.insert(row.get("mediaID"));
            told.learn(deployment.id, &row, said, medium.at);
        }
    }
    for moments in told.moments.values_mut() {
        moments.sort_unstable();
    }
    for row in of_events {
        let Some((deployment, _)) = belongs(&places, &media, &row, faults) else {
            continue;
        };
        let Some(span) = span(&row, faults) else {
            continue;
        };
        let said = match kinds.of(&row) {
            Meaning::Seen { who, word } => Some((who, word)),
            Meaning::NotTold(_) => None,
        };
        if said.is_some_and(|s| told.knows(deployment.id, row.get("eventID"), s, span)) {
            seen.leave_out("observations of whole events of which pictures say the same");
        } else if released.by_clock_alone(deployment.id, span) {
            seen.leave_out(
                "observations of events of which only the clock took pictures (time-lapse)",
            );
        } else {
            seen.add(deployment, &row, &moments_of(span, gap), kinds);
        }
    }
    seen.unseen_media = media.keys().filter(|m| !spoken_of.contains(*m)).count();
    seen.sightings.sort_by(|a, b| (&a.camera, a.at, &a.id).cmp(&(&b.camera, b.at, &b.id)));
    seen
}

/// Beginning and end of an event; an end before its beginning is a fault.
fn span(row: &Row, faults: &mut Faults) -> Option<Span> {
    let moment = |field: &str| schema::moment(row.get(field));
    let (start, end) = (moment("eventStart")?, moment("eventEnd")?);
    if end < start {
        faults.add(row.file(), row.line, "eventEnd", "is before eventStart");
        return None;
    }
    Some((start, end))
}

/// Moments of an event that make one visit of it: its beginning, its end, and so many between that no gap ends it.
fn moments_of((start, end): Span, gap: TimeDelta) -> Vec<DateTime<FixedOffset>> {
    const MOST: usize = 200;
    let step = gap.max(TimeDelta::minutes(1));
    let between = std::iter::successors(Some(start), |t| Some(*t + step));
    let mut moments: Vec<_> = between.take_while(|t| *t < end).take(MOST).collect();
    moments.push(end);
    moments
}

/// What released the camera, deployment by deployment.
struct Released<'a>(HashMap<&'a str, Vec<(DateTime<FixedOffset>, bool)>>);

impl<'a> Released<'a> {
    fn of(media: &HashMap<&str, Medium<'a>>) -> Self {
        let mut all: HashMap<&str, Vec<_>> = HashMap::new();
        for medium in media.values() {
            let moments = all.entry(medium.deployment).or_default();
            moments.push((medium.at, medium.is_time_lapse));
        }
        for moments in all.values_mut() {
            moments.sort_unstable();
        }
        Self(all)
    }

    /// Whether pictures were taken in a span, and all of them by the clock.
    fn by_clock_alone(&self, deployment: &str, (start, end): Span) -> bool {
        let all = self.0.get(deployment).map_or(&[][..], Vec::as_slice);
        let first = all.partition_point(|(t, _)| *t < start);
        let mut within = all[first..].iter().take_while(|(t, _)| *t <= end).peekable();
        within.peek().is_some() && within.all(|(_, by_clock)| *by_clock)
    }
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
            if let Some(place) = places.get(deployment) {
                place.check_offset(&row, "timestamp", at, faults);
            }
            let is_time_lapse = row.get("captureMethod") == "timeLapse";
            media.insert(row.get("mediaID"), Medium { deployment, at, is_time_lapse });
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
        let words = format!("\"{medium}\" belongs to the deployment \"{}\"", found.deployment);
        faults.add(row.file(), row.line, "mediaID", &words);
    }
    Some((place, Some(found)))
}

impl Told {
    fn learn(&mut self, deployment: &str, row: &Row, said: Said, at: DateTime<FixedOffset>) {
        let event = row.get("eventID");
        if !event.is_empty() {
            self.events.insert((deployment.to_owned(), event.to_owned(), said.clone()));
        }
        self.moments.entry((deployment.to_owned(), said)).or_default().push(at);
    }

    fn knows(&self, deployment: &str, event: &str, said: Said, (start, end): Span) -> bool {
        let of_event = (deployment.to_owned(), event.to_owned(), said);
        if !event.is_empty() && self.events.contains(&of_event) {
            return true;
        }
        let (deployment, _, said) = of_event;
        let moments = self.moments.get(&(deployment, said));
        let moments = moments.map_or(&[][..], Vec::as_slice);
        let first = moments.partition_point(|m| *m < start);
        moments.get(first).is_some_and(|m| *m <= end)
    }
}

impl Seen {
    fn leave_out(&mut self, why: &str) {
        *self.left_out.entry(why.to_owned()).or_insert(0) += 1;
    }

    /// Who was seen; `None` where the row does not tell.
    fn add(
        &mut self,
        deployment: &Deployment,
        row: &Row,
        moments: &[DateTime<FixedOffset>],
        kinds: &Kinds,
    ) -> Option<Said> {
        let (who, word) = match kinds.of(row) {
            Meaning::Seen { who, word } => (who, word),
            Meaning::NotTold(why) => {
                self.leave_out(why);
                return None;
            }
        };
        let age = tag(row, "age:").unwrap_or("").to_owned();
        self.note_parts(row, who, &word, &age);
        let notes = [word.as_str(), row.get("observationComments")];
        let notes: Vec<&str> = notes.into_iter().filter(|n| !n.is_empty()).collect();
        let mut count = row.get("count").to_owned();
        if count.parse().is_ok_and(|n: f64| n > COUNT_MAX) {
            count = COUNT_MAX.to_string();
            let why = format!("counts over {COUNT_MAX}: that many are taken in");
            *self.in_part.entry(why).or_insert(0) += 1;
        }
        for at in moments {
            let sighting = Sighting {
                camera: deployment.camera.clone(),
                at: *at,
                who,
                count: count.clone(),
                age: age.clone(),
                name: row.get("individualID").to_owned(),
                note: notes.join("; "),
                id: row.get("observationID").to_owned(),
            };
            match deployment.is_doubtful {
                true => self.doubtful.push(sighting),
                false => self.sightings.push(sighting),
            }
        }
        Some((who, word))
    }

    fn note_parts(&mut self, row: &Row, who: Who, word: &str, age: &str) {
        let mut note = |what: &str| *self.in_part.entry(what.to_owned()).or_insert(0) += 1;
        if !row.get("cameraSetupType").is_empty() {
            note(
                "observations of somebody at the camera for its sake (cameraSetupType): counted like the others",
            );
        }
        match (who, row.get("lifeStage"), row.get("sex")) {
            (Who::Fawn, _, sex) if !sex.is_empty() => note("fawns with a sex: they are fawns here"),
            (Who::Buck, stage, _) if !stage.is_empty() && age.is_empty() => {
                note(
                    "bucks with a life stage and no age in years: they are bucks here, and none is mature",
                );
            }
            (Who::Other, _, _) if !word.is_empty() => {
                note("animals that are no deer: \"other\" here, with their name as the note")
            }
            _ => {}
        }
    }
}
