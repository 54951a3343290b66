//! The tables of a property's seasons, each with a column `season`.

use std::collections::BTreeMap;

use anyhow::{Result, bail};
use chrono::{NaiveDate, NaiveDateTime};
use polars::prelude::*;

use super::columns::Table;
use crate::clock::LocalTime;
use crate::debrief::Debrief;
use crate::exchange::coordinates::Coordinates;
use crate::exchange::settings_told;
use crate::property::Position;
use crate::sun::SunTable;
use crate::visits::{DeerYear, Kind, Named, Visit};

/// A table by its name, with the columns that are stated for it, and `season`.
pub(super) fn table(
    debrief: &Debrief,
    table: Table,
    coordinates: Coordinates,
) -> Result<DataFrame> {
    let rows = match table.name {
        "days" => days(debrief),
        "visits" => visits(debrief, coordinates),
        "pictures" => pictures(debrief),
        "placements" => placements(debrief, coordinates),
        "events" => events(debrief),
        "settings" => settings(debrief),
        other => bail!("there is no table {other}"),
    }?;
    let names = table.columns.iter().map(|c| c.0).chain(["season"]);
    Ok(rows.select(names)?)
}

fn days(debrief: &Debrief) -> Result<DataFrame> {
    let season = &debrief.season;
    let names: Vec<&str> = season.cameras.iter().map(|c| c.name.as_str()).collect();
    let start = season.settings.year_start;
    let mut table = season.days.table(&season.settings.name, &names, start)?;
    let in_doubt = {
        let (cameras, dates) = (table.column("camera")?.str()?, table.column("date")?);
        let dates = dates.cast(&DataType::Int32)?;
        let of_row = |(camera, day): (Option<&str>, Option<i32>)| {
            let camera = season.cameras.iter().find(|c| Some(c.name.as_str()) == camera)?;
            let date = NaiveDate::from_epoch_days(day?)?;
            Some(camera.clock_doubtful_between(date, date))
        };
        let rows = cameras.iter().zip(dates.i32()?.iter());
        rows.map(of_row).collect::<BooleanChunked>()
    };
    let in_doubt = in_doubt.into_series().with_name("clock_in_doubt".into());
    table.with_column(in_doubt.into_column())?;
    Ok(table)
}

/// Moments as columns without a zone, milliseconds; the column's name says which clock they are on.
fn moments(name: &str, all: impl Iterator<Item = Option<NaiveDateTime>>) -> Result<Column> {
    let ms: Int64Chunked = all.map(|t| Some(t?.and_utc().timestamp_millis())).collect();
    let ms = ms.into_series().cast(&DataType::Datetime(TimeUnit::Milliseconds, None))?;
    Ok(ms.with_name(name.into()).into_column())
}

fn utc(time: LocalTime) -> NaiveDateTime {
    time.utc().naive_utc()
}

/// Minutes after sunrise, before sunset, and of a day on which the sun rises at 360 and sets at 1080, at the place that
/// is told: those of the true one would give it away to some metres.
fn by_the_sun(
    debrief: &Debrief,
    coordinates: Coordinates,
    all: &[(usize, Kind, &Visit)],
) -> Result<[Vec<Option<f64>>; 3]> {
    let tenth = |minutes: f64| Some((minutes * 10.0).round() / 10.0);
    let mut sun = SunTable::default();
    let mut columns: [Vec<Option<f64>>; 3] = Default::default();
    for (camera, _, visit) in all {
        let own = debrief.season.cameras[*camera].position_on(visit.date());
        let told = match coordinates {
            Coordinates::Exact => {
                Some([visit.after_sunrise_min, visit.before_sunset_min, visit.sun_minute()])
            }
            _ => match coordinates.tell(own) {
                Some(told) => {
                    let place = Position {
                        latitude_deg: told.latitude_deg,
                        longitude_deg: told.longitude_deg,
                    };
                    let day = sun.day(visit.date(), place)?;
                    Some(visit.by_the_sun_of(&day))
                }
                None => None,
            },
        };
        for (i, column) in columns.iter_mut().enumerate() {
            column.push(told.and_then(|t| tenth(t[i])));
        }
    }
    Ok(columns)
}

fn visits(debrief: &Debrief, coordinates: Coordinates) -> Result<DataFrame> {
    let season = &debrief.season;
    let mut all: Vec<(usize, Kind, &Visit)> = Vec::new();
    for (i, camera) in season.cameras.iter().enumerate() {
        for kind in Kind::ALL {
            all.extend(camera.visits(kind).iter().map(|v| (i, kind, v)));
        }
    }
    let name = |v: &Visit| match v.named() {
        Named::One(name) => Some(season.names[usize::from(name)].as_str()),
        Named::Nobody | Named::Several => None,
    };
    let [after_sunrise, before_sunset, sun_minute] = by_the_sun(debrief, coordinates, &all)?;
    let mut table = df!(
        "season" => all.iter().map(|(.., v)| season.year_of(v.date()).name()).collect::<Vec<_>>(),
        "camera" => all.iter().map(|(c, ..)| season.cameras[*c].name.as_str()).collect::<Vec<_>>(),
        "placement" => all.iter().map(|(c, _, v)| season.days.placement(*c, v.date())).collect::<Vec<_>>(),
        "kind" => all.iter().map(|(_, k, _)| k.word()).collect::<Vec<_>>(),
        "group" => all.iter().map(|(.., v)| u32::from(v.group)).collect::<Vec<_>>(),
        "light" => all.iter().map(|(.., v)| v.light.word()).collect::<Vec<_>>(),
        "legal" => all.iter().map(|(.., v)| v.light.is_legal()).collect::<Vec<_>>(),
        "counted" => all.iter().map(|(.., v)| v.counted).collect::<Vec<_>>(),
        "minutes_after_sunrise" => after_sunrise,
        "minutes_before_sunset" => before_sunset,
        "sun_minute" => sun_minute,
        "name" => all.iter().map(|(.., v)| name(v)).collect::<Vec<_>>(),
    )?;
    type Clock = fn(&Visit) -> NaiveDateTime;
    let clocks: [(&str, Clock); 4] = [
        ("first_utc", |v| utc(v.first)),
        ("first_local", |v| v.first.shown()),
        ("last_utc", |v| utc(v.last)),
        ("last_local", |v| v.last.shown()),
    ];
    for (name, of) in clocks {
        table.with_column(moments(name, all.iter().map(|(.., v)| Some(of(v))))?)?;
    }
    Ok(table)
}

fn pictures(debrief: &Debrief) -> Result<DataFrame> {
    let all = &debrief.crawl.pictures;
    let times = debrief.timeline.times(all.len())?;
    let season = |t: &Option<LocalTime>| Some(debrief.season.year_of((*t)?.date()).name());
    let mut table = df!(
        "season" => times.iter().map(season).collect::<Vec<_>>(),
        "camera" => all.iter().map(|p| &*p.camera).collect::<Vec<_>>(),
        "picture" => all.iter().map(|p| p.path.as_str()).collect::<Vec<_>>(),
        "clip" => all.iter().map(|p| p.clip).collect::<Vec<_>>(),
        "bytes" => all.iter().map(|p| p.bytes).collect::<Vec<_>>(),
        "tagged" => debrief.tagged.tagged.as_slice(),
    )?;
    table.with_column(moments("utc", times.iter().map(|t| t.map(utc)))?)?;
    table.with_column(moments("local", times.iter().map(|t| Some((*t)?.shown())))?)?;
    Ok(table)
}

/// Where a camera hung in a season: its number, and the dates on which it worked there.
type Hung = BTreeMap<(String, usize, u32), Vec<NaiveDate>>;

fn placements(debrief: &Debrief, coordinates: Coordinates) -> Result<DataFrame> {
    let season = &debrief.season;
    let mut hung = Hung::new();
    for (i, camera) in season.cameras.iter().enumerate() {
        for date in &camera.effort.dates {
            let key = (season.year_of(*date).name(), i, season.days.placement(i, *date));
            hung.entry(key).or_default().push(*date);
        }
    }
    let place = |camera: usize, dates: &[NaiveDate]| {
        coordinates.tell(season.cameras[camera].position_on(dates[0]))
    };
    let told: Vec<_> = hung.iter().map(|((_, c, _), dates)| place(*c, dates)).collect();
    let setting = |camera: usize, date: NaiveDate| {
        season.cameras[camera].placement_on(date).map(|p| p.setting.as_str())
    };
    Ok(df!(
        "season" => hung.keys().map(|k| k.0.as_str()).collect::<Vec<_>>(),
        "camera" => hung.keys().map(|k| season.cameras[k.1].name.as_str()).collect::<Vec<_>>(),
        "placement" => hung.keys().map(|k| k.2).collect::<Vec<_>>(),
        "first" => hung.values().map(|d| d[0]).collect::<Vec<_>>(),
        "last" => hung.values().map(|d| d[d.len() - 1]).collect::<Vec<_>>(),
        "nights" => hung.values().map(|d| d.len() as u32).collect::<Vec<_>>(),
        "latitude" => told.iter().map(|t| t.map(|t| t.latitude_deg)).collect::<Vec<_>>(),
        "longitude" => told.iter().map(|t| t.map(|t| t.longitude_deg)).collect::<Vec<_>>(),
        "uncertainty" => told.iter().map(|t| (*t)?.uncertainty_m).collect::<Vec<_>>(),
        "setting" => hung.iter().map(|((_, c, _), d)| setting(*c, d[0])).collect::<Vec<_>>(),
    )?)
}

fn events(debrief: &Debrief) -> Result<DataFrame> {
    let all = &debrief.property.disturbances;
    let start = debrief.season.settings.year_start;
    let mut table = df!(
        "season" => all.iter().map(|d| DeerYear::of(d.start.date(), start).name()).collect::<Vec<_>>(),
        "id" => all.iter().map(|d| d.id.as_str()).collect::<Vec<_>>(),
        "by" => all.iter().map(|d| d.by.word()).collect::<Vec<_>>(),
        "what" => all.iter().map(|d| d.what.as_str()).collect::<Vec<_>>(),
    )?;
    table.with_column(moments("start_local", all.iter().map(|d| Some(d.start)))?)?;
    table.with_column(moments("end_local", all.iter().map(|d| d.end))?)?;
    Ok(table)
}

fn settings(debrief: &Debrief) -> Result<DataFrame> {
    let told = settings_told(&debrief.property.settings);
    let years = debrief.season.years.iter().map(|y| y.name());
    let rows: Vec<_> = years.flat_map(|year| told.iter().map(move |t| (year.clone(), t))).collect();
    Ok(df!(
        "season" => rows.iter().map(|r| r.0.as_str()).collect::<Vec<_>>(),
        "setting" => rows.iter().map(|r| r.1.0).collect::<Vec<_>>(),
        "value" => rows.iter().map(|r| r.1.1.as_str()).collect::<Vec<_>>(),
        "unit" => rows.iter().map(|r| r.1.2).collect::<Vec<_>>(),
    )?)
}
