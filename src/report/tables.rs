//! The report's tables as CSV, one fact a column.

use std::borrow::Cow;

use anyhow::Result;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use polars::prelude::{AnyValue, Column, DataFrame, df};

use super::columns::COLUMNS;
use super::digits::to_digits;
use super::outlook_tables::{asked, conditions, grounds_by_season, herd, where_to_sit};
use crate::clock::LocalTime;
use crate::debrief::{Debrief, DeerSeason, KnownDeer};
use crate::measure::Estimate;
use crate::property::By;
use crate::shift::{Question, Shift, Unlogged};
use crate::sun::SunDay;
use crate::tags::Sighting;
use crate::visits::{DeerYear, Kind, Visit};

/// A table and the file it goes into.
pub(super) type Table = (&'static str, DataFrame);

/// Every table of the report.
pub(super) fn tables(debrief: &Debrief) -> Result<Vec<Table>> {
    Ok(vec![
        ("daylight.csv", daylight(debrief)?),
        ("shifts.csv", shifts(debrief)?),
        ("years.csv", years(debrief)?),
        ("repeated.csv", repeated(debrief)?),
        ("unlogged.csv", unlogged(debrief)?),
        ("visits.csv", visits(debrief)?),
        ("days.csv", days(debrief)?),
        ("set-aside.csv", set_aside(debrief)?),
        ("pictures.csv", pictures(debrief)?),
        ("light.csv", light(debrief)?),
        ("seen.csv", seen(debrief)?),
        ("named-deer.csv", named_deer(debrief)?),
        ("conditions.csv", conditions(debrief)?),
        ("where-to-sit.csv", where_to_sit(debrief)?),
        ("grounds-by-season.csv", grounds_by_season(debrief)?),
        ("herd.csv", herd(debrief)?),
        ("asked.csv", asked(debrief)?),
        ("columns.csv", columns()?),
    ])
}

/// A text that a spreadsheet would run as a formula gets an apostrophe before it, by which spreadsheets know a text
/// (OWASP, CSV Injection).
pub(crate) fn harmless(text: &str) -> Cow<'_, str> {
    match is_formula(text) {
        true => format!("'{text}").into(),
        false => text.into(),
    }
}

fn is_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// A table as CSV text; see [`harmless`].
pub(super) fn csv(table: &DataFrame) -> Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(table.columns().iter().map(|c| c.name().as_str()))?;
    for row in 0..table.height() {
        for column in table.columns() {
            writer.write_field(cell(&column.get(row)?)?.as_bytes())?;
        }
        writer.write_record(None::<&[u8]>)?;
    }
    Ok(writer.into_inner()?)
}

/// Numbers with the fewest digits that are read back as the same.
fn cell<'a>(value: &'a AnyValue) -> Result<Cow<'a, str>> {
    Ok(match value {
        AnyValue::Null => "".into(),
        AnyValue::String(text) => harmless(text),
        AnyValue::Float64(number) => serde_json::to_string(number)?.into(),
        other => other.to_string().into(),
    })
}

pub(super) fn ends(estimates: impl Iterator<Item = Option<Estimate>>) -> [Vec<Option<f64>>; 3] {
    let finite = |x: f64| Some(x).filter(|x| x.is_finite());
    let mut columns: [Vec<Option<f64>>; 3] = Default::default();
    for estimate in estimates {
        columns[0].push(estimate.map(|e| to_digits(e.value)));
        columns[1].push(estimate.and_then(|e| finite(e.low)).map(to_digits));
        columns[2].push(estimate.and_then(|e| finite(e.high)).map(to_digits));
    }
    columns
}

pub(super) fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// The day table: what every count and rate of the report is taken from.
fn days(debrief: &Debrief) -> Result<DataFrame> {
    let season = &debrief.season;
    let names: Vec<&str> = season.cameras.iter().map(|c| c.name.as_str()).collect();
    let start = season.settings.year_start;
    season.days.table(&season.settings.name, &names, start)
}

fn daylight(debrief: &Debrief) -> Result<DataFrame> {
    let rows = &debrief.daylight;
    let [share, low, high] = ends(rows.iter().map(|a| a.share));
    let [rate, rate_low, rate_high] = ends(rows.iter().map(|a| a.per_100_nights));
    let counts = |of: fn(&crate::debrief::DaylightAnswer) -> usize| -> Vec<u32> {
        rows.iter().map(|a| count(of(a))).collect()
    };
    let bounds = |end: usize| -> Vec<Option<f64>> {
        let of = |a: &crate::debrief::DaylightAnswer| {
            let (least, most) = a.per_100_nights_between?;
            Some(to_digits([least, most][end]))
        };
        rows.iter().map(of).collect()
    };
    let evening = |a: &crate::debrief::DaylightAnswer| a.evening.map(|u| to_digits(u.median_min));
    let morning = |a: &crate::debrief::DaylightAnswer| a.morning.map(|u| to_digits(u.median_min));
    Ok(df!(
        "season" => rows.iter().map(|a| a.season.map(DeerYear::name)).collect::<Vec<_>>(),
        "camera" => rows.iter().map(|a| debrief.camera_name(a.camera)).collect::<Vec<_>>(),
        "who" => rows.iter().map(|a| a.kind.word()).collect::<Vec<_>>(),
        "nights" => counts(|a| a.nights),
        "visits" => counts(|a| a.visits),
        "legal_light_visits" => counts(|a| a.legal),
        "daylight_visits" => counts(|a| a.daylight),
        "share" => share,
        "share_low" => low,
        "share_high" => high,
        "per_100_nights" => rate,
        "per_100_nights_low" => rate_low,
        "per_100_nights_high" => rate_high,
        "per_100_nights_at_least" => bounds(0),
        "per_100_nights_at_most" => bounds(1),
        "pictures" => counts(|a| a.pictures.all),
        "untagged_pictures" => counts(|a| a.pictures.untagged),
        "probably_nothing" => counts(|a| a.pictures.probably_nothing),
        "median_minutes_before_sunset" => rows.iter().map(evening).collect::<Vec<_>>(),
        "median_minutes_after_sunrise" => rows.iter().map(morning).collect::<Vec<_>>(),
    )?)
}

fn shifts(debrief: &Debrief) -> Result<DataFrame> {
    comparisons(debrief, &debrief.shifts.rows.iter().collect::<Vec<_>>())
}

/// The newest season beside every earlier one.
fn years(debrief: &Debrief) -> Result<DataFrame> {
    let years = &debrief.shifts.years;
    let rows: Vec<&Shift> = years.iter().map(|y| &y.shift).collect();
    let mut table = comparisons(debrief, &rows)?.drop("disturbance")?;
    let with: Vec<String> = years.iter().map(|y| y.with.name()).collect();
    table.insert_column(1, Column::new("with".into(), with))?;
    Ok(table)
}

/// What happened several times.
fn repeated(debrief: &Debrief) -> Result<DataFrame> {
    let all = &debrief.shifts.repeated;
    let [ratio, low, high] = ends(all.iter().map(|r| r.ratio));
    Ok(df!(
        "what" => all.iter().map(|r| r.what.as_str()).collect::<Vec<_>>(),
        "by" => all.iter().map(|r| r.by.map(By::word)).collect::<Vec<_>>(),
        "times" => all.iter().map(|r| count(r.times)).collect::<Vec<_>>(),
        "camera_days" => all.iter().map(|r| count(r.camera_days)).collect::<Vec<_>>(),
        "ratio" => ratio,
        "ratio_low" => low,
        "ratio_high" => high,
        "p_value" => all.iter().map(|r| r.p_value.map(to_digits)).collect::<Vec<_>>(),
        "p_adjusted" => all.iter().map(|r| r.p_adjusted.map(to_digits)).collect::<Vec<_>>(),
        "verdict" => all.iter().map(|r| r.verdict.word()).collect::<Vec<_>>(),
    )?)
}

/// Clear changes that nobody logged.
fn unlogged(debrief: &Debrief) -> Result<DataFrame> {
    let all = &debrief.shifts.unlogged;
    let is_share = |u: &Unlogged| u.of == Question::Share;
    Ok(df!(
        "camera" => all.iter().map(|u| debrief.camera_name(Some(u.camera))).collect::<Vec<_>>(),
        "who" => all.iter().map(|u| u.kind.word()).collect::<Vec<_>>(),
        "of" => all.iter().map(|u| if is_share(u) { "daylight share" } else { "light visits" }).collect::<Vec<_>>(),
        "from" => all.iter().map(|u| u.dates.0.to_string()).collect::<Vec<_>>(),
        "until" => all.iter().map(|u| u.dates.1.to_string()).collect::<Vec<_>>(),
        "change" => all.iter().map(|u| to_digits(u.change)).collect::<Vec<_>>(),
        "p_adjusted" => all.iter().map(|u| to_digits(u.p_adjusted)).collect::<Vec<_>>(),
    )?)
}

/// The pictures, with their moments as they are settled.
fn pictures(debrief: &Debrief) -> Result<DataFrame> {
    let crawl = &debrief.crawl;
    let times = debrief.timeline.times(crawl.pictures.len())?;
    let mut table = crawl.table()?;
    let moments: Vec<Option<String>> = times.iter().map(|t| t.map(local)).collect();
    let utc: Vec<Option<String>> =
        times.iter().map(|t| Some(t.as_ref()?.utc().to_rfc3339())).collect();
    table.with_column(Column::new("local_time".into(), moments))?;
    table.with_column(Column::new("utc".into(), utc))?;
    table.with_column(Column::new("tagged".into(), debrief.tagged.tagged.as_slice()))?;
    Ok(table)
}

fn comparisons(debrief: &Debrief, rows: &[&Shift]) -> Result<DataFrame> {
    let [change, change_low, change_high] = ends(rows.iter().map(|r| r.share_change));
    let [against, against_low, against_high] =
        ends(rows.iter().map(|r| r.share_change_against_controls));
    let [rate, rate_low, rate_high] = ends(rows.iter().map(|r| r.rate_ratio));
    let [rate_against, rate_against_low, rate_against_high] =
        ends(rows.iter().map(|r| r.rate_ratio_against_controls));
    let counts =
        |of: fn(&Shift) -> usize| -> Vec<u32> { rows.iter().map(|r| count(of(r))).collect() };
    Ok(df!(
        "season" => rows.iter().map(|r| r.season.name()).collect::<Vec<_>>(),
        "disturbance" => rows.iter().map(|r| r.disturbance.as_str()).collect::<Vec<_>>(),
        "camera" => rows.iter().map(|r| debrief.camera_name(r.camera)).collect::<Vec<_>>(),
        "who" => rows.iter().map(|r| r.kind.word()).collect::<Vec<_>>(),
        "role" => rows.iter().map(|r| r.role.word()).collect::<Vec<_>>(),
        "before_from" => rows.iter().map(|r| r.before.from.to_string()).collect::<Vec<_>>(),
        "before_until" => rows.iter().map(|r| r.before.until.to_string()).collect::<Vec<_>>(),
        "before_nights" => counts(|r| r.before.nights),
        "before_visits" => counts(|r| r.before.visits),
        "before_legal_light_visits" => counts(|r| r.before.legal),
        "before_counted_visits" => counts(|r| r.before.counted),
        "after_from" => rows.iter().map(|r| r.after.from.to_string()).collect::<Vec<_>>(),
        "after_until" => rows.iter().map(|r| r.after.until.to_string()).collect::<Vec<_>>(),
        "after_nights" => counts(|r| r.after.nights),
        "after_visits" => counts(|r| r.after.visits),
        "after_legal_light_visits" => counts(|r| r.after.legal),
        "after_counted_visits" => counts(|r| r.after.counted),
        "share_change" => change,
        "share_change_low" => change_low,
        "share_change_high" => change_high,
        "share_change_against_controls" => against,
        "share_change_against_controls_low" => against_low,
        "share_change_against_controls_high" => against_high,
        "rate_ratio" => rate,
        "rate_ratio_low" => rate_low,
        "rate_ratio_high" => rate_high,
        "rate_ratio_against_controls" => rate_against,
        "rate_ratio_against_controls_low" => rate_against_low,
        "rate_ratio_against_controls_high" => rate_against_high,
        "light_visits_p_value" => rows.iter().map(|r| r.light_p_value.map(to_digits)).collect::<Vec<_>>(),
        "light_visits_p_adjusted" => rows.iter().map(|r| r.light_p_adjusted.map(to_digits)).collect::<Vec<_>>(),
        "light_visits_verdict" => rows.iter().map(|r| r.light_verdict.word()).collect::<Vec<_>>(),
        "p_value" => rows.iter().map(|r| r.p_value.map(to_digits)).collect::<Vec<_>>(),
        "p_adjusted" => rows.iter().map(|r| r.p_adjusted.map(to_digits)).collect::<Vec<_>>(),
        "verdict" => rows.iter().map(|r| r.verdict.word()).collect::<Vec<_>>(),
        "pattern" => rows.iter().map(|r| r.pattern.map(|p| p.word())).collect::<Vec<_>>(),
    )?)
}

/// Every visit of every kind: the rows behind every count in the report.
fn visits(debrief: &Debrief) -> Result<DataFrame> {
    let all: Vec<(&str, Kind, &Visit)> = debrief
        .season
        .cameras
        .iter()
        .flat_map(|c| Kind::ALL.map(|kind| (c, kind)))
        .flat_map(|(c, kind)| c.visits(kind).iter().map(move |v| (c.name.as_str(), kind, v)))
        .collect();
    let tenth = |minutes: f64| (minutes * 10.0).round() / 10.0;
    let season = |v: &Visit| debrief.season.year_of(v.date()).name();
    Ok(df!(
        "season" => all.iter().map(|(.., v)| season(v)).collect::<Vec<_>>(),
        "camera" => all.iter().map(|(c, ..)| *c).collect::<Vec<_>>(),
        "who" => all.iter().map(|(_, k, _)| k.word()).collect::<Vec<_>>(),
        "counted_in_too" => all.iter().map(|(_, k, _)| counted_in_too(*k)).collect::<Vec<_>>(),
        "local_time" => all.iter().map(|(.., v)| local(v.first)).collect::<Vec<_>>(),
        "utc" => all.iter().map(|(.., v)| v.first.utc().to_rfc3339()).collect::<Vec<_>>(),
        "group" => all.iter().map(|(.., v)| u32::from(v.group)).collect::<Vec<_>>(),
        "light" => all.iter().map(|(.., v)| v.light.word()).collect::<Vec<_>>(),
        "minutes_after_sunrise" => all.iter().map(|(.., v)| tenth(v.after_sunrise_min)).collect::<Vec<_>>(),
        "minutes_before_sunset" => all.iter().map(|(.., v)| tenth(v.before_sunset_min)).collect::<Vec<_>>(),
    )?)
}

/// A moment on the property's wall clock, with its offset.
fn local(time: LocalTime) -> String {
    time.utc().with_timezone(&time.offset()).to_rfc3339()
}

/// The kinds that count the same deer too, in rows of their own.
fn counted_in_too(kind: Kind) -> &'static str {
    match kind {
        Kind::MatureBuck => "buck; deer",
        Kind::Buck | Kind::Doe | Kind::Fawn => "deer",
        Kind::Deer => "",
    }
}

/// What was tagged, tag by tag: picture by picture, then what came without one, by camera and time.
fn seen(debrief: &Debrief) -> Result<DataFrame> {
    let sightings = &debrief.tagged.sightings;
    let mut all: Vec<Sighting> = sightings.rows()?.collect();
    let pictures = &debrief.crawl.pictures;
    let names = sightings.cameras.names();
    let place = |s: &Sighting| (s.picture.is_none(), s.picture, &names[s.camera as usize]);
    let told = |s: &Sighting| (s.time, s.who as u32, s.count, s.age.map(f64::to_bits));
    all.sort_by(|a, b| (place(a), told(a), a.name).cmp(&(place(b), told(b), b.name)));
    Ok(df!(
        "picture" => all.iter().map(|s| Some(pictures[s.picture? as usize].path.as_str())).collect::<Vec<_>>(),
        "camera" => all.iter().map(|s| names[s.camera as usize].as_str()).collect::<Vec<_>>(),
        "local_time" => all.iter().map(|s| local(s.time)).collect::<Vec<_>>(),
        "utc" => all.iter().map(|s| s.time.utc().to_rfc3339()).collect::<Vec<_>>(),
        "who" => all.iter().map(|s| s.who.word()).collect::<Vec<_>>(),
        "count" => all.iter().map(|s| s.count).collect::<Vec<_>>(),
        "age" => all.iter().map(|s| s.age).collect::<Vec<_>>(),
        "name" => all.iter().map(|s| s.name).collect::<Vec<_>>(),
    )?)
}

/// One row a named deer and season.
fn named_deer(debrief: &Debrief) -> Result<DataFrame> {
    let mut all: Vec<(&KnownDeer, &DeerSeason)> = Vec::new();
    for deer in &debrief.known_deer {
        all.extend(deer.seasons.iter().map(|s| (deer, s)));
    }
    let [share, low, high] = ends(all.iter().map(|(_, s)| s.share));
    Ok(df!(
        "name" => all.iter().map(|(d, _)| d.name.as_str()).collect::<Vec<_>>(),
        "who" => all.iter().map(|(d, _)| d.who.word()).collect::<Vec<_>>(),
        "age" => all.iter().map(|(d, _)| d.age).collect::<Vec<_>>(),
        "season" => all.iter().map(|(_, s)| s.year.name()).collect::<Vec<_>>(),
        "visits" => all.iter().map(|(_, s)| count(s.visits)).collect::<Vec<_>>(),
        "counted_visits" => all.iter().map(|(_, s)| count(s.counted)).collect::<Vec<_>>(),
        "share" => share,
        "share_low" => low,
        "share_high" => high,
    )?)
}

/// What every column of every table means.
fn columns() -> Result<DataFrame> {
    // Two seasons are compared in the columns of a disturbance.
    let of_years = COLUMNS.iter().filter(|c| c.0 == "shifts.csv" && c.1 != "disturbance");
    let of_years = of_years.map(|c| ("years.csv", c.1, c.2, c.3));
    let every: Vec<_> = COLUMNS.iter().copied().chain(of_years).collect();
    let all = || every.iter();
    Ok(df!(
        "file" => all().map(|c| c.0).collect::<Vec<_>>(),
        "column" => all().map(|c| c.1).collect::<Vec<_>>(),
        "unit" => all().map(|c| c.2).collect::<Vec<_>>(),
        "meaning" => all().map(|c| c.3).collect::<Vec<_>>(),
    )?)
}

/// The light of every date at the property's own place, by the clock on the wall.
fn light(debrief: &Debrief) -> Result<DataFrame> {
    let settings = &debrief.property.settings;
    let dates: Vec<NaiveDate> = debrief.season.span().map_or_else(Vec::new, |(first, last)| {
        first.iter_days().take_while(|d| *d <= last).collect()
    });
    let days: Vec<SunDay> =
        dates.iter().map(|d| SunDay::on(*d, settings.position)).collect::<Result<_, _>>()?;
    let clock = |t: DateTime<Utc>| {
        // To the minute: to the second they would tell the place.
        let local = LocalTime::at(t + TimeDelta::seconds(30), settings.time_zone).shown();
        local.format("%H:%M").to_string()
    };
    let column = |of: &dyn Fn(&SunDay) -> DateTime<Utc>| -> Vec<String> {
        days.iter().map(|d| clock(of(d))).collect()
    };
    let minutes = |m: f64| TimeDelta::milliseconds((m * 60_000.0) as i64);
    let (before, after) =
        (minutes(settings.legal_before_sunrise_min), minutes(settings.legal_after_sunset_min));
    Ok(df!(
        "date" => dates.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "civil_dawn" => days.iter().map(|d| d.civil_dawn.map(clock)).collect::<Vec<_>>(),
        "legal_light_begins" => column(&|d| d.sunrise - before),
        "sunrise" => column(&|d| d.sunrise),
        "sunset" => column(&|d| d.sunset),
        "legal_light_ends" => column(&|d| d.sunset + after),
        "civil_dusk" => days.iter().map(|d| d.civil_dusk.map(clock)).collect::<Vec<_>>(),
    )?)
}

/// Every file and row that did not count, with its reason.
fn set_aside(debrief: &Debrief) -> Result<DataFrame> {
    let crawl = &debrief.crawl;
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut put = |what: &str, why: String| rows.push((what.to_owned(), why));
    for (path, why) in &crawl.unreadable {
        put(path, why.to_string());
    }
    for (copy, original) in &crawl.duplicates {
        put(copy, format!("the same bytes as {original}"));
    }
    for picture in &crawl.pictures {
        if let Err(why) = &picture.time {
            put(&picture.path, why.to_string());
        }
        if picture.cut_short {
            put(&picture.path, "the end of the picture is missing; its time counts".into());
        }
    }
    for problem in &debrief.problems {
        put(&problem.file, problem.to_string());
    }
    let (what, why): (Vec<String>, Vec<String>) = rows.into_iter().unzip();
    Ok(df!("file" => what, "why" => why)?)
}
