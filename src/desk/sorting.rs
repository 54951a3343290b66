//! The help in sorting: pictures in which probably nothing is. It suggests, and never tags.

use rayon::prelude::*;

use super::quiet::difference;
use super::screens::Screens;
use crate::card::frame::{Frame, STRIP};
use crate::card::{Crawl, decode_small};
use crate::card::{Shade, shade_of};
use crate::property::Property;

/// Which pictures were looked at, and what was found.
#[derive(Debug, Default, Clone)]
pub(super) struct Sorting {
    found: Vec<Option<Found>>,
    pub looked_at: usize,
    pub of: usize,
    pub done: bool,
}

/// What was found of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    pub quiet: bool,
    /// How strongly it differs from its neighbours.
    apart: f32,
    /// Where it differs most: left, top, width and height as parts of the picture.
    pub place: [f32; 4],
}

impl Sorting {
    pub fn begin(pictures: usize) -> Self {
        Self {
            found: vec![None; pictures],
            looked_at: 0,
            of: pictures,
            done: false,
        }
    }

    /// Whether none of some pictures shows anything; `None` where one was not looked at, or could
    /// not be compared.
    pub fn quiet(&self, pictures: &[u32]) -> Option<bool> {
        let known: Option<Vec<Found>> = pictures.iter().map(|p| self.of(*p)).collect();
        known.map(|k| k.into_iter().all(|f| f.quiet))
    }

    /// What was found of a picture; `None` where it was not looked at, or could not be compared.
    pub fn of(&self, picture: u32) -> Option<Found> {
        *self.found.get(picture as usize)?
    }

    /// The picture that differs most from what the camera sees else; the first where that is not known.
    pub fn most_telling(&self, pictures: &[u32]) -> Option<u32> {
        let apart = |p: &u32| self.of(*p).map_or(0.0, |f| f.apart);
        // The first of those that differ as much.
        pictures
            .iter()
            .rev()
            .copied()
            .max_by(|a, b| apart(a).total_cmp(&apart(b)))
    }

    /// How far it has come.
    pub fn progress(&self) -> serde_json::Value {
        serde_json::json!({ "done": self.done, "looked_at": self.looked_at, "of": self.of })
    }

    /// Takes in what was found of some pictures.
    pub fn learn(&mut self, found: &[(u32, Option<Found>)]) {
        for (picture, of_picture) in found {
            if let Some(slot) = self.found.get_mut(*picture as usize) {
                *slot = *of_picture;
            }
        }
        self.looked_at += found.len();
        self.done = self.looked_at >= self.of;
    }
}

/// A picture that differs from its neighbours by less than this is probably nothing. Set on practice
/// properties (seeds 1 to 12) where of 200 visits of deer fewer than one is called nothing, and
/// tested on others.
const QUIET_BELOW_BY_NIGHT: f32 = 2.0;
const QUIET_BELOW_BY_DAY: f32 = 3.0;
/// Neighbours on either side in time.
const EITHER_SIDE: usize = 12;
/// A neighbour further away shows another season's leaves.
const APART_DAYS: i64 = 5;
/// Pictures decoded and held at the same time.
const BATCH: usize = 400;

/// What the help in sorting makes of a season: for every visit its pictures, as their places in the
/// crawl, and whether it is probably nothing (`None` where that cannot be said).
///
/// # Errors
/// Where the sun does not rise and set.
pub fn probably_nothing(
    property: &Property,
    crawl: &Crawl,
) -> anyhow::Result<Vec<(Vec<u32>, Option<bool>)>> {
    let screens = Screens::of(property, crawl)?;
    let mut sorting = Sorting::begin(crawl.pictures.len());
    sort(property, crawl, &screens, |found| {
        sorting.learn(found);
        true
    });
    let of_screen = |pictures: &Vec<u32>| (pictures.clone(), sorting.quiet(pictures));
    Ok(screens.all.iter().map(|s| of_screen(&s.pictures)).collect())
}

/// Looks at every picture of the season, camera by camera, and hands on what it finds batch by
/// batch; ends early when `take` says so.
pub(super) fn sort(
    property: &Property,
    crawl: &Crawl,
    screens: &Screens,
    mut take: impl FnMut(&[(u32, Option<Found>)]) -> bool,
) {
    for camera in 0..screens.cameras.len() {
        let of_camera: Vec<u32> = screens
            .all
            .iter()
            .filter(|s| s.camera == camera)
            .flat_map(|s| s.pictures.iter().copied())
            .collect();
        for from in (0..of_camera.len()).step_by(BATCH) {
            let until = (from + BATCH).min(of_camera.len());
            // Neighbours of the first and the last lie outside the batch.
            let margin = EITHER_SIDE * 4;
            let wide = from.saturating_sub(margin)..(until + margin).min(of_camera.len());
            let looks: Vec<Option<ComparedPicture>> = of_camera[wide.clone()]
                .par_iter()
                .map(|p| look(property, crawl, screens, *p))
                .collect();
            let found: Vec<(u32, Option<Found>)> = (from..until)
                .into_par_iter()
                .map(|i| (of_camera[i], compared(&looks, i - wide.start)))
                .collect();
            if !take(&found) {
                return;
            }
        }
    }
}

/// A picture made comparable.
struct ComparedPicture {
    screen: u32,
    time_s: i64,
    shade: Option<Shade>,
    frame: Frame,
}

fn look(
    property: &Property,
    crawl: &Crawl,
    screens: &Screens,
    picture: u32,
) -> Option<ComparedPicture> {
    let p = &crawl.pictures[picture as usize];
    let time = screens.times[picture as usize]?;
    if p.clip {
        return None;
    }
    const ACROSS_PX: u16 = 160;
    let small = decode_small(&property.root.join(&p.file), ACROSS_PX)?;
    Some(ComparedPicture {
        screen: screens.of_picture[picture as usize],
        time_s: time.utc().timestamp(),
        shade: shade_of(&small),
        frame: Frame::of(&small),
    })
}

fn compared(looks: &[Option<ComparedPicture>], i: usize) -> Option<Found> {
    let this = looks[i].as_ref()?;
    // Pictures of the same visit show the same deer.
    let comparable = |l: &&ComparedPicture| {
        l.screen != this.screen
            && l.shade == this.shade
            && (l.time_s - this.time_s).abs() <= APART_DAYS * 86_400
    };
    let before = looks[..i].iter().rev().flatten().filter(comparable);
    let after = looks[i + 1..].iter().flatten().filter(comparable);
    let neighbours: Vec<&Frame> = before
        .take(EITHER_SIDE)
        .chain(after.take(EITHER_SIDE))
        .map(|l| &l.frame)
        .collect();
    let by_day = this.shade != Some(Shade::Grey);
    let below = if by_day {
        QUIET_BELOW_BY_DAY
    } else {
        QUIET_BELOW_BY_NIGHT
    };
    let found = difference(&this.frame, &neighbours, by_day)?;
    // The strips along the top and the bottom are not looked at.
    let [left, top, width, height] = found.place;
    let inner = 1.0 - 2.0 * STRIP;
    Some(Found {
        quiet: found.most < below,
        apart: found.most,
        place: [left, STRIP + inner * top, width, inner * height],
    })
}
