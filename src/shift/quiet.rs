//! How differently the cameras of a property change while nothing happens: without it, what one camera does
//! by itself would be taken for what was done to it.

use chrono::{Datelike, Days, NaiveDate};

use super::effects::{Question, Sides};
use super::noise::Noise;
use super::roles::{Logged, Role};
use super::window::{Sums, Windows};
use crate::measure::{Effect, Expected, between_variance, moderation, unlike};
use crate::visits::{Kind, Season};

/// Groups of changes that should be alike, question by question: one kind at all quiet cameras over the same
/// dates; where there is one camera, at it in the same weeks of several years.
type Groups = [Vec<Vec<Effect>>; Question::ALL.len()];

/// What such groups say, question by question.
pub(super) struct Quiet([Learned; Question::ALL.len()]);

/// What all groups together say: the variance, and the degrees of freedom that they lend to one of them.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Learned {
    pub between: f64,
    pub freedom: f64,
}

/// The variance between cameras' true changes, and the degrees of freedom with which it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    pub between: f64,
    pub freedom: f64,
}

impl Spread {
    /// What a camera is expected to do where the controls did `mean`.
    pub fn expected(&self, mean: Effect) -> Expected {
        Expected {
            mean: mean.value,
            variance: mean.variance,
            between: self.between,
            freedom: self.freedom,
        }
    }
}

/// Pairs of stretches further from the date than so many are another time, and cost more than they tell.
const MOST_PAIRS: usize = 20;
/// A camera that worked on less than this part of a stretch is left out of it.
pub(super) const WORKED: f64 = 0.5;
/// A camera that worked on fewer of the same days of two seasons is left out of them.
const FEWEST_NIGHTS: usize = 10;
/// Nothing varies less than this part of what its own errors explain; a group that happens to is luck.
const LEAST_RATIO: f64 = 0.02;
/// Degrees of freedom that other days lend to few controls.
const MOST_LENT: f64 = 4.0;
/// With fewer degrees of freedom than this nothing could ever be told.
const LEAST_FREEDOM: f64 = 2.0;

impl Quiet {
    /// Learns from every stretch of the record that is as long as those compared, and from the controls in
    /// those compared.
    pub fn of(season: &Season, windows: &Windows, roles: &[Role], log: &[Logged]) -> Self {
        Self::learn(season, windows, pairs(season, windows, MOST_PAIRS), roles, log)
    }

    fn learn(
        season: &Season,
        windows: &Windows,
        pairs: Vec<Windows>,
        roles: &[Role],
        log: &[Logged],
    ) -> Self {
        let mut groups = Groups::default();
        for kind in kinds(season) {
            let noise = Noise::of_each(season, kind, windows);
            for pair in &pairs {
                let usable = |camera: &usize| {
                    let is_before = pair.after.1 <= windows.before.1;
                    let was = windows.years_apart.is_some() && pair.after.1 < windows.after.0;
                    (is_before || was || roles[*camera] == Role::Control)
                        && is_undisturbed(season, *camera, pair, log)
                };
                let usable: Vec<usize> = (0..season.cameras.len()).filter(usable).collect();
                take_in(&mut groups, season, kind, pair, &usable, &noise, log);
            }
        }
        Self(groups.map(|groups| Learned::of(&groups)))
    }

    /// What is known together with the controls' own changes over the days compared, the larger of what
    /// they and what all groups say. Degrees of freedom are theirs and those that all groups lend them
    /// (Smyth 2004, as in [`moderation`]). `None` without controls, or where so little is known that nothing could ever be
    /// told.
    pub fn spread(&self, question: Question, controls: &[Effect]) -> Option<Spread> {
        self.0[question as usize].with(controls)
    }
}

/// Takes in one pair of stretches.
fn take_in(
    groups: &mut Groups,
    season: &Season,
    kind: Kind,
    pair: &Windows,
    cameras: &[usize],
    noise: &[Noise],
    log: &[Logged],
) {
    let nights = match pair.years_apart {
        Some(_) => FEWEST_NIGHTS,
        None => (f64::from(pair.days()) * WORKED).ceil() as usize,
    };
    let sides: Vec<(usize, Sides)> = cameras
        .iter()
        .map(|c| (*c, sides(season, *c, kind, pair)))
        .filter(|(_, s)| s.worked(nights))
        .collect();
    for question in Question::ALL {
        let effect = |(c, s): &(usize, Sides)| s.effect(question, &noise[*c]);
        let mut group: Vec<Effect> = sides.iter().filter_map(effect).collect();
        if let ([_], [camera]) = (group.as_slice(), cameras) {
            let earlier = earlier_years(season, *camera, kind, pair, log);
            let effects = earlier.iter().map(|s| s.effect(question, &noise[*camera]));
            group.extend(effects.flatten());
        }
        if group.len() > 1 {
            groups[question as usize].push(group);
        }
    }
}

impl Learned {
    /// See [`Quiet::spread`].
    pub fn with(&self, controls: &[Effect]) -> Option<Spread> {
        // Other days lend no more than the days themselves show, so that a season in which cameras differ more
        // than they usually do is not judged by the usual ones.
        let own = controls.len().checked_sub(1)? as f64;
        let freedom = own + self.freedom.min(own.max(MOST_LENT));
        (freedom >= LEAST_FREEDOM)
            .then(|| Spread { between: between_variance(&[controls]).max(self.between), freedom })
    }

    pub fn of(groups: &[Vec<Effect>]) -> Self {
        let between = between_variance(groups);
        let ratio = |group: &Vec<Effect>| {
            let seen = unlike(group, between);
            ((seen.squares / seen.freedom).max(LEAST_RATIO), seen.freedom)
        };
        let ratios: Vec<(f64, f64)> = groups.iter().map(ratio).collect();
        let all: f64 = ratios.iter().map(|r| r.1).sum();
        // Groups cannot lend more than they have; one alone lends what it has.
        let lent = moderation(&ratios).map_or(all, |m| m.freedom.min(all));
        Self { between, freedom: lent }
    }
}

/// The kinds whose changes are independent of each other and often enough seen.
fn kinds(season: &Season) -> Vec<Kind> {
    match season.about.kind {
        Kind::Deer => vec![Kind::Deer],
        other => vec![other, Kind::Doe],
    }
}

/// The date whose place counts: the first after, or the last on which the camera worked in a season.
pub(super) fn as_on(season: &Season, camera: usize, windows: &Windows) -> NaiveDate {
    if windows.years_apart.is_none() {
        return windows.after.0;
    }
    let effort = &season.cameras[camera].effort;
    let dates = effort.dates_between(windows.after.0, windows.after.1);
    dates.last().copied().unwrap_or(windows.after.0)
}

/// Whether a date of the days compared counts at a camera: of seasons only one on which it worked in both.
pub(super) fn counts_on(
    season: &Season,
    camera: usize,
    windows: &Windows,
    date: NaiveDate,
) -> bool {
    let Some(years) = windows.years_apart else {
        return true;
    };
    let other = match date <= windows.before.1 {
        true => date.with_year(date.year() + years),
        false => date.with_year(date.year() - years),
    };
    let dates = &season.cameras[camera].effort.dates;
    let worked = |d: NaiveDate| dates.binary_search(&d).is_ok();
    worked(date) && other.is_some_and(worked)
}

/// One camera's counts over two stretches, as far as it hung where it did at the beginning of the second.
pub(super) fn sides(season: &Season, camera: usize, kind: Kind, windows: &Windows) -> Sides {
    let as_on = as_on(season, camera, windows);
    if let Some(years) = windows.years_apart {
        let [before, after] = Sums::of_both(season, camera, kind, windows, years, as_on);
        return Sides { before, after };
    }
    let sums = |span| Sums::of(season, camera, kind, span, as_on);
    Sides { before: sums(windows.before), after: sums(windows.after) }
}

/// The same camera in the same weeks of earlier years: only where it hung at the same place, had visits on both
/// sides, and nothing was logged near it then, so that what happens every year on one day is not subtracted
/// from itself.
pub(super) fn earlier_years(
    season: &Season,
    camera: usize,
    kind: Kind,
    windows: &Windows,
    log: &[Logged],
) -> Vec<Sides> {
    let itself = &season.cameras[camera];
    let Some(began) = itself.effort.dates.first() else {
        return Vec::new();
    };
    if windows.years_apart.is_some() {
        return Vec::new();
    }
    std::iter::successors(windows.a_year_earlier(), Windows::a_year_earlier)
        .take_while(|then| *began <= then.before.1)
        .filter(|then| {
            let touched = |l: &Logged| l.touches(camera, then.before.0, then.after.1);
            !itself.moved_between(then.after.0, windows.after.0)
                && !itself.clock_doubtful_between(then.before.0, then.after.1)
                && !log.iter().any(touched)
        })
        .map(|then| sides(season, camera, kind, &then))
        .filter(|sides| sides.fewest_visits() >= FEWEST_VISITS)
        .collect()
}

/// A side of an earlier year with fewer visits than this shows nothing.
const FEWEST_VISITS: usize = 5;

/// Pairs of stretches as long as those compared, counted from the date between them, and that pair itself.
pub(super) fn pairs(season: &Season, windows: &Windows, most: usize) -> Vec<Windows> {
    let Some((first, last)) = season.span() else {
        return Vec::new();
    };
    if windows.years_apart.is_some() {
        return other_years(windows, (first, last));
    }
    let step = Days::new(u64::from(windows.days()));
    let back = |(from, until): (NaiveDate, NaiveDate)| (from - step, until - step);
    let on = |(from, until): (NaiveDate, NaiveDate)| (from + step, until + step);
    let earlier = std::iter::successors(Some(windows.before), |span| Some(back(*span)));
    let later = std::iter::successors(Some(windows.after), |span| Some(on(*span)));
    let pair = |(before, after)| Windows { before, after, years_apart: None };
    let earlier =
        earlier.clone().skip(1).zip(earlier).map(pair).take_while(|p| p.before.0 >= first);
    let later = later.clone().zip(later.skip(1)).map(pair).take_while(|p| p.after.1 <= last);
    let mut all = vec![*windows];
    all.extend(earlier.take(most));
    all.extend(later.take(most));
    all
}

/// The same days of every other pair of seasons as far apart.
fn other_years(windows: &Windows, (first, last): (NaiveDate, NaiveDate)) -> Vec<Windows> {
    const MOST_YEARS: i32 = 40;
    let years = (-MOST_YEARS..=MOST_YEARS).filter(|y| *y != 0);
    let others = years.filter_map(|y| windows.years_later(y));
    let known = others.filter(|w| w.before.1 >= first && w.after.0 <= last);
    std::iter::once(*windows).chain(known).collect()
}

/// Whether nothing is logged near a camera in two stretches and the one before them, its clock is believed
/// and it did not move.
pub(super) fn is_undisturbed(
    season: &Season,
    camera: usize,
    pair: &Windows,
    log: &[Logged],
) -> bool {
    let length = match pair.years_apart {
        Some(_) => Days::new(0),
        None => Days::new((pair.after.1 - pair.after.0).num_days() as u64),
    };
    let touched = |l: &Logged| l.touches(camera, pair.before.0 - length, pair.after.1);
    let here = &season.cameras[camera];
    // Of seasons only the days at one place are counted.
    let moved = || pair.years_apart.is_none() && here.moved_between(pair.before.0, pair.after.1);
    !log.iter().any(touched)
        && !here.clock_doubtful_between(pair.before.0, pair.after.1)
        && !moved()
}
