//! Which days are counted on either side of a disturbance, for a person to read. Verdicts come from the whole
//! record.

use chrono::{Days, NaiveDate};

use super::roles::{Logged, Role};
use super::window::{Sums, Windows};
use crate::visits::Season;

/// How many days are counted on either side of a disturbance, and why so many.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen {
    /// The days.
    pub days: u32,
    /// Why so many.
    pub why: WhyDays,
}

/// Why so many days are counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyDays {
    /// `property.toml` says so.
    Set,
    /// Three weeks.
    Usual,
    /// The record or the log allows no more.
    Fewest,
    /// No near camera worked on the days around it, so the seasons before and after it are compared.
    Seasons,
}

/// What can be counted, in days.
pub const CHOICES: [u32; 5] = [14, 21, 30, 45, 60];
/// Three weeks: long enough for some visits, short enough for one part of the season.
const USUAL_DAYS: u32 = 21;
/// The near camera must have worked on this part of the days before.
const WORKED: f64 = 0.75;

/// Chooses the days for one disturbance.
pub(super) fn choose(season: &Season, here: &Logged, log: &[Logged]) -> (Chosen, Windows) {
    let chosen = choose_days(season, here, log);
    let windows = Windows::around(here.disturbance, chosen.days);
    if were_watched(season, here, &windows) {
        return (chosen, windows);
    }
    match seasons_around(season, here) {
        Some(windows) => {
            let days = windows.days();
            let why = WhyDays::Seasons;
            (Chosen { days, why }, windows)
        }
        None => (chosen, windows),
    }
}

/// Whether some near camera worked for a week on either side.
fn were_watched(season: &Season, here: &Logged, windows: &Windows) -> bool {
    let nights = |(from, until): (NaiveDate, NaiveDate)| {
        let worked = |c: usize| season.cameras[c].effort.dates_between(from, until).len();
        near(here).map(worked).max().unwrap_or(0)
    };
    nights(windows.before).min(nights(windows.after)) >= FEWEST_NIGHTS
}

/// A side on which no near camera worked for so many nights was not watched.
const FEWEST_NIGHTS: usize = 7;

/// The last season in which a near camera worked before the disturbance, and the first after it.
fn seasons_around(season: &Season, here: &Logged) -> Option<Windows> {
    let (last, first) = (here.disturbance.last_day_before(), here.disturbance.first_day_after());
    let dates = |from: NaiveDate, until: NaiveDate| {
        near(here).flat_map(move |c| season.cameras[c].effort.dates_between(from, until))
    };
    let before = season.year_of(*dates(NaiveDate::MIN, last).max()?);
    let after = season.year_of(*dates(first, NaiveDate::MAX).min()?);
    if before == after {
        return None;
    }
    let span = |from: NaiveDate, until: NaiveDate| {
        Some((*dates(from, until).min()?, *dates(from, until).max()?))
    };
    Windows::of_seasons(
        span(before.first(), before.last().min(last))?,
        span(after.first().max(first), after.last())?,
        after.years_after(before),
    )
}

fn choose_days(season: &Season, here: &Logged, log: &[Logged]) -> Chosen {
    if let Some(days) = season.settings.shift_days {
        return Chosen { days, why: WhyDays::Set };
    }
    let fitting = fitting(season, here, log).take_while(|days| *days <= USUAL_DAYS);
    let days = fitting.last().unwrap_or(CHOICES[0]);
    let why = if days == USUAL_DAYS { WhyDays::Usual } else { WhyDays::Fewest };
    Chosen { days, why }
}

/// Days that the record holds on both sides, and that reach to nothing else that is logged near the same
/// cameras, unless it is of the same day, from which no days could keep apart; the fewest in any case.
pub(super) fn fitting<'a>(
    season: &'a Season,
    here: &'a Logged,
    log: &'a [Logged],
) -> impl Iterator<Item = u32> + 'a {
    CHOICES.into_iter().filter(move |days| {
        let windows = Windows::around(here.disturbance, *days);
        *days == CHOICES[0]
            || season.span().is_some_and(|(_, last)| windows.after.1 <= last)
                && near(here).any(|c| worked_before(season, c, &windows))
                && !near(here).any(|c| something_else(here, log, c, &windows))
    })
}

fn near<'a>(here: &'a Logged) -> impl Iterator<Item = usize> + 'a {
    (0..here.roles.len()).filter(|c| here.roles[*c] == Role::Near)
}

fn worked_before(season: &Season, camera: usize, windows: &Windows) -> bool {
    let kind = season.about.kind;
    let before = Sums::of(season, camera, kind, windows.before, windows.before.1);
    let days = (windows.before.1 - windows.before.0).num_days() + 1;
    before.nights as f64 >= WORKED * days as f64
}

fn something_else(here: &Logged, log: &[Logged], camera: usize, windows: &Windows) -> bool {
    let others = log.iter().filter(|l| l.disturbance.id != here.disturbance.id);
    let (last, first) = (windows.before.1, windows.after.0);
    others.into_iter().any(|l| {
        l.touches(camera, windows.before.0 + Days::new(1), last - Days::new(1))
            || l.touches(camera, first + Days::new(1), windows.after.1)
    })
}
