//! The days before against the days after at one camera, or at all near cameras together, with the controls
//! beside them.

use chrono::NaiveDate;
use rayon::prelude::*;

use super::contrast::{Contrast, exactly, points};
use super::effects::{Question, Sides};
use super::enough::{self, Effective, Enough};
use super::here::{Here, could_show, extremes, own_p_value, runs_together};
use super::noise::{Noise, Watched};
use super::quiet::{self, Quiet, Spread};
use super::roles::Logged;
use super::window::{Side, Windows};
use super::{LEVEL, Role, Shift, Verdict};
use crate::measure::{
    Effect, Estimate, Expected, Pair, change, mean_effect, predictive_interval, predictive_p_value,
    rate_ratio,
};
use crate::property::Disturbance;
use crate::visits::{Kind, Season};

/// A share of fewer visits than this on a side is never judged.
const FEWEST_VISITS: usize = 5;
/// Nor are visits in light of which there are fewer than this on both sides together.
const FEWEST_LIGHT_VISITS: usize = 5;
/// Controls with fewer visits on a side than this, all together, do not show what the season did.
const FEWEST_CONTROL_VISITS: usize = 10;
/// The same of nights.
const FEWEST_CONTROL_NIGHTS: usize = 10;
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

    /// The same with another noise. [`Noise::of_shares_of_each`] is enough for who asks for nothing but
    /// [`Self::share_change`].
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
        }
    }

    /// The row of all near cameras together, if there are any, then every camera's, near ones first.
    pub fn rows(&self, disturbance: &Disturbance) -> Vec<Shift> {
        let near = self.near_cameras();
        let together =
            (!near.is_empty()).then(|| self.row(&disturbance.id, None, &self.together(near)));
        let alone = |c: usize| self.row(&disturbance.id, Some(c), &self.camera(c));
        let mut cameras: Vec<usize> = (0..self.sides.len()).collect();
        cameras.sort_by_key(|c| self.roles[*c] == Role::Control);
        let alone: Vec<Shift> = cameras.into_par_iter().map(alone).collect();
        together.into_iter().chain(alone).collect()
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

    /// What the controls other than a row's own cameras did; `None` where they are too few to tell what the
    /// season did: one stray visit must neither make a change clear nor hide one.
    fn controls(&self, cameras: &[usize], question: Question) -> Option<Controls> {
        let others = (0..self.sides.len()).filter(|c| self.is_control[*c] && !cameras.contains(c));
        let mut effects = Vec::new();
        let (mut visits, mut nights) = ([0; 2], [0; 2]);
        let mut take = |sides: &Sides, noise: &Noise| {
            if let Some(effect) = sides.effect(question, noise) {
                effects.push(effect);
                for (i, side) in [sides.before, sides.after].into_iter().enumerate() {
                    visits[i] += side.visits;
                    nights[i] += side.nights;
                }
            }
        };
        for camera in others {
            take(&self.sides[camera], &self.noise[camera]);
        }
        let mut earlier_years = 0;
        for camera in cameras {
            for sides in
                quiet::earlier_years(self.season, *camera, self.kind, self.windows, self.log)
            {
                take(&sides, &self.noise[*camera]);
                earlier_years += 1;
            }
        }
        let is_enough = match question {
            Question::Share => visits.iter().all(|v| *v >= FEWEST_CONTROL_VISITS),
            _ => {
                nights.iter().all(|n| *n >= FEWEST_CONTROL_NIGHTS)
                    && visits.iter().sum::<usize>() >= FEWEST_CONTROL_VISITS
            }
        };
        let spread = self.quiet.spread(question, &effects).filter(|_| is_enough)?;
        Some(Controls {
            mean: mean_effect(effects.iter().copied(), spread.between)?,
            number: effects.len(),
            spread,
            earlier_years,
        })
    }

    /// The counts of some sides as they are tested.
    fn pairs(here: &Here, sides: &[Sides], question: Question) -> Vec<Pair> {
        let more = here.runs_together[question as usize];
        let both = sides.iter().zip(&here.noise);
        both.filter_map(|(s, n)| s.pair(question, n, more)).collect()
    }

    /// The change here less that of the controls.
    fn contrast(&self, here: &Here, question: Question, controls: &Controls) -> Option<Contrast> {
        let between = controls.spread.between;
        let effects = here.sides.iter().zip(&here.noise).map(|(s, n)| s.effect(question, n));
        let effects: Vec<Effect> = effects.flatten().collect();
        let own = mean_effect(effects.iter().copied(), between)?;
        let pairs = Self::pairs(here, &here.sides, question);
        let expected = controls.expected();
        let freedom = here.freedom(question);
        let value = own.value - controls.mean.value;
        let counted = mean_effect(effects, 0.0)?.variance * here.runs_together[question as usize];
        let variance = counted + between + controls.mean.variance;
        Some(Contrast {
            estimate: match question {
                // Of these only the direction is told.
                Question::AllVisits => exactly(value),
                _ => predictive_interval(&pairs, &expected, freedom, (value, variance.sqrt())),
            },
            variance,
            freedom: controls.spread.freedom,
            expected,
            of_number: between / controls.number as f64,
            of_counts: freedom,
        })
    }

    /// The p-value of some counts at a row's cameras: they differ from no change, and from the controls'.
    fn p_value(
        &self,
        here: &Here,
        sides: &[Sides],
        question: Question,
        controls: &Controls,
    ) -> Option<f64> {
        let pairs = Self::pairs(here, sides, question);
        let against = || predictive_p_value(&pairs, &controls.expected(), here.freedom(question));
        let own = own_p_value(here, sides, question)?;
        (!pairs.is_empty()).then(|| own.max(against()))
    }

    /// Whether the largest change that these visits could have shown would be told from chance.
    fn could_be_clear(&self, here: &Here, question: Question, controls: &Controls) -> bool {
        extremes(&here.sides, question)
            .iter()
            .any(|sides| self.p_value(here, sides, question, controls).is_some_and(|p| p <= LEVEL))
    }

    fn judged(&self, here: &Here, question: Question) -> Judged {
        let controls = self.controls(&here.cameras, question);
        let has_enough = match question {
            Question::Share => here.sum.fewest_visits() >= FEWEST_VISITS,
            Question::LightVisits => here.sum.light_visits() >= FEWEST_LIGHT_VISITS,
            Question::AllVisits => true,
        };
        let verdict = match &controls {
            _ if !here.is_tagged => Verdict::NotTagged,
            _ if !has_enough || !could_show(here, question) => Verdict::TooFewVisits,
            None => Verdict::NoControl,
            Some(c) if !self.could_be_clear(here, question, c) => Verdict::TooFewVisits,
            Some(_) => Verdict::NoClearChange,
        };
        let of = |c: &Controls| self.contrast(here, question, c);
        // Without a control the numbers are told, and no verdict.
        let p_value = match &controls {
            Some(c) => self.p_value(here, &here.sides, question, c),
            None => own_p_value(here, &here.sides, question),
        };
        Judged {
            verdict,
            contrast: controls.as_ref().and_then(of).filter(|_| here.is_tagged),
            p_value: p_value.filter(|_| here.is_tagged),
            earlier_years: controls.as_ref().map_or(0, |c| c.earlier_years),
            controls: controls.as_ref().map_or(0, |c| c.number),
            between: controls.map(|c| c.spread.between),
        }
    }

    fn row(&self, disturbance: &str, camera: Option<usize>, here: &Here) -> Shift {
        let share = self.judged(here, Question::Share);
        let light = self.judged(here, Question::LightVisits);
        let all = self.judged(here, Question::AllVisits);
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
            all_hours_against_controls: all.contrast.map(|c| c.estimate.value.exp()),
            runs: noise.share,
            controls: light.controls.max(share.controls),
            between: [light.between, share.between],
            p_value: share.p_value,
            p_adjusted: None,
            light_p_value: light.p_value,
            light_p_adjusted: None,
            rate_p_value: all.p_value,
            rate_p_adjusted: None,
            clock_in_doubt: here.clock_in_doubt,
            last_year: share.earlier_years.max(light.earlier_years) > 0,
            verdict: share.verdict,
            light_verdict: light.verdict,
            pattern: None,
            fall_ruled_out: light.contrast.and_then(|c| enough::fall_ruled_out(&c)),
            is_alike: light.contrast.is_some_and(|c| enough::is_alike(&c)),
            enough: self.enough(here, &share, &light),
            timing: None,
            onset: None,
            placebo: None,
            rests_on: None,
            before: Side::of(&here.sum.before, self.windows.before),
            after: Side::of(&here.sum.after, self.windows.after),
        }
    }

    /// Asked of near cameras only: what a control could have shown is nobody's question.
    fn enough(&self, here: &Here, share: &Judged, light: &Judged) -> Option<Enough> {
        let is_near = |c: &usize| self.roles[*c] == Role::Near;
        if !here.cameras.iter().all(is_near) {
            return None;
        }
        let level = super::gate::first_level(self.log.len());
        let counts = Effective::of(&here.sides, &here.noise, here.runs_together);
        enough::enough(&counts, share.contrast, light.contrast, level)
    }

    /// The change of a camera's share against the controls, in points; `None` where it cannot be compared
    /// or a side has too few visits. For a date on which nothing needs to have happened.
    pub fn share_change(&self, camera: usize) -> Option<f64> {
        let sides = &self.sides[camera];
        if sides.fewest_visits() < FEWEST_VISITS {
            return None;
        }
        let controls = self.controls(&[camera], Question::Share)?;
        let own = sides.effect(Question::Share, &self.noise[camera])?;
        let away = own.value - controls.mean.value;
        Some(points(away, sides.after.share()))
    }

    /// The contrasts of all near cameras together: of visits in light as a ratio, of the share in points.
    pub fn together_against_controls(&self) -> [Option<Estimate>; 2] {
        let near = self.near_cameras();
        if near.is_empty() {
            return [None, None];
        }
        let here = self.together(near);
        let contrast = |question| {
            let controls = self.controls(&here.cameras, question)?;
            self.contrast(&here, question, &controls)
        };
        [
            contrast(Question::LightVisits).filter(|_| here.is_tagged).map(|c| c.ratio()),
            contrast(Question::Share).map(|c| c.points(here.sum.after.share())),
        ]
    }

    /// The p-value of a question at some cameras were their counts others: what the same deer without one of
    /// them would have shown.
    pub fn p_value_with(
        &self,
        camera: Option<usize>,
        question: Question,
        counts: impl Fn(usize) -> Sides,
    ) -> Option<f64> {
        let here = match camera {
            Some(camera) => self.camera(camera),
            None => self.together(self.near_cameras()),
        };
        let controls = self.controls(&here.cameras, question)?;
        let sides: Vec<Sides> = here.cameras.iter().map(|c| counts(*c)).collect();
        self.p_value(&here, &sides, question, &controls)
    }

    /// Whether a camera clearly went back, from the days after the date to later ones, to nearer what it was
    /// than what it had become.
    pub fn has_turned_back(
        &self,
        camera: usize,
        question: Question,
        since: &Windows,
        level: f64,
    ) -> bool {
        let later = Compared::of(self.season, since, self.kind, self.roles, self.log, self.quiet);
        let (then, now) = (self.camera(camera), later.camera(camera));
        let away = then.sum.effect(question, &then.sum_noise).map(|e| e.value);
        let back = now.sum.effect(question, &now.sum_noise).map(|e| e.value);
        let (Some(away), Some(back)) = (away, back) else {
            return false;
        };
        let clearly = || {
            let controls = later.controls(&now.cameras, question)?;
            let p = later.p_value(&now, &now.sides, question, &controls)?;
            let contrast = later.contrast(&now, question, &controls)?;
            Some(p <= level && contrast.estimate.value * back > 0.0)
        };
        away * back < 0.0 && back.abs() > away.abs() / 2.0 && clearly().unwrap_or(false)
    }

    /// The cameras of a row.
    pub fn cameras_of(&self, camera: Option<usize>) -> Vec<usize> {
        camera.map_or_else(|| self.near_cameras(), |c| vec![c])
    }
}

/// What some controls did together.
struct Controls {
    mean: Effect,
    number: usize,
    spread: Spread,
    earlier_years: usize,
}

impl Controls {
    fn expected(&self) -> Expected {
        self.spread.expected(self.mean)
    }
}

/// One question, answered as far as one row can.
struct Judged {
    verdict: Verdict,
    contrast: Option<Contrast>,
    p_value: Option<f64>,
    controls: usize,
    earlier_years: usize,
    between: Option<f64>,
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
