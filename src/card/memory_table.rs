//! What is remembered of pictures as a table, and back.

use std::collections::HashMap;
use std::fs::File;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, Result};
use chrono::{DateTime, FixedOffset, Utc};
use image::GrayImage;
use polars::prelude::*;
use rayon::prelude::*;
use xxhash_rust::xxh3::xxh3_64;

use super::difference::Difference;
use super::frame::{ACROSS, DOWN};
use super::glance::Glance;
use super::memory::{Differences, Looks};
use super::picture::{Seldom, Shared};
use super::shade::Shade;
use super::{Body, CameraTime, LightFacts, Picture, Stamp, TimeOrigin, Untimed};
use crate::files::FileState;
use crate::property::Position;

const LOOKS: [&str; 2] = ["look", "small"];
const DIFFERENCES: [&str; 4] = ["beside", "apart", "by_day", "place"];
const PATH: &str = "path";
const UNDECODED: &str = "none";

/// One row a picture. Columns: `path`, the file's `bytes`, `written_ns`, `changed_ns`, `inode` and `ends`; `clip`,
/// `shown_ms` (milliseconds of the camera's clock since 1970-01-01T00:00), `offset_s`, `time_from`,
/// `untimed` (why a picture has no time), `make`, `model`, `serial`, `label`, `latitude`, `longitude`,
/// `temperature_c`, `flash_fired`, `exposure_s`, `iso`, `cut_short`, `described`.
pub(super) fn of(pictures: &[(FileState, &Picture)]) -> Result<DataFrame> {
    let text = |of: &dyn Fn(&Picture) -> Option<String>| -> Vec<Option<String>> {
        pictures.iter().map(|(_, p)| of(p)).collect()
    };
    let number = |of: &dyn Fn(&Picture) -> Option<f64>| -> Vec<Option<f64>> {
        pictures.iter().map(|(_, p)| of(p)).collect()
    };
    let whole = |of: &dyn Fn(&FileState, &Picture) -> Option<i64>| -> Vec<Option<i64>> {
        pictures.iter().map(|(f, p)| of(f, p)).collect()
    };
    let flag = |of: &dyn Fn(&Picture) -> Option<bool>| -> Vec<Option<bool>> {
        pictures.iter().map(|(_, p)| of(p)).collect()
    };
    let ends: Vec<u64> = pictures.iter().map(|(_, p)| p.fingerprint).collect();
    let inodes: Vec<u64> = pictures.iter().map(|(f, _)| f.inode).collect();
    let stamp = |p: &Picture| p.time.as_ref().ok().copied();
    Ok(df!(
        PATH => text(&|p| Some(p.path.clone())),
        "bytes" => whole(&|f, _| i64::try_from(f.bytes).ok()),
        "written_ns" => whole(&|f, _| Some(f.written_ns)),
        "changed_ns" => whole(&|f, _| Some(f.changed_ns)),
        "inode" => inodes,
        "ends" => ends,
        "clip" => flag(&|p| Some(p.clip)),
        "shown_ms" => whole(&|_, p| p.shown_time().map(|t| t.shown().and_utc().timestamp_millis())),
        "offset_s" => whole(&|_, p| Some(stamp(p)?.offset?.local_minus_utc().into())),
        "time_from" => text(&|p| Some(stamp(p)?.origin.word().to_owned())),
        "untimed" => text(&|p| p.time.as_ref().err().map(untimed_word)),
        "make" => text(&|p| p.body.make.clone()),
        "model" => text(&|p| p.body.model.clone()),
        "serial" => text(&|p| p.body.serial.clone()),
        "label" => text(&|p| p.body.label.clone()),
        "latitude" => number(&|p| p.position().map(|p| p.latitude_deg)),
        "longitude" => number(&|p| p.position().map(|p| p.longitude_deg)),
        "temperature_c" => number(&|p| p.temperature_c()),
        "flash_fired" => flag(&|p| p.light.flash_fired),
        "exposure_s" => number(&|p| p.light.exposure_s.map(f64::from)),
        "iso" => whole(&|_, p| p.light.iso.map(i64::from)),
        "cut_short" => flag(&|p| Some(p.cut_short)),
        "described" => flag(&|p| Some(p.is_described)),
    )?)
}

/// The column of paths.
pub(super) fn paths(table: &DataFrame) -> Result<&StringChunked> {
    Ok(table.column(PATH)?.str()?)
}

/// The same table with what looks showed: `look` (`grey`, `colour`, `either`, or `none` where the picture
/// cannot be decoded) and `small` (a byte a pixel; of pictures by daylight).
pub(super) fn with_looks(mut table: DataFrame, looks: &Looks) -> Result<DataFrame> {
    let of = |path: Option<&str>| looks.get(path?);
    let paths = paths(&table)?.clone();
    let look: StringChunked =
        paths.iter().map(|p| of(p).map(|glance| look_word(glance.as_ref()))).collect();
    let small: BinaryChunked =
        paths.iter().map(|p| Some(of(p)?.as_ref()?.small.as_ref()?.as_raw().as_slice())).collect();
    table.with_column(look.with_name(LOOKS[0].into()).into_column())?;
    table.with_column(small.with_name(LOOKS[1].into()).into_column())?;
    Ok(table)
}

/// The same table with how pictures differ from their neighbours: `beside` (the state of the files compared),
/// `apart` (standard deviations; none where it cannot be said), `by_day` and `place` (left, top, width and
/// height as parts of the frame: four `f32`, little end first).
pub(super) fn with_differences(
    mut table: DataFrame,
    differences: &Differences,
) -> Result<DataFrame> {
    let paths = paths(&table)?.clone();
    let of = |path: Option<&str>| differences.get(path?);
    let found = |path: Option<&str>| of(path)?.1;
    let beside: UInt64Chunked = paths.iter().map(|p| of(p).map(|d| d.0)).collect();
    let apart: Float32Chunked = paths.iter().map(|p| found(p).map(|f| f.most)).collect();
    let by_day: BooleanChunked = paths.iter().map(|p| found(p).map(|f| f.by_day)).collect();
    let place: BinaryChunked =
        paths.iter().map(|p| found(p).map(|f| f.place.map(f32::to_le_bytes).concat())).collect();
    let columns =
        [beside.into_column(), apart.into_column(), by_day.into_column(), place.into_column()];
    for (mut column, name) in columns.into_iter().zip(DIFFERENCES) {
        column.rename(name.into());
        table.with_column(column)?;
    }
    Ok(table)
}

fn differences(table: &DataFrame) -> Result<Differences> {
    let [beside, apart, by_day, place] = DIFFERENCES.map(|name| table.column(name));
    let (beside, apart) = (beside?.u64()?, apart?.f32()?);
    let (by_day, place) = (by_day?.bool()?, place?.binary()?);
    let found = |row: usize| {
        let mut four = place.get(row)?.chunks_exact(4);
        let mut part = || Some(f32::from_le_bytes(four.next()?.try_into().ok()?));
        Some(Difference {
            most: apart.get(row)?,
            by_day: by_day.get(row)?,
            place: [part()?, part()?, part()?, part()?],
        })
    };
    let rows = paths(table)?.iter().zip(beside.iter()).enumerate();
    let known =
        rows.filter_map(|(row, (path, beside))| Some((path?.to_owned(), (beside?, found(row)))));
    Ok(known.collect())
}

/// For every picture a number made of its file's state.
pub(super) fn file_states(table: &DataFrame) -> Result<HashMap<String, u64>> {
    let whole = |name: &str| -> Result<&Int64Chunked> { Ok(table.column(name)?.i64()?) };
    let (bytes, written, changed) = (whole("bytes")?, whole("written_ns")?, whole("changed_ns")?);
    let (inode, ends) = (table.column("inode")?.u64()?, table.column("ends")?.u64()?);
    let state = |row: usize| {
        let signed = [bytes.get(row), written.get(row), changed.get(row)];
        let unsigned = [inode.get(row), ends.get(row)];
        let signed = signed.map(|n| n.unwrap_or(-1).to_le_bytes());
        let unsigned = unsigned.map(|n| n.unwrap_or(0).to_le_bytes());
        xxh3_64([signed.concat(), unsigned.concat()].concat().as_slice())
    };
    let rows = paths(table)?.iter().enumerate();
    Ok(rows.filter_map(|(row, path)| Some((path?.to_owned(), state(row)))).collect())
}

/// The table as it is written: in groups of rows that can be read one after another.
pub(super) fn write(table: &mut DataFrame, file: &mut File) -> PolarsResult<()> {
    let writer = ParquetWriter::new(file).with_compression(ParquetCompression::Snappy);
    let writer = writer.with_row_group_size(Some(PART));
    writer.finish(table).map(|_| ())
}

/// Rows that are held as a table at one time.
const PART: usize = 8192;

/// Hands over the pictures of a file, part by part; how many there are, what looks showed, and the differences.
pub(super) fn read(
    file: &Path,
    mut take: impl FnMut(Vec<(FileState, Picture)>),
) -> Result<(usize, Looks, Differences)> {
    // One file throughout, whatever takes its name meanwhile.
    let file = File::open(file)?;
    let rows = ParquetReader::new(file.try_clone()?).num_rows()?;
    let (mut looks, mut differences) = (Looks::new(), Differences::new());
    let mut held = Shared::none();
    for from in (0..rows).step_by(PART) {
        let reader = ParquetReader::new(file.try_clone()?);
        let table = reader.with_slice(Some((from, PART))).finish()?;
        looks.extend(self::looks(&table)?);
        differences.extend(self::differences(&table)?);
        take(pictures(&table, &mut held)?);
    }
    Ok((rows, looks, differences))
}

/// A file's rows without looks and differences.
pub(super) fn without_looks(file: &Path) -> Result<DataFrame> {
    let table = ParquetReader::new(File::open(file)?).finish()?;
    Ok(table.drop_many(LOOKS).drop_many(DIFFERENCES))
}

fn looks(table: &DataFrame) -> Result<Looks> {
    let (look, small) = (table.column(LOOKS[0])?.str()?, table.column(LOOKS[1])?.binary()?);
    let mut looks = Looks::new();
    for ((path, look), small) in paths(table)?.iter().zip(look.iter()).zip(small.iter()) {
        let (Some(path), Some(look)) = (path, look) else {
            continue;
        };
        let shade = match look {
            "grey" => Some(Shade::Grey),
            "colour" => Some(Shade::Colour),
            _ => None,
        };
        let small = small.and_then(|s| GrayImage::from_raw(ACROSS as u32, DOWN as u32, s.to_vec()));
        let glance = (look != UNDECODED).then_some(Glance { shade, small });
        looks.insert(path.to_owned(), glance);
    }
    Ok(looks)
}

fn look_word(glance: Option<&Glance>) -> &'static str {
    match glance.map(|g| g.shade) {
        None => UNDECODED,
        Some(None) => "either",
        Some(Some(Shade::Grey)) => "grey",
        Some(Some(Shade::Colour)) => "colour",
    }
}

fn pictures(table: &DataFrame, held: &mut Shared<Body>) -> Result<Vec<(FileState, Picture)>> {
    let text = |name: &str| -> Result<&StringChunked> { Ok(table.column(name)?.str()?) };
    let whole = |name: &str| -> Result<&Int64Chunked> { Ok(table.column(name)?.i64()?) };
    let number = |name: &str| -> Result<&Float64Chunked> { Ok(table.column(name)?.f64()?) };
    let flag = |name: &str| -> Result<&BooleanChunked> { Ok(table.column(name)?.bool()?) };
    let path = text(PATH)?;
    let (bytes, written, changed) = (whole("bytes")?, whole("written_ns")?, whole("changed_ns")?);
    let inode = table.column("inode")?.u64()?;
    let (ends, clip, cut_short) = (table.column("ends")?.u64()?, flag("clip")?, flag("cut_short")?);
    let (shown, offset, iso) = (whole("shown_ms")?, whole("offset_s")?, whole("iso")?);
    let (origin, untimed) = (text("time_from")?, text("untimed")?);
    let bodies = bodies(table, held)?;
    let nowhere: Arc<str> = "".into();
    let (latitude, longitude) = (number("latitude")?, number("longitude")?);
    let (temperature, exposure) = (number("temperature_c")?, number("exposure_s")?);
    let (flash, described) = (flag("flash_fired")?, flag("described")?);
    let picture = |row: usize| -> Result<(FileState, Picture)> {
        let path = path.get(row).context("a row without a path")?.to_owned();
        let facts = FileState {
            bytes: bytes.get(row).unwrap_or(-1) as u64,
            written_ns: written.get(row).unwrap_or(0),
            changed_ns: changed.get(row).unwrap_or(0),
            inode: inode.get(row).unwrap_or(0),
        };
        let shown = shown.get(row).and_then(DateTime::<Utc>::from_timestamp_millis);
        let offset = offset.get(row).and_then(|s| FixedOffset::east_opt(s as i32));
        let time = time(
            shown.map(|t| CameraTime::new(t.naive_utc())),
            offset,
            origin.get(row).and_then(TimeOrigin::parse),
            untimed.get(row),
        );
        let position = latitude.get(row).zip(longitude.get(row));
        let seldom = Seldom {
            odd_file: None,
            position: position
                .map(|(latitude_deg, longitude_deg)| Position { latitude_deg, longitude_deg }),
            temperature_c: temperature.get(row),
        };
        let picture = Picture {
            clip: clip.get(row).unwrap_or(false),
            body: bodies[row].clone(),
            light: LightFacts {
                flash_fired: flash.get(row),
                exposure_s: exposure.get(row).map(|e| e as f32),
                iso: iso.get(row).map(|i| i as u32),
            },
            cut_short: cut_short.get(row).unwrap_or(false),
            is_described: described.get(row).unwrap_or(true),
            fingerprint: ends.get(row).unwrap_or(0),
            seldom: seldom.boxed(),
            ..Picture::plain(path, nowhere.clone(), facts.bytes, time)
        };
        Ok((facts, picture))
    };
    (0..table.height()).into_par_iter().map(picture).collect()
}

/// The camera of every row, each held once.
fn bodies(table: &DataFrame, held: &mut Shared<Body>) -> Result<Vec<Arc<Body>>> {
    let text = |name: &str| -> Result<&StringChunked> { Ok(table.column(name)?.str()?) };
    let columns = [text("make")?, text("model")?, text("serial")?, text("label")?];
    let mut last: Option<([Option<&str>; 4], Arc<Body>)> = None;
    let mut body = |row: usize| {
        let said = columns.map(|column| column.get(row));
        if let Some((_, body)) = last.as_ref().filter(|(then, _)| *then == said) {
            return body.clone();
        }
        let [make, model, serial, label] = said.map(|text| text.map(str::to_owned));
        let body = held.one(Arc::new(Body { make, model, serial, label }));
        last = Some((said, body.clone()));
        body
    };
    Ok((0..table.height()).map(&mut body).collect())
}

fn untimed_word(untimed: &Untimed) -> String {
    match untimed {
        Untimed::TooEarly(_) => "too early",
        Untimed::Future(_) => "future",
        Untimed::Damaged => "damaged",
        Untimed::Zero => "zero",
        Untimed::Absent => "absent",
        Untimed::NoDate(text) => return format!("{NO_DATE}{text}"),
    }
    .to_owned()
}

/// What the camera wrote stands behind it, whatever it was.
const NO_DATE: &str = "no date: ";

fn time(
    shown: Option<CameraTime>,
    offset: Option<FixedOffset>,
    origin: Option<TimeOrigin>,
    untimed: Option<&str>,
) -> Result<Stamp, Untimed> {
    match (shown, origin, untimed) {
        (Some(time), Some(origin), _) => Ok(Stamp { time, origin, offset }),
        (Some(time), None, Some("too early")) => Err(Untimed::TooEarly(time)),
        (Some(time), None, Some("future")) => Err(Untimed::Future(time)),
        (_, _, Some("damaged")) => Err(Untimed::Damaged),
        (_, _, Some("zero")) => Err(Untimed::Zero),
        (_, _, Some(text)) if text.starts_with(NO_DATE) => {
            Err(Untimed::NoDate(text[NO_DATE.len()..].into()))
        }
        _ => Err(Untimed::Absent),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    #[test]
    fn pictures_come_back_as_they_were() {
        let at = NaiveDate::from_ymd_opt(2024, 2, 29)
            .and_then(|d| d.and_hms_milli_opt(6, 30, 0, 250))
            .map(CameraTime::new)
            .unwrap();
        let stamp =
            Stamp { time: at, origin: TimeOrigin::Name, offset: FixedOffset::west_opt(5 * 3600) };
        let times = [
            Ok(stamp),
            Err(Untimed::TooEarly(at)),
            Err(Untimed::Future(at)),
            Err(Untimed::Zero),
            Err(Untimed::Damaged),
            Err(Untimed::Absent),
            Err(Untimed::NoDate("zero".into())),
        ];
        let seldom = |i: usize| Seldom {
            odd_file: None,
            position: (i == 4).then_some(Position { latitude_deg: 43.1, longitude_deg: -90.7 }),
            temperature_c: (i == 0).then_some(-4.5),
        };
        let picture = |(i, time): (usize, &Result<Stamp, Untimed>)| Picture {
            clip: i == 3,
            is_described: i == 5,
            body: Arc::new(Body { make: (i != 2).then(|| "A".to_owned()), ..Body::default() }),
            light: LightFacts {
                flash_fired: Some(i == 1),
                exposure_s: Some(1.0 / 30.0),
                iso: Some(800),
            },
            fingerprint: u64::MAX - i as u64,
            seldom: seldom(i).boxed(),
            ..Picture::plain(format!("cards/A/{i}.jpg"), "".into(), 7, time.clone())
        };
        let all = times.iter().cycle().take(2 * PART + 7);
        let pictures: Vec<Picture> = all.enumerate().map(picture).collect();
        let facts = FileState {
            bytes: 7,
            written_ns: 1_700_000_000_123_456_789,
            changed_ns: 1_700_000_000_123_456_790,
            inode: 12,
        };
        let rows: Vec<(FileState, &Picture)> = pictures.iter().map(|p| (facts, p)).collect();
        let mut looks = Looks::new();
        looks.insert("cards/A/0.jpg".to_owned(), None);
        let glance = Glance {
            shade: None,
            small: Some(GrayImage::from_pixel(ACROSS as u32, DOWN as u32, image::Luma([3]))),
        };
        let night = Glance { shade: Some(Shade::Grey), small: None };
        looks.insert("cards/A/1.jpg".to_owned(), Some(glance));
        looks.insert("cards/A/2.jpg".to_owned(), Some(night));
        let mut differences = Differences::new();
        let apart = Difference { most: 2.5, by_day: true, place: [0.25, 0.5, 0.125, 0.1] };
        differences.insert("cards/A/3.jpg".to_owned(), (u64::MAX, Some(apart)));
        differences.insert("cards/A/4.jpg".to_owned(), (3, None));
        let table = with_looks(of(&rows).unwrap(), &looks).unwrap();
        let mut table = with_differences(table, &differences).unwrap();
        let file = tempfile::NamedTempFile::new().unwrap();
        write(&mut table, &mut file.reopen().unwrap()).unwrap();
        let mut headers = Vec::new();
        let take = |part| headers.extend(part);
        let (rows, read_looks, read_differences) = read(file.path(), take).unwrap();
        assert_eq!(rows, pictures.len());
        assert_eq!(read_differences, differences);
        assert_eq!(headers.len(), pictures.len());
        for (picture, back) in pictures.iter().zip(&headers) {
            assert_eq!(format!("{:?}", (facts, picture)), format!("({:?}, {:?})", back.0, back.1));
        }
        assert_eq!(read_looks, looks);
    }
}
