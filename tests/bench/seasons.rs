//! Practice seasons by the hundred, and what the program makes of them.

use graylight::card;
use graylight::clock::Timeline;
use graylight::measure::Estimate;
use graylight::practice::{self, Options, Trouble};
use graylight::property::Property;
use graylight::shift::{Shift, Shifts, Verdict, verdicts};
use graylight::tags;
use graylight::visits::{Kind, Season};
use indicatif::ProgressBar;
use statrs::distribution::{Discrete, Hypergeometric};

/// Hits among trials.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tally {
    pub hits: u64,
    pub trials: u64,
}

impl Tally {
    fn add(&mut self, hit: bool) {
        self.hits += u64::from(hit);
        self.trials += 1;
    }

    fn merge(self, other: Self) -> Self {
        Self {
            hits: self.hits + other.hits,
            trials: self.trials + other.trials,
        }
    }

    pub fn share(self) -> f64 {
        self.hits as f64 / self.trials.max(1) as f64
    }

    #[allow(dead_code)]
    pub fn percent(self) -> String {
        format!("{:.1} %", 100.0 * self.share())
    }
}

/// What happened in seasons without an effect.
#[derive(Debug, Clone, Copy, Default)]
pub struct Outcome {
    /// Seasons with any clear verdict.
    pub wrong: Tally,
    /// Seasons with an alarm for a change that nobody logged.
    pub alarm: Tally,
    /// Intervals of a camera's own change that hold zero.
    pub own: Tally,
    /// Intervals of the change against the controls that hold zero.
    pub against: Tally,
}

/// Plays and judges a season.
fn judged(options: &Options) -> Shifts {
    let folder = tempfile::tempdir().unwrap();
    practice::write(folder.path(), options, &ProgressBar::hidden()).unwrap();
    let today = chrono::NaiveDate::from_ymd_opt(2026, 2, 1).unwrap();
    let property = Property::open(folder.path()).unwrap();
    let crawl = card::crawl(&property, today, &ProgressBar::hidden());
    let timeline = Timeline::of(&property, &crawl).unwrap();
    let tagged = tags::read(&property, &crawl, &timeline, today).unwrap();
    let season = Season::of(&property, &crawl, &timeline, &tagged, &[]).unwrap();
    verdicts(&season, &property.disturbances)
}

/// The sorts of season in which a verdict must not be wrong.
pub fn sorts() -> [(&'static str, Options); 6] {
    [
        ("plain", Trouble::None, 7),
        (
            "strong season shared by all cameras",
            Trouble::StrongSeason,
            7,
        ),
        ("streaks of a resident buck", Trouble::Streaks, 7),
        (
            "camera dead for a third of the days after",
            Trouble::DeadCamera,
            7,
        ),
        (
            "one-hour clock change, accounted for",
            Trouble::ClockChange,
            7,
        ),
        ("ten cameras looked at together", Trouble::None, 10),
    ]
    .map(|(name, trouble, cameras)| {
        let options = Options {
            trouble,
            cameras,
            ..Options::default()
        };
        (name, options)
    })
}

/// Judges seasons in which nothing happened.
pub fn without_effect(options: &Options, seasons: u64) -> Outcome {
    let one = |seed: u64| {
        let Shifts { rows, unlogged, .. } = judged(&Options {
            seed,
            share_after: options.share_before,
            pictures: false,
            ..options.clone()
        });
        let mut outcome = Outcome::default();
        outcome.alarm.add(!unlogged.is_empty());
        outcome.wrong.add(rows.iter().any(|r| r.verdict.is_clear()));
        let holds = |e: Estimate| e.low <= 0.0 && e.high >= 0.0;
        for row in rows.iter().filter(|r| r.kind == Kind::MatureBuck) {
            if let Some(own) = row.share_change {
                outcome.own.add(holds(own));
            }
            if let Some(against) = row.share_change_against_controls {
                outcome.against.add(holds(against));
            }
        }
        outcome
    };
    over_seeds(seasons, one, |a: Outcome, b| Outcome {
        wrong: a.wrong.merge(b.wrong),
        alarm: a.alarm.merge(b.alarm),
        own: a.own.merge(b.own),
        against: a.against.merge(b.against),
    })
}

/// Sums over seeds on all cores. Plain threads: the seasons themselves use the thread pool, and a
/// pool that waits inside itself takes up new seasons until its stack is full.
fn over_seeds<T: Default + Send>(
    seeds: u64,
    one: impl Fn(u64) -> T + Sync,
    merge: impl Fn(T, T) -> T + Sync,
) -> T {
    let workers = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let of_worker = |worker: u64| {
        (1..=seeds)
            .filter(|seed| seed % workers == worker)
            .map(&one)
            .fold(T::default(), &merge)
    };
    std::thread::scope(|scope| {
        let of_worker = &of_worker;
        let running: Vec<_> = (0..workers)
            .map(|worker| scope.spawn(move || of_worker(worker)))
            .collect();
        running
            .into_iter()
            .map(|thread| thread.join().unwrap())
            .fold(T::default(), &merge)
    })
}

/// How often an effect is found.
#[derive(Debug, Clone, Copy, Default)]
pub struct Power {
    /// Mean visits of mature bucks at the touched camera.
    pub before: f64,
    /// See `before`.
    pub after: f64,
    /// P-value at or under 0.05.
    pub found: Tally,
    /// The same for Fisher's exact test.
    pub fisher: Tally,
    /// Called a clear drop.
    pub verdict: Tally,
}

/// Judges seasons with a known effect: the share falls from 0.45 to 0.20 and visits halve.
pub fn power(size: f64, seasons: u64) -> Power {
    let one = |seed: u64| {
        let Shifts { rows, .. } = judged(&Options {
            seed,
            size,
            share_before: 0.45,
            share_after: 0.20,
            rate_after: 0.5,
            pictures: false,
            ..Options::default()
        });
        let row = rows
            .iter()
            .find(|r| r.disturbance == "box-blind" && r.camera == 0 && r.kind == Kind::MatureBuck)
            .unwrap();
        let mut power = Power {
            before: row.before.visits as f64,
            after: row.after.visits as f64,
            ..Power::default()
        };
        power.found.add(row.p_value.is_some_and(|p| p <= 0.05));
        power.fisher.add(fisher(row) <= 0.05);
        power.verdict.add(row.verdict == Verdict::ClearDrop);
        power
    };
    let sum = over_seeds(seasons, one, |a: Power, b| Power {
        before: a.before + b.before,
        after: a.after + b.after,
        found: a.found.merge(b.found),
        fisher: a.fisher.merge(b.fisher),
        verdict: a.verdict.merge(b.verdict),
    });
    Power {
        before: sum.before / seasons as f64,
        after: sum.after / seasons as f64,
        ..sum
    }
}

/// Two-sided p-value of Fisher's exact test: the tables no more likely than the one seen (checked
/// against scipy in the test suite).
pub fn fisher(row: &Shift) -> f64 {
    let side = |counted: usize, visits: usize| (counted as u64, (visits - counted) as u64);
    let (a, b) = side(row.before.counted, row.before.visits);
    let (c, d) = side(row.after.counted, row.after.visits);
    fisher_table(a, b, c, d)
}

/// See [`fisher`]; rows `(a, b)` and `(c, d)`.
pub fn fisher_table(a: u64, b: u64, c: u64, d: u64) -> f64 {
    let Ok(tables) = Hypergeometric::new(a + b + c + d, a + c, a + b) else {
        return 1.0;
    };
    let seen = tables.pmf(a) * (1.0 + 1e-7);
    let least = (a + b).saturating_sub(b + d);
    let most = (a + b).min(a + c);
    (least..=most)
        .map(|k| tables.pmf(k))
        .filter(|p| *p <= seen)
        .sum::<f64>()
        .min(1.0)
}
