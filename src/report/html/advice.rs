//! What to do next, and what these pictures cannot say.

use super::contents::Part;
use super::said::{Said, Sure};
use super::{answer, summary};
use crate::debrief::Debrief;
use crate::measure::quantile;
use crate::report::words;
use crate::shift::{MOST_TIMES, Verdict};
use crate::visits::{Camera, Visit};

/// A camera that was silent for so many days is worth a word.
const SILENT_DAYS: usize = 7;

/// What would help most next season, in the order in which it helps.
pub(super) fn next(debrief: &Debrief) -> Said {
    let mut steps = Vec::new();
    steps.extend(clocks(debrief));
    steps.extend(tagging(debrief));
    steps.extend(where_to_sit(debrief));
    steps.extend(proof(debrief));
    steps.extend(never(debrief));
    steps.extend(silent(debrief));
    if steps.is_empty() {
        steps.push("Leave the cameras where they are and log what happens: the longer the same places are watched, the smaller the changes that can be shown.".to_owned());
    }
    let heart = steps[0].clone();
    Said {
        rest: steps[1..].join(" "),
        small: "Hours and seasons come from your local regulations: check them. Wear a harness on every stand above the ground, and tell somebody where you sit.".to_owned(),
        more: Some(format!("#{}", Part::Cautions.id())),
        ..Said::plain(Sure::Next, heart)
    }
}

fn clocks(debrief: &Debrief) -> Option<String> {
    let wrong = debrief.wrong_clocks().count();
    (wrong > 0).then(|| {
        format!(
            "Settle {} first: what is said of those cameras hangs on it.",
            words::counted(wrong, "clock fault")
        )
    })
}

fn tagging(debrief: &Debrief) -> Option<String> {
    let all = debrief.season.pictures_of(debrief.season.newest()?);
    if !all.are_tagged() {
        return Some(format!(
            "Tag the {} that have no tag yet: what is in them is not counted.",
            words::counted(all.untagged, "picture")
        ));
    }
    let about = debrief.season.about.kind;
    debrief.single_disturbances().find_map(|d| {
        let row = debrief.shifts.together(&d.id, about)?;
        let untagged = row.before.pictures.untagged + row.after.pictures.untagged;
        let waits = row.light_verdict == Verdict::NotTagged && untagged > 0;
        waits.then(|| {
            format!(
                "Tag what has no tag yet around \"{}\", {}: only that keeps it from an answer.",
                d.what,
                words::counted(untagged, "picture")
            )
        })
    })
}

/// The camera that leads now, and the minutes in which the middle half of its evenings came.
fn where_to_sit(debrief: &Debrief) -> Option<String> {
    let leader = debrief.leader?;
    let about = debrief.season.about.kind;
    let year = debrief.season.newest()?;
    let camera = &debrief.season.cameras[leader.camera];
    let visits = camera.visits_between(about, leader.since, year.last()).iter();
    let in_light = visits.filter(|v| v.counted);
    let (mornings, evenings): (Vec<&Visit>, Vec<&Visit>) = in_light.partition(|v| v.is_morning());
    let (half, of, n) = match evenings.len() >= mornings.len() {
        true => {
            let (a, b) = middle_half(evenings.iter().map(|v| v.before_sunset_min))?;
            (words::span_around_sunset(a, b), "evening", evenings.len())
        }
        false => {
            let (a, b) = middle_half(mornings.iter().map(|v| v.after_sunrise_min))?;
            (words::span_around_sunrise(a, b), "morning", mornings.len())
        }
    };
    let second = debrief.camera_name(Some(leader.second));
    let of_those = match summary::not_ranked(debrief).is_empty() {
        true => "",
        false => ", of the cameras that can be ranked,",
    };
    Some(format!(
        "{} come in light most often{of_those} at {}; of {} in light at {} half came {half}.",
        about.plural(),
        match (leader.is_level, leader.p_adjusted <= 0.05) {
            (true, _) => format!("{} and {second}", camera.name),
            (false, true) => camera.name.clone(),
            (false, false) => format!("{}, with {second} too close to call", camera.name),
        },
        words::counted(n, &format!("{of} visit")),
        camera.name
    ))
}

/// Fewer visits have no middle half.
const FEWEST: usize = 4;

fn middle_half(minutes: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let mut minutes: Vec<f64> = minutes.collect();
    minutes.sort_by(f64::total_cmp);
    let at = |part| quantile(&minutes, part);
    (minutes.len() >= FEWEST).then(|| Some((at(0.25)?, at(0.75)?)))?
}

/// What would have told about the first thing that could not be told.
fn proof(debrief: &Debrief) -> Option<String> {
    let about = debrief.season.about.kind;
    let open = debrief.single_disturbances().find_map(|d| {
        let row = debrief.shifts.together(&d.id, about)?;
        let is_open = !row.is_clear() && !row.light_stayed();
        (is_open && row.before.nights > 0).then_some((d, row))
    });
    let (disturbance, row) = open?;
    let near = answer::place(debrief, row);
    match (row.light_verdict, row.enough.map(|e| e.times_nights)) {
        (Verdict::NotTagged, _) => None,
        (Verdict::NoControl, _) if row.blocked.is_some() => Some(format!(
            "To tell about \"{}\" next time, keep two more cameras on the same sort of place, far from it.",
            disturbance.what
        )),
        (Verdict::NoControl, _) => Some(format!(
            "To tell about \"{}\" next time, keep at least three cameras at work far from it in the same weeks.",
            disturbance.what
        )),
        (_, Some(Some(times))) if times > 1.0 => Some(format!(
            "To find the loss of half of the visits at {near} takes about {:.0} times as many camera-nights: more cameras near it, or more weeks.",
            times.ceil()
        )),
        (_, Some(None)) => Some(format!(
            "At {near} even {MOST_TIMES:.0} times as many camera-nights would hardly show the loss of half of the visits; more cameras away from it, to compare with, would do more."
        )),
        _ => None,
    }
}

/// Cameras that fell silent in the newest season, the longest first.
fn silent(debrief: &Debrief) -> Option<String> {
    const NAMED: usize = 3;
    let year = debrief.season.newest()?;
    let days = |c: &Camera| -> usize {
        let of_year = c.effort.silences.iter().filter(|s| year.contains(s.from));
        of_year.map(|s| s.days()).sum()
    };
    let mut cameras: Vec<(usize, &str)> = debrief
        .season
        .cameras
        .iter()
        .map(|c| (days(c), c.name.as_str()))
        .filter(|(days, _)| *days >= SILENT_DAYS)
        .collect();
    cameras.sort_by_key(|(days, _)| std::cmp::Reverse(*days));
    let more = cameras.len().saturating_sub(NAMED);
    let mut named: Vec<String> = cameras
        .iter()
        .take(NAMED)
        .map(|(days, name)| format!("{name} ({})", words::counted(*days, "day")))
        .collect();
    if more > 0 {
        named.push(words::counted(more, "more camera"));
    }
    (!named.is_empty())
        .then(|| format!("See to the cameras that took no picture for long: {}.", named.join(", ")))
}

/// Cameras that are written down and have no picture at all.
fn never(debrief: &Debrief) -> Option<String> {
    let never = debrief.season.cameras.iter().filter(|c| c.effort.dates.is_empty());
    let names: Vec<&str> = never.map(|c| c.name.as_str()).collect();
    (!names.is_empty())
        .then(|| format!("There is not one picture with a time of {}.", names.join(", ")))
}

/// What no counting of these pictures can tell.
pub(super) fn unknown(debrief: &Debrief) -> Said {
    let about = debrief.season.about.kind.them();
    let open = [
        format!(
            "whether {about} that are missing from the pictures left, or walk where no camera hangs"
        ),
        "who or what made them change: a change at the right time and place is not its cause"
            .to_owned(),
        "how many deer there are".to_owned(),
    ];
    let unlike = "The comparison takes the other cameras for a fair picture of what the near ones would have done. Where near cameras hang on another sort of ground than all others (food beside timber, say), it can be wrong more often than the odds say.";
    Said {
        rest: format!("{}.", words::capital(&open.join("; "))),
        working: Some(unlike.to_owned()),
        more: Some(format!("#{}", Part::Unknown.id())),
        ..Said::plain(Sure::Unknown, "Cannot be known from these pictures:")
    }
}
