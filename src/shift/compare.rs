//! The days before against the days after at one camera, or at all near cameras together, with the controls
//! beside them.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use rayon::prelude::*;

use super::contrast::{Contrast, points};
use super::effects::{Question, Sides};
use super::enough::{self, Enough};
use super::here::{Here, own_p_value, runs_together};
use super::noise::{Noise, Watched};
use super::quiet::{self, Quiet};
use super::record::{LeftOut, Recorded};
use super::roles::Logged;
use super::window::{Side, Windows};
use super::{LEVEL, Role, Shift, Verdict, Why};
use crate::measure::{
    Effect, Estimate, Pair, Record, StepFit, change, mean_effect, predictive_p_value, rate_ratio,
};
use crate::property::Disturbance;
use crate::visits::{Kind, Season};

/// A share of fewer visits than this on a side is never judged.
const FEWEST_VISITS: usize = 5;
/// Nor are visits in light of which there are fewer than this on both sides together.
const FEWEST_LIGHT_VISITS: f64 = 5.0;
/// Where fewer visits than this were to be expected, that none came is no surprise: of 3 chance leaves none once in
/// 20 times (Poisson 1837).
const FEWEST_EXPECTED: f64 = 3.0;
/// Changes that are not told one by one are looked at where they have at most this p-value by themselves.
const SCREEN: f64 = 0.02;
/// Fewer nights than this on a side show nothing.
const FEWEST_OWN_NIGHTS: usize = 5;
/// Controls with fewer visits on a side than this, all together, do not show what the season did.
const FEWEST_CONTROL_VISITS: usize = 10;
/// The same of nights.
const FEWEST_CONTROL_NIGHTS: usize = 10;
/// LeftOut another camera so many earlier years of the same one tell what the season does.
const ENOUGH_YEARS: usize = 2;
/// A control near which something else is logged in these days is left out where so many others remain.
const ENOUGH_OTHERS: usize = 3;

/// All cameras around one date, for one kind.
pub(super) struct Compared<'a> {
    season: &'a Season,
    pub windows: &'a Windows,
    kind: Kind,
    roles: &'a [Role],
    log: &'a [Logged<'a>],
    quiet: &'a Quiet,
    sides: Vec<Sides>,
    noise: Vec<Noise>,
    /// Whether a camera tells what the season did.
    is_control: Vec<bool>,
    /// The last day on which what happened was still there.
    pub ended: Option<NaiveDate>,
    /// No more days after the date are looked at than so many.
    pub most_days: Option<u32>,
}

impl<'a> Compared<'a> {
    pub fn of(
        season: &'a Season,
        windows: &'a Windows,
        kind: Kind,
        roles: &'a [Role],
        log: &'a [Logged<'a>],
        quiet: &'a Quiet,
    ) -> Self {
        let noise = Noise::of_each(season, kind, windows);
        Self::with(noise, season, windows, kind, roles, log, quiet)
    }

    /// The same with another noise; none is enough for who asks for nothing but [`Self::plain_change`].
    pub fn with(
        noise: Vec<Noise>,
        season: &'a Season,
        windows: &'a Windows,
        kind: Kind,
        roles: &'a [Role],
        log: &'a [Logged<'a>],
        quiet: &'a Quiet,
    ) -> Self {
        let sides = |c| quiet::sides(season, c, kind, windows);
        Self {
            sides: (0..season.cameras.len()).map(sides).collect(),
            noise,
            is_control: controls(season, windows, roles, log),
            season,
            windows,
            kind,
            roles,
            log,
            quiet,
            ended: None,
            most_days: None,
        }
    }

    /// The row of all near cameras together, if there are any, then every camera's, near ones first.
    pub fn rows(&self, disturbance: &Disturbance) -> Vec<Shift> {
        let near = self.near_cameras();
        let together = (!near.is_empty())
            .then(|| self.row(&disturbance.id, None, &self.together(near.clone())));
        let alone = |c: usize| match &together {
            // One near camera is all of them.
            Some(row) if near == [c] => Shift { camera: Some(c), ..row.clone() },
            _ => self.row(&disturbance.id, Some(c), &self.camera(c)),
        };
        let mut cameras: Vec<usize> = (0..self.sides.len()).collect();
        cameras.sort_by_key(|c| self.roles[*c] == Role::Control);
        let alone: Vec<Shift> = cameras.into_par_iter().map(alone).collect();
        together.iter().cloned().chain(alone).collect()
    }

    /// The row of all near cameras together alone; `None` where none worked on both sides.
    pub fn near_together(&self, disturbance: &str) -> Option<Shift> {
        let near = self.near_cameras();
        let worked = near.iter().any(|c| self.sides[*c].worked(1));
        worked.then(|| self.row(disturbance, None, &self.together(near)))
    }

    /// The rows of two seasons: the whole property's, which has no control, then those of every camera that
    /// worked on enough of the same days.
    pub fn rows_of_seasons(&self) -> Vec<Shift> {
        let worked = |c: &usize| self.sides[*c].worked(FEWEST_CONTROL_NIGHTS);
        let cameras: Vec<usize> = (0..self.sides.len()).filter(worked).collect();
        if cameras.is_empty() {
            return Vec::new();
        }
        let alone = cameras.iter().map(|c| self.row("", Some(*c), &self.camera(*c)));
        let all = self.row("", None, &self.together(cameras.clone()));
        std::iter::once(all).chain(alone).collect()
    }

    /// The near cameras that worked on both sides; all of them where none did.
    fn near_cameras(&self) -> Vec<usize> {
        let near: Vec<usize> =
            (0..self.roles.len()).filter(|c| self.roles[*c] == Role::Near).collect();
        let worked: Vec<usize> =
            near.iter().copied().filter(|c| self.sides[*c].worked(1)).collect();
        if worked.is_empty() { near } else { worked }
    }

    fn camera(&self, camera: usize) -> Here {
        self.together(vec![camera])
    }

    fn together(&self, cameras: Vec<usize>) -> Here {
        let watched = Watched { season: self.season, cameras: &cameras, kind: self.kind };
        let alone = |c: &usize| {
            let cameras = &[*c];
            Noise::lasting(Watched { cameras, ..watched }, self.windows)
        };
        let noise: Vec<Noise> = cameras.iter().map(alone).collect();
        let (sum_noise, runs_together) = match cameras[..] {
            [one] => (self.noise[one], [1.0; Question::ALL.len()]),
            _ => {
                let lasting = Noise::lasting(watched, self.windows);
                let short = Noise::of(watched, self.windows);
                (short, runs_together(&noise, &lasting))
            }
        };
        let sides: Vec<Sides> = cameras.iter().map(|c| self.sides[*c]).collect();
        let in_doubt = |c: &usize| {
            self.season.cameras[*c]
                .clock_doubtful_between(self.windows.before.0, self.windows.after.1)
        };
        Here {
            noise,
            clock_in_doubt: cameras.iter().any(in_doubt),
            is_tagged: sides.iter().all(Sides::are_tagged),
            cameras,
            sum: Sides::sum(&sides).unwrap_or_default(),
            sides,
            sum_noise,
            runs_together,
        }
    }

    /// Cameras that a row is set against.
    fn others(&self, cameras: &[usize]) -> Vec<usize> {
        (0..self.sides.len()).filter(|c| self.is_control[*c] && !cameras.contains(c)).collect()
    }

    /// The record around the date of some cameras and those they are set against; without some of it.
    fn record(&self, cameras: &[usize], question: Question, without: LeftOut) -> Record {
        self.recorded().of(question, cameras, &self.others(cameras), without)
    }

    fn recorded(&self) -> Recorded<'a> {
        Recorded {
            season: self.season,
            windows: self.windows,
            kind: self.kind,
            log: self.log,
            happened: (self.windows.before.1, self.windows.after.0),
            ended: self.ended,
            most_days: self.most_days,
            day_by_day: false,
        }
    }

    /// What the other cameras' changes over the days counted come to; `None` where they are too few to tell what the
    /// season did: one stray visit must neither make a change clear nor hide one.
    fn elsewhere(&self, cameras: &[usize], question: Question) -> Option<Vec<Effect>> {
        let mut effects = Vec::new();
        let (mut visits, mut nights) = ([0; 2], [0; 2]);
        for camera in self.others(cameras) {
            let sides = &self.sides[camera];
            if let Some(effect) = sides.effect(question, &self.noise[camera]) {
                effects.push(effect);
                for (i, side) in [sides.before, sides.after].into_iter().enumerate() {
                    visits[i] += side.visits;
                    nights[i] += side.nights;
                }
            }
        }
        let is_enough = match question {
            Question::Share => visits.iter().all(|v| *v >= FEWEST_CONTROL_VISITS),
            _ => {
                nights.iter().all(|n| *n >= FEWEST_CONTROL_NIGHTS)
                    && visits.iter().sum::<usize>() >= FEWEST_CONTROL_VISITS
            }
        };
        is_enough.then_some(effects)
    }

    /// How many of the cameras it is set against changed as much as a row's own, in the same direction.
    fn beyond(&self, here: &Here, question: Question) -> usize {
        let Some(own) = here.sum.effect(question, &Noise::NONE).map(|e| e.value) else {
            return 0;
        };
        let others = self.others(&here.cameras).into_iter();
        let changes = others.filter_map(|c| self.sides[c].effect(question, &Noise::NONE));
        changes.filter(|e| e.value * own > 0.0 && e.value.abs() >= own.abs()).count()
    }

    /// Visits at all hours: the change less that of the controls, and its p-value. They only tell how visits in light
    /// were lost.
    fn all_hours(&self, here: &Here) -> (Option<f64>, Option<f64>) {
        let question = Question::AllVisits;
        let own = own_p_value(here, &here.sides, question);
        let Some(effects) = self.elsewhere(&here.cameras, question) else { return (None, own) };
        let Some(spread) = self.quiet.spread(question, &effects) else { return (None, own) };
        let both = here.sides.iter().zip(&here.noise);
        let theirs: Vec<Effect> = both.filter_map(|(s, n)| s.effect(question, n)).collect();
        let mean = mean_effect(effects, spread.between);
        let Some((mean, here_mean)) = mean.zip(mean_effect(theirs, spread.between)) else {
            return (None, own);
        };
        let more = here.runs_together[question as usize];
        let pairs: Vec<Pair> = here
            .sides
            .iter()
            .zip(&here.noise)
            .filter_map(|(s, n)| s.pair(question, n, more))
            .collect();
        let against = predictive_p_value(&pairs, &spread.expected(mean), here.freedom(question));
        let p = own.filter(|_| !pairs.is_empty()).map(|own| own.max(against));
        (Some(here_mean.value - mean.value), p)
    }

    /// Whether a row is worth the fit: of what is not told in any case only what changed by itself.
    fn is_looked_at(&self, here: &Here, question: Question) -> bool {
        let is_near = here.cameras.iter().all(|c| self.roles[*c] == Role::Near);
        if is_near && self.season.about.kinds().contains(&self.kind) {
            return true;
        }
        let sum = [here.sum];
        let alone = Here { sum_noise: Noise::NONE, ..here.clone() };
        own_p_value(&alone, &sum, question).is_some_and(|p| p <= SCREEN)
    }

    fn judged(&self, here: &Here, question: Question) -> Judged {
        let controls = self.elsewhere(&here.cameras, question).map_or(0, |c| c.len());
        let blocked = |verdict| Judged { controls, ..Judged::without(verdict) };
        if !here.is_tagged {
            return blocked(Verdict::NotTagged);
        }
        if controls > 0 && !self.is_looked_at(here, question) {
            return blocked(Verdict::NoClearChange);
        }
        let record = self.record(&here.cameras, question, LeftOut::Nothing);
        let earlier_years = years_before(&record);
        // Where seasons are compared, earlier ones are one side of it and no control.
        let is_of_seasons = self.windows.years_apart.is_some();
        if here.sum.before.nights.min(here.sum.after.nights) < FEWEST_OWN_NIGHTS {
            return blocked(Verdict::TooFewVisits);
        }
        if controls == 0 && (is_of_seasons || earlier_years < ENOUGH_YEARS) {
            let p_value = own_p_value(here, &here.sides, question);
            return Judged { p_value, ..blocked(Verdict::NoControl) };
        }
        if controls > 0 && self.is_alone_in_its_sort(&here.cameras) {
            let why = Some(Why::AloneInItsSort);
            return Judged { blocked: why, ..blocked(Verdict::NoControl) };
        }
        let Some(fit) = record.fit() else { return blocked(Verdict::TooFewVisits) };
        let contrast = Contrast::of(&fit);
        let p_value = fit.p_value();
        let verdict = match has_enough(&contrast, &record, question) || p_value <= LEVEL {
            true => Verdict::NoClearChange,
            false => Verdict::TooFewVisits,
        };
        Judged {
            verdict,
            contrast: Some(contrast),
            p_value: Some(p_value),
            blocked: None,
            earlier_years,
            controls: fit.others(),
        }
    }

    /// Whether other animals fell at a row's cameras as much as deer did, against the other cameras: then the camera
    /// may see less than it did. A difference of log ratios with half an event added (Gart & Zweifel 1967).
    fn sees_less(&self, here: &Here) -> Option<Why> {
        let counts = |cameras: &[usize]| {
            [self.windows.before, self.windows.after].map(|span| {
                let of = |c: &usize| self.season.cameras[*c].other_animals_between(span) as f64;
                cameras.iter().map(of).sum::<f64>() + 0.5
            })
        };
        let ([b, a], [theirs_before, theirs_after]) =
            (counts(&here.cameras), counts(&self.others(&here.cameras)));
        let fell = (a / b).ln() - (theirs_after / theirs_before).ln();
        let variance = 1.0 / a + 1.0 / b + 1.0 / theirs_before + 1.0 / theirs_after;
        let deer = here.sum.effect(Question::LightVisits, &Noise::NONE)?.value;
        (fell < -1.96 * variance.sqrt() && fell < deer / 2.0).then_some(Why::SeesLess)
    }

    /// Whether a row's cameras look at a sort of place at which no other camera looks, where others do share theirs:
    /// what the season does to one sort says little of another.
    fn is_alone_in_its_sort(&self, cameras: &[usize]) -> bool {
        let sort = |c: &usize| {
            let placement = self.season.cameras[*c].placement_on(self.windows.after.0);
            placement.map(|p| p.setting.trim().to_lowercase()).filter(|s| !s.is_empty())
        };
        let others: Vec<Option<String>> = self.others(cameras).iter().map(sort).collect();
        let number = |sort: &Option<String>| others.iter().filter(|o| *o == sort).count();
        let shared = others.iter().filter(|o| o.is_some() && number(o) > 1).count();
        let are_told = others.len() > 1 && shared * 2 >= others.len();
        are_told && cameras.iter().all(|c| sort(c).is_some() && number(&sort(c)) == 0)
    }

    fn row(&self, disturbance: &str, camera: Option<usize>, here: &Here) -> Shift {
        let share = self.judged(here, Question::Share);
        let light = self.judged(here, Question::LightVisits);
        let (all_hours, rate_p_value) = self.all_hours(here);
        let [before, after] = here.sum.shares(&here.sum_noise);
        let ratio = |question, freedom| {
            let [before, after] = here.sum.exposures(question, &here.sum_noise);
            rate_ratio(before, after, freedom).filter(|_| here.is_tagged)
        };
        let noise = &here.sum_noise;
        Shift {
            disturbance: disturbance.to_owned(),
            season: self.season.year_of(self.windows.after.1),
            camera,
            kind: self.kind,
            role: camera.map_or(Role::Near, |c| self.roles[c]),
            days: self.windows.days(),
            share_change: change(before, after, noise.share.freedom),
            share_change_against_controls: share.contrast.map(|c| c.points(here.sum.after.share())),
            rate_ratio: ratio(Question::LightVisits, noise.light.freedom),
            rate_ratio_against_controls: light.contrast.map(|c| c.ratio()),
            all_hours_ratio: ratio(Question::AllVisits, noise.visits.freedom),
            all_hours_against_controls: all_hours.map(f64::exp),
            runs: noise.share,
            controls: light.controls.max(share.controls),
            controls_beyond: [
                self.beyond(here, Question::LightVisits),
                self.beyond(here, Question::Share),
            ],
            between: [light.between(), share.between()],
            p_value: share.p_value,
            p_adjusted: None,
            light_p_value: light.p_value,
            light_p_adjusted: None,
            rate_p_value: rate_p_value.filter(|_| here.is_tagged),
            rate_p_adjusted: None,
            clock_in_doubt: here.clock_in_doubt,
            last_year: share.earlier_years.max(light.earlier_years) > 0,
            verdict: share.verdict,
            light_verdict: light.verdict,
            blocked: light.blocked.or(share.blocked).or_else(|| self.sees_less(here)),
            pattern: None,
            fall_ruled_out: light.contrast.and_then(|c| enough::fall_ruled_out(&c)),
            is_doubling_ruled_out: light
                .contrast
                .is_some_and(|c| c.ends_90[1] < std::f64::consts::LN_2),
            share_stayed: share.contrast.is_some_and(|c| enough::keeps_half(&c)),
            enough: self.enough(here, &share, &light),
            timing: None,
            onset: None,
            placebo: None,
            rests_on: None,
            instead: Vec::new(),
            same_as: None,
            before: Side::of(&here.sum.before, self.windows.before),
            after: Side::of(&here.sum.after, self.windows.after),
        }
    }

    /// Power is reported for near cameras alone.
    fn enough(&self, here: &Here, share: &Judged, light: &Judged) -> Option<Enough> {
        let is_near = |c: &usize| self.roles[*c] == Role::Near;
        let level = super::gate::first_level(self.log.len());
        here.cameras
            .iter()
            .all(is_near)
            .then(|| enough::enough(share.contrast, light.contrast, level))
            .flatten()
    }

    /// The change of a camera against the mean of the others, in log units; `None` where it cannot be compared
    /// or a side has too few visits. For a date on which nothing needs to have happened.
    pub fn plain_change(&self, camera: usize, question: Question) -> Option<f64> {
        let sides = &self.sides[camera];
        let few = match question {
            Question::Share => sides.fewest_visits() < FEWEST_VISITS,
            _ => (sides.light_visits() as f64) < FEWEST_LIGHT_VISITS,
        };
        let effects = self.elsewhere(&[camera], question).filter(|_| !few)?;
        let mean = mean_effect(effects, 0.0)?;
        let own = sides.effect(question, &self.noise[camera])?;
        Some(own.value - mean.value)
    }

    /// The same of the share, in points.
    pub fn share_change(&self, camera: usize) -> Option<f64> {
        let away = self.plain_change(camera, Question::Share)?;
        Some(points(away, self.sides[camera].after.share()))
    }

    /// The contrasts of all near cameras together: of visits in light as a ratio, of the share in points.
    pub fn together_against_controls(&self) -> [Option<Estimate>; 2] {
        let near = self.near_cameras();
        if near.is_empty() {
            return [None, None];
        }
        let here = self.together(near);
        let contrast = |question| self.judged(&here, question).contrast;
        [
            contrast(Question::LightVisits).map(|c| c.ratio()),
            contrast(Question::Share).map(|c| c.points(here.sum.after.share())),
        ]
    }

    /// The p-value of a question at some cameras without some of their visits or days.
    pub fn p_value_without(
        &self,
        camera: Option<usize>,
        question: Question,
        without: LeftOut,
    ) -> Option<f64> {
        let record = self.record(&self.cameras_of(camera), question, without);
        record.fit().map(|fit| fit.p_value())
    }

    /// The same weeks of earlier years at some cameras, added up.
    pub fn earlier_years(&self, camera: Option<usize>) -> Option<Sides> {
        let of = |c: usize| {
            quiet::earlier_years(self.season, c, self.kind, self.windows, self.log).into_iter()
        };
        let all: Vec<Sides> = self.cameras_of(camera).into_iter().flat_map(of).collect();
        Sides::sum(&all)
    }

    /// The fit of a question at one camera, day by day after a date that may be another.
    pub fn fit_from(
        &self,
        camera: usize,
        question: Question,
        windows: &Windows,
    ) -> Option<StepFit> {
        let recorded = Recorded { windows, day_by_day: true, ended: None, ..self.recorded() };
        let record = recorded.of(question, &[camera], &self.others(&[camera]), LeftOut::Nothing);
        record.fit()
    }

    /// The cameras of a row.
    pub fn cameras_of(&self, camera: Option<usize>) -> Vec<usize> {
        camera.map_or_else(|| self.near_cameras(), |c| vec![c])
    }
}

/// One question, answered as far as one row can.
struct Judged {
    verdict: Verdict,
    contrast: Option<Contrast>,
    p_value: Option<f64>,
    controls: usize,
    earlier_years: usize,
    blocked: Option<Why>,
}

impl Judged {
    fn without(verdict: Verdict) -> Self {
        Self {
            verdict,
            contrast: None,
            p_value: None,
            controls: 0,
            earlier_years: 0,
            blocked: None,
        }
    }

    fn between(&self) -> Option<f64> {
        self.contrast.map(|c| c.drift_variance)
    }
}

/// Whether a loss of everything would have been told from chance by its counts alone, or the share from any other.
fn has_enough(contrast: &Contrast, record: &Record, question: Question) -> bool {
    let (hits, trials) =
        record.asked[1].iter().fold((0.0, 0.0), |sum, c| (sum.0 + c.hits, sum.1 + c.trials));
    match question {
        Question::Share => contrast.before[1].min(trials) >= FEWEST_VISITS as f64,
        _ => {
            contrast.before[0] + hits >= FEWEST_LIGHT_VISITS
                && contrast.expected[0] >= FEWEST_EXPECTED
        }
    }
}

/// Years before that of the date in which the cameras in question are on record.
fn years_before(record: &Record) -> usize {
    let years =
        |side: usize| -> BTreeSet<i32> { record.asked[side].iter().map(|c| c.year).collect() };
    years(0).difference(&years(1)).count()
}

/// Which cameras tell what the season did: controls whose clock is believed, and near which nothing else is
/// logged in these days where enough others remain.
fn controls(season: &Season, windows: &Windows, roles: &[Role], log: &[Logged]) -> Vec<bool> {
    let (from, until): (NaiveDate, NaiveDate) = (windows.before.0, windows.after.1);
    let is_control = |c: usize| {
        roles[c] == Role::Control && !season.cameras[c].clock_doubtful_between(from, until)
    };
    let is_calm = |c: usize| is_control(c) && !log.iter().any(|l| l.touches(c, from, until));
    let all: Vec<bool> = (0..roles.len()).map(is_control).collect();
    let calm: Vec<bool> = (0..roles.len()).map(is_calm).collect();
    let enough = calm.iter().filter(|c| **c).count() >= ENOUGH_OTHERS;
    if enough { calm } else { all }
}
