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

use std::array::from_fn;
use std::cell::{OnceCell, RefCell};
use std::collections::BTreeMap;
use std::sync::LazyLock;

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
pub(super) const STEPS: usize = 1440 / STEP_MIN as usize;

/// Thresholds that are tried, degrees.
const THRESHOLDS: usize = 13;
fn threshold_deg(n: usize) -> f64 {
    n as f64 * 1.5 - 10.0
}
const LOWEST_DEG: f32 = -10.0;
const HIGHEST_DEG: f32 = 8.0;
/// Standard deviation of dusk's threshold less dawn's, degrees.
const DUSK_LESS_DAWN_DEG: f64 = 2.7;
const BLURS_DEG: [f64; 2] = [0.8, 2.2];
/// Chances that a picture misleads: by day, by night.
const MISLEADING: [(f64, f64); 6] =
    [(0.01, 0.01), (0.06, 0.01), (0.01, 0.06), (0.12, 0.12), (0.4, 0.03), (0.03, 0.4)];
/// Half-days that say nothing.
const ODD: f64 = 0.04;
/// Pictures of such a half-day are nearly all alike.
const ALIKE: f64 = 0.95;

/// Shots, and the sun's height over each at every offset of the grid; worked out once, when it is asked for.
pub(super) struct Shots {
    all: Vec<Shot>,
    place: Position,
    degrees: Vec<OnceCell<Vec<f32>>>,
    /// Solar half-days since 1970 at offset 0, with fractions: even ones are mornings.
    half_days: Vec<f64>,
    /// How well the offsets fit that move all shots alike.
    steady: RefCell<BTreeMap<i32, Fit>>,
}

/// By how many steps of the grid each shot is moved.
pub(super) type Moves = Vec<i32>;

impl Shots {
    pub fn of(all: Vec<Shot>, place: Position) -> Self {
        let solar = |shot: &Shot| (shot.minute + place.longitude_deg * 4.0) / 720.0;
        Self {
            half_days: all.iter().map(solar).collect(),
            all,
            place,
            degrees: (0..STEPS).map(|_| OnceCell::new()).collect(),
            steady: RefCell::default(),
        }
    }

    /// How many.
    pub fn number(&self) -> usize {
        self.all.len()
    }

    /// All of them moved by so many steps.
    pub fn moved(&self, steps: i32) -> Moves {
        vec![steps; self.all.len()]
    }

    fn at(&self, shot: usize, moved: i32) -> f32 {
        let step = moved.rem_euclid(STEPS as i32);
        let offset_min = f64::from(signed(step) * STEP_MIN);
        let height = |s: &Shot| elevation_deg(s.minute + offset_min, self.place) as f32;
        let heights =
            self.degrees[step as usize].get_or_init(|| self.all.iter().map(height).collect());
        heights[shot]
    }

    fn half_day(&self, shot: usize, moved: i32) -> i64 {
        (self.half_days[shot] + f64::from(moved * STEP_MIN) / 720.0).floor() as i64
    }
}

/// Steps from minus half a day to plus half a day.
fn signed(step: i32) -> i32 {
    if step > STEPS as i32 / 2 { step - STEPS as i32 } else { step }
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
    /// The same where no threshold makes a difference, the sun far under them and far over them.
    far: [[f64; 2]; 2],
}

/// [`THRESHOLDS`], and some that stay 1.
const WIDE: usize = 16;

const PER_DEG: f32 = 10.0;

impl Table {
    fn of(blur: f64, (by_day, by_night): (f64, f64)) -> Self {
        let reach_deg = reach_deg(blur);
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
            far: Default::default(),
        };
        table.under_all = [false, true].map(|grey| table.likelihoods(grey));
        let far = |over_deg: f32| table.dark(over_deg);
        table.far = [far(-reach_deg), far(reach_deg)].map(|d| [f64::from(1.0 - d), f64::from(d)]);
        table
    }

    fn likelihoods(&self, grey: bool) -> Vec<[f32; WIDE]> {
        let heights = HIGHEST_DEG - LOWEST_DEG;
        let size = ((heights + 2.0 * self.reach_deg) * PER_DEG) as usize + 2;
        let under_all = |i: usize| {
            // The middle of the step, so that no rounding moves it into the next.
            let height = LOWEST_DEG - self.reach_deg + (i as f32 + 0.5) / PER_DEG;
            let mut all = [1.0; WIDE];
            for (n, one) in all.iter_mut().enumerate().take(THRESHOLDS) {
                let dark = self.dark(height - threshold_deg(n) as f32);
                *one = if grey { dark } else { 1.0 - dark };
            }
            all
        };
        (0..size).map(under_all).collect()
    }

    fn dark(&self, over_deg: f32) -> f32 {
        let i = (over_deg.clamp(-self.reach_deg, self.reach_deg) + self.reach_deg) * PER_DEG;
        self.dark[i as usize]
    }
}

/// How far from a threshold a blur is still felt.
fn reach_deg(blur: f64) -> f32 {
    (5.0 * blur).ceil() as f32
}

static TABLES: LazyLock<Vec<Vec<Table>>> = LazyLock::new(|| {
    BLURS_DEG.iter().map(|b| MISLEADING.iter().map(|m| Table::of(*b, *m)).collect()).collect()
});

/// How likely dusk's threshold is beside dawn's: the normal curve, by both their places on the grid.
static APART: LazyLock<[[f64; THRESHOLDS]; THRESHOLDS]> = LazyLock::new(|| {
    let log = |apart_deg: f64| (apart_deg / DUSK_LESS_DAWN_DEG).powi(2) / -2.0;
    from_fn(|dawn| from_fn(|dusk| log(threshold_deg(dusk) - threshold_deg(dawn)).exp()))
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
pub(super) fn fit(shots: &Shots, moves: &[i32]) -> Fit {
    let steady = moves.first().copied();
    let steady = steady.filter(|first| moves.iter().all(|m| m == first));
    let known = steady.and_then(|steps| shots.steady.borrow().get(&steps).copied());
    known.unwrap_or_else(|| {
        let fit = fit_anew(shots, moves);
        if let Some(steps) = steady {
            shots.steady.borrow_mut().insert(steps, fit);
        }
        fit
    })
}

fn fit_anew(shots: &Shots, moves: &[i32]) -> Fit {
    let groups = groups(shots, moves);
    let mut logs = Vec::new();
    let mut best = Nuisance { log: f64::NEG_INFINITY, ..Nuisance::default() };
    for (blur, of_blur) in TABLES.iter().enumerate() {
        let sorted = Sorted::of(shots, moves, &groups, reach_deg(BLURS_DEG[blur]));
        for (misleading, table) in of_blur.iter().enumerate() {
            let [mut dusk, dawn] = sorted.logs(table);
            let (highest_dawn, highest_dusk) = (highest(&dawn), highest(&dusk));
            for log in &mut dusk {
                *log = (*log - highest_dusk).exp();
            }
            let (mut sum, mut likeliest) = (0.0, (0.0, 0, 0));
            for (i, at_dawn) in dawn.iter().enumerate() {
                let at_dawn = (at_dawn - highest_dawn).exp();
                for (k, at_dusk) in dusk.iter().enumerate() {
                    let likelihood = at_dawn * at_dusk * APART[i][k];
                    sum += likelihood;
                    if likelihood > likeliest.0 {
                        likeliest = (likelihood, i, k);
                    }
                }
            }
            let (likelihood, dawn, dusk) = likeliest;
            let log = highest_dawn + highest_dusk + likelihood.ln();
            if log > best.log {
                best = Nuisance { dawn, dusk, blur, misleading, log };
            }
            logs.push(highest_dawn + highest_dusk + sum.ln());
        }
    }
    let tried = logs.len() * THRESHOLDS * THRESHOLDS;
    Fit { log: log_sum(&logs) - (tried as f64).ln(), best }
}

fn highest(logs: &[f64]) -> f64 {
    logs.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

fn groups(shots: &Shots, moves: &[i32]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    let mut last = i64::MIN;
    for (i, moved) in moves.iter().enumerate() {
        let half = shots.half_day(i, *moved);
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
        group.odd = odd(&shots.all[group.from..group.until]);
    }
    groups
}

/// The shots of some groups, those near a threshold apart from those that are the same to all of them.
struct Sorted<'a> {
    groups: &'a [Group],
    /// Where each group's near shots end among all of them.
    near_until: Vec<usize>,
    /// Their places in [`Table::under_all`].
    near: Vec<(bool, u16)>,
    /// How many far ones a group has: the sun under all thresholds and over them, light and dark.
    far: Vec<[[u16; 2]; 2]>,
}

impl<'a> Sorted<'a> {
    fn of(shots: &Shots, moves: &[i32], groups: &'a [Group], reach_deg: f32) -> Self {
        let mut sorted = Self {
            groups,
            near_until: Vec::with_capacity(groups.len()),
            near: Vec::new(),
            far: Vec::with_capacity(groups.len()),
        };
        for group in groups {
            let mut far = [[0_u16; 2]; 2];
            let of_group = moves.iter().enumerate().take(group.until);
            for (i, moved) in of_group.skip(group.from) {
                let (height, grey) = (shots.at(i, *moved), shots.all[i].grey);
                let over_lowest = height - (LOWEST_DEG - reach_deg);
                let over_highest = height - (HIGHEST_DEG + reach_deg);
                match over_lowest < 0.0 || over_highest > 0.0 {
                    true => {
                        let number = &mut far[usize::from(over_highest > 0.0)][usize::from(grey)];
                        *number += 1;
                    }
                    false => sorted.near.push((grey, (over_lowest * PER_DEG) as u16)),
                }
            }
            sorted.far.push(far);
            sorted.near_until.push(sorted.near.len());
        }
        sorted
    }

    /// Log likelihoods of the evenings and of the mornings, for every threshold.
    fn logs(&self, table: &Table) -> [[f64; THRESHOLDS]; 2] {
        let mut halves = [LogProducts::default(), LogProducts::default()];
        let mut from = 0;
        for ((group, until), far) in self.groups.iter().zip(&self.near_until).zip(&self.far) {
            let mut common = 1.0 - ODD;
            for (numbers, likely) in far.iter().zip(&table.far) {
                for (number, likely) in numbers.iter().zip(likely) {
                    for _ in 0..*number {
                        common *= likely;
                    }
                }
            }
            let half = &mut halves[usize::from(group.is_morning)];
            match &self.near[from..*until] {
                [] => half.all_times(common + group.odd),
                near => {
                    let mut products = [1.0_f32; WIDE];
                    for (grey, step) in near {
                        let all = &table.under_all[usize::from(*grey)];
                        let all = &all[usize::from(*step).min(all.len() - 1)];
                        for (product, one) in products.iter_mut().zip(all) {
                            *product *= one;
                        }
                    }
                    half.times(common, &products, group.odd);
                }
            }
            from = *until;
        }
        let [evenings, mornings] = halves;
        [evenings.logs(), mornings.logs()]
    }
}

/// Logarithms of products, taken seldom: a logarithm costs more than all else here.
struct LogProducts {
    logs: [f64; WIDE],
    products: [f64; WIDE],
    /// What all of them are multiplied by.
    log_of_all: f64,
    product_of_all: f64,
}

impl Default for LogProducts {
    fn default() -> Self {
        Self { logs: [0.0; WIDE], products: [1.0; WIDE], log_of_all: 0.0, product_of_all: 1.0 }
    }
}

impl LogProducts {
    const SMALL: f64 = 1e-150;

    /// Multiplies each by a factor: what all have in common times its own, and something beside.
    fn times(&mut self, common: f64, own: &[f32; WIDE], beside: f64) {
        let mut smallest = f64::INFINITY;
        for (product, own) in self.products.iter_mut().zip(own) {
            *product *= common * f64::from(*own) + beside;
            smallest = if *product < smallest { *product } else { smallest };
        }
        if smallest < Self::SMALL {
            for (log, product) in self.logs.iter_mut().zip(&mut self.products) {
                *log += product.ln();
                *product = 1.0;
            }
        }
    }

    fn all_times(&mut self, factor: f64) {
        self.product_of_all *= factor;
        if self.product_of_all < Self::SMALL {
            self.log_of_all += self.product_of_all.ln();
            self.product_of_all = 1.0;
        }
    }

    fn logs(self) -> [f64; THRESHOLDS] {
        let of_all = self.log_of_all + self.product_of_all.ln();
        let mut logs = [of_all; THRESHOLDS];
        for (all, (log, product)) in logs.iter_mut().zip(self.logs.iter().zip(&self.products)) {
            *all += log + product.ln();
        }
        logs
    }
}

/// The likelihood of a half-day that says nothing, its probability included.
fn odd(shots: &[Shot]) -> f64 {
    let dark = shots.iter().filter(|s| s.grey).count() as i32;
    let light = shots.len() as i32 - dark;
    let all = |these: i32, others: i32| ALIKE.powi(these) * (1.0 - ALIKE).powi(others);
    ODD * (all(dark, light) + all(light, dark)) / 2.0
}

pub(super) fn log_sum(logs: &[f64]) -> f64 {
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
pub(super) fn against(shots: &Shots, moves: &[i32], fit: &Fit) -> Against {
    const CLEAR_DEG: f64 = 3.0;
    let mut found = Against::default();
    for (i, shot) in shots.all.iter().enumerate() {
        let morning = shots.half_day(i, moves[i]).rem_euclid(2) == 0;
        let threshold = threshold_deg(if morning { fit.best.dawn } else { fit.best.dusk });
        let over = f64::from(shots.at(i, moves[i])) - threshold;
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

/// The same moves, and some steps more.
pub(super) fn plus(moves: &[i32], steps: i32) -> Moves {
    moves.iter().map(|m| m + steps).collect()
}

/// Log likelihoods of the half-days of shots at every offset of the grid, for a camera that is known:
/// what a search for the moment of a change adds up.
pub(super) fn by_group(shots: &Shots, moves: &[i32], known: &Fit) -> Vec<(usize, Vec<f64>)> {
    let table = &TABLES[known.best.blur][known.best.misleading];
    let groups = groups(shots, moves);
    let one = |group: &Group| {
        let of_offset = |o: i32| {
            let mut product = 1.0_f64;
            let of_group = moves.iter().enumerate().take(group.until);
            for (i, moved) in of_group.skip(group.from) {
                let morning = shots.half_day(i, moved + o).rem_euclid(2) == 0;
                let n = if morning { known.best.dawn } else { known.best.dusk };
                let dark = table.dark(shots.at(i, moved + o) - threshold_deg(n) as f32);
                product *= f64::from(if shots.all[i].grey { dark } else { 1.0 - dark });
            }
            ((1.0 - ODD) * product + group.odd).ln()
        };
        (group.from, all_steps().map(of_offset).collect())
    };
    groups.iter().map(one).collect()
}
