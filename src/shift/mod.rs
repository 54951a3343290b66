//! Before and after each disturbance, near it and away from it, and what can be said.
//!
//! What is assumed, and nothing else:
//!
//! * Days are the units. Visits come in runs (one buck on his feet for a week), so counts are
//!   divided by a design effect measured from the days themselves before anything is tested.
//! * The season moves every camera alike. A camera's change is tested against that of the control
//!   cameras over the same dates, or of the same camera in the same weeks of last year, so what the whole
//!   property did is taken out. Where there is neither, the verdict is `no control`.
//! * Everything looked at shares one error rate (Holm), for the shares and for the rates alike. Half of it goes to the question that was
//!   asked first, mature bucks (or whom the tags allow to speak of) at the cameras near a disturbance; the rest to
//!   everything else.
//!
//! A verdict says that a pattern changed. It never says who changed it.

mod around;
mod compare;
mod controls;
mod enough;
mod onset;
mod placebo;
mod pressure;
mod roles;
mod timing;
mod unlogged;
mod verdict;
mod window;

use rayon::prelude::*;
use xxhash_rust::xxh3::xxh3_64_with_seed;

use self::roles::Logged;
use crate::measure::{Estimate, Runs, weighted_holm};
use crate::property::{Disturbance, Problem};
use crate::visits::{Kind, Season};

pub use enough::{Enough, MOST_TIMES, WORTH_KNOWING};
pub use onset::Onset;
pub use placebo::Placebo;
pub use pressure::{DayAfter, FOLLOWED_DAYS, Repeated};
pub use roles::Role;
pub use timing::Timing;
pub use unlogged::Unlogged;
pub use verdict::{Pattern, Verdict};
pub use window::{Side, Windows};

/// What happened at one camera, for one kind of deer, around one disturbance.
#[derive(Debug, Clone)]
pub struct Shift {
    /// The disturbance's id.
    pub disturbance: String,
    /// Index of the camera in the season.
    pub camera: usize,
    /// The kind of deer.
    pub kind: Kind,
    /// Near the disturbance or a control.
    pub role: Role,
    /// The days before.
    pub before: Side,
    /// The days after.
    pub after: Side,
    /// Daylight share, after minus before, runs allowed for.
    pub share_change: Option<Estimate>,
    /// The same less the change at the control cameras; `None` where there are none to compare with.
    pub share_change_against_controls: Option<Estimate>,
    /// Counted visits per camera-night, after over before.
    pub rate_ratio: Option<Estimate>,
    /// Visits at all hours per camera-night, after over before.
    pub all_hours_ratio: Option<Estimate>,
    /// What runs of days cost: how many visits are worth one independent visit.
    pub runs: Runs,
    /// Two-sided p-value of the share's change.
    pub p_value: Option<f64>,
    /// The same, with everything that was looked at allowed for.
    pub p_adjusted: Option<f64>,
    /// Two-sided p-value of the change in visits at all hours.
    pub rate_p_value: Option<f64>,
    /// The same, with everything that was looked at allowed for.
    pub rate_p_adjusted: Option<f64>,
    /// Log ratio of visits at all hours, after over before, less that of the controls.
    pub rate_against: Option<f64>,
    /// Whether the same weeks of last year at this camera are among its controls.
    pub last_year: bool,
    /// Times on the days compared are in doubt, because the camera's clock is wrong and not settled:
    /// nothing is called clear.
    pub clock_in_doubt: bool,
    /// What can be said about the daylight share.
    pub verdict: Verdict,
    /// What the rates did beside it.
    pub pattern: Option<Pattern>,
    /// What these visits could have shown; `None` where a side has none.
    pub enough: Option<Enough>,
    /// How the hours of visits changed; near cameras only.
    pub timing: Option<Timing>,
    /// When a clear change began; near cameras only.
    pub onset: Option<Onset>,
    /// How this date stands among all others; the kind that the season is about at near cameras only.
    pub placebo: Option<Placebo>,
}

/// Everything found about every logged disturbance.
#[derive(Debug, Clone, Default)]
pub struct Shifts {
    /// One row per disturbance, camera and kind; disturbances by date, cameras in season order.
    pub rows: Vec<Shift>,
    /// Clear changes that no logged disturbance accounts for.
    pub unlogged: Vec<Unlogged>,
    /// Whether a change that nobody logged could have been told: on some date some camera with enough visits
    /// could be compared with others.
    pub could_be_watched: bool,
    /// What happened several times, and how the days after it looked.
    pub repeated: Vec<Repeated>,
    /// Disturbances that could not be set against any camera.
    pub problems: Vec<Problem>,
}

impl Shifts {
    /// The rows of one disturbance and kind.
    pub fn of<'a>(&'a self, disturbance: &'a str, kind: Kind) -> impl Iterator<Item = &'a Shift> {
        self.rows
            .iter()
            .filter(move |r| r.disturbance == disturbance && r.kind == kind)
    }
}

/// Compares the days before and after every disturbance at every camera, looks closer at the near
/// ones, and over the whole season for what nobody logged.
pub fn shifts(season: &Season, disturbances: &[Disturbance]) -> Shifts {
    let mut problems = Vec::new();
    let log = roles::logged(season, disturbances, &mut problems);
    let mut rows = judged(season, &log);
    look_closer(season, &log, &mut rows);
    let (unlogged, could_be_watched) = unlogged::unlogged(season, &log);
    Shifts {
        rows,
        unlogged,
        could_be_watched,
        repeated: pressure::repeated(season, &log),
        problems,
    }
}

/// The verdicts and the watch alone, without the closer look at each row.
pub fn verdicts(season: &Season, disturbances: &[Disturbance]) -> Shifts {
    let mut problems = Vec::new();
    let log = roles::logged(season, disturbances, &mut problems);
    let (unlogged, could_be_watched) = unlogged::unlogged(season, &log);
    Shifts {
        rows: judged(season, &log),
        unlogged,
        could_be_watched,
        repeated: Vec::new(),
        problems,
    }
}

fn judged(season: &Season, log: &[Logged]) -> Vec<Shift> {
    let mut rows = Vec::new();
    for Logged { disturbance, roles } in log {
        let windows = Windows::around(disturbance, season.settings.shift_days);
        for kind in Kind::ALL {
            let compared = compare::cameras(season, &windows, kind, roles, log);
            for (camera, comparison) in compared.into_iter().enumerate() {
                rows.push(comparison.into_shift(disturbance, camera, kind, roles[camera]));
            }
        }
    }
    let shares = |r: &Shift| {
        r.p_value
            .filter(|_| r.verdict == Verdict::NoClearChange && !r.clock_in_doubt)
    };
    let about = season.about.kind;
    adjust(&mut rows, about, shares, |r, p| r.p_adjusted = Some(p));
    adjust(
        &mut rows,
        about,
        |r| r.rate_p_value,
        |r, p| r.rate_p_adjusted = Some(p),
    );
    verdict::judge(&mut rows);
    rows
}

/// Adds to the near cameras' rows what a sceptic asks next: which minutes, since when, and whether
/// other dates look the same.
fn look_closer(season: &Season, log: &[Logged], rows: &mut [Shift]) {
    for here in log {
        let disturbance = here.disturbance;
        let windows = Windows::around(disturbance, season.settings.shift_days);
        let mut theirs: Vec<&mut Shift> = rows
            .iter_mut()
            .filter(|r| r.disturbance == disturbance.id)
            .collect();
        let mut placebos = placebo::placebos(season, here, season.about.kind, log);
        theirs.retain(|r| r.role == Role::Near);
        theirs.par_iter_mut().for_each(|row| {
            let camera = &season.cameras[row.camera];
            let seed = seed(&[&row.disturbance, &camera.name, row.kind.word()]);
            row.timing = Some(timing::timing(camera, row.kind, &windows, seed));
            if row.verdict.is_clear() {
                row.onset = onset::onset(season, row.camera, row.kind, &windows, row.runs);
            }
        });
        for row in theirs.iter_mut().filter(|r| r.kind == season.about.kind) {
            row.placebo = placebos[row.camera].take();
        }
    }
}

/// What is drawn at random for a row follows from what it is about, and not from its place among others.
fn seed(names: &[&str]) -> u64 {
    let seed = |seed, name: &&str| xxh3_64_with_seed(name.as_bytes(), seed);
    names.iter().fold(0, seed)
}

/// Adjusts one question's p-values over all rows. Half of the error allowance goes to the deer that
/// the season is about near a disturbance, half to all else. Rows whose visits could not have shown anything ask nothing
/// and have no p-value here, so they take no share of it (Tarone 1990, Biometrics 46:515-522).
fn adjust(
    rows: &mut [Shift],
    about: Kind,
    question: impl Fn(&Shift) -> Option<f64>,
    answer: impl Fn(&mut Shift, f64),
) {
    let first = |r: &Shift| r.role == Role::Near && r.kind == about;
    let asked: Vec<(usize, f64, bool)> = rows
        .iter()
        .enumerate()
        .filter_map(|(i, r)| Some((i, question(r)?, first(r))))
        .collect();
    let firsts = asked.iter().filter(|(.., first)| *first).count() as f64;
    let others = asked.len() as f64 - firsts;
    let tests: Vec<(f64, f64)> = asked
        .iter()
        .map(|&(_, p, first)| (p, 0.5 / if first { firsts } else { others }))
        .collect();
    for (&(i, ..), p) in asked.iter().zip(weighted_holm(&tests)) {
        answer(&mut rows[i], p);
    }
}
