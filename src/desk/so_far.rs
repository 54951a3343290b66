//! What the tags say so far of the question that the season is about.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::screens::Moment;
use super::state::DeskSeason;
use crate::measure::{Counts, DayCount, Estimate, share_in_clusters, share_interval};
use crate::property::ShareOf;
use crate::sun::Light;
use crate::tags::Who;
use crate::visits::DeerYear;

/// `mature bucks in legal light this season: 12 of 27 visits, 29 to 61 % so far`: over the tagged visits of the newest
/// season, with whole days as clusters; of bucks without regard to age where none has an age.
pub(super) fn so_far(season: &DeskSeason) -> Option<String> {
    /// Of fewer days nothing is said but the counts.
    const FEWEST_DAYS: usize = 5;
    let settings = &season.property.settings;
    let (days, whom) = bucks_by_day(season)?;
    let sum = |of: fn(&DayCount) -> f64| days.iter().map(of).sum::<f64>();
    let (hits, trials) = (sum(|d| d.hits), sum(|d| d.trials));
    if trials == 0.0 {
        return None;
    }
    let runs = share_in_clusters(&days);
    let counts = Counts { hits, trials }.divided_by(runs.design_effect);
    let range = share_interval(counts, runs.freedom).filter(|_| days.len() >= FEWEST_DAYS);
    let percent = |x: f64| format!("{:.0}", x * 100.0);
    let words = |r: Estimate| format!(", {} to {} %", percent(r.low), percent(r.high));
    Some(format!(
        "{whom} in {} this season: {hits} of {trials} visits{} so far",
        settings.share_light(),
        range.map_or(String::new(), words)
    ))
}

/// Tagged visits of bucks of the newest season, day by day, and of which bucks.
fn bucks_by_day(season: &DeskSeason) -> Option<(Vec<DayCount>, &'static str)> {
    let settings = &season.property.settings;
    let moments = season.screens.all.iter().filter_map(|s| s.moment);
    let year_of = |m: &Moment| DeerYear::of(m.date(), settings.year_start);
    let newest = moments.max_by_key(|m| m.first).map(|m| year_of(&m))?;
    let (mut bucks, mut mature) = (DayCounts::new(), DayCounts::new());
    let mut is_aged = false;
    for (s, screen) in season.screens.all.iter().enumerate() {
        let Some(moment) = screen.moment.filter(|m| year_of(m) == newest) else {
            continue;
        };
        let counted = match settings.share_of {
            ShareOf::Legal => moment.light.is_legal(),
            ShareOf::Daylight => moment.light == Light::Daylight,
        };
        let add = |days: &mut DayCounts| {
            let day = days.entry(moment.date()).or_default();
            *day = [day[0] + usize::from(counted), day[1] + 1];
        };
        let ages: Vec<Option<f64>> =
            season.tags(s).filter(|t| t.who == Who::Buck).map(|t| t.age).collect();
        if !ages.is_empty() {
            add(&mut bucks);
        }
        is_aged |= ages.iter().any(Option::is_some);
        if ages.iter().flatten().any(|a| *a >= settings.mature_age) {
            add(&mut mature);
        }
    }
    let (days, whom) = match is_aged {
        true => (mature, "mature bucks"),
        false => (bucks, "bucks"),
    };
    let count = |[hits, trials]: [usize; 2]| DayCount { hits: hits as f64, trials: trials as f64 };
    Some((days.into_values().map(count).collect(), whom))
}

/// Visits in the light, and all, of each date.
type DayCounts = BTreeMap<NaiveDate, [usize; 2]>;
