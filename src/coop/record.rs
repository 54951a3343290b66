//! What leaves a property: sums over its cameras, season by season and around the dates that are asked about. No place,
//! no name of a camera or a deer, no word of its owner's.

use anyhow::Result;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::contrast::{Contrast, Unusable, contrast};
use super::days::{Day, PropertyDays};
use super::question::{CoopQuestion, WrittenDate};
use crate::measure::{Blocks, Counts, DayCount, Estimate, Exposure, rate, share_interval};
use crate::visits::Kind;

/// One property's answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// The property's name in the data set.
    pub property: String,
    /// Season by season, the oldest first.
    pub seasons: Vec<SeasonOf>,
    /// Its own change at each date that is asked about, or why there is none.
    pub changes: Vec<(WrittenDate, Result<Contrast, Unusable>)>,
}

/// One season of a property.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonOf {
    /// The season's name.
    pub season: String,
    /// Camera-nights with a clock to be believed.
    pub nights: u32,
    /// Camera-nights left out because the clock was wrong.
    pub nights_in_doubt: u32,
    /// Every kind, in the order of [`Kind::ALL`].
    pub kinds: Vec<KindOf>,
}

/// One kind in one season of a property.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KindOf {
    /// Visits at all hours.
    pub visits: u32,
    /// Those in light.
    pub light: u32,
    /// The daylight share with its range: value, low, high.
    pub share: Option<[f64; 3]>,
    /// Visits in light per 100 camera-nights with their range; none where too much is untagged.
    pub per_100_nights: Option<[f64; 3]>,
}

impl Record {
    /// Answers what is asked of one property.
    ///
    /// # Errors
    /// When the question's kind is none.
    pub fn of(id: &str, days: &PropertyDays, question: &CoopQuestion) -> Result<Self> {
        let kind = question.kind()?;
        let seasons = days.seasons().map(|(name, span)| season(days, name, span));
        let change = |date: NaiveDate| {
            let change = contrast(days, kind, question.days, date);
            (WrittenDate(date), change)
        };
        Ok(Self {
            property: id.to_owned(),
            seasons: seasons.collect(),
            changes: question.all_dates().into_iter().map(change).collect(),
        })
    }

    /// Its change at a date.
    pub fn change(&self, date: NaiveDate) -> Option<&Result<Contrast, Unusable>> {
        let at = self.changes.binary_search_by_key(&date, |c| c.0.0).ok()?;
        Some(&self.changes[at].1)
    }
}

fn season(property: &PropertyDays, name: &str, span: (NaiveDate, NaiveDate)) -> SeasonOf {
    let of = |kind: Kind| -> Vec<Vec<Day>> {
        let place = |place: usize| property.between(place, kind, span).collect();
        (0..property.places()).map(place).collect()
    };
    let deer = of(Kind::Deer);
    let count = |keep: fn(&Day) -> bool| {
        let all = deer.iter().flatten();
        all.filter(|d| keep(d)).count() as u32
    };
    SeasonOf {
        season: name.to_owned(),
        nights: count(|d| d.is_sound),
        nights_in_doubt: count(|d| d.is_in_doubt),
        kinds: Kind::ALL.map(|kind| kind_of(&of(kind))).to_vec(),
    }
}

/// All places together, day by day.
fn kind_of(places: &[Vec<Day>]) -> KindOf {
    let length = places.first().map_or(0, Vec::len);
    let on = |day: usize, of: fn(&Day) -> u32| -> u32 {
        let sound = places.iter().map(|p| &p[day]).filter(|d| d.is_sound);
        sound.map(of).sum()
    };
    let light: Vec<u32> = (0..length).map(|d| on(d, |d| d.counted)).collect();
    let all: Vec<u32> = (0..length).map(|d| on(d, |d| d.visits)).collect();
    let nights: u32 = (0..length).map(|d| on(d, |_| 1)).sum();
    let [visits, in_light] = [&all, &light].map(|counts| counts.iter().sum::<u32>());
    let (mut shares, mut counts) = (Blocks::default(), Blocks::default());
    let day = |(hits, trials): (&u32, &u32)| DayCount {
        hits: f64::from(*hits),
        trials: f64::from(*trials),
    };
    shares.add_shares(&light.iter().zip(&all).map(day).collect::<Vec<_>>());
    counts.add_counts(&light.iter().copied().map(f64::from).collect::<Vec<_>>());
    let runs = shares.runs();
    let share = Counts::new(in_light as usize, visits as usize).divided_by(runs.design_effect);
    let cost = counts.runs();
    let exposure = Exposure {
        events: f64::from(in_light) / cost.design_effect,
        effort: f64::from(nights) / cost.design_effect,
    };
    let pictures: Vec<Day> = places.iter().flatten().filter(|d| d.is_sound).copied().collect();
    let is_tagged = PropertyDays::pictures(&pictures).are_tagged();
    let told = |e: Estimate| [e.value, e.low, e.high];
    KindOf {
        visits,
        light: in_light,
        share: share_interval(share, runs.freedom).map(told),
        per_100_nights: rate(exposure, cost.freedom)
            .filter(|_| is_tagged)
            .map(|e| told(e.times(100.0))),
    }
}
