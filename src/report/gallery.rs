//! Every plot of the report, drawn once, for the page and for files of their own.

use anyhow::Result;
use chrono::{NaiveDate, Offset, TimeZone};
use rayon::prelude::*;

use super::plots::{Curve, activity, changes, ranking, season};
use super::words;
use crate::debrief::Debrief;
use crate::property::Disturbance;
use crate::shift::{Shift, Windows};
use crate::sun::{MeanDay, SunDay};
use crate::visits::{Camera, Kind};

/// One plot.
pub(super) struct Plot {
    /// What it shows, to find it by.
    pub subject: Subject,
    /// File name below the report's folder.
    pub file: String,
    /// The picture.
    pub svg: String,
    /// What it shows, for a reader who cannot see it.
    pub alt: String,
}

/// What a plot shows. Numbers are indices of cameras and disturbances.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Subject {
    Ranking,
    Season(Option<usize>),
    Changes(usize),
    Activity { disturbance: usize, camera: usize },
}

/// Draws everything.
pub(super) fn draw(debrief: &Debrief) -> Result<Vec<Plot>> {
    let cameras = 0..debrief.season.cameras.len();
    let disturbances = 0..debrief.property.disturbances.len();
    let mut subjects = vec![Subject::Ranking, Subject::Season(None)];
    subjects.extend(cameras.clone().map(|c| Subject::Season(Some(c))));
    for disturbance in disturbances {
        subjects.push(Subject::Changes(disturbance));
        subjects.extend(cameras.clone().map(|camera| Subject::Activity {
            disturbance,
            camera,
        }));
    }
    let drawn: Vec<Option<Plot>> = subjects
        .into_par_iter()
        .map(|subject| plot(debrief, subject))
        .collect::<Result<_>>()?;
    Ok(drawn.into_iter().flatten().collect())
}

fn plot(debrief: &Debrief, subject: Subject) -> Result<Option<Plot>> {
    let plot = |file: String, svg: String, alt: String| Plot {
        subject,
        file,
        svg,
        alt,
    };
    let camera_name = |c: usize| debrief.season.cameras[c].name.as_str();
    let disturbances = &debrief.property.disturbances;
    Ok(match subject {
        Subject::Ranking => Some(plot(
            "ranking.svg".into(),
            ranking(debrief)?,
            "Cameras ranked by visits of mature bucks per 100 camera-nights".into(),
        )),
        Subject::Season(which) => {
            let (cameras, name): (Vec<&Camera>, &str) = match which {
                Some(c) => (vec![&debrief.season.cameras[c]], camera_name(c)),
                None => (debrief.season.cameras.iter().collect(), "all cameras"),
            };
            let heading = format!("Every visit by date and hour, {name}");
            let file = which.map_or("season.svg".into(), |c| {
                format!("season-{}.svg", file_name(debrief, c))
            });
            season(debrief, &heading, &cameras)?.map(|svg| plot(file, svg, heading))
        }
        Subject::Changes(d) => {
            let heading = format!("Mature bucks before and after: {}", disturbances[d].what);
            let rows: Vec<&Shift> = debrief
                .shifts
                .of(&disturbances[d].id, Kind::MatureBuck)
                .collect();
            let svg = changes(debrief, &heading, &rows)?;
            Some(plot(
                format!("changes-{}.svg", disturbance_file(debrief, d)),
                svg,
                heading,
            ))
        }
        Subject::Activity {
            disturbance,
            camera,
        } => {
            let logged = &disturbances[disturbance];
            let (kind, curves, mean) = sides(debrief, logged, &debrief.season.cameras[camera])?;
            let heading = format!(
                "{} at {}, {} days either side of {}",
                kind.plural(),
                camera_name(camera),
                debrief.property.settings.shift_days,
                words::day(logged.start.date())
            );
            let [before, after] = curves;
            let svg = activity(&heading, &before, &after, mean, &debrief.property.settings)?;
            let file = format!(
                "activity-{}-{}.svg",
                disturbance_file(debrief, disturbance),
                file_name(debrief, camera)
            );
            Some(plot(file, svg, heading))
        }
    })
}

/// The kinds worth a curve, the most asked-for first.
const KINDS: [Kind; 3] = [Kind::MatureBuck, Kind::Buck, Kind::Deer];
const FEWEST: usize = 5;

/// Both sides' visits in sun-anchored time, of the first kind that has enough on both sides.
fn sides(
    debrief: &Debrief,
    disturbance: &Disturbance,
    camera: &Camera,
) -> Result<(Kind, [Curve; 2], MeanDay)> {
    let windows = Windows::around(disturbance, debrief.property.settings.shift_days);
    let sides = [windows.before, windows.after];
    let enough = |kind: &Kind| {
        sides
            .iter()
            .all(|s| camera.visits_between(*kind, s.0, s.1).len() >= FEWEST)
    };
    let kind = KINDS.into_iter().find(enough).unwrap_or(Kind::Deer);
    let mean = mean_day(debrief, disturbance, camera, windows)?;
    let curves = sides.map(|(from, until)| Curve {
        minutes: camera
            .visits_between(kind, from, until)
            .iter()
            .map(|v| mean.anchor(v.after_sunrise_min, v.day_length_min()))
            .collect(),
        nights: camera.effort.nights_between(from, until),
    });
    Ok((kind, curves, mean))
}

/// Mean sunrise and sunset over both sides, by the wall clock as it was on the day of the
/// disturbance: a change to or from daylight time within the days must not move the sun.
fn mean_day(
    debrief: &Debrief,
    disturbance: &Disturbance,
    camera: &Camera,
    windows: Windows,
) -> Result<MeanDay> {
    let zone = debrief.property.settings.time_zone;
    let offset_min = f64::from(
        zone.offset_from_utc_datetime(&disturbance.start)
            .fix()
            .local_minus_utc(),
    ) / 60.0;
    let dates = windows
        .before
        .0
        .iter_days()
        .take_while(|d| *d <= windows.after.1);
    let minutes = |date: NaiveDate| -> Result<(f64, f64)> {
        let sun = SunDay::on(date, camera.position_on(date))?;
        let midnight = date.and_time(chrono::NaiveTime::MIN).and_utc();
        let of = |t: chrono::DateTime<chrono::Utc>| {
            (t - midnight).num_milliseconds() as f64 / 60_000.0 + offset_min
        };
        Ok((of(sun.sunrise), of(sun.sunset)))
    };
    let days = dates.map(minutes).collect::<Result<Vec<_>>>()?;
    Ok(MeanDay::of(&days).unwrap_or(MeanDay {
        sunrise_min: 360.0,
        sunset_min: 1080.0,
    }))
}

/// A camera's file name: its name in plain letters, and its number so that no two are alike.
fn file_name(debrief: &Debrief, camera: usize) -> String {
    format!(
        "{:02}-{}",
        camera + 1,
        slug(&debrief.season.cameras[camera].name)
    )
}

/// The same for a disturbance.
fn disturbance_file(debrief: &Debrief, disturbance: usize) -> String {
    let id = &debrief.property.disturbances[disturbance].id;
    format!("{:02}-{}", disturbance + 1, slug(id))
}

fn slug(name: &str) -> String {
    let letters: String = name
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .take(40)
        .collect();
    letters.trim_matches('-').to_owned()
}
