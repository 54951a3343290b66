//! How well a reading of a clock explains which pictures were taken in the light and which in the dark.
//!
//! A camera changes over when the light falls under its own threshold: a height of the sun between ten
//! degrees below the horizon (open sky) and eight above it (dense canopy), not the same at dawn as at
//! dusk, and blurred by weather. With the sun at height `h`, a picture is a dark one with probability
//!
//! `p = d + (1 - d - n) / (1 + exp((h - c) / s))`
//!
//! where `c` is the threshold of that half of the day, `s` the blur, `d` the chance that a daylight
//! picture looks dark (fog, snow, a stuck filter) and `n` that a night picture looks light (a lamp, the
//! moon, a white flash). All of them are the camera's own and unknown: the likelihood is the mean over
//! a grid of them (a flat prior for the thresholds, and a normal one for dusk less dawn). Pictures of
//! one morning or evening share their weather, so with probability [`ODD`] a whole half-day says
//! nothing: what the light can claim of one half-day is bounded, however many pictures it has.

use std::collections::BTreeMap;

use crate::property::Position;
use crate::sun::elevation_deg;

/// A picture by when the clock, as it is read now, says it was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shot {
    /// Minutes since 1970-01-01T00:00 UTC.
    pub minute: f64,
    /// Taken in the dark, as far as the picture says.
    pub grey: bool,
}

/// Minutes between the offsets that are tried first. Every zone's offset from another is a multiple of
/// it but for a few of a quarter hour.
pub(super) const STEP_MIN: i32 = 10;
const STEPS: usize = 1440 / STEP_MIN as usize;

/// Thresholds that are tried, degrees.
const THRESHOLDS: usize = 13;
fn threshold_deg(n: usize) -> f64 {
    n as f64 * 1.5 - 10.0
}
/// Standard deviation of dusk's threshold less dawn's, degrees.
const DUSK_LESS_DAWN_DEG: f64 = 2.7;
const BLURS_DEG: [f64; 2] = [0.8, 2.2];
/// Chances that a picture misleads: by day, by night.
const MISLEADING: [(f64, f64); 6] = [
    (0.01, 0.01),
    (0.06, 0.01),
    (0.01, 0.06),
    (0.12, 0.12),
    (0.4, 0.03),
    (0.03, 0.4),
];
/// Half-days that say nothing.
const ODD: f64 = 0.04;
/// Pictures of such a half-day are nearly all alike.
const ALIKE: f64 = 0.95;

/// The sun's height for every shot at every offset of the grid.
pub(super) struct Heights {
    degrees: Vec<[f32; STEPS]>,
    /// Solar half-days since 1970 at offset 0, with fractions: even ones are mornings.
    half_days: Vec<f64>,
}

/// By how many steps of the grid each shot is moved.
pub(super) type Moves = Vec<i32>;

impl Heights {
    pub fn of(shots: &[Shot], place: Position) -> Self {
        let one = |shot: &Shot| {
            let mut heights = [0.0; STEPS];
            for (n, height) in heights.iter_mut().enumerate() {
                let offset = signed(n as i32) * STEP_MIN;
                *height = elevation_deg(shot.minute + f64::from(offset), place) as f32;
            }
            heights
        };
        let solar = |shot: &Shot| (shot.minute + place.longitude_deg * 4.0) / 720.0;
        Self {
            degrees: shots.iter().map(one).collect(),
            half_days: shots.iter().map(solar).collect(),
        }
    }

    fn at(&self, shot: usize, moved: i32) -> f32 {
        self.degrees[shot][moved.rem_euclid(STEPS as i32) as usize]
    }

    fn half_day(&self, shot: usize, moved: i32) -> i64 {
        (self.half_days[shot] + f64::from(moved * STEP_MIN) / 720.0).floor() as i64
    }
}

/// Steps from minus half a day to plus half a day.
fn signed(step: i32) -> i32 {
    if step > STEPS as i32 / 2 {
        step - STEPS as i32
    } else {
        step
    }
}

/// Every offset of the grid, in steps.
pub(super) fn all_steps() -> impl Iterator<Item = i32> {
    (0..STEPS as i32).map(signed)
}

/// How well one reading explains the shots.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    /// Log of the mean likelihood over all that is unknown.
    pub log: f64,
    best: Nuisance,
}

/// What a camera is like: thresholds, blur and misleading chances, as their places on the grid.
#[derive(Debug, Clone, Copy, Default)]
struct Nuisance {
    dawn: usize,
    dusk: usize,
    blur: usize,
    misleading: usize,
    log: f64,
}

/// Probabilities of a dark picture by height over threshold, for one blur and misleading chance.
struct Table {
    dark: Vec<f32>,
    /// Further away nothing changes.
    reach_deg: f32,
    /// The likelihoods of a light picture and of a dark one under every threshold, by the sun's height: as many
    /// as a processor multiplies in one go.
    under_all: [Vec<[f32; WIDE]>; 2],
}

/// [`THRESHOLDS`], and some that stay 1.
const WIDE: usize = 16;

const PER_DEG: f32 = 10.0;

impl Table {
    fn of(blur: f64, (by_day, by_night): (f64, f64)) -> Self {
        let reach_deg = (5.0 * blur).ceil() as f32;
        let size = (2.0 * reach_deg * PER_DEG) as usize + 1;
        let p = |i: usize| {
            let over = f64::from(i as f32 / PER_DEG - reach_deg);
            let dark = 1.0 / (1.0 + (over / blur).exp());
            (by_day + (1.0 - by_day - by_night) * dark) as f32
        };
        let mut table = Self {
            dark: (0..size).map(p).collect(),
            reach_deg,
            under_all: Default::default(),
        };
        table.under_all = [false, true].map(|grey| table.likelihoods(grey));
        table
    }

    fn likelihoods(&self, grey: bool) -> Vec<[f32; WIDE]> {
        let heights = (threshold_deg(THRESHOLDS - 1) - threshold_deg(0)) as f32;
        let size = ((heights + 2.0 * self.reach_deg) * PER_DEG) as usize + 2;
        let under_all = |i: usize| {
            // The middle of the step, so that no rounding moves it into the next.
            let height = self.lowest_deg() + (i as f32 + 0.5) / PER_DEG;
            let mut all = [1.0; WIDE];
            for (n, one) in all.iter_mut().enumerate().take(THRESHOLDS) {
                let dark = self.dark(height - threshold_deg(n) as f32);
                *one = if grey { dark } else { 1.0 - dark };
            }
            all
        };
        (0..size).map(under_all).collect()
    }

    /// Under this height all thresholds are the same.
    fn lowest_deg(&self) -> f32 {
        threshold_deg(0) as f32 - self.reach_deg
    }

    /// The likelihoods of a picture under every threshold.
    fn under_all(&self, height_deg: f32, grey: bool) -> &[f32; WIDE] {
        let step = (height_deg - self.lowest_deg()).max(0.0) * PER_DEG;
        let all = &self.under_all[usize::from(grey)];
        &all[(step as usize).min(all.len() - 1)]
    }

    fn dark(&self, over_deg: f32) -> f32 {
        let i = (over_deg.clamp(-self.reach_deg, self.reach_deg) + self.reach_deg) * PER_DEG;
        self.dark[i as usize]
    }

    /// Whether a height is the same to every threshold that is tried.
    fn is_far(&self, height_deg: f32) -> bool {
        let (lowest, highest) = (
            threshold_deg(0) as f32,
            threshold_deg(THRESHOLDS - 1) as f32,
        );
        height_deg > highest + self.reach_deg || height_deg < lowest - self.reach_deg
    }
}

static TABLES: std::sync::LazyLock<Vec<Vec<Table>>> = std::sync::LazyLock::new(|| {
    BLURS_DEG
        .iter()
        .map(|b| MISLEADING.iter().map(|m| Table::of(*b, *m)).collect())
        .collect()
});

/// Shots of one half-day next to each other.
struct Group {
    from: usize,
    until: usize,
    is_morning: bool,
    /// The likelihood of a half-day that says nothing, its probability included.
    odd: f64,
}

/// How well a reading explains the shots, each moved by its own number of steps.
pub(super) fn fit(shots: &[Shot], heights: &Heights, moves: &[i32]) -> Fit {
    let moved: Vec<f32> = (0..shots.len()).map(|i| heights.at(i, moves[i])).collect();
    let groups = groups(shots, heights, moves);
    let mut all = Vec::new();
    let mut best = Nuisance {
        log: f64::NEG_INFINITY,
        ..Nuisance::default()
    };
    for (blur, of_blur) in TABLES.iter().enumerate() {
        for (misleading, table) in of_blur.iter().enumerate() {
            let [dusk, dawn] = sums(shots, &moved, &groups, table);
            for (i, at_dawn) in dawn.iter().enumerate() {
                for (k, at_dusk) in dusk.iter().enumerate() {
                    let apart = threshold_deg(k) - threshold_deg(i);
                    let prior = (apart / DUSK_LESS_DAWN_DEG).powi(2) / -2.0;
                    let log = at_dawn + at_dusk + prior;
                    all.push(log);
                    if log > best.log {
                        best = Nuisance {
                            dawn: i,
                            dusk: k,
                            blur,
                            misleading,
                            log,
                        };
                    }
                }
            }
        }
    }
    Fit {
        log: log_sum(&all) - (all.len() as f64).ln(),
        best,
    }
}

fn groups(shots: &[Shot], heights: &Heights, moves: &[i32]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut last = i64::MIN;
    for (i, moved) in moves.iter().enumerate() {
        let half = heights.half_day(i, *moved);
        match groups.last_mut().filter(|_| half == last) {
            Some(group) => group.until = i + 1,
            None => groups.push(Group {
                from: i,
                until: i + 1,
                is_morning: half.rem_euclid(2) == 0,
                odd: 0.0,
            }),
        }
        last = half;
    }
    for group in &mut groups {
        group.odd = odd(&shots[group.from..group.until]);
    }
    groups
}

/// The logarithm of a product, taken seldom: a logarithm costs more than all else here.
#[derive(Clone, Copy)]
struct LogProduct {
    log: f64,
    product: f64,
}

impl Default for LogProduct {
    fn default() -> Self {
        Self {
            log: 0.0,
            product: 1.0,
        }
    }
}

impl LogProduct {
    fn times(&mut self, factor: f64) {
        const SMALL: f64 = 1e-200;
        self.product *= factor;
        if self.product < SMALL {
            self.log += self.product.ln();
            self.product = 1.0;
        }
    }

    fn log(self) -> f64 {
        self.log + self.product.ln()
    }
}

/// Log likelihoods of the evenings and of the mornings, for every threshold.
fn sums(
    shots: &[Shot],
    heights: &[f32],
    groups: &[Group],
    table: &Table,
) -> [[f64; THRESHOLDS]; 2] {
    let mut sums = [[LogProduct::default(); THRESHOLDS]; 2];
    let likely = |i: usize| {
        let dark = table.dark(heights[i]);
        f64::from(if shots[i].grey { dark } else { 1.0 - dark })
    };
    let mut far = [LogProduct::default(); 2];
    for group in groups {
        let mut common = 1.0;
        let mut products = [1.0_f64; WIDE];
        let mut is_far = true;
        let in_group = heights
            .iter()
            .enumerate()
            .take(group.until)
            .skip(group.from);
        for (i, height) in in_group {
            match table.is_far(*height) {
                true => common *= likely(i),
                false => {
                    is_far = false;
                    let all = table.under_all(*height, shots[i].grey);
                    for (product, one) in products.iter_mut().zip(all) {
                        *product *= f64::from(*one);
                    }
                }
            }
        }
        let half = usize::from(group.is_morning);
        if is_far {
            far[half].times((1.0 - ODD) * common + group.odd);
            continue;
        }
        for (sum, product) in sums[half].iter_mut().zip(products) {
            sum.times((1.0 - ODD) * common * product + group.odd);
        }
    }
    let log = |half: usize| sums[half].map(|s| s.log() + far[half].log());
    [log(0), log(1)]
}

/// The likelihood of a half-day that says nothing, its probability included.
fn odd(shots: &[Shot]) -> f64 {
    let dark = shots.iter().filter(|s| s.grey).count() as i32;
    let light = shots.len() as i32 - dark;
    let all = |these: i32, others: i32| ALIKE.powi(these) * (1.0 - ALIKE).powi(others);
    ODD * (all(dark, light) + all(light, dark)) / 2.0
}

fn log_sum(logs: &[f64]) -> f64 {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + logs.iter().map(|l| (l - most).exp()).sum::<f64>().ln()
}

/// How often pictures that should be clear go against a reading.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Against {
    pub day: usize,
    pub day_against: usize,
    pub night: usize,
    pub night_against: usize,
}

impl Against {
    /// Whether the pictures follow the sun under this reading, by day and by night.
    pub fn follows(self) -> bool {
        const FEWEST: usize = 4;
        const AT_MOST: f64 = 0.12;
        let few = |against: usize, all: usize| {
            all >= FEWEST && against as f64 <= AT_MOST * all as f64 + 0.5
        };
        few(self.day_against, self.day) && few(self.night_against, self.night)
    }
}

/// Counts the pictures whose light is clear under a reading: the sun well above or below the likeliest
/// threshold.
pub(super) fn against(shots: &[Shot], heights: &Heights, moves: &[i32], fit: &Fit) -> Against {
    const CLEAR_DEG: f64 = 3.0;
    let mut found = Against::default();
    for (i, shot) in shots.iter().enumerate() {
        let morning = heights.half_day(i, moves[i]).rem_euclid(2) == 0;
        let threshold = threshold_deg(if morning {
            fit.best.dawn
        } else {
            fit.best.dusk
        });
        let over = f64::from(heights.at(i, moves[i])) - threshold;
        if over > CLEAR_DEG {
            found.day += 1;
            found.day_against += usize::from(shot.grey);
        } else if over < -CLEAR_DEG {
            found.night += 1;
            found.night_against += usize::from(!shot.grey);
        }
    }
    found
}

/// An offset with its 95 % interval, minutes to add to the clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// Likeliest.
    pub minutes: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The offset of shots over the whole day, by its posterior under a flat prior: the shortest stretch of
/// offsets that holds 95 % of it. `moves` is the reading that it is an offset from.
pub(super) fn offset(shots: &[Shot], heights: &Heights, moves: &[i32]) -> Offset {
    // Every third offset first, and all of them where the posterior has its mass.
    const COARSE: i32 = 3;
    let log = |o: i32| fit(shots, heights, &plus(moves, o)).log;
    let mut logs: BTreeMap<i32, f64> = all_steps()
        .filter(|o| o % COARSE == 0)
        .map(|o| (o, log(o)))
        .collect();
    let most = logs.values().copied().fold(f64::NEG_INFINITY, f64::max);
    let telling: Vec<i32> = logs
        .iter()
        .filter(|(_, l)| most - **l < 12.0)
        .map(|(o, _)| *o)
        .collect();
    for o in all_steps() {
        let near = telling.iter().any(|t| (t - o).abs() < COARSE);
        let alike = *logs
            .entry(o - o.rem_euclid(COARSE))
            .or_insert(f64::NEG_INFINITY);
        logs.entry(o)
            .or_insert_with(|| if near { log(o) } else { alike });
    }
    logs.retain(|o, _| (-(STEPS as i32) / 2 < *o) && *o <= STEPS as i32 / 2);
    let total = log_sum(&logs.values().copied().collect::<Vec<_>>());
    let mut mass: Vec<(i32, f64)> = logs.iter().map(|(o, l)| (*o, (l - total).exp())).collect();
    mass.sort_by_key(|(o, _)| *o);
    let best = (0..mass.len())
        .max_by(|a, b| mass[*a].1.total_cmp(&mass[*b].1))
        .unwrap_or(0);
    // Grows from the likeliest towards the likelier neighbour; the day is a circle.
    let n = mass.len();
    let (mut low, mut high, mut sum) = (0, 0, mass[best].1);
    while sum < 0.95 && low + high + 1 < n {
        let below = mass[(best + n - low - 1) % n].1;
        let above = mass[(best + high + 1) % n].1;
        if below > above {
            low += 1;
            sum += below;
        } else {
            high += 1;
            sum += above;
        }
    }
    let around = |k: i32| mass[(best as i32 + k).rem_euclid(n as i32) as usize].1;
    let (step, middle) = (
        f64::from(STEP_MIN),
        f64::from(mass[best].0) * f64::from(STEP_MIN),
    );
    // One hump, as it nearly always is, has a mean and a spread finer than the grid.
    const REACH: i32 = 9;
    let near = (-REACH..=REACH).map(|k| (f64::from(k), around(k)));
    let weight: f64 = near.clone().map(|(_, m)| m).sum();
    let mean = near.clone().map(|(k, m)| k * m).sum::<f64>() / weight;
    let variance = near.map(|(k, m)| (k - mean).powi(2) * m).sum::<f64>() / weight;
    let half = 1.96 * (variance + 1.0 / 12.0).sqrt();
    match weight > 0.97 {
        true => Offset {
            minutes: middle + mean * step,
            low: middle + (mean - half) * step,
            high: middle + (mean + half) * step,
        },
        false => Offset {
            minutes: middle,
            low: middle - (low as f64 + 0.5) * step,
            high: middle + (high as f64 + 0.5) * step,
        },
    }
}

/// The same moves, and some steps more.
pub(super) fn plus(moves: &[i32], steps: i32) -> Moves {
    moves.iter().map(|m| m + steps).collect()
}

/// Log likelihoods of the half-days of shots at every offset of the grid, for a camera that is known:
/// what a search for the moment of a change adds up.
pub(super) fn by_group(
    shots: &[Shot],
    heights: &Heights,
    moves: &[i32],
    known: &Fit,
) -> Vec<(usize, Vec<f64>)> {
    let table = &TABLES[known.best.blur][known.best.misleading];
    let groups = groups(shots, heights, moves);
    let one = |group: &Group| {
        let of_offset = |o: i32| {
            let mut product = 1.0_f64;
            for i in group.from..group.until {
                let morning = heights.half_day(i, moves[i] + o).rem_euclid(2) == 0;
                let n = if morning {
                    known.best.dawn
                } else {
                    known.best.dusk
                };
                let dark = table.dark(heights.at(i, moves[i] + o) - threshold_deg(n) as f32);
                product *= f64::from(if shots[i].grey { dark } else { 1.0 - dark });
            }
            ((1.0 - ODD) * product + group.odd).ln()
        };
        (group.from, all_steps().map(of_offset).collect())
    };
    groups.iter().map(one).collect()
}
