//! One property's own change at a date: as many days before as from it on, camera by camera.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::days::{Day, PropertyDays};
use super::hidden::FEWEST_TOLD;
use crate::measure::{
    Blocks, Counts, DayCount, Effect, Exposure, Stratified, stratified_rates, stratified_shares,
};
use crate::shift::{Question, Windows};
use crate::visits::Kind;

/// Visits on both sides together that a change must rest on: under five a side, on average, one neighbour could read
/// the other out of it.
pub(super) const FEWEST_VISITS: u32 = 10;

/// Why a property cannot say anything at a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unusable {
    /// No camera worked, with a clock to be believed, on enough days of both sides.
    NotWatched,
    /// The date lies outside all that the property tells of.
    Outside,
    /// Too many pictures have no tag.
    NotTagged,
    /// Fewer than ten visits on both sides together.
    TooFewVisits,
}

impl Unusable {
    /// The words in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::NotWatched => {
                "no camera worked on half of the days of both sides, with a clock to be believed"
            }
            Self::Outside => "the date lies outside the days that the property tells of",
            Self::NotTagged => "too many pictures without a tag",
            Self::TooFewVisits => "fewer than 10 visits",
        }
    }
}

/// What is thought of pictures without a tag where one side has a larger part of them than the other: as many visits as
/// that part would make, on that side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Untagged {
    /// Nothing.
    LeftOut,
    /// What makes the change as large as can be, towards more light.
    ForMore,
    /// What makes it as small as can be.
    ForLess,
}

impl Untagged {
    const ALL: [Self; 3] = [Self::LeftOut, Self::ForMore, Self::ForLess];
}

/// One side of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CoopSide {
    /// Camera-nights.
    pub nights: u32,
    /// Visits at all hours.
    pub visits: u32,
    /// Those in light.
    pub light: u32,
}

impl CoopSide {
    fn of(days: &[Day]) -> Self {
        let mut side = Self::default();
        for day in days.iter().filter(|d| d.is_sound) {
            side.nights += 1;
            side.visits += day.visits;
            side.light += day.counted;
        }
        side
    }
}

/// A side whose counts may hold parts of visits that are only thought of.
#[derive(Clone, Copy)]
struct Thought {
    nights: f64,
    visits: f64,
    light: f64,
}

impl Thought {
    /// A side with `more` visits, in light or not.
    fn of(side: CoopSide, more: f64, in_light: bool) -> Self {
        Self {
            nights: f64::from(side.nights),
            visits: f64::from(side.visits) + more,
            light: f64::from(side.light) + if in_light { more } else { 0.0 },
        }
    }

    fn share(self) -> Counts {
        Counts { hits: self.light, trials: self.visits }
    }

    fn exposure(self, events: f64) -> Exposure {
        Exposure { events, effort: self.nights }
    }
}

/// What a property's cameras counted around a date: sums, without a name or a place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contrast {
    /// All cameras used, before.
    pub before: CoopSide,
    /// And after.
    pub after: CoopSide,
    /// Log ratio and information of the three questions, in the order of [`Question::ALL`], for each [`Untagged`]; none
    /// where no change could have been seen.
    pub changes: [[Option<(f64, f64)>; 3]; 3],
    /// What blocks of days vary by, what independent visits would, and degrees of freedom, of the three questions.
    pub blocks: [(f64, f64, f64); 3],
}

impl Contrast {
    /// Whether the counts behind a question are too small for it to be told: in light or in the dark, before or after.
    pub(super) fn is_small(&self, question: Question) -> bool {
        let sides = [self.before, self.after];
        let light = sides.iter().any(|s| s.light < FEWEST_TOLD);
        let dark = sides.iter().any(|s| s.visits - s.light < FEWEST_TOLD);
        match question {
            Question::Share => light || dark,
            Question::LightVisits => light,
            Question::AllVisits => sides.iter().any(|s| s.visits < FEWEST_TOLD),
        }
    }

    /// The change that a question is about, the log of an odds ratio or of a ratio of rates, after over before. Each
    /// visit stands for itself: what runs of days add to its variance lies between properties, where it is measured.
    pub fn effect(&self, question: Question, untagged: Untagged) -> Option<Effect> {
        let (log_ratio, information) = self.changes[untagged as usize][question as usize]?;
        let change = Stratified { log_ratio, information };
        Some(change.effect())
    }
}

/// A property's change of a kind at a date, from the cameras that worked on at least half of the days of both sides.
///
/// # Errors
/// The reason why nothing can be said.
pub(super) fn contrast(
    property: &PropertyDays,
    kind: Kind,
    days: u32,
    date: NaiveDate,
) -> Result<Contrast, Unusable> {
    if !property.tells_of(date) {
        return Err(Unusable::Outside);
    }
    let windows = Windows::at(date, days);
    let sides = |place: usize| -> Option<[Vec<Day>; 2]> {
        let of = |span| property.between(place, kind, span).collect::<Vec<_>>();
        let both = [of(windows.before), of(windows.after)];
        let worked = |side: &Vec<Day>| side.iter().filter(|d| d.is_sound).count();
        both.iter().all(|side| worked(side) * 2 >= days as usize).then_some(both)
    };
    let used: Vec<[Vec<Day>; 2]> = (0..property.places()).filter_map(sides).collect();
    if used.is_empty() {
        return Err(Unusable::NotWatched);
    }
    let is_tagged = |i: usize| {
        let all: Vec<Day> = used.iter().flat_map(|u| &u[i]).copied().collect();
        PropertyDays::pictures(&all).are_tagged()
    };
    if !is_tagged(0) || !is_tagged(1) {
        return Err(Unusable::NotTagged);
    }
    let sides: Vec<[CoopSide; 2]> =
        used.iter().map(|pair| [0, 1].map(|i| CoopSide::of(&pair[i]))).collect();
    let open: Vec<[f64; 2]> =
        used.iter().zip(&sides).map(|(days, sides)| visits_open(days, sides)).collect();
    let mut sum = [CoopSide::default(); 2];
    for both in &sides {
        for (total, side) in sum.iter_mut().zip(both) {
            total.nights += side.nights;
            total.visits += side.visits;
            total.light += side.light;
        }
    }
    if sum[0].visits + sum[1].visits < FEWEST_VISITS {
        return Err(Unusable::TooFewVisits);
    }
    let blocks = blocks(&used, days as usize);
    Ok(Contrast {
        before: sum[0],
        after: sum[1],
        changes: Untagged::ALL.map(|untagged| {
            let thought = thought(&sides, &open, untagged);
            Question::ALL.map(|question| {
                let change = change(question, &thought)?;
                Some((change.log_ratio, change.information))
            })
        }),
        blocks: blocks.map(|b| (b.observed, b.expected, b.freedom)),
    })
}

/// How many visits more a side of one camera would have if its pictures were tagged as far as the other side's: the part
/// without a tag that it has beyond the other's, of what it has by its tags.
fn visits_open(days: &[Vec<Day>; 2], sides: &[CoopSide; 2]) -> [f64; 2] {
    let part = |i: usize| {
        let on = PropertyDays::pictures(&days[i]);
        on.untagged as f64 / (on.all as f64).max(1.0)
    };
    let parts = [part(0), part(1)];
    [0, 1].map(|i| {
        let beyond = (parts[i] - parts[1 - i]).max(0.0);
        f64::from(sides[i].visits) * beyond / (1.0 - parts[i]).max(0.5)
    })
}

fn thought(sides: &[[CoopSide; 2]], open: &[[f64; 2]], untagged: Untagged) -> Vec<[Thought; 2]> {
    let camera = |(sides, open): (&[CoopSide; 2], &[f64; 2])| {
        [0, 1].map(|i| match untagged {
            Untagged::LeftOut => Thought::of(sides[i], 0.0, false),
            // Light before makes the change smaller, light after larger.
            Untagged::ForMore => Thought::of(sides[i], open[i], i == 1),
            Untagged::ForLess => Thought::of(sides[i], open[i], i == 0),
        })
    };
    sides.iter().zip(open).map(camera).collect()
}

fn change(question: Question, sides: &[[Thought; 2]]) -> Option<Stratified> {
    let rates = |of: fn(Thought) -> f64| {
        let exposures = |[before, after]: &[Thought; 2]| {
            let side = |s: Thought| s.exposure(of(s));
            (side(*before), side(*after))
        };
        stratified_rates(&sides.iter().map(exposures).collect::<Vec<_>>())
    };
    match question {
        Question::Share => {
            let shares = sides.iter().map(|[before, after]| (before.share(), after.share()));
            stratified_shares(&shares.collect::<Vec<_>>())
        }
        Question::LightVisits => rates(|s| s.light),
        Question::AllVisits => rates(|s| s.visits),
    }
}

/// What halves of a side vary by, all cameras together, each side with a share and a rate of its own.
fn blocks(used: &[[Vec<Day>; 2]], days: usize) -> [Blocks; 3] {
    let mut blocks = [Blocks::default(); 3];
    for side in 0..2 {
        let on = |day: usize, of: fn(&Day) -> u32| -> f64 {
            let all = used.iter().map(|u| &u[side][day]).filter(|d| d.is_sound);
            f64::from(all.map(of).sum::<u32>())
        };
        let light: Vec<f64> = (0..days).map(|d| on(d, |d| d.counted)).collect();
        let all: Vec<f64> = (0..days).map(|d| on(d, |d| d.visits)).collect();
        let shares =
            light.iter().zip(&all).map(|(hits, trials)| DayCount { hits: *hits, trials: *trials });
        blocks[Question::Share as usize].add_shares(&shares.collect::<Vec<_>>());
        blocks[Question::LightVisits as usize].add_counts(&light);
        blocks[Question::AllVisits as usize].add_counts(&all);
    }
    blocks
}
