//! Practice seasons by the hundred, and what the program makes of them.

#[path = "worlds.rs"]
mod worlds;

use std::path::Path;

use graylight::card;
use graylight::clock::Timeline;
use graylight::debrief::Debrief;
use graylight::measure::Estimate;
use graylight::practice::{self, Options, Trouble};
use graylight::property::Property;
use graylight::shift::{Answer, Question, Role, Shift, Shifts, Verdict, verdicts};
use graylight::tags;
use graylight::visits::{Kind, Season};
use indicatif::ProgressBar;

use statrs::distribution::{Discrete, Hypergeometric};

#[allow(unused_imports, reason = "each target asks for other things")]
pub use worlds::{Effect, Law, World, worlds, worlds_for_effects};

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
        Self { hits: self.hits + other.hits, trials: self.trials + other.trials }
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
    /// Seasons in which all near cameras together are called clear, on either question.
    pub near: Tally,
    /// Seasons with any clear verdict.
    pub any: Tally,
    /// Seasons with an alarm for a change that nobody logged.
    pub alarm: Tally,
    /// Intervals of a camera's own change of the share that hold zero.
    pub own: Tally,
    /// Intervals of the share's change against the controls that hold zero.
    pub share: Tally,
    /// Intervals of the ratio of visits in light against the controls that hold one.
    pub light: Tally,
}

impl Outcome {
    fn merge(self, b: Self) -> Self {
        Self {
            near: self.near.merge(b.near),
            any: self.any.merge(b.any),
            alarm: self.alarm.merge(b.alarm),
            own: self.own.merge(b.own),
            share: self.share.merge(b.share),
            light: self.light.merge(b.light),
        }
    }

    /// Counts one season; `is_null` says of a camera that nothing happened at it.
    fn take_in(&mut self, shifts: &Shifts, is_null: impl Fn(usize) -> bool) {
        let alarms = &shifts.unlogged;
        self.alarm.add(alarms.iter().any(|u| is_null(u.camera)));
        let is_null = |r: &Shift| r.camera.is_none_or(&is_null);
        let clear = |r: &Shift| is_null(r) && (r.verdict.is_clear() || r.light_verdict.is_clear());
        let near = |r: &Shift| r.role == Role::Near && r.kind == Kind::MatureBuck;
        self.any.add(shifts.rows.iter().any(clear));
        self.near.add(shifts.rows.iter().any(|r| near(r) && clear(r)));
        let holds = |e: Estimate, value: f64| e.low <= value && e.high >= value;
        let rows = shifts.rows.iter();
        for row in rows.filter(|r| near(r) && r.camera.is_some()) {
            if let Some(own) = row.share_change {
                self.own.add(holds(own, 0.0));
            }
            if let Some(share) = row.share_change_against_controls {
                self.share.add(holds(share, 0.0));
            }
            if let Some(light) = row.rate_ratio_against_controls {
                self.light.add(holds(light, 1.0));
            }
        }
    }
}

/// Plays and judges a practice season.
fn judged(options: &Options) -> Shifts {
    let folder = tempfile::tempdir().unwrap();
    practice::write(folder.path(), options, &ProgressBar::hidden()).unwrap();
    read(folder.path())
}

/// Judges a property.
fn read(folder: &Path) -> Shifts {
    let property = Property::open(folder).unwrap();
    verdicts(&season(folder), &property.disturbances)
}

fn season(folder: &Path) -> Season {
    let today = chrono::NaiveDate::from_ymd_opt(2026, 2, 1).unwrap();
    let property = Property::open(folder).unwrap();
    let crawl = card::crawl(&property, today, &ProgressBar::hidden());
    let timeline = Timeline::of(&property, &crawl).unwrap();
    let tagged = tags::read(&property, &crawl, &timeline, today).unwrap();
    Season::of(&property, &crawl, &timeline, &tagged, &[], &[]).unwrap()
}

/// Judges a world in which nothing happened.
pub fn in_world(world: &World, seasons: u64) -> Outcome {
    let one = |seed: u64| {
        let folder = tempfile::tempdir().unwrap();
        world.write(folder.path(), seed);
        let mut outcome = Outcome::default();
        outcome.take_in(&read(folder.path()), |camera| world.is_null(camera));
        outcome
    };
    over_seeds(seasons, one, Outcome::merge)
}

/// The sorts of season in which a verdict must not be wrong.
pub fn sorts() -> [(&'static str, Options); 6] {
    [
        ("plain", Trouble::None, 7),
        ("strong season shared by all cameras", Trouble::StrongSeason, 7),
        ("streaks of a resident buck", Trouble::Streaks, 7),
        ("camera dead for a third of the days after", Trouble::DeadCamera, 7),
        ("one-hour clock change, accounted for", Trouble::ClockChange, 7),
        ("ten cameras looked at together", Trouble::None, 10),
    ]
    .map(|(name, trouble, cameras)| {
        let options = Options { trouble, cameras, ..Options::default() };
        (name, options)
    })
}

/// How often the other intervals of the report hold the truth.
#[derive(Debug, Clone, Copy, Default)]
pub struct Covered {
    /// The range of a camera's daylight share over the season.
    pub share: Tally,
    /// That of visits in light per 100 nights.
    pub rate: Tally,
    /// Minutes by which evenings shifted, against the controls: nothing shifts them.
    pub evening: Tally,
    /// The day on which a clear change began.
    pub onset: Tally,
    /// Seasons with a change that stays in which a return is reported.
    pub returned: Tally,
}

impl Covered {
    fn merge(self, b: Self) -> Self {
        Self {
            share: self.share.merge(b.share),
            rate: self.rate.merge(b.rate),
            evening: self.evening.merge(b.evening),
            onset: self.onset.merge(b.onset),
            returned: self.returned.merge(b.returned),
        }
    }
}

/// Measures them in a world whose long-run share and rate at the control cameras are `share` and `rate`.
pub fn covered(world: &World, (share, rate): (f64, f64), seasons: u64) -> Covered {
    let one = |seed: u64| {
        let folder = tempfile::tempdir().unwrap();
        world.write(folder.path(), seed);
        let today = chrono::NaiveDate::from_ymd_opt(2026, 2, 1).unwrap();
        let debrief = Debrief::of(folder.path(), today, &ProgressBar::hidden()).unwrap();
        let mut covered = Covered::default();
        let holds = |e: Estimate, value: f64| e.low <= value && value <= e.high;
        let is_control = |c: Option<usize>| c.is_some_and(|c| c >= world.near);
        for answer in debrief.daylight.iter().filter(|a| a.kind == Kind::MatureBuck) {
            if is_control(answer.camera) {
                covered.share.add(answer.share.is_some_and(|s| holds(s, share)));
                let per_100 = answer.per_100_nights;
                covered.rate.add(per_100.is_some_and(|r| holds(r, 100.0 * share * rate)));
            }
        }
        let near = |r: &&Shift| r.camera == Some(0) && r.kind == Kind::MatureBuck;
        let row = debrief.shifts.rows.iter().find(near).unwrap();
        // Where visits in light are lost, the evening's usual minute moves with them.
        let is_effect = world.law == Law::Effect;
        let evening = row.timing.and_then(|t| t.evening_against_min);
        if let Some(shift) = evening.filter(|_| !is_effect) {
            covered.evening.add(holds(shift, 0.0));
        }
        if let Some(onset) = row.onset.filter(|_| is_effect) {
            let date = debrief.property.disturbances[0].start.date();
            covered.onset.add(onset.interval.0 <= date && date <= onset.interval.1);
            covered.returned.add(onset.recovered_after_days.is_some());
        }
        covered
    };
    over_seeds(seasons, one, Covered::merge)
}

/// Judges practice seasons in which nothing happened.
pub fn without_effect(options: &Options, seasons: u64) -> Outcome {
    let one = |seed: u64| {
        let shifts = judged(&Options {
            seed,
            share_after: options.share_before,
            pictures: false,
            ..options.clone()
        });
        let mut outcome = Outcome::default();
        outcome.take_in(&shifts, |_| true);
        outcome
    };
    over_seeds(seasons, one, Outcome::merge)
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
        (1..=seeds).filter(|seed| seed % workers == worker).map(&one).fold(T::default(), &merge)
    };
    std::thread::scope(|scope| {
        let of_worker = &of_worker;
        let running: Vec<_> =
            (0..workers).map(|worker| scope.spawn(move || of_worker(worker))).collect();
        running.into_iter().map(|thread| thread.join().unwrap()).fold(T::default(), &merge)
    })
}

/// How often an effect is found.
#[derive(Debug, Clone, Copy, Default)]
pub struct Power {
    /// Mean visits of mature bucks at the touched camera.
    pub before: f64,
    /// See `before`.
    pub after: f64,
    /// Visits in light are called a clear drop, with everything looked at allowed for.
    pub light: Tally,
    /// So is the share.
    pub share: Tally,
    /// The share's p-value is at or under 0.05 by itself.
    pub share_alone: Tally,
    /// The same for Fisher's exact test, which knows no other camera.
    pub fisher: Tally,
}

/// Judges worlds with a known effect: the share falls from 0.45 to 0.20 and visits halve, at one camera.
pub fn power(rate: f64, seasons: u64) -> Power {
    let world = World::new("effect", Law::Effect).rate(rate);
    let one = |seed: u64| {
        let folder = tempfile::tempdir().unwrap();
        world.write(folder.path(), seed);
        let Shifts { rows, .. } = read(folder.path());
        let near = |r: &&Shift| r.camera == Some(0) && r.kind == Kind::MatureBuck;
        let row = rows.iter().find(near).unwrap();
        let mut power = Power {
            before: row.before.visits as f64,
            after: row.after.visits as f64,
            ..Power::default()
        };
        power.light.add(row.light_verdict == Verdict::ClearDrop);
        power.share.add(row.verdict == Verdict::ClearDrop);
        power.share_alone.add(row.p_value.is_some_and(|p| p <= 0.05));
        power.fisher.add(fisher(row) <= 0.05);
        power
    };
    let sum = over_seeds(seasons, one, |a: Power, b| Power {
        before: a.before + b.before,
        after: a.after + b.after,
        light: a.light.merge(b.light),
        share: a.share.merge(b.share),
        share_alone: a.share_alone.merge(b.share_alone),
        fisher: a.fisher.merge(b.fisher),
    });
    Power { before: sum.before / seasons as f64, after: sum.after / seasons as f64, ..sum }
}

/// Puts an event into a property's own record, near each camera in turn and every third week, where nothing is known to
/// have happened: how often the near camera's change is called, and how often any.
#[allow(dead_code, reason = "the suite asks the bench for other things")]
pub fn quiet_dates(folder: &Path) -> [Tally; 2] {
    const EVERY_DAYS: usize = 21;
    let names = ["property.toml", "cameras.csv", "sightings.csv"];
    let place = tempfile::tempdir().unwrap();
    for name in names.iter().filter(|name| folder.join(name).exists()) {
        std::fs::copy(folder.join(name), place.path().join(name)).unwrap();
    }
    let season = season(place.path());
    let (first, last) = season.span().expect("a record");
    let dates: Vec<chrono::NaiveDate> =
        first.iter_days().take_while(|d| *d <= last).skip(EVERY_DAYS).step_by(EVERY_DAYS).collect();
    let mut tallies = [Tally::default(); 2];
    for camera in &season.cameras {
        for date in &dates {
            let name = &camera.name;
            let log = format!("id,start,near\nevent,{date},\"{name}\"\n");
            std::fs::write(place.path().join("disturbances.csv"), log).unwrap();
            let shifts = read(place.path());
            let together = shifts.together("event", season.about.kind);
            let Some(near) = together.filter(|r| r.before.nights > 6 && r.after.nights > 6) else {
                continue;
            };
            tallies[0].add(near.is_clear());
            tallies[1].add(shifts.rows.iter().any(Shift::is_clear));
        }
    }
    tallies
}

/// What is said of an effect at the near camera.
#[derive(Debug, Clone, Copy, Default)]
pub struct Found {
    /// Visits in light are a clear drop.
    pub light: Tally,
    /// The share is.
    pub share: Tally,
    /// It is said that they stayed.
    pub stayed: Tally,
    /// The page calls the visits too few.
    pub too_few: Tally,
    /// Seasons in which a chance of finding the loss of half was told, and the sum of these chances.
    pub told: f64,
    /// See `told`.
    pub seasons: f64,
}

/// Judges worlds with an effect.
#[allow(dead_code, reason = "the suite asks the bench for other things")]
pub fn found(world: &World, seasons: u64) -> Found {
    let one = |seed: u64| {
        let folder = tempfile::tempdir().unwrap();
        world.write(folder.path(), 50_000 + seed);
        let shifts = read(folder.path());
        let row = shifts.together("event", Kind::MatureBuck).unwrap();
        let mut found = Found::default();
        let answer = row.answer(Question::LightVisits);
        found.light.add(row.light_verdict == Verdict::ClearDrop);
        found.share.add(row.verdict == Verdict::ClearDrop);
        found.stayed.add(answer == Answer::Stayed);
        found.too_few.add(answer == Answer::TooFew);
        if let Some(told) = row.enough.and_then(|e| e.power_for_half) {
            (found.told, found.seasons) = (told, 1.0);
        }
        found
    };
    over_seeds(seasons, one, |a: Found, b| Found {
        light: a.light.merge(b.light),
        share: a.share.merge(b.share),
        stayed: a.stayed.merge(b.stayed),
        too_few: a.too_few.merge(b.too_few),
        told: a.told + b.told,
        seasons: a.seasons + b.seasons,
    })
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
    (least..=most).map(|k| tables.pmf(k)).filter(|p| *p <= seen).sum::<f64>().min(1.0)
}
