//! Drawing what a camera saw: a hillside, the light of the hour, and the animals in it.

use image::{Rgb, RgbImage};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::season::{Animal, Event};

/// Picture size in pixels: small, so that a season fits in a few megabytes.
const WIDTH: u32 = 160;
/// See [`WIDTH`].
const HEIGHT: u32 = 120;

type Colour = [f32; 3];

/// What stands in front of one camera, by day.
pub struct Scene {
    /// What is drawn as one pixel, in pixels each way.
    pixel: u32,
    view: Vec<Colour>,
    /// Trees' crowns, which the wind moves from one picture to the next.
    crowns: Vec<Crown>,
    /// How long after sunset this camera changes to its lamp: before it, under a dense canopy.
    dusk_min: f32,
    /// How long before sunrise it changes back, which is not the same.
    dawn_min: f32,
    /// Part of the pictures in which its filter hangs: grey by day.
    misleading: f64,
    /// What its night pictures are tinted with; one for none.
    tint: Colour,
}

#[derive(Clone, Copy)]
struct Crown {
    x: f32,
    y: f32,
    across: f32,
    down: f32,
}

impl Scene {
    /// A hillside that follows from the seed, its pixels so many times as wide and as high.
    pub fn new(seed: u64, pixel: u32) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (w, h) = (WIDTH as f32, HEIGHT as f32);
        let (across, down) = (WIDTH / pixel, HEIGHT / pixel);
        let mut view = vec![[0.0; 3]; (across * down) as usize];
        let ridge = h * rng.random_range(0.30..0.45);
        let swell = rng.random_range(3.0..9.0);
        let phase = rng.random_range(0.0..6.0);
        let grass: Colour = [
            rng.random_range(95.0..130.0),
            rng.random_range(105.0..130.0),
            rng.random_range(50.0..75.0),
        ];
        for row in 0..down {
            for column in 0..across {
                let (x, y) = (column * pixel, row * pixel);
                let line = ridge + swell * (x as f32 / w * 5.0 + phase).sin();
                let depth = (y as f32 - line) / (h - line);
                let i = (row * across + column) as usize;
                view[i] = if depth < 0.0 {
                    mix([196.0, 210.0, 226.0], [226.0, 230.0, 232.0], y as f32 / line)
                } else {
                    mix([112.0, 108.0, 86.0], grass, depth.sqrt())
                };
            }
        }
        roughen(&mut view, seed);
        let mut scene = Self {
            pixel,
            view,
            crowns: Vec::new(),
            // The sun at three degrees above the horizon to six below it.
            dusk_min: rng.random_range(-20.0..34.0),
            dawn_min: 0.0,
            misleading: rng.random_range(0.01..0.03),
            tint: if rng.random_bool(0.3) { [1.0, 0.84, 1.1] } else { [1.0; 3] },
        };
        scene.dawn_min = scene.dusk_min + rng.random_range(-15.0..15.0);
        for _ in 0..rng.random_range(5..10) {
            let x = rng.random_range(0.0..w);
            let foot = ridge + rng.random_range(4.0..30.0);
            let half = rng.random_range(1.0..3.5);
            let bark = rng.random_range(50.0..85.0);
            scene.fill(x - half, 0.0, x + half, foot, [bark, bark * 0.85, bark * 0.7]);
            scene.crowns.push(Crown { x, y: foot * 0.25, across: half * 6.0, down: foot * 0.28 });
        }
        scene
    }

    fn fill(&mut self, x0: f32, y0: f32, x1: f32, y1: f32, colour: Colour) {
        self.paint([x0, y0, x1, y1], colour, |x, y| x >= x0 && x < x1 && y >= y0 && y < y1);
    }

    fn ellipse(&mut self, cx: f32, cy: f32, rx: f32, ry: f32, colour: Colour) {
        self.paint([cx - rx, cy - ry, cx + rx, cy + ry], colour, |x, y| {
            ((x - cx) / rx).powi(2) + ((y - cy) / ry).powi(2) <= 1.0
        });
    }

    /// Colours what is inside a shape; nothing of it lies outside the box of left, top, right and bottom.
    fn paint(
        &mut self,
        [left, top, right, bottom]: [f32; 4],
        colour: Colour,
        is_inside: impl Fn(f32, f32) -> bool,
    ) {
        // A number below 0 becomes 0.
        let (across, down) = self.size();
        let within = |from: f32, until: f32, most: u32| {
            let until = ((until + 2.0) as u32).div_ceil(self.pixel);
            (from - 1.0) as u32 / self.pixel..most.min(until)
        };
        let columns = within(left, right, across);
        for row in within(top, bottom, down) {
            for column in columns.clone() {
                let (x, y) = (column * self.pixel, row * self.pixel);
                if is_inside(x as f32, y as f32) {
                    self.view[(row * across + column) as usize] = colour;
                }
            }
        }
    }

    /// The picture of an event: in colour by day, grey under the camera's infrared lamp by night.
    pub fn picture(&self, event: &Event, frame: u32, seed: u64) -> RgbImage {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut scene = Self { view: self.view.clone(), crowns: Vec::new(), ..*self };
        let mut weather = Weather::of(event, seed);
        for crown in &self.crowns {
            let (x, y) = (crown.x + weather.gust(), crown.y + weather.gust() / 3.0);
            scene.ellipse(x, y, crown.across, crown.down, [78.0, 92.0, 48.0]);
        }
        let step = frame as f32 * 9.0;
        let mut x = rng.random_range(30.0..110.0) + step;
        let facing = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
        let ground = HEIGHT as f32 * rng.random_range(0.72..0.86);
        for (size, antlers) in bodies(event) {
            let size = size * weather.distance;
            scene.deer(x, ground - (1.0 - weather.distance) * 40.0, size, facing, antlers);
            x = (x + 34.0) % 140.0;
        }
        if event.animal == Animal::Other {
            scene.ellipse(x, ground - 5.0, 9.0, 5.0, [92.0, 84.0, 76.0]);
            scene.ellipse(x + facing * 9.0, ground - 8.0, 4.0, 3.5, [92.0, 84.0, 76.0]);
        }
        if let Some((x, y)) = weather.branch {
            scene.ellipse(x, y, 26.0, 7.0, [58.0, 70.0, 38.0]);
        }
        // The lamp comes on when the sensor can no longer see; clouds move that by some minutes.
        let sun_min = event.after_sunrise_min.min(event.before_sunset_min) as f32;
        let morning = event.after_sunrise_min < event.before_sunset_min;
        let change_over_min = if morning { scene.dawn_min } else { scene.dusk_min };
        let light_left_min = sun_min + change_over_min + rng.random_range(-4.0..4.0);
        let hangs = rng.random_bool(scene.misleading);
        if light_left_min > 0.0 && !hangs {
            let light =
                (0.45 + light_left_min / 120.0).clamp(0.45, 1.0) + rng.random_range(-0.05..0.05);
            let colour_left = haze(event);
            scene.develop(|c, (x, _)| {
                let grey = (c[0] + c[1] + c[2]) / 3.0;
                let c = mix([grey; 3], c, colour_left);
                let light = light * weather.shade(x);
                let noise = weather.noise(DAY_NOISE);
                each([c[0] * light, c[1] * light, c[2] * light * 0.98], |c| c + noise)
            })
        } else {
            let tint = scene.tint;
            scene.develop(|c, (x, y)| {
                let off = ((x - 80.0) / 110.0).powi(2) + ((y - 75.0) / 85.0).powi(2);
                let lamp = (1.05 - off).clamp(0.08, 1.0) * weather.lamp;
                let grey = (0.3 * c[0] + 0.59 * c[1] + 0.11 * c[2]) * lamp * 0.9;
                let noise = weather.noise(NIGHT_NOISE);
                each(tint, |t| (grey + noise) * t)
            })
        }
    }

    fn deer(&mut self, x: f32, ground: f32, size: f32, facing: f32, antlers: bool) {
        let coat = [128.0, 92.0, 60.0];
        let top = ground - 15.0 * size;
        self.ellipse(x, top, 13.0 * size, 5.5 * size, coat);
        for leg in [-10.0, -7.0, 7.0, 10.0] {
            let at = x + leg * size;
            self.fill(at, top, at + 1.8 * size, ground, [96.0, 70.0, 48.0]);
        }
        let (neck, head) = (x + facing * 13.0 * size, x + facing * 17.0 * size);
        self.ellipse(neck, top - 5.0 * size, 2.8 * size, 6.5 * size, coat);
        self.ellipse(head, top - 11.0 * size, 4.5 * size, 2.6 * size, coat);
        self.ellipse(x - facing * 13.0 * size, top - 1.0, 1.8 * size, 3.0 * size, [235.0; 3]);
        if antlers {
            let bone = [214.0, 202.0, 178.0];
            for side in [-2.5, 1.5] {
                let at = head + side * size;
                self.fill(at, top - 20.0 * size, at + 1.3, top - 12.0 * size, bone);
            }
            self.fill(
                head - 4.5 * size,
                top - 17.0 * size,
                head + 4.5 * size,
                top - 16.0 * size,
                bone,
            );
        }
    }

    fn develop(&self, mut tone: impl FnMut(Colour, (f32, f32)) -> Colour) -> RgbImage {
        let (across, down) = self.size();
        RgbImage::from_fn(across, down, |column, row| {
            let colour = self.view[(row * across + column) as usize];
            let (x, y) = (column * self.pixel, row * self.pixel);
            Rgb(each(tone(colour, (x as f32, y as f32)), |c| c.clamp(0.0, 255.0) as u8))
        })
    }

    /// Pixels across and down.
    fn size(&self) -> (u32, u32) {
        (WIDTH / self.pixel, HEIGHT / self.pixel)
    }
}

/// Standard deviations of the sensor's noise, in grey levels.
const DAY_NOISE: f32 = 1.5;
const NIGHT_NOISE: f32 = 2.5;

/// What differs from one picture to the next though nothing is there.
struct Weather {
    rng: ChaCha8Rng,
    /// How far leaves are blown, in pixels.
    wind_px: f32,
    /// A passing cloud: how much darker the right side is than the left.
    cloud: f32,
    /// How brightly the lamp burns.
    lamp: f32,
    /// How small distance makes the animals.
    distance: f32,
    /// A branch that swings into the picture, which is what set off the camera.
    branch: Option<(f32, f32)>,
}

impl Weather {
    fn of(event: &Event, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x77ea);
        let far = rng.random_bool(0.1);
        let branch = event.animal == Animal::Nothing && rng.random_bool(0.15);
        Self {
            wind_px: rng.random_range(0.0..2.0),
            cloud: rng.random_range(-0.12..0.12),
            lamp: rng.random_range(0.8..1.1),
            distance: if far { 0.6 } else { 1.0 },
            branch: branch.then(|| (rng.random_range(0.0..160.0), rng.random_range(20.0..100.0))),
            rng,
        }
    }

    fn gust(&mut self) -> f32 {
        self.rng.random_range(-1.0..1.0) * self.wind_px
    }

    fn shade(&self, x: f32) -> f32 {
        1.0 + self.cloud * (x / WIDTH as f32 - 0.5)
    }

    /// The sum of three even draws has nearly a normal shape; ten bits of one number do for each.
    fn noise(&mut self, sd: f32) -> f32 {
        const MOST: u32 = (1 << 10) - 1;
        let bits: u32 = self.rng.random();
        let draws = (bits & MOST) + (bits >> 10 & MOST) + (bits >> 20 & MOST);
        (draws as f32 / MOST as f32 * 2.0 - 3.0) * sd
    }
}

/// Grass and leaves: what is on the ground is not one colour.
fn roughen(view: &mut [Colour], seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x6a55);
    for pixel in view {
        let rough = rng.random_range(-7.0..7.0);
        *pixel = each(*pixel, |c| c + rough);
    }
}

/// How much of the colours fog or snow leaves: all on most days, little on one day in ten.
fn haze(event: &Event) -> f32 {
    let mut rng = ChaCha8Rng::seed_from_u64(event.time.timestamp() as u64 / 86_400);
    if rng.random_bool(0.1) { rng.random_range(0.12..0.35) } else { 1.0 }
}

/// The animals in the picture: size, and whether it carries antlers.
fn bodies(event: &Event) -> Vec<(f32, bool)> {
    let main = match event.animal {
        Animal::Buck { mature: true } => (1.15, true),
        Animal::Buck { mature: false } => (0.98, true),
        Animal::Doe => (0.9, false),
        Animal::Other | Animal::Nothing => return vec![],
    };
    let fawns = std::iter::repeat_n((0.6, false), event.fawns as usize);
    std::iter::repeat_n(main, event.count as usize).chain(fawns).collect()
}

fn mix(a: Colour, b: Colour, share: f32) -> Colour {
    let share = share.clamp(0.0, 1.0);
    let at = |i: usize| a[i] + (b[i] - a[i]) * share;
    [at(0), at(1), at(2)]
}

/// The same of every colour of a pixel, which are too many to call a function for.
#[inline]
fn each<T, U>([a, b, c]: [T; 3], of: impl Fn(T) -> U) -> [U; 3] {
    [of(a), of(b), of(c)]
}
