//! Before and after each disturbance, near it and away from it, and what can be said.
//!
//! What is assumed, and nothing else:
//!
//! * Days are the units. Visits come in runs (one buck on his feet for a week), so the variance of a count is
//!   multiplied by a design effect measured from the days themselves.
//! * Cameras differ, also while nothing happens: each answers the season in its own measure, and bucks stay for
//!   weeks at one and not at the next. A change is therefore set against the distribution of the control
//!   cameras' own changes over the same dates, whose spread is the larger of what they show then and of what all
//!   cameras show while nothing is logged. The same camera in the same weeks of earlier years counts among them.
//!   Where there is neither, the verdict is `no control`.
//! * Two verdicts: on visits in light per night, which is what a hunter gains or loses, and on the daylight
//!   share.
//! * Everything looked at shares one error rate, in the order in which it matters (`gate`): first the deer that
//!   the season is about at all near cameras together.
//! * How many days are compared is chosen from the days before alone (`choice`).
//!
//! A verdict says that a pattern changed. It never says who changed it.

mod behind;
mod choice;
mod compare;
mod contrast;
mod doings;
mod effects;
mod enough;
mod gate;
mod grounds;
mod here;
mod noise;
mod onset;
mod placebo;
mod pressure;
mod quiet;
mod rests_on;
mod roles;
mod timing;
mod unlogged;
mod verdict;
mod window;
mod years;

use chrono::NaiveDate;
use rayon::prelude::*;
use xxhash_rust::xxh3::xxh3_64_with_seed;

use self::compare::Compared;
use self::quiet::Quiet;
use self::roles::Logged;
use crate::measure::{Estimate, Runs};
use crate::property::{Disturbance, Problem};
use crate::visits::{DeerYear, Kind, Season};

pub use behind::visits_compared;
pub use choice::{CHOICES, Chosen, WhyDays};
pub use doings::{Doing, doings};
pub use effects::Question;
pub use enough::{Enough, MARGIN, MOST_TIMES, POWER, WORTH_KNOWING_DROP, WORTH_KNOWING_LOSS};
pub use grounds::{GroundRow, GroundYear, grounds};
pub use onset::Onset;
pub use placebo::Placebo;
pub use pressure::{CameraDay, DayAfter, FOLLOWED_DAYS, Matched, Repeated, rules_loss_out};
pub use rests_on::{RestsOn, Without};
pub use roles::Role;
pub use timing::Timing;
pub use unlogged::Unlogged;
pub use verdict::{Pattern, Verdict};
pub use window::{Side, Windows};
pub use years::YearRow;

/// The level of a verdict.
pub const LEVEL: f64 = 0.05;

/// What happened at one camera, or at all near cameras together, for one kind of deer, around one disturbance.
#[derive(Debug, Clone)]
pub struct Shift {
    /// The disturbance's id.
    pub disturbance: String,
    /// The deer year of the days after.
    pub season: DeerYear,
    /// Index of the camera in the season; `None` for all near cameras together.
    pub camera: Option<usize>,
    /// The kind of deer.
    pub kind: Kind,
    /// Near the disturbance or a control.
    pub role: Role,
    /// How many days are compared on either side.
    pub days: u32,
    /// The days before.
    pub before: Side,
    /// The days after.
    pub after: Side,
    /// Daylight share, after minus before, runs allowed for.
    pub share_change: Option<Estimate>,
    /// Daylight share after, less what it would be had it changed as the controls did; `None` where there are none to compare with.
    pub share_change_against_controls: Option<Estimate>,
    /// Counted visits per camera-night, after over before.
    pub rate_ratio: Option<Estimate>,
    /// The same over that of the controls.
    pub rate_ratio_against_controls: Option<Estimate>,
    /// Visits at all hours per camera-night, after over before.
    pub all_hours_ratio: Option<Estimate>,
    /// The same over that of the controls.
    pub all_hours_against_controls: Option<f64>,
    /// What runs of days cost: how many visits are worth one independent visit.
    pub runs: Runs,
    /// How many cameras and earlier years it was set against.
    pub controls: usize,
    /// Variance of cameras' own changes: of log visits in light per night, and of the log odds of the share.
    pub between: [Option<f64>; 2],
    /// Two-sided p-value of the share's change.
    pub p_value: Option<f64>,
    /// The same, with everything that was looked at allowed for.
    pub p_adjusted: Option<f64>,
    /// Two-sided p-value of the change of visits in light per night.
    pub light_p_value: Option<f64>,
    /// The same, with everything that was looked at allowed for.
    pub light_p_adjusted: Option<f64>,
    /// Two-sided p-value of the change in visits at all hours.
    pub rate_p_value: Option<f64>,
    /// The same, with all cameras around the disturbance allowed for.
    pub rate_p_adjusted: Option<f64>,
    /// Whether the same weeks of earlier years at this camera are among its controls.
    pub last_year: bool,
    /// Times on the days compared are in doubt, because the camera's clock is wrong and not settled:
    /// nothing is called clear.
    pub clock_in_doubt: bool,
    /// What can be said about the daylight share.
    pub verdict: Verdict,
    /// What can be said about visits in light per camera-night.
    pub light_verdict: Verdict,
    /// What the rates did beside it.
    pub pattern: Option<Pattern>,
    /// A loss of more than this part of the visits in light is ruled out, one-sided at 95 %.
    pub fall_ruled_out: Option<f64>,
    /// Whether visits in light are shown to be what they were, within [`MARGIN`].
    pub is_alike: bool,
    /// What these visits could have shown; `None` where there is nothing to compare with.
    pub enough: Option<Enough>,
    /// How the hours of visits changed; near cameras and the kinds of the first tables only.
    pub timing: Option<Timing>,
    /// When a clear change began; near cameras only.
    pub onset: Option<Onset>,
    /// How this date stands among all others; the kind that the season is about at near cameras only.
    pub placebo: Option<Placebo>,
    /// Which bucks it rests on; the kind that the season is about at near cameras only.
    pub rests_on: Option<RestsOn>,
}

impl Shift {
    /// Whether visits in light or the daylight share clearly changed.
    pub fn is_clear(&self) -> bool {
        self.light_verdict.is_clear() || self.verdict.is_clear()
    }

    /// What can be said about a question.
    pub fn verdict_on(&self, question: Question) -> Verdict {
        match question {
            Question::LightVisits => self.light_verdict,
            _ => self.verdict,
        }
    }

    /// What the row asks, visits in light and the share, with the p-values; nothing where no answer could be
    /// clear.
    fn questions(&self) -> impl Iterator<Item = (Question, f64)> {
        let asks = |question: Question, p: Option<f64>| {
            let is_open = self.verdict_on(question) == Verdict::NoClearChange;
            p.filter(|_| is_open && !self.clock_in_doubt).map(|p| (question, p))
        };
        let light = asks(Question::LightVisits, self.light_p_value);
        let share = asks(Question::Share, self.p_value);
        light.into_iter().chain(share)
    }

    /// The adjusted p-value of a question.
    fn adjusted(&mut self, question: Question) -> &mut Option<f64> {
        match question {
            Question::LightVisits => &mut self.light_p_adjusted,
            Question::Share => &mut self.p_adjusted,
            Question::AllVisits => &mut self.rate_p_adjusted,
        }
    }
}

/// The same comparison over another number of days, without a verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OtherDays {
    /// Days on either side.
    pub days: u32,
    /// Visits in light per night, after over before, over that of the controls.
    pub rate_ratio: Option<Estimate>,
    /// Change of the daylight share against the controls.
    pub share_change: Option<Estimate>,
}

/// How one disturbance was looked at.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The disturbance's id.
    pub disturbance: String,
    /// The days compared.
    pub windows: Windows,
    /// Why these.
    pub chosen: Chosen,
    /// The near cameras together over other numbers of days.
    pub other_days: Vec<OtherDays>,
}

/// Everything found about every logged disturbance.
#[derive(Debug, Clone, Default)]
pub struct Shifts {
    /// Of every disturbance that is looked at by itself, and every kind, the row of all near cameras together and one row per camera;
    /// disturbances as in the log, cameras in season order.
    pub rows: Vec<Shift>,
    /// How every disturbance was looked at, in the same order.
    pub plans: Vec<Plan>,
    /// This season beside every earlier one.
    pub years: Vec<YearRow>,
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
    /// The cameras' rows of one disturbance and kind.
    pub fn of<'a>(&'a self, disturbance: &'a str, kind: Kind) -> impl Iterator<Item = &'a Shift> {
        let of =
            move |r: &&Shift| r.disturbance == disturbance && r.kind == kind && r.camera.is_some();
        self.rows.iter().filter(of)
    }

    /// The row of all near cameras together; `None` where none is near.
    pub fn together(&self, disturbance: &str, kind: Kind) -> Option<&Shift> {
        let mut rows = self.rows.iter();
        rows.find(|r| r.disturbance == disturbance && r.kind == kind && r.camera.is_none())
    }

    /// How a disturbance was looked at.
    pub fn plan(&self, disturbance: &str) -> Option<&Plan> {
        self.plans.iter().find(|p| p.disturbance == disturbance)
    }
}

/// Compares the days before and after every disturbance at every camera, looks closer at the near
/// ones, and over the whole season for what nobody logged; `doings` are what the person did again and again.
pub fn shifts(season: &Season, disturbances: &[Disturbance], doings: &[Doing]) -> Shifts {
    let mut problems = Vec::new();
    let all = roles::logged(season, disturbances, &mut problems);
    let repeated = pressure::repeated(season, &all, doings);
    let log = roles::once(all);
    let (mut found, quiet) = found(season, &log);
    look_closer(season, &log, &quiet, &mut found);
    Shifts { repeated, problems, ..found }
}

/// The verdicts and the watch alone, without the closer look at each row.
pub fn verdicts(season: &Season, disturbances: &[Disturbance]) -> Shifts {
    let mut problems = Vec::new();
    let log = roles::once(roles::logged(season, disturbances, &mut problems));
    Shifts { problems, ..found(season, &log).0 }
}

/// The first question about one event, asked by itself over so many days: all near cameras together, the deer that the
/// season is about, at the whole level shared by `questions` of its sort. `None` where no near camera worked on both
/// sides.
pub fn asked(season: &Season, event: &Disturbance, days: u32, questions: usize) -> Option<Shift> {
    let log = roles::logged(season, std::slice::from_ref(event), &mut Vec::new());
    let here = &log[0];
    let windows = Windows::around(event, days);
    let quiet = Quiet::of(season, &windows, &here.roles, &log);
    let kind = season.about.kind;
    let compared = Compared::of(season, &windows, kind, &here.roles, &log, &quiet);
    let mut rows = vec![compared.near_together(&event.id)?];
    gate::adjust(&mut rows, kind);
    let shared = |p: Option<f64>| p.map(|p| (p * questions.max(1) as f64).min(1.0));
    rows[0].p_adjusted = shared(rows[0].p_adjusted);
    rows[0].light_p_adjusted = shared(rows[0].light_p_adjusted);
    verdict::judge(&mut rows);
    rows.pop()
}

/// What is found of what happened once, and what was learned for each of it.
fn found(season: &Season, log: &[Logged]) -> (Shifts, Vec<Quiet>) {
    let plans = plans(season, log);
    let learn = |(here, plan): (&Logged, &Plan)| Quiet::of(season, &plan.windows, &here.roles, log);
    let quiet: Vec<Quiet> = log.par_iter().zip(&plans).map(learn).collect();
    let (unlogged, could_be_watched) = unlogged::unlogged(season, log);
    let found = Shifts {
        rows: judged(season, log, &plans, &quiet),
        plans,
        years: years::years(season, log),
        unlogged,
        could_be_watched,
        repeated: Vec::new(),
        problems: Vec::new(),
    };
    (found, quiet)
}

/// For every camera the dates on which something that could touch it began or ended, in order; what happened
/// again and again is no such date.
pub fn logged_dates(season: &Season, disturbances: &[Disturbance]) -> Vec<Vec<NaiveDate>> {
    let log = roles::once(roles::logged(season, disturbances, &mut Vec::new()));
    let dates = |camera: usize| {
        let near = log.iter().filter(|l| l.roles[camera] == Role::Near);
        let moments = near.flat_map(|l| [Some(l.disturbance.start), l.disturbance.end]);
        let mut dates: Vec<NaiveDate> = moments.flatten().map(|m| m.date()).collect();
        dates.sort_unstable();
        dates.dedup();
        dates
    };
    (0..season.cameras.len()).map(dates).collect()
}

fn plans(season: &Season, log: &[Logged]) -> Vec<Plan> {
    let plan = |here: &Logged| {
        let (chosen, windows) = choice::choose(season, here, log);
        Plan { disturbance: here.disturbance.id.clone(), windows, chosen, other_days: Vec::new() }
    };
    log.par_iter().map(plan).collect()
}

fn judged(season: &Season, log: &[Logged], plans: &[Plan], quiet: &[Quiet]) -> Vec<Shift> {
    let of_one = |((here, plan), quiet): ((&Logged, &Plan), &Quiet)| -> Vec<Shift> {
        let rows = |kind| {
            let compared = Compared::of(season, &plan.windows, kind, &here.roles, log, quiet);
            compared.rows(here.disturbance)
        };
        Kind::ALL.into_iter().flat_map(rows).collect()
    };
    let all = log.par_iter().zip(plans).zip(quiet);
    let rows: Vec<Vec<Shift>> = all.map(of_one).collect();
    let mut rows: Vec<Shift> = rows.into_iter().flatten().collect();
    gate::adjust(&mut rows, season.about.kind);
    verdict::judge(&mut rows);
    rows
}

/// Adds to the near cameras' rows what a sceptic asks next: over other days, which minutes, since when,
/// on which bucks it rests, and whether other dates look the same.
fn look_closer(season: &Season, log: &[Logged], quiet: &[Quiet], found: &mut Shifts) {
    let about = season.about.kind;
    for ((here, plan), quiet) in log.iter().zip(&mut found.plans).zip(quiet) {
        let windows = plan.windows;
        let is_of_seasons = windows.years_apart.is_some();
        if !is_of_seasons {
            plan.other_days = other_days(season, here, log, plan.chosen.days);
        }
        // No other date has a season on either side of its own.
        let mut placebos = match is_of_seasons {
            true => vec![None; here.roles.len()],
            false => placebo::placebos(season, here, &windows, log, quiet),
        };
        let of_kind = |kind| Compared::of(season, &windows, kind, &here.roles, log, quiet);
        let compared = Kind::ALL.map(of_kind);
        let id = &here.disturbance.id;
        let theirs = found.rows.iter_mut();
        let mut theirs: Vec<&mut Shift> =
            theirs.filter(|r| r.disturbance == *id && r.role == Role::Near).collect();
        theirs.par_iter_mut().for_each(|row| {
            let compared = &compared[row.kind as usize];
            if row.kind == about {
                row.rests_on = rests_on::rests_on(season, compared, row);
            }
            let Some(camera) = row.camera else { return };
            if season.about.kinds().contains(&row.kind) {
                row.timing = Some(timing_of(season, here, camera, row.kind, &windows));
            }
            let is_clear = row.is_clear();
            if is_clear && !is_of_seasons {
                row.onset = onset::onset(season, camera, row, compared);
            }
        });
        for row in theirs.iter_mut().filter(|r| r.kind == about) {
            row.placebo = row.camera.and_then(|c| placebos[c].take());
        }
    }
}

fn timing_of(
    season: &Season,
    here: &Logged,
    camera: usize,
    kind: Kind,
    windows: &Windows,
) -> Timing {
    let is_control = |c: &usize| here.roles[*c] == Role::Control;
    let others: Vec<usize> = (0..here.roles.len()).filter(is_control).collect();
    let seed = seed(&[&windows.after.0.to_string(), kind.word()]);
    timing::timing(season, camera, &others, kind, windows, seed)
}

/// The near cameras together over every other number of days that fits: how much hangs on the choice.
fn other_days(season: &Season, here: &Logged, log: &[Logged], chosen: u32) -> Vec<OtherDays> {
    let fitting: Vec<u32> = choice::fitting(season, here, log).filter(|d| *d != chosen).collect();
    let one = |days: &u32| {
        let windows = Windows::around(here.disturbance, *days);
        let quiet = Quiet::of(season, &windows, &here.roles, log);
        let about = season.about.kind;
        let compared = Compared::of(season, &windows, about, &here.roles, log, &quiet);
        let [rate_ratio, share_change] = compared.together_against_controls();
        OtherDays { days: *days, rate_ratio, share_change }
    };
    fitting.par_iter().map(one).collect()
}

/// What is drawn at random for a row follows from its days and kind, and neither from its place among others nor
/// from what anything is called.
fn seed(names: &[&str]) -> u64 {
    let seed = |seed, name: &&str| xxh3_64_with_seed(name.as_bytes(), seed);
    names.iter().fold(0, seed)
}
