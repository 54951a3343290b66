//! What happened several times is one exposure: the days after it against other days they are matched with,
//! over all the times. The cost of a sit, of a walk to a camera, of work on a plot.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, Days, NaiveDate, Weekday};

use super::doings::Doing;
use super::roles::{Logged, is_repeated};
use super::{LEVEL, Role, Verdict, WORTH_KNOWING_LOSS};
use crate::measure::{
    Counts, Estimate, Exposure, KNOWN, MatchedDay, MatchedRatio, critical, holm_adjusted,
    matched_ratio, rate, two_sided, wilson,
};
use crate::property::By;
use crate::visits::{Kind, PicturesOn, Season};

/// Something that happened several times.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeated {
    /// What it was, in the person's words, or that somebody was in the picture.
    pub what: String,
    /// Whose it was; `None` for people in the pictures.
    pub by: Option<By>,
    /// How many times it happened.
    pub times: usize,
    /// On how many days, counted at each camera it could touch.
    pub camera_days: usize,
    /// Visits in light of the deer that the season is about, on the day itself and the two after it, over those
    /// on matched other days; `None` where there is too little to match.
    pub ratio: Option<Estimate>,
    /// What that ratio rests on.
    pub matched: Matched,
    /// It takes several doings together, and of one of them a loss of half is not ruled out.
    pub pools_what_cannot_be_told: bool,
    /// Two-sided p-value of no difference.
    pub p_value: Option<f64>,
    /// The same, with everything else that happened several times allowed for.
    pub p_adjusted: Option<f64>,
    /// What can be said.
    pub verdict: Verdict,
    /// The same ratio for the day itself, the first day after it, the second, and so on.
    pub recovery: Vec<Option<Estimate>>,
    /// The day itself, the first day after it, the second, and so on.
    pub after: Vec<DayAfter>,
    /// Days at the same cameras that follow none of them within [`FOLLOWED_DAYS`].
    pub ordinary: DayAfter,
}

impl Repeated {
    /// Whether a loss that would change where a person sits is ruled out.
    pub fn rules_loss_out(&self) -> bool {
        self.ratio.is_some_and(rules_loss_out)
    }
}

/// Whether a ratio of visits in light rules out that [`WORTH_KNOWING_LOSS`] of them are lost.
pub fn rules_loss_out(ratio: Estimate) -> bool {
    ratio.low > 1.0 - WORTH_KNOWING_LOSS
}

/// Camera-days that have others like them, and visits in light on them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Matched {
    /// Days on which it happened or that follow within two days.
    pub days: usize,
    /// Visits in light on them.
    pub visits: usize,
    /// Other days like them.
    pub other_days: usize,
    /// Visits in light on those.
    pub other_visits: usize,
    /// Which the days are: camera and date.
    pub days_on: Vec<CameraDay>,
    /// Which the others are.
    pub others_on: Vec<CameraDay>,
}

/// Deer of all kinds on the n-th days after, taken together.
#[derive(Debug, Clone, PartialEq)]
pub struct DayAfter {
    /// Camera-nights.
    pub nights: usize,
    /// Which those are: camera and date.
    pub on: Vec<CameraDay>,
    /// Visits.
    pub visits: usize,
    /// Visits that the daylight share counts.
    pub counted: usize,
    /// The daylight share.
    pub share: Option<Estimate>,
    /// Visits per camera-night, at all hours, every visit taken as independent; `None` where too many
    /// of the pictures have no tag.
    pub per_night: Option<Estimate>,
}

/// Days followed after each.
pub const FOLLOWED_DAYS: usize = 7;
/// The day itself and so many after it are tested.
const TESTED_DAYS: usize = 2;
/// Days so long after are other days again: the same day of the next week is the closest there is.
const OTHER_FROM_DAYS: usize = 7;
/// Something that happened less often is no habit.
pub(super) const FEWEST_TIMES: usize = 3;
/// With fewer visits in light in the matched days nothing is tested.
const FEWEST_VISITS: f64 = 10.0;

/// Camera and date.
pub type CameraDay = (usize, NaiveDate);

/// Tests what happened at least three times: disturbances logged under the same words by the same, and days on
/// which a person was tagged at a camera (a card pulled, a stand walked to).
pub(super) fn repeated(season: &Season, log: &[Logged], doings: &[Doing]) -> Vec<Repeated> {
    let mut events: BTreeMap<(&str, Option<By>), Events> = BTreeMap::new();
    for Logged { disturbance, roles } in log.iter().filter(|l| is_repeated(l, log)) {
        let event = events.entry((&disturbance.what, Some(disturbance.by))).or_default();
        let first = disturbance.start.date();
        let last = disturbance.end.map_or(first, |e| e.date());
        event.starts.insert(first);
        for camera in (0..roles.len()).filter(|c| roles[*c] == Role::Near) {
            let days = first.iter_days().take_while(|d| *d <= last);
            event.days.extend(days.map(|date| (camera, date)));
        }
    }
    for doing in doings {
        let event = events.entry((&doing.what, Some(By::Own))).or_default();
        event.starts.extend(doing.days.iter().map(|(_, date)| *date));
        event.days.extend(&doing.days);
    }
    let people = events.entry(("A person in the picture", None)).or_default();
    for (camera, c) in season.cameras.iter().enumerate() {
        people.starts.extend(&c.people_on);
        people.days.extend(c.people_on.iter().map(|d| (camera, *d)));
    }
    let mut all: Vec<Repeated> = events
        .into_iter()
        .filter(|(_, event)| event.starts.len() >= FEWEST_TIMES)
        .map(|((what, by), event)| pooled(season, what, by, &event))
        .collect();
    judge(&mut all);
    mark_pools(&mut all, doings);
    all
}

/// Marks what takes several doings together where one of them may have cost half.
fn mark_pools(all: &mut [Repeated], doings: &[Doing]) {
    let is_open = |what: &str| {
        let row = all.iter().find(|r| r.what == what && r.by == Some(By::Own));
        row.is_none_or(|r| !r.rules_loss_out())
    };
    let open: Vec<String> = doings
        .iter()
        .filter(|d| d.pools.iter().any(|member| is_open(member)))
        .map(|d| d.what.clone())
        .collect();
    for repeated in all.iter_mut().filter(|r| r.by == Some(By::Own)) {
        repeated.pools_what_cannot_be_told = open.contains(&repeated.what);
    }
}

/// When something happened, and at which cameras on which days it went on.
#[derive(Default)]
struct Events {
    starts: BTreeSet<NaiveDate>,
    days: BTreeSet<CameraDay>,
}

impl Events {
    /// How many days before a date it last happened at a camera; `None` beyond those that are followed.
    fn days_since(&self, (camera, date): CameraDay) -> Option<usize> {
        (0..=FOLLOWED_DAYS).find(|n| self.days.contains(&(camera, date - Days::new(*n as u64))))
    }
}

/// Holm's method over all that happened several times.
fn judge(all: &mut [Repeated]) {
    let asked: Vec<usize> = (0..all.len()).filter(|i| all[*i].p_value.is_some()).collect();
    let p_values = asked.iter().filter_map(|i| all[*i].p_value).collect();
    for (i, p) in asked.iter().zip(holm_adjusted(p_values)) {
        let repeated = &mut all[*i];
        repeated.p_adjusted = Some(p);
        repeated.verdict = match repeated.ratio {
            Some(ratio) if p <= LEVEL && ratio.value < 1.0 => Verdict::ClearDrop,
            Some(_) if p <= LEVEL => Verdict::ClearRise,
            _ => Verdict::NoClearChange,
        };
    }
}

fn pooled(season: &Season, what: &str, by: Option<By>, events: &Events) -> Repeated {
    let comparable = comparable(season, events);
    let mut after: Vec<Vec<CameraDay>> = vec![Vec::new(); FOLLOWED_DAYS + 1];
    let mut ordinary = Vec::new();
    for day in &comparable {
        match events.days_since(*day) {
            Some(n) => after[n].push(*day),
            None => ordinary.push(*day),
        }
    }
    let (tested, matched_days) = matched(season, events, &comparable, |n| n <= TESTED_DAYS);
    let verdict = tested.err().unwrap_or(Verdict::NoClearChange);
    let tested = tested.ok();
    Repeated {
        what: what.to_owned(),
        by,
        times: events.starts.len(),
        camera_days: events.days.len(),
        ratio: tested.map(estimate),
        matched: matched_days,
        pools_what_cannot_be_told: false,
        p_value: tested.map(p_value),
        p_adjusted: None,
        verdict,
        recovery: (0..=FOLLOWED_DAYS)
            .map(|day| {
                let (found, _) = matched(season, events, &comparable, |n| n == day);
                found.ok().map(estimate)
            })
            .collect(),
        after: after.iter().map(|days| on(season, days)).collect(),
        ordinary: on(season, &ordinary),
    }
}

/// Every night of a camera that it happened at, as far as the camera hung where it did then.
fn comparable(season: &Season, events: &Events) -> Vec<CameraDay> {
    let cameras: BTreeSet<usize> = events.days.iter().map(|e| e.0).collect();
    let mut all = Vec::new();
    for camera in cameras {
        let here = &season.cameras[camera];
        let at_place = |date: NaiveDate| {
            let mut at_camera = events.days.iter().filter(|e| e.0 == camera);
            at_camera.any(|e| !here.moved_between(e.1, date))
        };
        let dates = here.effort.dates.iter().filter(|d| at_place(**d));
        all.extend(dates.map(|d| (camera, *d)));
    }
    all
}

/// Visits in light on days so long after, over those on other days of the same camera and fortnight, weekends and
/// weekdays apart; what can be said where there is no ratio: too many pictures without a tag, no other day to match with,
/// or too few visits on those that match.
fn matched(
    season: &Season,
    events: &Events,
    comparable: &[CameraDay],
    exposed: impl Fn(usize) -> bool,
) -> (Result<MatchedRatio, Verdict>, Matched) {
    const FORTNIGHT: i64 = 14;
    let kind = season.about.kind;
    let mut strata: BTreeMap<(usize, i64, bool), Vec<(CameraDay, MatchedDay)>> = BTreeMap::new();
    let mut pictures = PicturesOn::default();
    for (camera, date) in comparable {
        let since = events.days_since((*camera, *date));
        let is_exposed = since.is_some_and(&exposed);
        // Days further after are neither, until the same day of the next week.
        if !is_exposed && since.is_some_and(|n| n < OTHER_FROM_DAYS) {
            continue;
        }
        let here = &season.cameras[*camera];
        let visits = here.visits_between(kind, *date, *date);
        let on = here.pictures_between(*date, *date);
        pictures += on;
        let fortnight = (*date - NaiveDate::MIN).num_days() / FORTNIGHT;
        let is_weekend = matches!(date.weekday(), Weekday::Sat | Weekday::Sun);
        let stratum = strata.entry((*camera, fortnight, is_weekend)).or_default();
        let day = MatchedDay {
            exposed: is_exposed,
            count: visits.iter().filter(|v| v.counted).count() as f64,
            effort: 1.0,
        };
        stratum.push(((*camera, *date), day));
    }
    let is_some = |days: &[(CameraDay, MatchedDay)], exposed: bool| {
        days.iter().any(|(_, d)| d.exposed == exposed)
    };
    let every: f64 = strata.values().flatten().map(|(_, d)| d.count).sum();
    strata.retain(|_, days| is_some(days, true) && is_some(days, false));
    let told = Matched::of(strata.values().flatten());
    let matched: Vec<(i64, Vec<MatchedDay>)> = strata
        .into_iter()
        .map(|((_, fortnight, _), days)| (fortnight, days.into_iter().map(|d| d.1).collect()))
        .collect();
    if !pictures.are_tagged() {
        return (Err(Verdict::NotTagged), told);
    }
    let seen = (told.visits + told.other_visits) as f64;
    let found = matched_ratio(&matched).filter(|_| seen >= FEWEST_VISITS);
    let found = found.ok_or(match every >= FEWEST_VISITS {
        true => Verdict::NoControl,
        false => Verdict::TooFewVisits,
    });
    (found, told)
}

impl Matched {
    fn of<'a>(all: impl Iterator<Item = &'a (CameraDay, MatchedDay)>) -> Self {
        let mut told = Self::default();
        for (at, day) in all {
            let (days, visits, on) = match day.exposed {
                true => (&mut told.days, &mut told.visits, &mut told.days_on),
                false => (&mut told.other_days, &mut told.other_visits, &mut told.others_on),
            };
            *days += 1;
            *visits += day.count as usize;
            on.push(*at);
        }
        told
    }
}

/// The variance and its degrees of freedom: the larger of what the days' counts vary by and of what whole
/// fortnights do, at all cameras together, since a buck on his feet is seen at several for days.
fn variance(ratio: MatchedRatio) -> (f64, f64) {
    let quasi = match ratio.dispersion > 1.0 {
        true => (ratio.variance * ratio.dispersion, ratio.freedom),
        false => (ratio.variance, KNOWN),
    };
    let robust = (ratio.robust_variance, ratio.groups - 1.0);
    let reach = |(variance, freedom): (f64, f64)| match freedom >= 1.0 {
        true => critical(freedom) * f64::sqrt(variance),
        false => 0.0,
    };
    if reach(robust) > reach(quasi) { robust } else { quasi }
}

fn estimate(ratio: MatchedRatio) -> Estimate {
    let (variance, freedom) = variance(ratio);
    let half = critical(freedom) * variance.sqrt();
    Estimate {
        value: ratio.log_ratio.exp(),
        low: (ratio.log_ratio - half).exp(),
        high: (ratio.log_ratio + half).exp(),
    }
}

fn p_value(ratio: MatchedRatio) -> f64 {
    let (variance, freedom) = variance(ratio);
    two_sided(ratio.log_ratio / variance.sqrt(), freedom)
}

fn on(season: &Season, days: &[CameraDay]) -> DayAfter {
    let visits = || {
        days.iter().flat_map(|(camera, date)| {
            season.cameras[*camera].visits_between(Kind::Deer, *date, *date)
        })
    };
    let counted = visits().filter(|v| v.counted).count();
    let on = |(camera, date): &CameraDay| season.cameras[*camera].pictures_between(*date, *date);
    let pictures: PicturesOn = days.iter().map(on).sum();
    let exposure = Exposure { events: visits().count() as f64, effort: days.len() as f64 };
    DayAfter {
        nights: days.len(),
        on: days.to_vec(),
        visits: visits().count(),
        counted,
        share: wilson(Counts::new(counted, visits().count())),
        per_night: pictures.are_tagged().then(|| rate(exposure, KNOWN)).flatten(),
    }
}
