//! A survey as CSV tables and as JSON.

use std::path::Path;

use anyhow::{Context, Result, ensure};
use serde_json::{Value, json};

use super::{Occupancy, Overlap, Rate, Survey};
use crate::files;
use crate::measure::Estimate;
use crate::report::{harmless, rounded};
use crate::sun::SUN_DAY_MIN;

/// A table in the making: its file's name and its text.
type Table = (&'static str, Vec<u8>);

/// Writes the tables and `survey.json` into a new or empty folder, all of them or none.
///
/// # Errors
/// When the folder is not empty, or the disk does not take it.
pub fn write(survey: &Survey, folder: &Path) -> Result<Vec<&'static str>> {
    ensure!(
        files::is_free(folder),
        "{} is not an empty folder. Name a new one for the survey.",
        folder.display()
    );
    let mut all = vec![
        effort(survey)?,
        rates(survey)?,
        occupancy(survey)?,
        detections(survey)?,
        activity(survey)?,
        overlaps(survey)?,
        columns()?,
    ];
    all.push(("survey.json", serde_json::to_vec_pretty(&as_json(survey))?));
    files::make_folder(folder, |making| {
        for (name, bytes) in &all {
            std::fs::write(making.join(name), bytes)?;
        }
        Ok(())
    })
    .with_context(|| format!("cannot write the survey {}", folder.display()))?;
    Ok(all.iter().map(|(name, _)| *name).collect())
}

fn csv(
    name: &'static str,
    headings: &[&str],
    rows: impl IntoIterator<Item = Vec<String>>,
) -> Result<Table> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(headings)?;
    for row in rows {
        writer.write_record(row.iter().map(|cell| harmless(cell).into_owned()))?;
    }
    Ok((name, writer.into_inner()?))
}

fn number(x: f64) -> String {
    rounded(json!(x)).to_string()
}

/// Value, lower and upper end; empty where there is none.
fn cells(estimate: Option<Estimate>) -> [String; 3] {
    estimate.map_or_else(Default::default, |e| [e.value, e.low, e.high].map(number))
}

fn effort(survey: &Survey) -> Result<Table> {
    let headings = [
        "site",
        "camera",
        "placement",
        "setting",
        "first",
        "last",
        "nights",
        "nights_lost",
        "pictures",
        "untagged",
    ];
    let row = |i: usize| {
        let s = &survey.sites[i];
        vec![
            survey.site_name(i),
            s.camera.clone(),
            s.placement.to_string(),
            s.setting.clone(),
            s.span.0.to_string(),
            s.span.1.to_string(),
            s.nights.to_string(),
            s.nights_lost.to_string(),
            s.pictures.all.to_string(),
            s.pictures.untagged.to_string(),
        ]
    };
    csv("effort.csv", &headings, (0..survey.sites.len()).map(row))
}

fn rates(survey: &Survey) -> Result<Table> {
    let headings = [
        "species",
        "site",
        "camera",
        "placement",
        "events",
        "nights",
        "per_100_nights",
        "low",
        "high",
    ];
    let row = |r: &Rate| {
        let mut row = vec![
            survey.species[r.species].name.clone(),
            r.site.map_or_else(|| "all".to_owned(), |s| survey.site_name(s)),
            r.site.map_or_else(String::new, |s| survey.sites[s].camera.clone()),
            r.site.map_or_else(String::new, |s| survey.sites[s].placement.to_string()),
            r.events.to_string(),
            r.nights.to_string(),
        ];
        row.extend(cells(r.per_100_nights));
        row
    };
    csv("rates.csv", &headings, survey.rates.iter().map(row))
}

fn occupancy(survey: &Survey) -> Result<Table> {
    let headings = ["species", "seen_at", "sites", "naive_occupancy", "low", "high"];
    let row = |o: &Occupancy| {
        let mut row = vec![
            survey.species[o.species].name.clone(),
            o.seen_at.to_string(),
            o.sites.to_string(),
        ];
        row.extend(cells(o.naive));
        row
    };
    csv("occupancy.csv", &headings, survey.occupancy.iter().map(row))
}

/// The detection matrices, one below the other: a row a species and site, a column an occasion by its first date.
fn detections(survey: &Survey) -> Result<Table> {
    let dates: Vec<String> = survey.occasions.iter().map(|o| o.0.to_string()).collect();
    let mut headings = vec!["species", "site", "camera", "placement"];
    let of_site = |species: &str, site: usize| {
        let s = &survey.sites[site];
        [species.to_owned(), survey.site_name(site), s.camera.clone(), s.placement.to_string()]
    };
    headings.extend(dates.iter().map(String::as_str));
    let mut rows = Vec::new();
    let nights = survey.nights.iter().enumerate();
    rows.extend(nights.map(|(site, nights)| {
        of_site("(nights)", site)
            .into_iter()
            .chain(nights.iter().map(ToString::to_string))
            .collect()
    }));
    for o in &survey.occupancy {
        for (site, seen) in o.seen.iter().enumerate() {
            let start = of_site(&survey.species[o.species].name, site);
            let cell = |seen: &Option<bool>| {
                seen.map_or_else(|| "NA".to_owned(), |s| u8::from(s).to_string())
            };
            rows.push(start.into_iter().chain(seen.iter().map(cell)).collect());
        }
    }
    csv("detections.csv", &headings, rows)
}

/// Events by the hour of a day on which the sun rises at 6 and sets at 18.
fn by_hour(survey: &Survey, species: usize) -> [usize; 24] {
    let mut hours = [0; 24];
    for visit in survey.species[species].events.iter().flatten() {
        hours[((visit.sun_minute() / SUN_DAY_MIN * 24.0) as usize).min(23)] += 1;
    }
    hours
}

fn activity(survey: &Survey) -> Result<Table> {
    let rows = (0..survey.species.len()).flat_map(|i| {
        let name = survey.species[i].name.clone();
        let hours = by_hour(survey, i).into_iter().enumerate();
        hours.map(move |(hour, n)| vec![name.clone(), hour.to_string(), n.to_string()])
    });
    csv("activity.csv", &["species", "sun_hour", "events"], rows)
}

fn overlaps(survey: &Survey) -> Result<Table> {
    let headings = [
        "species",
        "other",
        "events",
        "other_events",
        "delta1",
        "delta4",
        "estimator",
        "overlap",
        "low",
        "high",
    ];
    let row = |o: &Overlap| {
        let mut row: Vec<String> =
            o.species.iter().map(|s| survey.species[*s].name.clone()).collect();
        row.extend(o.events.iter().map(ToString::to_string));
        row.extend([o.estimate.delta1, o.estimate.delta4].map(number));
        row.push(estimator(o).to_owned());
        row.extend(cells(o.estimate.told));
        row
    };
    csv("overlap.csv", &headings, survey.overlaps.iter().map(row))
}

fn estimator(overlap: &Overlap) -> &'static str {
    match overlap.estimate.is_delta4 {
        true => "delta4",
        false => "delta1",
    }
}

/// What every column is.
const COLUMNS: [(&str, &str, &str, &str); 39] = [
    ("effort.csv", "site", "", "the camera, with the number of its place from the second on"),
    ("effort.csv", "camera", "", "the camera"),
    ("effort.csv", "placement", "", "its place: the first, the second, and so on"),
    ("effort.csv", "setting", "", "what it looks at"),
    ("effort.csv", "first", "date", "first date on which it is known to have worked there"),
    ("effort.csv", "last", "date", "last one"),
    ("effort.csv", "nights", "camera-nights", "dates on which it is known to have worked there"),
    (
        "effort.csv",
        "nights_lost",
        "camera-nights",
        "dates on which it hung there, between those two, and is not known to have worked",
    ),
    ("effort.csv", "pictures", "pictures", "on those nights"),
    ("effort.csv", "untagged", "pictures", "of which nobody has said who is in them"),
    ("rates.csv", "species", "", "kind of deer, or the word an animal came with"),
    (
        "rates.csv",
        "site",
        "",
        "as in effort.csv; all of them together in the first row of a species",
    ),
    ("rates.csv", "events", "events", "visits: no gap longer than the property's visit_gap"),
    ("rates.csv", "camera", "", "as in effort.csv; empty for all"),
    ("rates.csv", "placement", "", "the same"),
    ("rates.csv", "nights", "camera-nights", "as in effort.csv"),
    (
        "rates.csv",
        "per_100_nights",
        "events",
        "events per 100 camera-nights; empty where too much is untagged",
    ),
    (
        "rates.csv",
        "low",
        "events",
        "95 % range: of one site by Barker 2002, of all by Cochran 1977, 6.3",
    ),
    ("rates.csv", "high", "events", "the same"),
    ("occupancy.csv", "species", "", "as in rates.csv"),
    ("occupancy.csv", "seen_at", "sites", "sites at which it was seen"),
    ("occupancy.csv", "sites", "sites", "sites at which that can be told"),
    (
        "occupancy.csv",
        "naive_occupancy",
        "fraction",
        "the first over the second; not corrected for animals missed",
    ),
    ("occupancy.csv", "low", "fraction", "95 % range (Wilson 1927)"),
    ("occupancy.csv", "high", "fraction", "the same"),
    (
        "detections.csv",
        "species",
        "",
        "as in rates.csv; (nights) has the camera-nights of every occasion",
    ),
    (
        "detections.csv",
        "(a date)",
        "",
        "the occasion that begins then: 1 seen, 0 not seen, NA no camera, or too much untagged",
    ),
    ("activity.csv", "sun_hour", "h", "hour of a day on which the sun rises at 6 and sets at 18"),
    ("activity.csv", "events", "events", "events that begin in it"),
    ("overlap.csv", "species", "", "one"),
    ("overlap.csv", "other", "", "the other, which counts none of the first one's animals"),
    ("overlap.csv", "events", "events", "of the one"),
    ("overlap.csv", "other_events", "events", "of the other"),
    ("overlap.csv", "delta1", "fraction", "estimator 1 of Ridout & Linkie 2009, for small samples"),
    ("overlap.csv", "delta4", "fraction", "estimator 4, for 50 events and more on both sides"),
    ("overlap.csv", "estimator", "", "which of them is told"),
    ("overlap.csv", "overlap", "fraction", "0 never together, 1 one pattern; by sun_hour's clock"),
    (
        "overlap.csv",
        "low",
        "fraction",
        "95 % range by 1000 smoothed resamples; every event taken as independent",
    ),
    ("overlap.csv", "high", "fraction", "the same"),
];

fn columns() -> Result<Table> {
    let rows = COLUMNS
        .iter()
        .map(|c| vec![c.0.to_owned(), c.1.to_owned(), c.2.to_owned(), c.3.to_owned()]);
    csv("columns.csv", &["file", "column", "unit", "meaning"], rows)
}

fn range(estimate: Option<Estimate>) -> Value {
    estimate.map_or(Value::Null, |e| json!({ "value": e.value, "low": e.low, "high": e.high }))
}

/// The same facts as JSON.
pub fn as_json(survey: &Survey) -> Value {
    let site = |i: usize| {
        let s = &survey.sites[i];
        json!({
            "site": survey.site_name(i), "camera": s.camera, "placement": s.placement, "setting": s.setting,
            "first": s.span.0.to_string(), "last": s.span.1.to_string(), "nights": s.nights, "nights_lost": s.nights_lost,
            "pictures": s.pictures.all, "untagged": s.pictures.untagged,
        })
    };
    let rate = |r: &Rate| {
        json!({
            "site": r.site.map(|s| survey.site_name(s)), "events": r.events, "nights": r.nights,
            "per_100_nights": range(r.per_100_nights),
        })
    };
    let species = |i: usize| {
        let o = &survey.occupancy[i];
        let rates: Vec<Value> = survey.rates.iter().filter(|r| r.species == i).map(rate).collect();
        json!({
            "species": survey.species[i].name, "rates": rates,
            "seen_at": o.seen_at, "sites": o.sites, "naive_occupancy": range(o.naive), "detections": o.seen,
            "events_by_sun_hour": by_hour(survey, i),
        })
    };
    let overlap = |o: &Overlap| {
        json!({
            "species": o.species.map(|s| survey.species[s].name.as_str()), "events": o.events,
            "delta1": o.estimate.delta1, "delta4": o.estimate.delta4, "estimator": estimator(o),
            "overlap": range(o.estimate.told),
        })
    };
    rounded(json!({
        "season": survey.season.name(),
        "sites": (0..survey.sites.len()).map(site).collect::<Vec<_>>(),
        "occasions": survey.occasions.iter().map(|o| json!({ "first": o.0.to_string(), "last": o.1.to_string() })).collect::<Vec<_>>(),
        "nights": survey.nights,
        "species": (0..survey.species.len()).map(species).collect::<Vec<_>>(),
        "overlaps": survey.overlaps.iter().map(overlap).collect::<Vec<_>>(),
    }))
}
