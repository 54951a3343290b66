//! One visit on the screen, and its tags.

use std::cmp::Ordering;
use std::collections::HashMap;

use chrono::Datelike;
use serde::{Deserialize, Serialize};
use xxhash_rust::xxh3::xxh3_64;

use super::Desk;
use super::filter::{Asked, Filter};
use super::screens::Moment;
use super::server::{Answer, Failure, Reply};
use super::so_far::so_far;
use super::state::{DeskSeason, Progress, Refused, Tagging, said};
use super::views::is_playable;
use crate::card::box_as_held;
use crate::property::Settings;
use crate::tags::{Tag, Who};

/// A tag as the page has it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct TagView {
    who: String,
    #[serde(default = "one")]
    count: u32,
    #[serde(default)]
    age: Option<f64>,
    #[serde(default)]
    name: Option<String>,
    #[serde(default)]
    note: Option<String>,
}

fn one() -> u32 {
    1
}

impl From<&Tag> for TagView {
    fn from(tag: &Tag) -> Self {
        Self {
            who: tag.who.word().to_owned(),
            count: tag.count,
            age: tag.age,
            name: tag.name.clone(),
            note: tag.note.clone(),
        }
    }
}

impl TagView {
    fn understood(self) -> Result<Tag, Failure> {
        let who = Who::parse(&self.who)
            .ok_or_else(|| Failure::Wrong(format!("\"{}\" is not a kind.", self.who)))?;
        let text = |t: Option<String>| t.map(|t| t.trim().to_owned()).filter(|t| !t.is_empty());
        let tag = Tag {
            who,
            count: self.count,
            age: self.age,
            name: text(self.name),
            note: text(self.note),
        };
        tag.check().map_err(Failure::Wrong)?;
        Ok(tag)
    }
}

/// A visit as the page has it.
#[derive(Debug, Serialize)]
pub(super) struct VisitView {
    id: usize,
    generation: u64,
    version: u64,
    camera: String,
    date: Option<String>,
    /// ISO 8601.
    day: Option<String>,
    strip: Option<Strip>,
    time: Option<String>,
    until: Option<String>,
    light: Option<&'static str>,
    to_sun: Option<String>,
    pictures: Vec<PictureView>,
    tags: Vec<TagView>,
    mixed: bool,
    state: &'static str,
    quiet: Option<bool>,
    others: Vec<OtherView>,
    position: usize,
    of: usize,
}

/// The day of a visit from midnight to midnight, in minutes.
#[derive(Debug, Serialize)]
struct Strip {
    legal_from: f64,
    sunrise: f64,
    sunset: f64,
    legal_until: f64,
    at: f64,
}

impl Strip {
    fn of(moment: &Moment, settings: &Settings) -> Self {
        let at = moment.first.minute_of_day();
        let sunrise = at - moment.after_sunrise_min;
        let sunset = at + moment.before_sunset_min;
        Self {
            legal_from: sunrise - settings.legal_before_sunrise_min,
            sunrise,
            sunset,
            legal_until: sunset + settings.legal_after_sunset_min,
            at,
        }
    }
}

#[derive(Debug, Serialize)]
struct PictureView {
    id: u64,
    file: String,
    path: String,
    time: Option<String>,
    clip: bool,
    playable: bool,
    /// Where it differs most from what the camera sees else: left, top, width and height as parts.
    moved: Option<[f32; 4]>,
    tags: Vec<TagView>,
}

/// What another source says.
#[derive(Debug, Serialize)]
struct OtherView {
    origin: &'static str,
    says: String,
    picture: String,
    conflict: bool,
}

/// Numbers of pictures change with the generation, so that a browser never takes a picture it has
/// kept for another.
const PER_GENERATION: u64 = 1 << 24;

/// The number that the page knows a picture by.
pub(super) fn number(season: &DeskSeason, picture: u32) -> u64 {
    season.generation * PER_GENERATION + u64::from(picture)
}

/// The picture that a number means now.
pub(super) fn picture(season: &DeskSeason, number: u64) -> Option<u32> {
    let index = number.checked_sub(season.generation * PER_GENERATION)?;
    let known = index < season.crawl.pictures.len() as u64;
    known.then_some(index as u32)
}

/// The file name at the end of a path.
pub(super) fn file_name(path: &str) -> String {
    path.rsplit('/').next().unwrap_or(path).to_owned()
}

pub(super) const TIME: &str = "%H:%M:%S";
pub(super) const DATE: &str = "%a %-d %b %Y";

/// A tagging in the page's word.
pub(super) fn state_word(tagging: Tagging) -> &'static str {
    match tagging {
        Tagging::Untagged => "untagged",
        Tagging::Partly => "partly",
        Tagging::Tagged => "tagged",
    }
}

impl VisitView {
    pub fn of(season: &DeskSeason, id: usize) -> Self {
        let screen = &season.screens.all[id];
        let pictures: Vec<PictureView> =
            screen.pictures.iter().map(|p| PictureView::of(season, *p)).collect();
        let (first, rest) = screen.pictures.split_first().expect("a screen has pictures");
        let own = season.book.of_picture(*first);
        let mixed = rest.iter().any(|p| season.book.of_picture(*p) != own);
        let clock = |t: crate::clock::LocalTime| t.shown().format(TIME).to_string();
        let moment = screen.moment;
        Self {
            id,
            generation: season.generation,
            version: season.version.max(season.changed_in(id)),
            camera: season.screens.camera(screen).to_owned(),
            date: moment.map(|m| m.date().format(DATE).to_string()),
            day: moment.map(|m| m.date().to_string()),
            strip: moment.map(|m| Strip::of(&m, &season.property.settings)),
            time: moment.map(|m| clock(m.first)),
            until: moment.map(|m| clock(m.last)),
            light: moment.map(|m| m.light.word()),
            to_sun: moment.map(|m| m.to_sun()),
            pictures,
            tags: if mixed { Vec::new() } else { own.iter().map(TagView::from).collect() },
            mixed,
            state: state_word(season.tagging(id)),
            quiet: season.quiet(id),
            others: others(season, id),
            position: 0,
            of: 0,
        }
    }
}

impl PictureView {
    fn of(season: &DeskSeason, index: u32) -> Self {
        let picture = &season.crawl.pictures[index as usize];
        let time = season.screens.times[index as usize];
        Self {
            id: number(season, index),
            file: file_name(&picture.path),
            path: picture.path.clone(),
            time: time.map(|t| t.shown().format(TIME).to_string()),
            clip: picture.clip,
            playable: picture.clip && is_playable(picture.file()),
            moved: moved(season, index),
            tags: season.book.of_picture(index).iter().map(TagView::from).collect(),
        }
    }
}

fn moved(season: &DeskSeason, index: u32) -> Option<[f32; 4]> {
    let found = season.sorting.of(index).filter(|f| !f.is_quiet)?;
    let file = season.crawl.pictures[index as usize].file();
    Some(box_as_held(found.place, &season.property.root.join(file)))
}

fn others(season: &DeskSeason, id: usize) -> Vec<OtherView> {
    let mut views = Vec::new();
    for picture in &season.screens.all[id].pictures {
        let counts = season.tags_of(*picture);
        for other in &season.elsewhere[*picture as usize] {
            views.push(OtherView {
                origin: other.origin.word(),
                says: said(&other.tag),
                picture: file_name(&season.crawl.pictures[*picture as usize].path),
                conflict: !counts.iter().any(|t| t.who == other.tag.who),
            });
        }
    }
    views
}

/// Where to go from a visit.
#[derive(Debug, Deserialize)]
pub(super) struct Going {
    #[serde(default)]
    go: Go,
    id: Option<usize>,
    /// Visits that were passed over, with commas between them: in a spread order they come last.
    #[serde(default)]
    passed: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Go {
    #[default]
    Here,
    Next,
    Previous,
    Untagged,
    /// The next untagged one in an order that is useful early: spread over cameras and weeks.
    Spread,
}

#[derive(Serialize)]
struct Found {
    visit: Option<VisitView>,
    matching: usize,
    untagged: usize,
    so_far: Option<String>,
}

/// `GET api/visit`
pub(super) fn visit(desk: &Desk, going: &Going, asked: &Asked) -> Answer {
    let filter = Filter::of(asked).map_err(Failure::Wrong)?;
    let mut season = desk.season();
    season.refresh()?;
    let fitting = filter.fitting(&season);
    let is_untagged = |s: &usize| season.tagging(*s) != Tagging::Tagged;
    let untagged = fitting.iter().filter(|s| is_untagged(s)).count();
    let id = target(&season, going, &fitting, is_untagged);
    let visit = id.map(|id| VisitView {
        position: fitting.partition_point(|s| *s < id) + 1,
        of: fitting.len(),
        ..VisitView::of(&season, id)
    });
    Reply::json(&Found { visit, matching: fitting.len(), untagged, so_far: so_far(&season) })
}

fn target(
    season: &DeskSeason,
    going: &Going,
    fitting: &[usize],
    is_untagged: impl Fn(&usize) -> bool,
) -> Option<usize> {
    let known = |id: &usize| *id < season.screens.all.len();
    let passed = going.passed.split(',').filter_map(|n| n.parse().ok());
    let passed: Vec<usize> = passed.chain(going.id).collect();
    let Some(here) = going.id.filter(known) else {
        return match going.go {
            Go::Untagged => fitting.iter().copied().find(|s| is_untagged(s)),
            Go::Spread => spread(season, fitting, is_untagged, &passed),
            _ => fitting.first().copied(),
        };
    };
    let after = &fitting[fitting.partition_point(|s| *s <= here)..];
    let before = &fitting[..fitting.partition_point(|s| *s < here)];
    match going.go {
        Go::Here => Some(here),
        Go::Next => after.first().copied(),
        Go::Previous => before.last().copied(),
        Go::Spread => spread(season, fitting, is_untagged, &passed),
        // Those that were skipped come round again.
        Go::Untagged => {
            let mut round = after.iter().chain(before);
            round.find(|s| is_untagged(s)).copied()
        }
    }
}

/// The untagged visit of the camera and week of which the smallest part is tagged; within it any, but always
/// the same. Those that were passed over come last, the one passed over longest ago first.
fn spread(
    season: &DeskSeason,
    fitting: &[usize],
    is_untagged: impl Fn(&usize) -> bool,
    passed: &[usize],
) -> Option<usize> {
    let stratum = |s: usize| {
        let screen = &season.screens.all[s];
        let week = screen.moment.map(|m| m.date().iso_week());
        (week, screen.camera)
    };
    let mut parts: HashMap<_, [usize; 2]> = HashMap::new();
    for s in fitting {
        let [tagged, all] = parts.entry(stratum(*s)).or_default();
        *tagged += usize::from(!is_untagged(s));
        *all += 1;
    }
    let shuffled = |s: usize| xxh3_64(&(s as u64).to_le_bytes());
    let tagged_part = |s: usize| {
        let [tagged, all] = parts[&stratum(s)];
        tagged as f64 / all as f64
    };
    let untagged = fitting.iter().copied().filter(|s| is_untagged(s));
    let key = |s: &usize| (passed.iter().rposition(|p| p == s), tagged_part(*s), shuffled(*s));
    untagged.min_by(|a, b| key(a).partial_cmp(&key(b)).unwrap_or(Ordering::Equal))
}

/// What the page sends to tag a visit.
#[derive(Debug, Deserialize)]
pub(super) struct Tagged {
    generation: u64,
    visit: usize,
    version: u64,
    pictures: Option<Vec<u64>>,
    /// The paths of the pictures that are meant, should their numbers have changed.
    #[serde(default)]
    paths: Vec<String>,
    tags: Vec<TagView>,
}

#[derive(Serialize)]
struct Saved {
    visit: VisitView,
    counts: Progress,
    version: u64,
}

/// `POST api/tag`: on the disk when it answers.
pub(super) fn tag(desk: &Desk, sent: Tagged) -> Answer {
    let tags = sent.tags.iter().cloned().map(TagView::understood).collect::<Result<Vec<_>, _>>()?;
    let mut season = desk.season_to_change()?;
    let (screen, pictures) = meant(&season, &sent).ok_or_else(|| {
        Failure::Wrong("The pictures were read anew. Load the page again.".to_owned())
    })?;
    match season.tag(screen, sent.version, &pictures, &tags) {
        Ok(()) => Reply::json(&Saved {
            visit: VisitView::of(&season, screen),
            counts: season.counts(),
            version: season.version,
        }),
        Err(Refused::Changed) => {
            let meanwhile = match season.tags(screen).next() {
                None => {
                    "Another program took the tags of these pictures away meanwhile. Press again to tag them anew."
                }
                Some(_) => {
                    "These pictures were tagged from elsewhere meanwhile. This is what they have now."
                }
            };
            Err(Failure::Changed(serde_json::json!({
                "error": meanwhile,
                "visit": VisitView::of(&season, screen),
            })))
        }
        Err(Refused::NotSaved(e)) => Err(e.into()),
    }
}

/// The screen and the pictures that are meant. Where the pictures were read anew meanwhile, numbers stand
/// for others and paths tell.
fn meant(season: &DeskSeason, sent: &Tagged) -> Option<(usize, Vec<u32>)> {
    if sent.generation != season.generation {
        let find = |path: &String| season.crawl.by_path(path);
        let pictures: Vec<u32> = sent.paths.iter().map(find).collect::<Option<_>>()?;
        let first = *pictures.first()?;
        let screen = season.screens.of_picture[first as usize] as usize;
        return Some((screen, pictures));
    }
    let of_screen = &season.screens.all.get(sent.visit)?.pictures;
    let pictures = match &sent.pictures {
        None => of_screen.clone(),
        Some(numbers) => {
            let meant = numbers.iter().filter_map(|n| picture(season, *n));
            meant.filter(|p| of_screen.contains(p)).collect()
        }
    };
    Some((sent.visit, pictures))
}

/// `POST api/undo`
pub(super) fn undo(desk: &Desk) -> Answer {
    let mut season = desk.season_to_change()?;
    let undone = season.undo()?;
    let (words, screen) = undone.unzip();
    Reply::json(&serde_json::json!({
        "undone": words,
        "visit": screen.map(|s| VisitView::of(&season, s)),
        "left": season.steps(),
        "counts": season.counts(),
        "version": season.version,
    }))
}
