//! How many days are compared: chosen from the days before and the log alone, before anything after is
//! looked at.

use chrono::{Days, NaiveDate};

use super::effects::{Question, Sides};
use super::enough::{Asked, Effective, POWER};
use super::gate::first_level;
use super::here::runs_together;
use super::noise::{Noise, Watched};
use super::quiet::{self, Quiet};
use super::roles::{Logged, Role};
use super::window::{Sums, Windows};
use crate::measure::{Effect, mean_effect};
use crate::visits::Season;

/// How many days are compared on either side of a disturbance, and why so many.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chosen {
    /// The days.
    pub days: u32,
    /// Why so many.
    pub why: WhyDays,
    /// How likely a loss of half of the visits in light was to be found, as the days before stand; `None`
    /// where that cannot be said.
    pub power: Option<f64>,
}

/// Why so many days are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyDays {
    /// `property.toml` says so.
    Set,
    /// The fewest that are likely enough to find it.
    Enough,
    /// The most that the record and the log allow, though they are not likely to.
    Longest,
    /// No near camera worked on the days around it, so the seasons before and after it are compared.
    Seasons,
}

/// What can be chosen from, in days.
pub const CHOICES: [u32; 5] = [14, 21, 30, 45, 60];
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
            (Chosen { days, why, power: None }, windows)
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
        return Chosen { days, why: WhyDays::Set, power: None };
    }
    let fitting: Vec<u32> = fitting(season, here, log).collect();
    let mut last = Chosen { days: CHOICES[0], why: WhyDays::Longest, power: None };
    for days in fitting {
        let power = power_of_halving(season, here, log, days);
        let why = match power {
            Some(p) if p >= POWER => WhyDays::Enough,
            _ => WhyDays::Longest,
        };
        // Days too long to be compared with anything are no better than fewer that can be.
        if power.is_some() || last.power.is_none() {
            last = Chosen { days, why, power };
        }
        if why == WhyDays::Enough {
            break;
        }
    }
    last
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

/// How likely it is to be found that half of the visits in light are lost, if the days after had as many nights as those
/// before and the other cameras stood still.
fn power_of_halving(season: &Season, here: &Logged, log: &[Logged], days: u32) -> Option<f64> {
    let windows = Windows::around(here.disturbance, days);
    let kind = season.about.kind;
    let near: Vec<usize> = near(here).collect();
    let noise: Vec<Noise> =
        near.iter().map(|c| Noise::lasting_before(watched(season, &[*c]), &windows)).collect();
    let mut controls: Vec<Effect> = (0..here.roles.len())
        .filter(|c| here.roles[*c] == Role::Control)
        .filter_map(|c| standing_still(season, c, &windows))
        .collect();
    for (camera, noise) in near.iter().zip(&noise) {
        let years = quiet::earlier_years(season, *camera, kind, &windows, log);
        let effect = |s: &Sides| s.effect(Question::LightVisits, noise);
        controls.extend(years.iter().filter_map(effect));
    }
    let quiet = Quiet::before(season, &windows, &here.roles, log);
    let spread = quiet.spread(Question::LightVisits, &controls)?;
    let number = controls.len() as f64;
    let expected = spread.expected(mean_effect(controls, spread.between)?);
    let sides: Vec<Sides> = near.iter().map(|c| as_before(season, *c, &windows)).collect();
    let together = match near.len() {
        1 => [1.0; Question::ALL.len()],
        _ => runs_together(&noise, &Noise::lasting_before(watched(season, &near), &windows)),
    };
    let freedom = noise.iter().map(|n| n.light.freedom);
    let asked = Asked {
        counts: &Effective::of(&sides, &noise, together),
        expected,
        of_number: spread.between / number,
        of_counts: freedom.fold(f64::INFINITY, f64::min),
        level: first_level(log.len()),
        times: 1.0,
    };
    let has_any = sides.iter().any(|s| s.before.counted > 0);
    has_any.then(|| asked.power_of_loss(0.5))
}

fn watched<'a>(season: &'a Season, cameras: &'a [usize]) -> Watched<'a> {
    let kind = season.about.kind;
    Watched { season, cameras, kind }
}

/// A camera's counts before, and the same again after.
fn as_before(season: &Season, camera: usize, windows: &Windows) -> Sides {
    let kind = season.about.kind;
    let before = Sums::of(season, camera, kind, windows.before, windows.before.1);
    Sides { before, after: before }
}

/// The effect at a camera whose visits in light stay what they were.
fn standing_still(season: &Season, camera: usize, windows: &Windows) -> Option<Effect> {
    let noise = Noise::before(watched(season, &[camera]), windows);
    as_before(season, camera, windows).effect(Question::LightVisits, &noise)
}
