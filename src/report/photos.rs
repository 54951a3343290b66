//! Which photographs the page shows, and the photographs themselves, made small.

use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use rayon::prelude::*;

use super::words;
use crate::card::frame::Frame;
use crate::card::{Small, decode_small, shrunk};
use crate::debrief::{Debrief, KnownDeer, SeenIn};
use crate::sun::{Light, SunDay};

/// A photograph of the page.
#[derive(Clone)]
pub(super) struct Photo {
    small: Small,
    /// Where and when, in words.
    pub caption: String,
    /// Whom it shows, for a reader who cannot see it.
    pub alt: String,
}

/// All of them.
#[derive(Default)]
pub(super) struct Photos {
    /// Those of the first page.
    pub first: Vec<Photo>,
    /// Those of each known deer, in its order.
    pub of_deer: Vec<Vec<Photo>>,
}

/// Photographs of one deer.
const PER_DEER: usize = 4;
/// Photographs on the first page.
const ON_FIRST_PAGE: usize = 3;
/// Pictures that are looked at to choose those.
const LOOKED_AT: usize = 8;
/// All photographs together, as JPEG: written as text in a page they take a third more.
const MOST_BYTES: usize = 4_400_000;
const MOST_PX: u16 = 560;
const QUALITY: u8 = 72;

impl Photo {
    /// The photograph as an address that holds all of it.
    pub fn address(&self) -> String {
        format!("data:image/jpeg;base64,{}", STANDARD.encode(&self.small.jpeg))
    }

    /// Pixels across and down.
    pub fn size(&self) -> (u32, u32) {
        self.small.size
    }
}

impl Photos {
    /// Chooses and makes them.
    pub fn of(debrief: &Debrief) -> Self {
        let chosen: Vec<Vec<SeenIn>> =
            debrief.known_deer.par_iter().map(|deer| best(debrief, &deer.pictures)).collect();
        let made = |deer: &KnownDeer, seen: &SeenIn| photo(debrief, Some(deer), seen);
        let mut photos = Self {
            first: Vec::new(),
            of_deer: debrief.known_deer.iter().map(|_| Vec::new()).collect(),
        };
        let mut bytes = 0;
        // Every deer its best one before any its second.
        for turn in 0..PER_DEER {
            let of_turn: Vec<(usize, Photo)> = debrief
                .known_deer
                .par_iter()
                .zip(&chosen)
                .enumerate()
                .filter_map(|(i, (deer, seen))| Some((i, made(deer, seen.get(turn)?)?)))
                .collect();
            for (i, photo) in of_turn {
                // The best of the first deer stand on the first page too.
                let is_first = turn == 0 && photos.first.len() < ON_FIRST_PAGE;
                bytes += photo.small.jpeg.len() * if is_first { 2 } else { 1 };
                if bytes > MOST_BYTES {
                    return photos.with_others(debrief);
                }
                photos.first.extend(is_first.then(|| photo.clone()));
                photos.of_deer[i].push(photo);
            }
        }
        photos.with_others(debrief)
    }

    /// Fills the first page with deer that have no name.
    fn with_others(mut self, debrief: &Debrief) -> Self {
        let missing = ON_FIRST_PAGE - self.first.len();
        if missing > 0 {
            let others = best(debrief, &of_nobody(debrief));
            let more = others.iter().filter_map(|seen| photo(debrief, None, seen));
            self.first.extend(more.take(missing));
        }
        self
    }
}

/// Pictures of deer without a name, of the kind that the season is about.
fn of_nobody(debrief: &Debrief) -> Vec<SeenIn> {
    let (kind, mature) = (debrief.season.about.kind, debrief.property.settings.mature_age);
    let sightings = &debrief.tagged.sightings;
    let places = debrief.season.places_of(&sightings.cameras);
    let rows = sightings.rows().into_iter().flatten();
    let fits = rows.filter(|r| r.name.is_none() && kind.includes(r.who, r.age, mature));
    let seen = fits.filter_map(|r| {
        Some(SeenIn { picture: r.picture?, camera: places[r.camera as usize]?, time: r.time })
    });
    seen.collect()
}

/// The best of some pictures: in the best light, with the most that moved; of one day no two before every day
/// has one.
fn best(debrief: &Debrief, seen: &[SeenIn]) -> Vec<SeenIn> {
    let is_still = |s: &&SeenIn| {
        let picture = &debrief.crawl.pictures[s.picture as usize];
        !picture.clip && !picture.cut_short
    };
    let newest = debrief.season.newest();
    let is_now = |s: &&SeenIn| newest.is_some_and(|y| y.contains(s.time.date()));
    // Of this season while it has enough of them.
    let only_now = seen.iter().filter(is_now).filter(is_still).count() >= LOOKED_AT;
    let stills = seen.iter().filter(is_still).filter(|s| !only_now || is_now(s));
    let mut all: Vec<(Light, &SeenIn)> =
        stills.filter_map(|s| Some((light(debrief, s)?, s))).collect();
    all.sort_by_key(|(light, s)| (brightness_rank(*light), s.time, s.picture));
    // Evenly from among those in the best light, so that they are not all of one week.
    let lit = all.partition_point(|(light, _)| brightness_rank(*light) == 0);
    let pool = if lit >= PER_DEER { &all[..lit] } else { &all[..] };
    let step = pool.len().div_ceil(LOOKED_AT).max(1);
    let mut looked: Vec<(Looked, SeenIn)> =
        pool.par_iter().step_by(step).map(|(_, s)| (look(debrief, s), **s)).collect();
    looked.sort_by(|(a, one), (b, other)| {
        let by_light = b.is_bright.cmp(&a.is_bright);
        let by_size = b.moved.total_cmp(&a.moved);
        by_light.then(by_size).then(one.picture.cmp(&other.picture))
    });
    // Of one visit one is enough.
    const ONE_VISIT_MIN: i64 = 60;
    let mut kept: Vec<(Looked, SeenIn)> = Vec::new();
    for (look, one) in looked {
        let is_other = |(_, k): &(Looked, SeenIn)| {
            k.camera != one.camera
                || (k.time.utc() - one.time.utc()).num_minutes().abs() > ONE_VISIT_MIN
        };
        if look.is_large && kept.iter().all(is_other) {
            kept.push((look, one));
        }
    }
    let mut days = std::collections::BTreeSet::new();
    let (mut fresh, rest): (Vec<SeenIn>, Vec<SeenIn>) =
        kept.into_iter().map(|(_, s)| s).partition(|s| days.insert(s.time.date()));
    fresh.extend(rest);
    fresh
}

fn brightness_rank(light: Light) -> u8 {
    match light {
        Light::Daylight => 0,
        Light::Gray => 1,
        Light::Dark => 2,
    }
}

fn light(debrief: &Debrief, seen: &SeenIn) -> Option<Light> {
    let date = seen.time.date();
    let sun = SunDay::on(date, debrief.season.cameras[seen.camera].position_on(date)).ok()?;
    Some(Light::at(seen.time, &sun, &debrief.property.settings))
}

/// What a look at a picture shows.
#[derive(Clone, Copy)]
struct Looked {
    /// Of a size at which something can be made out.
    is_large: bool,
    /// Taken in colour, as by day.
    is_bright: bool,
    /// The part of it that differs from what its camera saw shortly before and after; more than the half is a
    /// change of light and counts as nothing.
    moved: f32,
}

fn look(debrief: &Debrief, seen: &SeenIn) -> Looked {
    const NEIGHBOURS: usize = 2;
    const DIFFERS: f32 = 0.3;
    const ACROSS_PX: u16 = 160;
    let pictures = &debrief.crawl.pictures;
    let place = seen.picture as usize;
    let camera = &pictures[place].camera;
    let is_beside = |i: &usize| !pictures[*i].clip && pictures[*i].camera == *camera;
    // Pictures lie in the order of their paths, which within a camera is that of time.
    let before = (0..place).rev().filter(is_beside).skip(1).take(NEIGHBOURS);
    let after = (place + 1..pictures.len()).filter(is_beside).skip(1).take(NEIGHBOURS);
    let decoded =
        |i: usize| decode_small(&debrief.property.root.join(pictures[i].file()), ACROSS_PX);
    let Some(picture) = decoded(place) else {
        return Looked { is_large: false, is_bright: false, moved: -1.0 };
    };
    let here = Frame::of(&picture);
    let others: Vec<Frame> =
        before.chain(after).filter_map(|i| Some(Frame::of(&decoded(i)?))).collect();
    let apart = here.light.iter().enumerate().filter(|(i, light)| {
        let mut there: Vec<f32> = others.iter().map(|f| f.light[*i]).collect();
        there.sort_by(f32::total_cmp);
        let usual = there.get(there.len() / 2);
        usual.is_some_and(|usual| (**light - usual).abs() > DIFFERS)
    });
    let part = apart.count() as f32 / here.light.len() as f32;
    const SMALLEST_PX: u32 = 40;
    Looked {
        is_large: picture.width().min(picture.height()) >= SMALLEST_PX,
        is_bright: is_bright(&picture),
        moved: if part > 0.5 { 0.0 } else { part },
    }
}

/// Whether a picture is neither dark nor grey.
fn is_bright(picture: &image::RgbImage) -> bool {
    const LEAST_LIGHT: f32 = 70.0;
    const LEAST_COLOUR: f32 = 12.0;
    let (mut light, mut colour) = (0.0, 0.0);
    for pixel in picture.pixels() {
        let [r, g, b] = pixel.0.map(f32::from);
        light += (r + g + b) / 3.0;
        colour += r.max(g).max(b) - r.min(g).min(b);
    }
    let pixels = (picture.width() * picture.height()).max(1) as f32;
    light / pixels > LEAST_LIGHT && colour / pixels > LEAST_COLOUR
}

fn photo(debrief: &Debrief, deer: Option<&KnownDeer>, seen: &SeenIn) -> Option<Photo> {
    let file = debrief.crawl.pictures[seen.picture as usize].file();
    let camera = &debrief.season.cameras[seen.camera];
    let when = when(debrief, seen);
    let date = words::day(seen.time.date());
    Some(Photo {
        small: made(&debrief.property.root, file)?,
        caption: match deer {
            Some(deer) => format!("{}: {}, {date}, {when}", words::deer_and_age(deer), camera.name),
            None => format!("{}, {date}, {when}", camera.name),
        },
        alt: match deer {
            Some(deer) => format!("{} at {}", deer.name, camera.name),
            None => format!("A deer at {}", camera.name),
        },
    })
}

/// A link may lead out of the property, and what it leads to is nobody's to show.
fn made(root: &Path, file: &Path) -> Option<Small> {
    let real = |path: &Path| path.canonicalize().ok();
    let path = real(&root.join(file))?;
    path.starts_with(real(root)?).then(|| shrunk(&path, MOST_PX, QUALITY))?
}

/// The minute of a picture by the sun nearest to it.
fn when(debrief: &Debrief, seen: &SeenIn) -> String {
    let date = seen.time.date();
    let place = debrief.season.cameras[seen.camera].position_on(date);
    let Ok(sun) = SunDay::on(date, place) else {
        return seen.time.shown().format("%H:%M").to_string();
    };
    let (rise, set) = (seen.time.minutes_since(sun.sunrise), seen.time.minutes_since(sun.sunset));
    match rise.abs() < set.abs() {
        true => words::around_sunrise(rise),
        false => words::around_sunset(-set),
    }
}
