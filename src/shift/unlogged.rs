//! Changes that nobody logged: where and when to go and look.

use chrono::{Days, NaiveDate};
use rayon::prelude::*;

use super::LEVEL;
use super::contrast::points;
use super::effects::{Question, Sides};
use super::noise::{self, Noise, Watched};
use super::quiet::{self, Learned, is_undisturbed};
use super::roles::Logged;
use super::window::Windows;
use crate::measure::{Effect, KNOWN, mean_effect, predictive_p_value, score_statistic, two_sided};
use crate::visits::{Kind, Season};

/// A change at one camera that no logged disturbance accounts for.
#[derive(Debug, Clone, PartialEq)]
pub struct Unlogged {
    /// Index of the camera.
    pub camera: usize,
    /// The kind of deer.
    pub kind: Kind,
    /// What changed: visits in light, or the daylight share.
    pub of: Question,
    /// First and last date at which a change is clear: the days to go and look at.
    pub dates: (NaiveDate, NaiveDate),
    /// The change at the clearest of them: of the share as a fraction, of visits in light as a ratio.
    pub change: f64,
    /// Its p-value, times the number of looks: cameras, kinds, questions and dates.
    pub p_adjusted: f64,
}

/// Days from one date looked at to the next.
const STEP_DAYS: usize = 3;
/// Days compared on either side where `property.toml` does not say.
const DAYS: u32 = 21;
/// A side of the share, both sides of visits in light, and a side of all other cameras together need so many
/// visits.
const FEWEST_VISITS: usize = 5;
const FEWEST_ELSEWHERE: usize = 10;
const QUESTIONS: [Question; 2] = [Question::LightVisits, Question::Share];

/// Looks at every camera on every third date for changes that nobody logged. Every p-value is multiplied by
/// the number of looks (Bonferroni): cameras, kinds, questions and dates. Says also whether any camera could be
/// compared.
pub(super) fn unlogged(season: &Season, log: &[Logged]) -> (Vec<Unlogged>, bool) {
    let days = season.settings.shift_days.unwrap_or(DAYS);
    let Some((first, last)) = season.span() else {
        return (Vec::new(), false);
    };
    let dates: Vec<NaiveDate> = first
        .iter_days()
        .take_while(|d| *d <= last)
        .skip(days as usize / 2)
        .step_by(STEP_DAYS)
        .filter(|date| could_show(season, &Windows::at(*date, days)))
        .collect();
    let kinds = season.about.kinds();
    let looks = (dates.len() * season.cameras.len() * kinds.len() * QUESTIONS.len()) as f64;
    let mut alarms = Vec::new();
    let mut any = false;
    for kind in kinds {
        let watch = Watch::of(season, kind, days, log);
        let looked: Vec<(Vec<Unlogged>, bool)> =
            dates.par_iter().map(|date| watch.look(*date, looks)).collect();
        any |= looked.iter().any(|l| l.1);
        alarms.extend(looked.into_iter().flat_map(|l| l.0));
    }
    alarms.retain(|alarm| !is_logged(alarm, log, days));
    (together(alarms, Days::new(u64::from(days))), any)
}

/// Whether any camera has visits on both sides: most of a year has none.
fn could_show(season: &Season, windows: &Windows) -> bool {
    let any = |c: usize, side| {
        let days = season.days.together(c, Kind::Deer, side, windows.after.0);
        days.seen.visits > 0
    };
    (0..season.cameras.len()).any(|c| any(c, windows.before) && any(c, windows.after))
}

/// One kind at all cameras.
struct Watch<'a> {
    season: &'a Season,
    kind: Kind,
    days: u32,
    noise: Vec<Noise>,
    /// What the other cameras show of how cameras differ, question by question and camera by camera: a
    /// change must not hide behind itself.
    others: [Vec<Learned>; 2],
}

impl<'a> Watch<'a> {
    fn of(season: &'a Season, kind: Kind, days: u32, log: &[Logged]) -> Self {
        let cameras: Vec<usize> = (0..season.cameras.len()).collect();
        let noise = noise::each(season, kind, |watched| Noise::of_all(watched, days));
        let groups = groups(season, kind, days, &noise, log);
        let others = groups.map(|groups| {
            let without = |camera: &usize| -> Vec<Vec<Effect>> {
                let rest = |group: &Vec<(usize, Effect)>| -> Vec<Effect> {
                    group.iter().filter(|g| g.0 != *camera).map(|g| g.1).collect()
                };
                groups.iter().map(rest).filter(|g| g.len() > 1).collect()
            };
            cameras.par_iter().map(|c| Learned::of(&without(c))).collect()
        });
        Self { season, kind, days, noise, others }
    }

    /// Every camera against all others at one date, and whether any could be compared.
    fn look(&self, date: NaiveDate, looks: f64) -> (Vec<Unlogged>, bool) {
        let windows = Windows::at(date, self.days);
        let doubtful = |c: usize| {
            self.season.cameras[c].clock_doubtful_between(windows.before.0, windows.after.1)
        };
        let sides: Vec<Option<Sides>> = (0..self.season.cameras.len())
            .map(|c| (!doubtful(c)).then(|| quiet::sides(self.season, c, self.kind, &windows)))
            .collect();
        let mut alarms = Vec::new();
        let mut any = false;
        for question in QUESTIONS {
            let effect = |(s, n): (&Option<Sides>, &Noise)| s.as_ref()?.effect(question, n);
            let effects: Vec<Option<Effect>> = sides.iter().zip(&self.noise).map(effect).collect();
            for (camera, here) in sides.iter().enumerate() {
                let Some(here) = here.filter(|s| has_enough(s, question)) else {
                    continue;
                };
                let elsewhere = |side: fn(&Sides) -> usize| -> usize {
                    let others = sides.iter().enumerate().filter(|(c, _)| *c != camera);
                    others.filter_map(|(_, s)| s.as_ref()).map(side).sum()
                };
                let few = elsewhere(|s| s.before.visits).min(elsewhere(|s| s.after.visits));
                if few < FEWEST_ELSEWHERE {
                    continue;
                }
                any = true;
                let most = LEVEL / looks;
                let found = self.clear(camera, &here, question, &effects, &windows, most);
                if let Some((p, change)) = found {
                    alarms.push(Unlogged {
                        camera,
                        kind: self.kind,
                        of: question,
                        dates: (date, date),
                        change: told(question, change, &here),
                        p_adjusted: p * looks,
                    });
                }
            }
        }
        (alarms, any)
    }

    /// The p-value of a camera's change against all others, and the change; `None` where it is over `most`, or
    /// cannot be told.
    fn clear(
        &self,
        camera: usize,
        here: &Sides,
        question: Question,
        effects: &[Option<Effect>],
        windows: &Windows,
        most: f64,
    ) -> Option<(f64, f64)> {
        let own = effects[camera]?;
        let others = || {
            let others = effects.iter().enumerate().filter(|(c, _)| *c != camera);
            others.filter_map(|(_, e)| *e)
        };
        // Most dates show nothing, even if all cameras were alike and every visit stood for itself: only then
        // is the rest worth working out.
        let alike = mean_effect(others(), 0.0)?;
        let plainly = [here.pair(question, &Noise::NONE, 1.0)?];
        if two_sided(score_statistic(&plainly, alike.value), KNOWN) > most * UNLIKE {
            return None;
        }
        let others: Vec<Effect> = others().collect();
        let spread = self.others[question as usize][camera].with(&others)?;
        let mean = mean_effect(others, spread.between)?;
        let cameras = &[camera];
        let watched = Watched { season: self.season, cameras, kind: self.kind };
        let noise = Noise::lasting(watched, windows);
        let pair = [here.pair(question, &noise, 1.0)?];
        let against = predictive_p_value(&pair, &spread.expected(mean), noise.on(question).freedom);
        let p = against.max(here.own_p_value(question, &noise)?);
        (p <= most).then_some((p, own.value - mean.value))
    }
}

/// Changes at all undisturbed cameras over pairs of stretches one after the other.
fn groups(
    season: &Season,
    kind: Kind,
    days: u32,
    noise: &[Noise],
    log: &[Logged],
) -> [Vec<Vec<(usize, Effect)>>; 2] {
    let Some((first, _)) = season.span() else {
        return Default::default();
    };
    let start = Windows::at(first + Days::new(u64::from(days)), days);
    let nights = (f64::from(days) * quiet::WORKED).ceil() as usize;
    let sides: Vec<Vec<(usize, Sides)>> = quiet::pairs(season, &start, usize::MAX)
        .par_iter()
        .map(|pair| {
            let cameras =
                (0..season.cameras.len()).filter(|c| is_undisturbed(season, *c, pair, log));
            cameras
                .map(|c| (c, quiet::sides(season, c, kind, pair)))
                .filter(|(_, s)| s.worked(nights))
                .collect()
        })
        .collect();
    QUESTIONS.map(|question| {
        let effect = |(c, s): &(usize, Sides)| Some((*c, s.effect(question, &noise[*c])?));
        sides.iter().map(|group| group.iter().filter_map(effect).collect()).collect()
    })
}

fn has_enough(sides: &Sides, question: Question) -> bool {
    match question {
        Question::Share => sides.fewest_visits() >= FEWEST_VISITS,
        _ => sides.light_visits() >= FEWEST_VISITS,
    }
}

/// By how much the mean of the others may move when they are not taken to be alike, as a factor of the
/// p-value.
const UNLIKE: f64 = 1000.0;

/// A change as a person is told it: of the share in fractions, of visits as a ratio.
fn told(question: Question, change: f64, here: &Sides) -> f64 {
    match question {
        Question::Share => points(change, here.after.share()),
        _ => change.exp(),
    }
}

/// Whether a disturbance that could touch the camera began or ended within the days compared.
fn is_logged(alarm: &Unlogged, log: &[Logged], days: u32) -> bool {
    let windows = Windows::at(alarm.dates.0, days);
    log.iter().any(|l| l.touches(alarm.camera, windows.before.0, windows.after.1))
}

/// Alarms of one camera and kind that follow each other within `gap` are one, at its clearest.
fn together(mut alarms: Vec<Unlogged>, gap: Days) -> Vec<Unlogged> {
    alarms.sort_by_key(|a| (a.camera, a.kind, a.dates.0, a.of));
    let mut merged: Vec<Unlogged> = Vec::new();
    for alarm in alarms {
        match merged.last_mut() {
            Some(m)
                if m.camera == alarm.camera
                    && m.kind == alarm.kind
                    && alarm.dates.0 <= m.dates.1 + gap =>
            {
                m.dates.1 = alarm.dates.1;
                if alarm.p_adjusted < m.p_adjusted {
                    m.of = alarm.of;
                    m.p_adjusted = alarm.p_adjusted;
                    m.change = alarm.change;
                }
            }
            _ => merged.push(alarm),
        }
    }
    merged
}
