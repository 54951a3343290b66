//! The help in sorting: pictures in which probably nothing is. It suggests, and never tags.

use rayon::prelude::*;

use super::quiet::stands_out;
use super::screens::Screens;
use crate::card::frame::Frame;
use crate::card::{Crawl, decode_small};
use crate::card::{Shade, shade_of};
use crate::property::Property;

/// Which pictures were looked at, and what was found.
#[derive(Debug, Default, Clone)]
pub(super) struct Sorting {
    quiet: Vec<Option<bool>>,
    pub looked_at: usize,
    pub of: usize,
    pub done: bool,
}

impl Sorting {
    pub fn begin(pictures: usize) -> Self {
        Self {
            quiet: vec![None; pictures],
            looked_at: 0,
            of: pictures,
            done: false,
        }
    }

    /// Whether none of some pictures shows anything; `None` where one was not looked at, or could
    /// not be compared.
    pub fn quiet(&self, pictures: &[u32]) -> Option<bool> {
        let known = pictures.iter().map(|p| *self.quiet.get(*p as usize)?);
        let known: Option<Vec<bool>> = known.collect();
        known.map(|k| k.into_iter().all(|quiet| quiet))
    }

    /// How far it has come.
    pub fn progress(&self) -> serde_json::Value {
        serde_json::json!({ "done": self.done, "looked_at": self.looked_at, "of": self.of })
    }

    /// Takes in what was found of some pictures.
    pub fn learn(&mut self, found: &[(u32, Option<bool>)]) {
        for (picture, quiet) in found {
            if let Some(slot) = self.quiet.get_mut(*picture as usize) {
                *slot = *quiet;
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
    mut take: impl FnMut(&[(u32, Option<bool>)]) -> bool,
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
            let found: Vec<(u32, Option<bool>)> = (from..until)
                .into_par_iter()
                .map(|i| (of_camera[i], is_quiet(&looks, i - wide.start)))
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

fn is_quiet(looks: &[Option<ComparedPicture>], i: usize) -> Option<bool> {
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
    stands_out(&this.frame, &neighbours, by_day).map(|apart| apart < below)
}
