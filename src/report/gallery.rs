//! Every plot of the report, drawn once, for the page and for files of their own.

use std::collections::HashMap;

use anyhow::Result;
use chrono::{NaiveDate, Offset, TimeZone};
use rayon::prelude::*;

use super::file_names::{FileNames, of_camera};
use super::plots::{
    Curve, SeasonPoint, Spot, activity, changes, clock_light, placebo, ranking, season, seasons,
    sketch,
};
use super::words;
use crate::clock_check::Finding;
use crate::debrief::Debrief;
use crate::property::Disturbance;
use crate::shift::{CHOICES, Role, Shift, Windows, visits_compared};
use crate::sun::{MeanDay, SunDay};
use crate::visits::{Camera, Kind, Visit};

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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Subject {
    Ranking,
    /// The line through all seasons.
    Seasons,
    Season(Option<usize>),
    Changes(usize),
    Sketch(usize),
    Activity {
        disturbance: usize,
        camera: usize,
    },
    Placebo {
        disturbance: usize,
        camera: usize,
    },
    /// A wrong clock, by its place among them.
    Clock(usize),
}

/// Every plot, to be found by what it shows.
pub(super) struct Gallery {
    plots: Vec<Plot>,
    places: HashMap<Subject, usize>,
}

impl Gallery {
    /// Draws everything.
    pub fn draw(debrief: &Debrief) -> Result<Self> {
        let plots = draw(debrief)?;
        let places = plots.iter().enumerate();
        Ok(Self { places: places.map(|(place, plot)| (plot.subject, place)).collect(), plots })
    }

    /// The plot of a subject; `None` where there was too little to draw.
    pub fn of(&self, subject: Subject) -> Option<&Plot> {
        self.places.get(&subject).map(|place| &self.plots[*place])
    }

    /// All of them, in the order of the page.
    pub fn plots(&self) -> &[Plot] {
        &self.plots
    }
}

fn draw(debrief: &Debrief) -> Result<Vec<Plot>> {
    let files = &FileNames::of(debrief);
    let cameras = 0..debrief.season.cameras.len();
    let logged = &debrief.property.disturbances;
    let is_single = |d: &usize| debrief.shifts.plan(&logged[*d].id).is_some();
    let disturbances = (0..logged.len()).filter(is_single);
    let mut subjects = vec![Subject::Ranking, Subject::Seasons, Subject::Season(None)];
    subjects.extend(cameras.clone().map(|c| Subject::Season(Some(c))));
    for disturbance in disturbances {
        subjects.extend([Subject::Changes(disturbance), Subject::Sketch(disturbance)]);
        for camera in cameras.clone() {
            subjects.push(Subject::Activity { disturbance, camera });
            subjects.push(Subject::Placebo { disturbance, camera });
        }
    }
    subjects.extend((0..debrief.wrong_clocks().count()).map(Subject::Clock));
    let drawn: Vec<Option<Plot>> = subjects
        .into_par_iter()
        .map(|subject| plot(debrief, files, subject))
        .collect::<Result<_>>()?;
    Ok(drawn.into_iter().flatten().collect())
}

fn plot(debrief: &Debrief, files: &FileNames, subject: Subject) -> Result<Option<Plot>> {
    let drawn = match subject {
        Subject::Ranking if nobody_came(debrief) => None,
        Subject::Ranking => Some((
            "ranking".to_owned(),
            ranking(debrief)?,
            format!(
                "Cameras ranked by visits of {} in {} per 100 camera-nights",
                debrief.season.about.kind.them(),
                debrief.property.settings.share_light()
            ),
        )),
        Subject::Seasons => seasons_plot(debrief)?,
        Subject::Season(camera) => season_plot(debrief, files, camera)?,
        Subject::Changes(d) => Some(changes_plot(debrief, files, d)?),
        Subject::Sketch(d) => sketch_plot(debrief, files, d)?,
        Subject::Activity { disturbance, camera } => {
            activity_plot(debrief, files, disturbance, camera)?
        }
        Subject::Placebo { disturbance, camera } => {
            placebo_plot(debrief, files, disturbance, camera)?
        }
        Subject::Clock(n) => clock_plot(debrief, n)?,
    };
    Ok(drawn.map(|(name, svg, alt)| Plot { subject, file: name + ".svg", svg, alt }))
}

/// Whether there is no visit of whom the season is about.
fn nobody_came(debrief: &Debrief) -> bool {
    let whole = debrief.daylight_of(None, debrief.season.about.kind);
    whole.is_none_or(|a| a.visits == 0)
}

/// File name, picture, and what it shows.
type Drawn = (String, String, String);

/// The whole property's seasons, of those in which enough of the pictures are tagged for a rate.
fn seasons_plot(debrief: &Debrief) -> Result<Option<Drawn>> {
    let about = debrief.season.about.kind;
    let answers = debrief.daylight.iter().rev();
    let points: Vec<SeasonPoint> = answers
        .filter(|a| a.camera.is_none() && a.kind == about)
        .filter_map(|a| {
            Some(SeasonPoint {
                name: a.season?.name(),
                rate: a.per_100_nights?,
                counts: format!(
                    "{} in {}",
                    words::counted(a.counted, "visit"),
                    words::counted(a.nights, "night")
                ),
            })
        })
        .collect();
    let heading = format!(
        "{} in {}, season by season",
        about.plural(),
        debrief.property.settings.share_light()
    );
    let drawn = seasons(&heading, &points)?;
    Ok(drawn.map(|svg| ("seasons".to_owned(), svg, heading)))
}

fn season_plot(
    debrief: &Debrief,
    files: &FileNames,
    camera: Option<usize>,
) -> Result<Option<Drawn>> {
    let every = &debrief.season.cameras;
    let (cameras, name, file): (Vec<&Camera>, &str, String) = match camera {
        Some(c) => {
            let file = format!("season-{}", files.camera(c));
            (vec![&every[c]], &every[c].name, file)
        }
        None => (every.iter().collect(), "all cameras", "season".to_owned()),
    };
    let heading = format!("Every visit by date and hour, {name}");
    Ok(season(debrief, &heading, &cameras)?.map(|svg| (file, svg, heading)))
}

fn clock_plot(debrief: &Debrief, n: usize) -> Result<Option<Drawn>> {
    let Some(finding) = debrief.wrong_clocks().nth(n) else {
        return Ok(None);
    };
    let heading = format!("{}: {}", finding.camera, finding.fault.word());
    let drawn = clock_light(debrief, finding, &heading)?;
    let file = clock_plot_stem(finding);
    Ok(drawn.map(|svg| (file, svg, heading)))
}

fn clock_plot_stem(finding: &Finding) -> String {
    format!("clock-{}-{}", of_camera(&finding.camera), finding.from.date())
}

/// The file of a finding's plot, if one was drawn.
pub fn clock_plot_name(finding: &Finding) -> String {
    clock_plot_stem(finding) + ".svg"
}

fn changes_plot(debrief: &Debrief, files: &FileNames, d: usize) -> Result<Drawn> {
    let logged = &debrief.property.disturbances[d];
    let heading =
        format!("{} before and after: {}", debrief.season.about.kind.plural(), logged.what);
    let rows: Vec<&Shift> = debrief
        .shifts
        .of(&logged.id, debrief.season.about.kind)
        .filter(|row| row.before.nights + row.after.nights > 0)
        .collect();
    let svg = changes(debrief, &heading, &rows)?;
    Ok((format!("changes-{}", files.disturbance(d)), svg, heading))
}

fn sketch_plot(debrief: &Debrief, files: &FileNames, d: usize) -> Result<Option<Drawn>> {
    let logged = &debrief.property.disturbances[d];
    let date = logged.first_day_after();
    let cameras = debrief
        .shifts
        .of(&logged.id, debrief.season.about.kind)
        .filter(|row| row.before.nights + row.after.nights > 0)
        .filter_map(|row| {
            let camera = &debrief.season.cameras[row.camera?];
            Some(Spot {
                name: camera.name.clone(),
                place: camera.place_on(date)?,
                near: Some(row.role == Role::Near),
            })
        });
    let itself = logged.position.map(|place| Spot { name: logged.id.clone(), place, near: None });
    let spots: Vec<Spot> = cameras.chain(itself).collect();
    let heading = format!("Where the cameras hang: {}", logged.what);
    let svg = sketch(&heading, &spots)?;
    Ok(svg.map(|svg| (format!("sketch-{}", files.disturbance(d)), svg, heading)))
}

/// `None` where the camera worked on neither side.
fn activity_plot(
    debrief: &Debrief,
    files: &FileNames,
    disturbance: usize,
    camera: usize,
) -> Result<Option<Drawn>> {
    let logged = &debrief.property.disturbances[disturbance];
    let here = &debrief.season.cameras[camera];
    let (kind, [before, after], mean) = sides(debrief, logged, camera)?;
    if before.nights + after.nights == 0 {
        return Ok(None);
    }
    let heading = format!(
        "{} at {}, {} days either side of {}",
        kind.plural(),
        here.name,
        days_compared(debrief, logged),
        words::day(logged.start.date())
    );
    let svg = activity(&heading, &before, &after, mean, &debrief.property.settings)?;
    let file = files.pair("activity", disturbance, camera);
    Ok(Some((file, svg, heading)))
}

fn placebo_plot(
    debrief: &Debrief,
    files: &FileNames,
    disturbance: usize,
    camera: usize,
) -> Result<Option<Drawn>> {
    let logged = &debrief.property.disturbances[disturbance];
    let mut rows = debrief.shifts.of(&logged.id, debrief.season.about.kind);
    let row = rows.find(|r| r.camera == Some(camera));
    let Some(measured) = row.and_then(|r| r.placebo.as_ref()) else {
        return Ok(None);
    };
    let heading =
        format!("The same comparison at every other date, {}", debrief.season.cameras[camera].name);
    let days = days_compared(debrief, logged);
    let svg = placebo(&heading, measured, logged.first_day_after(), days)?;
    let file = files.pair("placebo", disturbance, camera);
    Ok(svg.map(|svg| (file, svg, heading)))
}

fn days_compared(debrief: &Debrief, disturbance: &Disturbance) -> u32 {
    let plan = debrief.shifts.plan(&disturbance.id);
    plan.map_or(CHOICES[0], |plan| plan.chosen.days)
}

/// The kinds worth a curve, the most asked-for first.
const KINDS: [Kind; 3] = [Kind::MatureBuck, Kind::Buck, Kind::Deer];
const FEWEST: usize = 5;

/// Both sides' visits in sun-anchored time, of the first kind that has enough on both sides.
fn sides(
    debrief: &Debrief,
    disturbance: &Disturbance,
    index: usize,
) -> Result<(Kind, [Curve; 2], MeanDay)> {
    let camera = &debrief.season.cameras[index];
    let plan = debrief.shifts.plan(&disturbance.id);
    let windows =
        plan.map_or_else(|| Windows::around(disturbance, CHOICES[0]), |plan| plan.windows);
    let visits = |kind| visits_compared(&debrief.season, index, kind, &windows);
    let enough = |kind: &Kind| visits(*kind).iter().all(|side| side.len() >= FEWEST);
    let first = debrief.season.about.kind;
    let kinds = KINDS.into_iter().skip_while(|k| *k != first);
    let kind = kinds.into_iter().find(enough).unwrap_or(Kind::Deer);
    let mean = mean_day(debrief, disturbance, camera, windows)?;
    let mut rows = debrief.shifts.of(&disturbance.id, kind);
    let row = rows.find(|row| row.camera == Some(index));
    let nights = row.map_or([0; 2], |row| [row.before.nights, row.after.nights]);
    let [before, after] = visits(kind);
    let curve = |side: Vec<&Visit>, nights| {
        let minute = |v: &&Visit| mean.anchor(v.after_sunrise_min, v.day_length_min());
        Curve { minutes: side.iter().map(minute).collect(), nights }
    };
    let curves = [curve(before, nights[0]), curve(after, nights[1])];
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
    let offset_min =
        f64::from(zone.offset_from_utc_datetime(&disturbance.start).fix().local_minus_utc()) / 60.0;
    let dates = windows.before.0.iter_days().take_while(|d| *d <= windows.after.1);
    let minutes = |date: NaiveDate| -> Result<(f64, f64)> {
        let sun = SunDay::on(date, camera.position_on(date))?;
        let midnight = date.and_time(chrono::NaiveTime::MIN).and_utc();
        let of = |t: chrono::DateTime<chrono::Utc>| {
            (t - midnight).num_milliseconds() as f64 / 60_000.0 + offset_min
        };
        Ok((of(sun.sunrise), of(sun.sunset)))
    };
    let days = dates.map(minutes).collect::<Result<Vec<_>>>()?;
    Ok(MeanDay::of(&days).unwrap_or(MeanDay { sunrise_min: 360.0, sunset_min: 1080.0 }))
}
