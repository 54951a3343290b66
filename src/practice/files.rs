//! Writing a played season as a property folder.

use std::fs;
use std::path::Path;

use anyhow::Result;
use indicatif::ProgressBar;

use super::Plan;
use super::faults::{self, Faults};
use super::scene::Scene;
use super::season::{Animal, Event, Played};
use super::still::{Imprint, jpeg};

/// What lies on the written cards.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Count {
    pub good: usize,
    pub tagged: usize,
    pub untimed: usize,
    pub faults: Faults,
}

impl Count {
    pub fn found(&self) -> usize {
        self.good + self.faults.unreadable + self.faults.duplicate + self.faults.cut_short
    }
}

/// Every how many events a person forgot a tag.
const UNTAGGED_EVERY: usize = 60;

/// `property.toml`, `cameras.csv` and `disturbances.csv`.
pub(super) fn write_property(folder: &Path, plan: &Plan) -> Result<()> {
    fs::write(folder.join("property.toml"), settings(plan))?;
    write_cameras(folder, plan)?;
    write_disturbances(folder, plan)
}

fn settings(plan: &Plan) -> String {
    format!(
        "# An invented place with invented deer.
name = \"{}\"
latitude = {}
longitude = {}
time_zone = \"{}\"

[light]
legal_before_sunrise_min = 30
legal_after_sunset_min = 30

[deer]
mature_age = 3.5

[visits]
gap_min = 30

[shift]
# days = 21 would compare 21 days on either side; without it they are chosen from the days before.
near_m = 250
",
        Plan::NAME,
        plan.position.latitude_deg,
        plan.position.longitude_deg,
        plan.zone
    )
}

fn write_cameras(folder: &Path, plan: &Plan) -> Result<()> {
    let mut table = csv::Writer::from_path(folder.join("cameras.csv"))?;
    table.write_record(["camera", "latitude", "longitude", "setting", "from", "until", "clock"])?;
    for (i, camera) in plan.cameras.iter().enumerate() {
        let seasons = plan.seasons();
        let hung: Vec<usize> = (0..seasons.len()).filter(|n| plan.hung(i, *n)).collect();
        // Taken home between a quiet season and the next.
        let is_same = |a: &usize, b: &usize| {
            plan.placed(i, *a) == plan.placed(i, *b) && !plan.has_quiet_season()
        };
        for same in hung.chunk_by(is_same) {
            let (position, setting) = plan.placed(i, same[0]);
            table.write_record([
                camera.name,
                &format!("{:.4}", position.latitude_deg),
                &format!("{:.4}", position.longitude_deg),
                &setting,
                &seasons[same[0]].0.to_string(),
                &seasons[same[same.len() - 1]].1.to_string(),
                plan.clock_word(),
            ])?;
        }
    }
    Ok(table.flush()?)
}

fn write_disturbances(folder: &Path, plan: &Plan) -> Result<()> {
    let mut table = csv::Writer::from_path(folder.join("disturbances.csv"))?;
    let columns = "id,start,end,by,what,latitude,longitude,near";
    table.write_record(columns.split(','))?;
    let (work, blind) = (plan.work_day.to_string(), plan.blind_day.to_string());
    let lanes = "Trimmed two shooting lanes";
    let near = plan.cameras[1].name;
    table.write_record(["shooting-lanes", &work, &work, "own", lanes, "", "", near])?;
    let (id, what) = match plan.options.seasons {
        1 => ("box-blind", "A box blind went up across the fence"),
        _ => ("new-owner", "New owners across the fence"),
    };
    let near = plan.cameras[0].name;
    table.write_record([id, &blind, "", "neighbour", what, "", "", near])?;
    Ok(table.flush()?)
}

/// The rows of an event, as a person would tag it: who, count, age, name.
fn tags(event: &Event) -> Vec<[String; 4]> {
    let age = event.age.map_or(String::new(), |a| a.to_string());
    let name = event.name.unwrap_or("").to_owned();
    let row = |who: &str, count: u32, age: &str, name: &str| {
        [who.to_owned(), count.to_string(), age.to_owned(), name.to_owned()]
    };
    let mut rows = vec![match event.animal {
        Animal::Buck { .. } => row("buck", event.count, &age, &name),
        Animal::Doe => row("doe", event.count, "", ""),
        Animal::Other => row("other", 1, "", ""),
        Animal::Nothing => row("empty", 1, "", ""),
    }];
    if event.fawns > 0 {
        rows.push(row("fawn", event.fawns, "0.5", ""));
    }
    rows
}

/// `sightings.csv` in place of pictures.
pub(super) fn write_sightings(folder: &Path, plan: &Plan, season: &Played) -> Result<()> {
    let mut out = csv::Writer::from_path(folder.join("sightings.csv"))?;
    out.write_record(["camera", "time", "who", "count", "age", "name", "note"])?;
    for event in &season.events {
        let local = plan.camera_clock(event.camera, event.time);
        let time = local.format("%Y-%m-%dT%H:%M:%S").to_string();
        for [who, count, age, name] in tags(event) {
            let camera = plan.cameras[event.camera].name;
            out.write_record([camera, &time, &who, &count, &age, &name, ""])?;
        }
    }
    out.flush()?;
    Ok(())
}

/// `cards/` and `tags.csv`.
pub(super) fn write_cards(
    folder: &Path,
    plan: &Plan,
    season: &Played,
    progress: &ProgressBar,
) -> Result<Count> {
    progress.set_length(season.events.len() as u64);
    let mut out = csv::Writer::from_path(folder.join("tags.csv"))?;
    out.write_record(["picture", "who", "count", "age", "name", "note", "content"])?;
    let mut count = Count::default();
    for camera in 0..plan.cameras.len() {
        let events: Vec<&Event> = season.events.iter().filter(|e| e.camera == camera).collect();
        write_card(folder, plan, camera, &events, &mut out, &mut count, progress)?;
    }
    out.flush()?;
    Ok(count)
}

fn write_card(
    folder: &Path,
    plan: &Plan,
    camera: usize,
    events: &[&Event],
    out: &mut csv::Writer<fs::File>,
    count: &mut Count,
    progress: &ProgressBar,
) -> Result<()> {
    let name = plan.cameras[camera].name;
    let seasons = plan.seasons();
    let season_of = |event: &Event| {
        let day = event.time.date_naive();
        seasons.iter().rposition(|(first, _)| *first <= day).unwrap_or(0)
    };
    let below = format!("cards/{name}/DCIM/100PRACT");
    fs::create_dir_all(folder.join(&below))?;
    let mut kept: Vec<Vec<u8>> = Vec::new();
    for in_season in events.chunk_by(|a, b| season_of(a) == season_of(b)) {
        let season = season_of(in_season[0]);
        let view = plan.view(camera, season) as u64;
        let scene =
            Scene::new(plan.options.seed ^ (camera as u64 + 77 + 1000 * view), plan.options.pixel);
        let (position, _) = plan.placed(camera, season);
        // The card was formatted since the last season, so the camera begins to count anew.
        let mut number = 0_u32;
        for (i, event) in in_season.iter().enumerate() {
            for frame in 0..event.burst {
                number += 1;
                let untimed = camera == 2 && number == 5 && season == 0;
                let local = plan.camera_clock(camera, event.time);
                let seed = plan.options.seed
                    ^ (u64::from(number) << 8)
                    ^ ((camera as u64) << 40)
                    ^ ((season as u64) << 48);
                let bytes = jpeg(
                    &scene.picture(event, frame, seed),
                    &Imprint {
                        time: (!untimed)
                            .then(|| local + chrono::TimeDelta::seconds(i64::from(frame))),
                        label: name,
                        serial: &format!("P{:04}", 1001 + camera),
                        position: camera.is_multiple_of(3).then_some(position),
                    },
                )?;
                let picture = free_name(folder, &below, number);
                fs::write(folder.join(&picture), &bytes)?;
                count.good += 1;
                count.untimed += usize::from(untimed);
                if i % UNTAGGED_EVERY != UNTAGGED_EVERY - 1 {
                    count.tagged += 1;
                    for [who, how_many, age, name] in tags(event) {
                        out.write_record([&picture, &who, &how_many, &age, &name, "", ""])?;
                    }
                }
                if kept.len() < 2 {
                    kept.push(bytes);
                }
            }
            progress.inc(1);
        }
    }
    if camera == 1
        && let [good, copy] = &kept[..]
    {
        count.faults = faults::write(&folder.join(&below), good, copy)?;
    }
    Ok(())
}

/// The name that a pull would give: `IMG_0001.JPG`, and `IMG_0001_2.JPG` where an earlier season has it.
fn free_name(folder: &Path, below: &str, number: u32) -> String {
    let plain = format!("{below}/IMG_{number:04}.JPG");
    let numbered = (2..).map(|n| format!("{below}/IMG_{number:04}_{n}.JPG"));
    let mut names = std::iter::once(plain.clone()).chain(numbered);
    names.find(|n| !folder.join(n).exists()).unwrap_or(plain)
}
