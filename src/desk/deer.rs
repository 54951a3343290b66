//! The named deer: where and when each was seen, and how much of that in the light.

use std::collections::{BTreeMap, HashSet};

use serde::{Deserialize, Serialize};

use super::Desk;
use super::server::{Answer, Failure, Reply};
use super::state::DeskSeason;
use super::visits::{TIME, file_name, number};
use crate::clock::LocalTime;
use crate::measure::{Counts, wilson};
use crate::property::{NamedDeer, Settings, same_name};
use crate::sun::{MeanDay, SUN_DAY_MIN, SunTable};
use crate::tags::{Tag, Who};
use crate::visits::{Visit, visits_of_one};

/// Whom the page asks for; nobody means all.
#[derive(Debug, Deserialize)]
pub(super) struct Which {
    #[serde(default)]
    name: String,
}

#[derive(Serialize)]
pub(super) struct Named {
    name: String,
    who: &'static str,
    /// By `deer.csv`, or by the age it was last given.
    born: Option<i32>,
    pictures: usize,
}

#[derive(Serialize)]
struct DeerView {
    name: String,
    who: &'static str,
    ages: String,
    visits: usize,
    pictures: usize,
    first_seen: Option<String>,
    last_seen: Option<String>,
    cameras: Vec<AtCamera>,
    share: String,
    hours: Hours,
}

/// A mean day from midnight to midnight in minutes, and when on it the deer came, by the sun of each day.
#[derive(Serialize)]
pub(super) struct Hours {
    legal_from: f64,
    sunrise: f64,
    sunset: f64,
    legal_until: f64,
    ticks: Vec<f64>,
}

impl Hours {
    pub fn of(visits: &[Visit], settings: &Settings) -> Self {
        let sun = |v: &Visit| {
            let minute = v.first.minute_of_day();
            (minute - v.after_sunrise_min, minute + v.before_sunset_min)
        };
        let suns: Vec<(f64, f64)> = visits.iter().map(sun).collect();
        let mean = MeanDay::of(&suns).unwrap_or(MeanDay {
            sunrise_min: SUN_DAY_MIN / 4.0,
            sunset_min: SUN_DAY_MIN * 3.0 / 4.0,
        });
        let tick = |v: &Visit| mean.anchor(v.after_sunrise_min, v.day_length_min()).round();
        Self {
            legal_from: mean.sunrise_min - settings.legal_before_sunrise_min,
            sunrise: mean.sunrise_min,
            sunset: mean.sunset_min,
            legal_until: mean.sunset_min + settings.legal_after_sunset_min,
            ticks: visits.iter().map(tick).collect(),
        }
    }
}

#[derive(Serialize)]
struct AtCamera {
    camera: String,
    visits: usize,
}

#[derive(Serialize)]
pub(super) struct PictureView {
    id: u64,
    visit: u32,
    camera: String,
    date: Option<String>,
    time: Option<String>,
    light: Option<&'static str>,
    file: String,
}

const DAY: &str = "%-d %b %Y";

/// A picture of a named deer, and what was said of it there.
struct TaggedPicture<'a> {
    picture: u32,
    tag: &'a Tag,
}

/// Pictures by the deer's name, in small letters.
fn by_name(season: &DeskSeason) -> BTreeMap<String, Vec<TaggedPicture<'_>>> {
    let mut names: BTreeMap<String, Vec<TaggedPicture>> = BTreeMap::new();
    for picture in 0..season.crawl.pictures.len() as u32 {
        for tag in season.tags_of(picture) {
            if let Some(name) = &tag.name {
                let seen = TaggedPicture { picture, tag };
                names.entry(name.to_lowercase()).or_default().push(seen);
            }
        }
    }
    names
}

/// Every name that has been given or stands in `deer.csv`, as it is written there.
pub(super) fn names(season: &DeskSeason) -> Vec<Named> {
    let known = &season.property.deer;
    let named = |seen: &Vec<TaggedPicture>| {
        let given = seen[0].tag.name.clone().unwrap_or_default();
        let known = known.iter().find(|d| same_name(&d.name, &given));
        Named {
            born: known.and_then(|d| d.born).or_else(|| born(season, seen)),
            name: known.map_or(given, |d| d.name.clone()),
            who: told_kind(seen),
            pictures: seen.len(),
        }
    };
    let tagged = by_name(season);
    let mut names: Vec<Named> = tagged.values().map(named).collect();
    for deer in known {
        if !names.iter().any(|n| same_name(&n.name, &deer.name)) {
            names.push(Named {
                name: deer.name.clone(),
                who: Who::Deer.word(),
                born: deer.born,
                pictures: 0,
            });
        }
    }
    names
}

/// The kind it was tagged as wherever more than "deer" was said of it.
fn told_kind(seen: &[TaggedPicture]) -> &'static str {
    let mut told = seen.iter().map(|s| s.tag.who).filter(|w| *w != Who::Deer);
    match told.next() {
        Some(first) if told.all(|w| w == first) => first.word(),
        _ => Who::Deer.word(),
    }
}

/// The year of birth that the age given last speaks of.
fn born(season: &DeskSeason, seen: &[TaggedPicture]) -> Option<i32> {
    let aged = |s: &TaggedPicture| {
        let time = season.screens.times[s.picture as usize]?;
        Some((time, s.tag.age?))
    };
    let (time, age) = seen.iter().filter_map(aged).max_by_key(|(time, _)| *time)?;
    Some(NamedDeer::season_of(time.date()) - age.floor() as i32)
}

/// `GET api/deer`
pub(super) fn deer(desk: &Desk, which: &Which) -> Answer {
    let mut season = desk.season();
    season.refresh()?;
    let law = law(&season.property.settings);
    let named = by_name(&season);
    if which.name.is_empty() {
        let all = named.values().map(|seen| view(&season, seen));
        let deer = all.collect::<anyhow::Result<Vec<_>>>()?;
        return Reply::json(&serde_json::json!({ "deer": deer, "law": law }));
    }
    let found = named.iter().find(|(name, _)| same_name(name, &which.name));
    let Some((_, seen)) = found else {
        let words = format!("No picture is tagged with the name {}.", which.name);
        return Err(Failure::Missing(words));
    };
    let pictures: Vec<PictureView> = seen.iter().map(|s| picture(&season, s.picture)).collect();
    Reply::json(&serde_json::json!({
        "deer": view(&season, seen)?,
        "best": best(&season, seen),
        "pictures": pictures,
        "law": law,
    }))
}

/// One picture a visit, those first that were taken in legal light and in which it fills most of the frame.
fn best(season: &DeskSeason, seen: &[TaggedPicture]) -> Vec<PictureView> {
    const MOST: usize = 4;
    let rank = |s: &TaggedPicture| {
        let screen = season.screens.of_picture[s.picture as usize] as usize;
        let moment = season.screens.all[screen].moment;
        let in_light = moment.is_some_and(|m| m.light.is_legal());
        let place = season.sorting.of(s.picture).map(|f| f.place);
        (in_light, place.map_or(0.0, |[_, _, width, height]| width * height), screen)
    };
    let is_still = |s: &&TaggedPicture| !season.crawl.pictures[s.picture as usize].clip;
    let mut ranked: Vec<_> = seen.iter().filter(is_still).map(|s| (rank(s), s.picture)).collect();
    ranked.sort_by(|(a, p), (b, q)| b.0.cmp(&a.0).then(b.1.total_cmp(&a.1)).then(p.cmp(q)));
    let mut visits = HashSet::new();
    ranked.retain(|((_, _, screen), _)| visits.insert(*screen));
    ranked.iter().take(MOST).map(|(_, p)| picture(season, *p)).collect()
}

fn law(settings: &Settings) -> String {
    format!(
        "Legal light is taken as {} min before sunrise to {} min after sunset. Check your local regulations.",
        settings.legal_before_sunrise_min, settings.legal_after_sunset_min
    )
}

fn view(season: &DeskSeason, seen: &[TaggedPicture]) -> anyhow::Result<DeerView> {
    let mut moments: BTreeMap<&str, Vec<(LocalTime, u32)>> = BTreeMap::new();
    for s in seen {
        let camera = &season.crawl.pictures[s.picture as usize].camera;
        if let Some(time) = season.screens.times[s.picture as usize] {
            moments.entry(camera).or_default().push((time, s.picture));
        }
    }
    let (mut cameras, mut all) = (Vec::new(), Vec::new());
    let mut sun = SunTable::default();
    for (camera, mut at_camera) in moments {
        at_camera.sort_unstable();
        let visits = visits_of_one(&season.property, camera, &at_camera, &mut sun)?;
        cameras.push(AtCamera { camera: camera.to_owned(), visits: visits.len() });
        all.extend(visits);
    }
    let counted = all.iter().filter(|v| v.counted).count();
    let day = |t: LocalTime| t.shown().format(DAY).to_string();
    Ok(DeerView {
        name: seen[0].tag.name.clone().unwrap_or_default(),
        who: kinds(seen),
        ages: ages(seen),
        visits: all.len(),
        pictures: seen.len(),
        first_seen: all.iter().map(|v| v.first).min().map(day),
        last_seen: all.iter().map(|v| v.last).max().map(day),
        cameras,
        hours: Hours::of(&all, &season.property.settings),
        share: share(counted, all.len(), season.property.settings.share_light()),
    })
}

/// The kind that it was tagged as; a deer that was called two kinds is only a deer.
fn kinds(seen: &[TaggedPicture]) -> &'static str {
    let first = seen[0].tag.who;
    if seen.iter().all(|s| s.tag.who == first) { first.word() } else { Who::Deer.word() }
}

fn ages(seen: &[TaggedPicture]) -> String {
    let mut ages: Vec<f64> = seen.iter().filter_map(|s| s.tag.age).collect();
    ages.sort_by(f64::total_cmp);
    ages.dedup();
    let ages: Vec<String> = ages.iter().map(ToString::to_string).collect();
    ages.join(", ")
}

/// `3 of 12 visits in legal light (25 %, 9 to 53 %)`
fn share(counted: usize, visits: usize, light: &str) -> String {
    let percent = |x: f64| format!("{:.0}", x * 100.0);
    match wilson(Counts::new(counted, visits)) {
        None => "no visit with a time".to_owned(),
        Some(s) => format!(
            "{counted} of {visits} visits in {light} ({} %, {} to {} %)",
            percent(s.value),
            percent(s.low),
            percent(s.high)
        ),
    }
}

pub(super) fn picture(season: &DeskSeason, index: u32) -> PictureView {
    let picture = &season.crawl.pictures[index as usize];
    let visit = season.screens.of_picture[index as usize];
    let time = season.screens.times[index as usize];
    let shown = |form: &'static str| time.map(|t| t.shown().format(form).to_string());
    let moment = season.screens.all[visit as usize].moment;
    PictureView {
        id: number(season, index),
        visit,
        camera: picture.camera.to_string(),
        date: shown(DAY),
        time: shown(TIME),
        light: moment.map(|m| m.light.word()),
        file: file_name(&picture.path),
    }
}
