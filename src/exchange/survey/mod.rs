//! The numbers that biologists expect of a season of camera traps: effort, events per 100 camera-nights, naive
//! occupancy with its detection matrix, and how daily patterns overlap; of every species that was tagged.
//!
//! A site is a camera at one place and setting. An event is a visit: pictures of one species at one site with no gap
//! longer than the property's own. Nothing here is corrected for how likely an animal is to be seen.

mod files;
mod species;

use std::collections::BTreeMap;

use anyhow::{Context, Result, ensure};
use chrono::{Days, NaiveDate};

use crate::debrief::Debrief;
use crate::measure::{
    ActivityOverlap, Counts, Estimate, Exposure, KNOWN, activity_overlap, rate, rate_across, wilson,
};
use crate::sun::SUN_DAY_MIN;
use crate::visits::{DeerYear, PicturesOn};

pub use files::{as_json, write};
pub use species::Species;

/// What is asked.
#[derive(Debug, Clone)]
pub struct SurveyOptions {
    /// The season's name, such as 2025-26; the newest where nothing is said.
    pub season: Option<String>,
    /// Days of one occasion of the detection matrix.
    pub occasion_days: u32,
    /// The day on which it is asked.
    pub today: NaiveDate,
}

/// A camera at one place and setting, in one season.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// The camera.
    pub camera: String,
    /// Its place: the camera's first, second, and so on.
    pub placement: u32,
    /// What it looks at.
    pub setting: String,
    /// The first and last date on which it is known to have worked there.
    pub span: (NaiveDate, NaiveDate),
    /// Camera-nights: dates on which it is known to have worked there.
    pub nights: usize,
    /// Dates between those two on which it hung there and is not known to have worked.
    pub nights_lost: usize,
    /// Its pictures on those dates.
    pub pictures: PicturesOn,
    /// By its place in the season.
    camera_index: usize,
    worked: Vec<NaiveDate>,
}

/// Events of one species, at one site or at all.
#[derive(Debug, Clone, PartialEq)]
pub struct Rate {
    /// The species, by its place in [`Survey::species`].
    pub species: usize,
    /// The site, by its place in [`Survey::sites`]; all where there is none.
    pub site: Option<usize>,
    /// Events.
    pub events: usize,
    /// Camera-nights.
    pub nights: usize,
    /// Events per 100 camera-nights; `None` where too many of the pictures have no tag.
    pub per_100_nights: Option<Estimate>,
}

/// Where a species was seen at all.
#[derive(Debug, Clone, PartialEq)]
pub struct Occupancy {
    /// The species, by its place in [`Survey::species`].
    pub species: usize,
    /// Sites at which it was seen.
    pub seen_at: usize,
    /// Sites at which that can be told.
    pub sites: usize,
    /// The first as a part of the second.
    pub naive: Option<Estimate>,
    /// Site by site, occasion by occasion: whether it was seen; `None` where the camera did not work, or the pictures
    /// that nobody has tagged may hold it.
    pub seen: Vec<Vec<Option<bool>>>,
}

/// How the daily patterns of two species overlap.
#[derive(Debug, Clone, PartialEq)]
pub struct Overlap {
    /// The two, by their places in [`Survey::species`].
    pub species: [usize; 2],
    /// Events of each.
    pub events: [usize; 2],
    /// The estimates.
    pub estimate: ActivityOverlap,
}

/// A season in a biologist's numbers.
#[derive(Debug, Clone)]
pub struct Survey {
    /// The season.
    pub season: DeerYear,
    /// The sites, camera by camera.
    pub sites: Vec<Site>,
    /// Who was seen.
    pub species: Vec<Species>,
    /// Species by species, all sites together and then one by one.
    pub rates: Vec<Rate>,
    /// First and last date of every occasion.
    pub occasions: Vec<(NaiveDate, NaiveDate)>,
    /// Camera-nights, site by site and occasion by occasion.
    pub nights: Vec<Vec<usize>>,
    /// Species by species.
    pub occupancy: Vec<Occupancy>,
    /// Pairs of species, none of which counts the other's animals; none where too many of the pictures have no tag.
    pub overlaps: Vec<Overlap>,
}

impl Survey {
    /// Counts a season.
    ///
    /// # Errors
    /// When no camera worked in the season, or the tags cannot be read once more.
    pub fn of(debrief: &Debrief, options: &SurveyOptions) -> Result<Self> {
        ensure!(
            (1..=60).contains(&options.occasion_days),
            "an occasion is 1 to 60 days, not {}",
            options.occasion_days
        );
        let season = season(debrief, options.season.as_deref())?;
        let sites = sites(debrief, season);
        ensure!(!sites.is_empty(), "no camera is known to have worked in {}", season.name());
        let species = species::seen(debrief, season, &sites)?;
        let occasions = occasions(&sites, options.occasion_days);
        let nights = |s: &Site| occasions.iter().map(|o| worked(s, *o).count()).collect();
        let all = 0..species.len();
        Ok(Self {
            season,
            rates: all.clone().flat_map(|i| rates(&species[i], i, &sites)).collect(),
            nights: sites.iter().map(nights).collect(),
            occupancy: all
                .map(|i| occupancy(debrief, &species[i], i, &sites, &occasions))
                .collect(),
            overlaps: match sites.iter().map(|s| s.pictures).sum::<PicturesOn>().are_tagged() {
                true => overlaps(&species),
                false => Vec::new(),
            },
            sites,
            species,
            occasions,
        })
    }

    /// A site in words: `North Fence`, or `North Fence (2)` at its second place.
    pub fn site_name(&self, site: usize) -> String {
        let site = &self.sites[site];
        match site.placement {
            1 => site.camera.clone(),
            n => format!("{} ({n})", site.camera),
        }
    }
}

fn season(debrief: &Debrief, name: Option<&str>) -> Result<DeerYear> {
    let years = &debrief.season.years;
    let Some(name) = name else {
        return debrief
            .season
            .newest()
            .context("no camera has worked yet, so there is nothing to count");
    };
    let known: Vec<String> = years.iter().map(|y| y.name()).collect();
    let found = years.iter().find(|y| y.name() == name);
    found.copied().with_context(|| {
        format!("there is no season {name}; those that there are: {}", known.join(", "))
    })
}

fn sites(debrief: &Debrief, year: DeerYear) -> Vec<Site> {
    let mut sites = Vec::new();
    for (index, camera) in debrief.season.cameras.iter().enumerate() {
        let mut places: BTreeMap<u32, Vec<NaiveDate>> = BTreeMap::new();
        for date in camera.effort.dates_between(year.first(), year.last()) {
            let placement = debrief.season.days.placement(index, *date);
            places.entry(placement).or_default().push(*date);
        }
        for (placement, worked) in places {
            let span = (worked[0], worked[worked.len() - 1]);
            let here = |date: &NaiveDate| debrief.season.days.placement(index, *date) == placement;
            let hung = span.0.iter_days().take_while(|d| *d <= span.1).filter(here).count();
            let on = worked.iter().map(|d| camera.pictures_between(*d, *d));
            sites.push(Site {
                camera: camera.name.clone(),
                placement,
                setting: camera
                    .placement_on(span.0)
                    .map_or_else(String::new, |p| p.setting.clone()),
                span,
                nights: worked.len(),
                nights_lost: hung - worked.len(),
                pictures: on.sum(),
                camera_index: index,
                worked,
            });
        }
    }
    sites
}

/// From the first date on which any site worked to the last, in equal parts; the last may be shorter.
fn occasions(sites: &[Site], days: u32) -> Vec<(NaiveDate, NaiveDate)> {
    let first = sites.iter().map(|s| s.span.0).min();
    let last = sites.iter().map(|s| s.span.1).max();
    let Some((first, last)) = first.zip(last) else {
        return Vec::new();
    };
    let starts = first.iter_days().step_by(days as usize).take_while(|d| *d <= last);
    starts.map(|d| (d, (d + Days::new(u64::from(days) - 1)).min(last))).collect()
}

fn worked(
    site: &Site,
    (from, until): (NaiveDate, NaiveDate),
) -> impl Iterator<Item = NaiveDate> + '_ {
    let dates = site.worked.iter().copied();
    dates.filter(move |d| (from..=until).contains(d))
}

fn rates(species: &Species, index: usize, sites: &[Site]) -> Vec<Rate> {
    let exposure = |site: usize| Exposure {
        events: species.events[site].len() as f64,
        effort: sites[site].nights as f64 / 100.0,
    };
    let told = |is_told: bool, of: Option<Estimate>| of.filter(|_| is_told);
    let all = Rate {
        species: index,
        site: None,
        events: species.events.iter().map(Vec::len).sum(),
        nights: sites.iter().map(|s| s.nights).sum(),
        per_100_nights: told(
            sites.iter().map(|s| s.pictures).sum::<PicturesOn>().are_tagged(),
            rate_across(&(0..sites.len()).map(exposure).collect::<Vec<_>>()),
        ),
    };
    let each = (0..sites.len()).map(|site| Rate {
        species: index,
        site: Some(site),
        events: species.events[site].len(),
        nights: sites[site].nights,
        per_100_nights: told(sites[site].pictures.are_tagged(), rate(exposure(site), KNOWN)),
    });
    std::iter::once(all).chain(each).collect()
}

fn occupancy(
    debrief: &Debrief,
    species: &Species,
    index: usize,
    sites: &[Site],
    occasions: &[(NaiveDate, NaiveDate)],
) -> Occupancy {
    let seen_on = |site: usize, (from, until): (NaiveDate, NaiveDate)| -> Option<bool> {
        let dates = species.events[site].iter().map(|v| v.date());
        if dates.clone().any(|d| (from..=until).contains(&d)) {
            return Some(true);
        }
        let camera = &debrief.season.cameras[sites[site].camera_index];
        let mut pictures = PicturesOn::default();
        let mut nights = 0;
        for date in worked(&sites[site], (from, until)) {
            nights += 1;
            pictures = [pictures, camera.pictures_between(date, date)].into_iter().sum();
        }
        (nights > 0 && pictures.are_tagged()).then_some(false)
    };
    let row = |site: usize| -> Vec<Option<bool>> {
        occasions.iter().map(|o| seen_on(site, *o)).collect()
    };
    let seen: Vec<Vec<Option<bool>>> = (0..sites.len()).map(row).collect();
    let seen_at = seen.iter().filter(|row| row.contains(&Some(true))).count();
    // A site of which nothing but doubt is known is none at which it was not seen.
    let told = seen.iter().filter(|row| row.iter().any(Option::is_some)).count();
    Occupancy {
        species: index,
        seen_at,
        sites: told,
        naive: wilson(Counts::new(seen_at, told)),
        seen,
    }
}

/// With fewer events on a side nothing is said of an overlap.
const FEWEST_EVENTS: usize = 10;

fn overlaps(species: &[Species]) -> Vec<Overlap> {
    let minutes =
        |s: &Species| -> Vec<f64> { s.events.iter().flatten().map(|v| v.sun_minute()).collect() };
    let all: Vec<Vec<f64>> = species.iter().map(minutes).collect();
    let mut overlaps = Vec::new();
    for a in 0..species.len() {
        for b in a + 1..species.len() {
            let events = [all[a].len(), all[b].len()];
            if events[0].min(events[1]) < FEWEST_EVENTS
                || species[a].shares_animals_with(&species[b])
            {
                continue;
            }
            const SEED: u64 = 1;
            if let Some(estimate) = activity_overlap(&all[a], &all[b], SUN_DAY_MIN, SEED) {
                overlaps.push(Overlap { species: [a, b], events, estimate });
            }
        }
    }
    overlaps
}
