//! Before and after each disturbance, near it and away from it, and what can be said.
//!
//! What is assumed, and nothing else:
//!
//! * The whole record counts, not two windows. Visits in light per night and the daylight share are each fitted by one
//!   model (`measure::Record`): a season that all cameras share, each camera's level, drift and years, the luck of
//!   nights, and a step of its own that every camera takes at the date also when nothing happens. Sizes and memories
//!   are learned from the property. A verdict is about a step at the near cameras beyond all that.
//! * Two first questions of every event: visits in light per night, which is what a hunter gains or loses, and the
//!   daylight share. Each begins with a part of the event's allowance and leaves it to the other when it is answered.
//! * Everything looked at shares one error rate, in the order in which it matters (`gate`).
//! * Without other cameras nothing tells what the season did, and the verdict is `no control`.
//! * The days counted beside a verdict (`choice`) are for the reader; no verdict rests on their number.
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
mod instead;
mod noise;
mod onset;
mod placebo;
mod pressure;
mod quiet;
mod record;
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
use crate::property::{Disturbance, Ground, Problem, same_name};
use crate::visits::{DeerYear, Kind, Season};

pub use behind::visits_compared;
pub use choice::{CHOICES, Chosen, WhyDays};
pub use doings::{Doing, doings};
pub use effects::Question;
pub use enough::{Enough, MOST_TIMES, POWER, WORTH_KNOWING_DROP, WORTH_KNOWING_LOSS};
pub use grounds::{GroundRow, GroundYear, grounds};
pub use instead::{Explanation, Instead};
pub use onset::Onset;
pub use placebo::Placebo;
pub use pressure::{CameraDay, DayAfter, FOLLOWED_DAYS, Matched, Repeated, rules_loss_out};
pub use rests_on::{RestsOn, Without};
pub use roles::Role;
pub use timing::Timing;
pub use unlogged::Unlogged;
pub use verdict::{Answer, Pattern, Verdict, Why};
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
    /// How many cameras it was set against.
    pub controls: usize,
    /// How many of them changed as much, in the same direction: in visits in light per night, and in the share.
    pub controls_beyond: [usize; 2],
    /// Variance of changes that more nights do not make smaller: of log visits in light per night, and of the log odds
    /// of the share.
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
    /// Whether earlier years of this camera are on the record that it is judged by.
    pub last_year: bool,
    /// What keeps every change from being called clear, whatever its odds.
    pub blocked: Option<Why>,
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
    /// Whether it is ruled out, one-sided at 95 %, that twice as many visits in light came.
    pub is_doubling_ruled_out: bool,
    /// Whether it is ruled out, one-sided at 95 %, that the share fell to half of what was to be expected.
    pub share_stayed: bool,
    /// The disturbance whose verdicts these are, where a comparison of seasons asks what its own row asks.
    pub same_as: Option<String>,
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
    /// What else could have made a clear change, asked one by one; the same rows only.
    pub instead: Vec<Instead>,
}

impl Shift {
    /// Whether something keeps a question from being called clear. A camera that sees less sees as large a part in
    /// light.
    fn is_blocked(&self, question: Question) -> bool {
        self.blocked.is_some_and(|why| why != Why::SeesLess || question != Question::Share)
    }

    /// Whether it is ruled out that half of the visits in light are lost, and that as many came again.
    pub fn light_stayed(&self) -> bool {
        self.fall_ruled_out.is_some_and(|most| most <= WORTH_KNOWING_LOSS)
            && self.is_doubling_ruled_out
    }

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
            p.filter(|_| is_open && !self.clock_in_doubt && !self.is_blocked(question))
                .map(|p| (question, p))
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
    pub fn of<'a>(&'a self, disturbance: &str, kind: Kind) -> impl Iterator<Item = &'a Shift> {
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
    look_closer(season, &log, &quiet, doings, &mut found);
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
    let compared = of_event(season, here, &windows, kind, &log, &quiet);
    let mut rows = vec![compared.near_together(&event.id)?];
    gate::adjust(&mut rows, kind);
    let shared = |p: Option<f64>| p.map(|p| (p * questions.max(1) as f64).min(1.0));
    rows[0].p_adjusted = shared(rows[0].p_adjusted);
    rows[0].light_p_adjusted = shared(rows[0].light_p_adjusted);
    verdict::judge(&mut rows);
    rows.pop()
}

/// All cameras around one event.
fn of_event<'a>(
    season: &'a Season,
    here: &'a Logged,
    windows: &'a Windows,
    kind: Kind,
    log: &'a [Logged],
    quiet: &'a Quiet,
) -> Compared<'a> {
    let mut compared = Compared::of(season, windows, kind, &here.roles, log, quiet);
    compared.ended = here.disturbance.end.map(|end| end.date());
    compared
}

/// What is found of what happened once, and what was learned for each of it.
fn found(season: &Season, log: &[Logged]) -> (Shifts, Vec<Quiet>) {
    let plans = plans(season, log);
    let learn = |(here, plan): (&Logged, &Plan)| Quiet::of(season, &plan.windows, &here.roles, log);
    let quiet: Vec<Quiet> = log.par_iter().zip(&plans).map(learn).collect();
    let (unlogged, could_be_watched) = unlogged::unlogged(season, log);
    let rows = judged(season, log, &plans, &quiet);
    let years = years::years(season, log, &plans, &rows);
    let found = Shifts {
        years,
        rows,
        plans,
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
            let compared = of_event(season, here, &plan.windows, kind, log, quiet);
            compared.rows(here.disturbance)
        };
        Kind::ALL.into_par_iter().flat_map(rows).collect()
    };
    let all = log.par_iter().zip(plans).zip(quiet);
    let rows: Vec<Vec<Shift>> = all.map(of_one).collect();
    let mut rows: Vec<Shift> = rows.into_iter().flatten().collect();
    for row in rows.iter_mut().filter(|row| row.role == Role::Near) {
        let here = log.iter().find(|l| l.disturbance.id == row.disturbance);
        row.blocked = here.and_then(|here| logged_reason(season, here, row)).or(row.blocked);
    }
    let raw = rows.clone();
    gate::adjust(&mut rows, season.about.kind);
    verdict::judge(&mut rows);
    let ordinary = ordinary(season, log, plans, quiet, &rows);
    if !ordinary.is_empty() {
        rows = raw;
        ordinary.into_iter().for_each(|row| rows[row].blocked = Some(Why::OtherDatesToo));
        gate::adjust(&mut rows, season.about.kind);
        verdict::judge(&mut rows);
    }
    alike(&mut rows, season.about.kind);
    rows
}

/// Clear rows of near cameras whose change is nothing out of the ordinary there.
fn ordinary(
    season: &Season,
    log: &[Logged],
    plans: &[Plan],
    quiet: &[Quiet],
    rows: &[Shift],
) -> Vec<usize> {
    let about = season.about.kind;
    let is_asked = |r: &Shift| r.role == Role::Near && r.kind == about && r.is_clear();
    let is_ordinary = |row: &Shift| {
        let place = log.iter().position(|l| l.disturbance.id == row.disturbance);
        let Some(place) = place.filter(|p| plans[*p].windows.years_apart.is_none()) else {
            return false;
        };
        let (here, windows) = (&log[place], &plans[place].windows);
        let near = (0..here.roles.len()).filter(|c| here.roles[*c] == Role::Near);
        let cameras: Vec<usize> = row.camera.map_or_else(|| near.collect(), |c| vec![c]);
        let Some(question) = instead::clear_question(row) else { return false };
        cameras.iter().all(|camera| {
            placebo::is_ordinary(season, here, windows, log, &quiet[place], *camera, question)
        })
    };
    let asked = rows.iter().enumerate().filter(|(_, row)| is_asked(row));
    asked.filter(|(_, row)| is_ordinary(row)).map(|(place, _)| place).collect()
}

/// Kinds of which the same visits are counted are one question, and have one answer.
fn alike(rows: &mut [Shift], about: Kind) {
    let first: Vec<Shift> = rows.iter().filter(|r| r.kind == about).cloned().collect();
    for row in rows.iter_mut().filter(|r| r.kind != about) {
        let same = |f: &&Shift| {
            f.disturbance == row.disturbance
                && f.camera == row.camera
                && f.before == row.before
                && f.after == row.after
        };
        if let Some(same) = first.iter().find(same).filter(|f| f.before.visits + f.after.visits > 0)
        {
            *row = Shift { kind: row.kind, ..same.clone() };
        }
    }
}

/// What the log itself says against a verdict.
fn logged_reason(season: &Season, here: &Logged, row: &Shift) -> Option<Why> {
    if here.disturbance.is_dated_by_pictures {
        return Some(Why::DateFromPictures);
    }
    let date = here.disturbance.first_day_after();
    let is_near = |on: NaiveDate| (on - date).num_days().abs() <= GROUND_DAYS;
    let cameras = match row.camera {
        Some(camera) => vec![camera],
        None => (0..here.roles.len()).filter(|c| here.roles[*c] == Role::Near).collect(),
    };
    let feeds = |ground: &Ground| {
        let names = cameras.iter().map(|c| &season.cameras[*c].name);
        names.into_iter().any(|name| ground.feeds.iter().any(|f| same_name(f, name)))
    };
    let ends =
        |ground: &Ground| ground.from.is_some_and(is_near) || ground.until.is_some_and(is_near);
    season.grounds.iter().any(|g| feeds(g) && ends(g)).then_some(Why::GroundChanged)
}

/// A ground that changed within so many days of an event cannot be kept apart from it.
const GROUND_DAYS: i64 = 14;

/// Adds to the near cameras' rows what a sceptic asks next: over other days, which minutes, since when,
/// on which bucks it rests, and whether other dates look the same.
fn look_closer(
    season: &Season,
    log: &[Logged],
    quiet: &[Quiet],
    doings: &[Doing],
    found: &mut Shifts,
) {
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
        let of_kind = |kind| of_event(season, here, &windows, kind, log, quiet);
        let compared = Kind::ALL.map(of_kind);
        let id = &here.disturbance.id;
        let theirs = found.rows.iter_mut();
        let mut theirs: Vec<&mut Shift> =
            theirs.filter(|r| r.disturbance == *id && r.role == Role::Near).collect();
        theirs.par_iter_mut().for_each(|row| {
            let compared = &compared[row.kind as usize];
            if row.kind == about {
                row.rests_on = rests_on::rests_on(season, compared, row);
                row.instead = instead::instead(compared, row, doings);
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
        let mut compared = of_event(season, here, &windows, about, log, &quiet);
        compared.most_days = Some(*days);
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
