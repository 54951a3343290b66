//! What the control cameras did, all of them alike on both sides.
//!
//! Controls' visits are not simply added up: a control that died in between, or had a good week,
//! would change the mix and with it the pooled share, though no camera changed. Each control is
//! weighted so that it counts the same before and after (the Mantel-Haenszel weights of Greenland &
//! Robins 1985, Biometrics 41:55-68), and one without visits on both sides does not count.
//!
//! Every camera is set against all controls but itself. What a pool needs of a control are sums, so the
//! pools that leave one out are made of the sums before it and those behind it, and never added up anew.

use super::around::Around;
use super::window::Tally;
use crate::measure::{Counts, DayCount, Exposure, runs_of_shares};

/// Controls with fewer visits on a side than this, all together, do not show what the season did.
const FEWEST_VISITS: usize = 10;
/// The same of nights, for visits at all hours.
const FEWEST_NIGHTS: usize = 10;

/// Counts for two sides.
pub(super) type Sides<T> = (T, T);

/// The pools of all controls but one.
pub(super) struct Pools {
    /// Of the controls before each, and of all.
    before: Vec<Pool>,
    /// Of each and those behind it, and of none.
    behind: Vec<Pool>,
}

impl Pools {
    pub fn of(controls: &[&Around], with_rates: bool) -> Self {
        let alone: Vec<Pool> = controls.iter().map(|c| Pool::of(c, with_rates)).collect();
        let mut before = vec![Pool::default()];
        for pool in &alone {
            let next = before[before.len() - 1].clone().and(pool);
            before.push(next);
        }
        let mut behind = vec![Pool::default()];
        for pool in alone.iter().rev() {
            let next = behind[behind.len() - 1].clone().and(pool);
            behind.push(next);
        }
        behind.reverse();
        Self { before, behind }
    }

    /// All of them but the one at a place, and another beside them.
    pub fn without(&self, place: Option<usize>, beside: Option<&Around>, with_rates: bool) -> Pool {
        let rest = match place {
            Some(place) => self.before[place].clone().and(&self.behind[place + 1]),
            None => self.behind[0].clone(),
        };
        match beside {
            Some(around) => rest.and(&Pool::of(around, with_rates)),
            None => rest,
        }
    }
}

/// Some controls' sums.
#[derive(Clone, Default)]
pub(super) struct Pool {
    /// Visits before and after at controls that have some on both sides, and nights of those that worked on
    /// both.
    visits: [usize; 2],
    nights: [usize; 2],
    /// For the days before the compared ones, the two sides, and the days behind.
    stretches: [Stretch; 4],
    /// Visits at all hours, before and after.
    rates: [Standard; 2],
}

impl Pool {
    fn of(control: &Around, with_rates: bool) -> Self {
        let (before, after) = (&control.before, &control.after);
        let visits = [before, after].map(|t| t.side.visits as f64);
        let is_usable = !visits.contains(&0.0);
        let mut pool = Self::default();
        if let Some(rates) = with_rates.then(|| rates(control)).flatten() {
            pool.rates = rates;
            pool.nights = [before, after].map(|t| t.visits_per_night.len());
        }
        if is_usable {
            pool.visits = [before, after].map(|t| t.side.visits);
            let weight = weight(visits[0], visits[1]);
            pool.stretches = control.stretches().map(|t| Stretch::of(t, weight));
        }
        pool
    }

    fn and(mut self, other: &Self) -> Self {
        for side in 0..2 {
            self.visits[side] += other.visits[side];
            self.nights[side] += other.nights[side];
        }
        for (mine, theirs) in self.stretches.iter_mut().zip(&other.stretches) {
            mine.add(theirs);
        }
        for (mine, theirs) in self.rates.iter_mut().zip(&other.rates) {
            mine.effort += theirs.effort;
            mine.events += theirs.events;
            mine.variance += theirs.variance;
        }
        self
    }

    /// The controls' effective counts before and after; their visits are added day by day, so that deer
    /// seen by several cameras on one day count as one day's luck. `None` where they are too few to tell what
    /// the season did: one stray visit must neither make a change clear nor hide one.
    pub fn shares(&self) -> Option<Sides<Counts>> {
        if self.visits.iter().any(|visits| *visits < FEWEST_VISITS) {
            return None;
        }
        let [earlier, before, after, later] = [0, 1, 2, 3].map(|s| self.stretches[s].together());
        let runs = runs_of_shares(&[&earlier, &before, &after, &later]);
        let effective = |days: &[DayCount]| {
            Counts {
                hits: days.iter().map(|d| d.hits).sum(),
                trials: days.iter().map(|d| d.trials).sum(),
            }
            .divided_by(runs.design_effect)
        };
        Some((effective(&before), effective(&after)))
    }

    /// The controls' effective visits at all hours and effort before and after. `None` without controls that
    /// worked on enough nights of both sides and are tagged.
    pub fn rates(&self) -> Option<Sides<Exposure>> {
        if self.nights.iter().any(|nights| *nights < FEWEST_NIGHTS) {
            return None;
        }
        let [before, after] = &self.rates;
        Some((before.exposure()?, after.exposure()?))
    }
}

/// The harmonic weight of two sides' numbers.
fn weight(before: f64, after: f64) -> f64 {
    before * after / (before + after)
}

/// Sums over controls, each scaled to its weight: of a day's trials, hits, and trials times the control's
/// own share; and of the scaled trials, of their scales squared, and of the counted visits.
#[derive(Clone, Default)]
struct Stretch {
    days: Vec<[f64; 3]>,
    trials: f64,
    squares: f64,
    counted: f64,
}

impl Stretch {
    fn of(tally: &Tally, weight: f64) -> Self {
        let visits = tally.side.visits as f64;
        if visits <= 0.0 {
            return Self {
                days: vec![[0.0; 3]; tally.days.len()],
                ..Self::default()
            };
        }
        let scale = weight / visits;
        let own = tally.side.counted as f64 / visits;
        let day = |d: &DayCount| [scale * d.trials, scale * d.hits, scale * own * d.trials];
        Self {
            days: tally.days.iter().map(day).collect(),
            trials: scale * visits,
            squares: scale * scale * visits,
            counted: scale * tally.side.counted as f64,
        }
    }

    fn add(&mut self, other: &Self) {
        if self.days.len() < other.days.len() {
            self.days.resize(other.days.len(), [0.0; 3]);
        }
        for (mine, theirs) in self.days.iter_mut().zip(&other.days) {
            for (m, t) in mine.iter_mut().zip(theirs) {
                *m += t;
            }
        }
        self.trials += other.trials;
        self.squares += other.squares;
        self.counted += other.counted;
    }

    /// Days of several cameras as one camera's, each control's own share moved to the common one, so that
    /// the mix of cameras is no variation. The scale is Kish's effective size: the trials add up to as
    /// many equal ones as would be known as well.
    fn together(&self) -> Vec<DayCount> {
        if self.trials <= 0.0 {
            return Vec::new();
        }
        let common = self.counted / self.trials;
        let kish = self.trials / self.squares;
        let day = |&[trials, hits, own]: &[f64; 3]| DayCount {
            trials: kish * trials,
            hits: kish * (hits + common * trials - own),
        };
        self.days.iter().map(day).collect()
    }
}

/// One control's visits at all hours in a standard effort; `None` unless it worked on both sides and is
/// tagged.
fn rates(control: &Around) -> Option<[Standard; 2]> {
    let sides = [&control.before, &control.after];
    let efforts = sides.map(|t| t.visits_per_night.len() as f64);
    let are_tagged = sides.iter().all(|t| t.side.pictures.are_tagged());
    if !are_tagged || efforts.contains(&0.0) {
        return None;
    }
    let weight = weight(efforts[0], efforts[1]);
    let standard = |(tally, effort): (&Tally, f64)| {
        let scale = weight / effort;
        let events: f64 = tally.visits_per_night.iter().sum();
        Standard {
            effort: weight,
            events: scale * events,
            variance: scale * scale * events * control.visit_runs().design_effect,
        }
    };
    Some([
        standard((sides[0], efforts[0])),
        standard((sides[1], efforts[1])),
    ])
}

/// Events as they would be in a standard effort, and their variance.
#[derive(Clone, Copy, Default)]
struct Standard {
    effort: f64,
    events: f64,
    variance: f64,
}

impl Standard {
    /// As many independent events in as much effort as give the same rate, known as well.
    fn exposure(&self) -> Option<Exposure> {
        let size = if self.variance > 0.0 {
            self.events / self.variance
        } else {
            1.0
        };
        (self.effort > 0.0).then_some(Exposure {
            events: self.events * size,
            effort: self.effort * size,
        })
    }
}
