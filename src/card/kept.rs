//! A crawl as a table and back, so that its result can be kept from one day to the next.

use anyhow::{Context, Result};
use chrono::{DateTime, FixedOffset, Utc};
use polars::prelude::*;

use super::{CameraTime, Crawl, Picture, Stamp, TimeOrigin, Untimed};

const PICTURE: &str = "picture";
const COPY: &str = "copy";
const TWIN: &str = "twin";
const SIDE: &str = "side file";

impl Crawl {
    /// Everything of the crawl that does not have to be read anew to be shown. Columns: `kind`
    /// (`picture`, `copy`, `twin`, `side file`), `path`, `camera`, `original` (of a copy or twin), `clip`, `bytes`,
    /// `ends`, `shown_ms` (milliseconds of the camera's clock since 1970-01-01T00:00), `offset_s`,
    /// `time_from`, `untimed` (why a picture has no time).
    ///
    /// # Errors
    /// Only when memory for the columns cannot be had.
    pub fn keep(&self) -> Result<DataFrame> {
        let mut rows = Rows::default();
        for p in &self.pictures {
            rows.picture(p);
        }
        for (copy, original) in &self.duplicates {
            rows.other(COPY, copy, Some(original));
        }
        for (twin, kept) in &self.twins {
            rows.other(TWIN, twin, Some(kept));
        }
        for file in &self.side_files {
            rows.other(SIDE, &super::shown(file), None);
        }
        rows.into_table()
    }

    /// The crawl of a kept table. Makes, serial numbers and positions are not kept.
    ///
    /// # Errors
    /// When the table is not one that [`Crawl::keep`] made.
    pub fn kept(table: &DataFrame) -> Result<Self> {
        let text = |name: &str| -> Result<&StringChunked> { Ok(table.column(name)?.str()?) };
        let number = |name: &str| -> Result<&Int64Chunked> { Ok(table.column(name)?.i64()?) };
        let (kind, path, camera) = (text("kind")?, text("path")?, text("camera")?);
        let (original, origin, untimed) = (text("original")?, text("time_from")?, text("untimed")?);
        let clip = table.column("clip")?.bool()?;
        let ends = table.column("ends")?.u64()?;
        let (bytes, shown, offset) = (number("bytes")?, number("shown_ms")?, number("offset_s")?);
        let mut crawl = Self::default();
        for row in 0..table.height() {
            let path = path.get(row).context("a row without a path")?.to_owned();
            match kind.get(row) {
                Some(kind @ (COPY | TWIN)) => {
                    let original = original.get(row).unwrap_or_default().to_owned();
                    let pair = (path, original);
                    match kind {
                        COPY => crawl.duplicates.push(pair),
                        _ => crawl.twins.push(pair),
                    }
                }
                Some(SIDE) => crawl.side_files.push(path.into()),
                _ => {
                    let shown = shown
                        .get(row)
                        .and_then(DateTime::<Utc>::from_timestamp_millis)
                        .map(|t| CameraTime::new(t.naive_utc()));
                    let offset = offset
                        .get(row)
                        .and_then(|s| FixedOffset::east_opt(s as i32));
                    let origin = origin.get(row).and_then(TimeOrigin::parse);
                    let camera = camera.get(row).unwrap_or_default().to_owned();
                    let bytes = bytes.get(row).unwrap_or(0) as u64;
                    let time = time(shown, offset, origin, untimed.get(row));
                    crawl.pictures.push(Picture {
                        clip: clip.get(row).unwrap_or(false),
                        fingerprint: ends.get(row).unwrap_or(0),
                        ..Picture::plain(path, camera, bytes, time)
                    });
                }
            }
        }
        Ok(crawl)
    }
}

fn time(
    shown: Option<CameraTime>,
    offset: Option<FixedOffset>,
    origin: Option<TimeOrigin>,
    untimed: Option<&str>,
) -> Result<Stamp, Untimed> {
    match (shown, origin, untimed) {
        (Some(time), Some(origin), _) => Ok(Stamp {
            time,
            origin,
            offset,
        }),
        (Some(time), None, Some("too early")) => Err(Untimed::TooEarly(time)),
        (Some(time), None, Some("future")) => Err(Untimed::Future(time)),
        (_, _, Some("damaged")) => Err(Untimed::Damaged),
        (_, _, Some("zero")) => Err(Untimed::Zero),
        (_, _, Some("absent") | None) => Err(Untimed::Absent),
        (_, _, Some(text)) => Err(Untimed::NoDate(text.to_owned())),
    }
}

#[derive(Default)]
struct Rows {
    kind: Vec<&'static str>,
    path: Vec<String>,
    camera: Vec<Option<String>>,
    original: Vec<Option<String>>,
    clip: Vec<bool>,
    bytes: Vec<i64>,
    ends: Vec<u64>,
    shown_ms: Vec<Option<i64>>,
    offset_s: Vec<Option<i64>>,
    time_from: Vec<Option<&'static str>>,
    untimed: Vec<Option<String>>,
}

impl Rows {
    fn picture(&mut self, p: &Picture) {
        let stamp = p.time.as_ref().ok();
        let (shown, untimed) = match &p.time {
            Ok(stamp) => (Some(stamp.time), None),
            Err(Untimed::TooEarly(time)) => (Some(*time), Some("too early")),
            Err(Untimed::Future(time)) => (Some(*time), Some("future")),
            Err(Untimed::Damaged) => (None, Some("damaged")),
            Err(Untimed::Zero) => (None, Some("zero")),
            Err(Untimed::Absent) => (None, Some("absent")),
            Err(Untimed::NoDate(text)) => (None, Some(text.as_str())),
        };
        self.kind.push(PICTURE);
        self.path.push(p.path.clone());
        self.camera.push(Some(p.camera.clone()));
        self.original.push(None);
        self.clip.push(p.clip);
        self.bytes.push(i64::try_from(p.bytes).unwrap_or(i64::MAX));
        self.ends.push(p.fingerprint);
        self.shown_ms
            .push(shown.map(|t| t.shown().and_utc().timestamp_millis()));
        self.offset_s.push(
            stamp
                .and_then(|s| s.offset)
                .map(|o| i64::from(o.local_minus_utc())),
        );
        self.time_from.push(stamp.map(|s| s.origin.word()));
        self.untimed.push(untimed.map(str::to_owned));
    }

    fn other(&mut self, kind: &'static str, path: &str, original: Option<&String>) {
        self.kind.push(kind);
        self.path.push(path.to_owned());
        self.camera.push(None);
        self.original.push(original.cloned());
        self.clip.push(false);
        self.bytes.push(0);
        self.ends.push(0);
        self.shown_ms.push(None);
        self.offset_s.push(None);
        self.time_from.push(None);
        self.untimed.push(None);
    }

    fn into_table(self) -> Result<DataFrame> {
        Ok(df!(
            "kind" => self.kind,
            "path" => self.path,
            "camera" => self.camera,
            "original" => self.original,
            "clip" => self.clip,
            "bytes" => self.bytes,
            "ends" => self.ends,
            "shown_ms" => self.shown_ms,
            "offset_s" => self.offset_s,
            "time_from" => self.time_from,
            "untimed" => self.untimed,
        )?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    #[test]
    fn a_crawl_comes_back_as_it_was_kept() {
        let at = NaiveDate::from_ymd_opt(2024, 2, 29)
            .and_then(|d| d.and_hms_milli_opt(6, 30, 0, 250))
            .map(CameraTime::new)
            .unwrap();
        let stamp = Stamp {
            time: at,
            origin: TimeOrigin::Name,
            offset: FixedOffset::west_opt(5 * 3600),
        };
        let times = [
            Ok(stamp),
            Err(Untimed::TooEarly(at)),
            Err(Untimed::Future(at)),
            Err(Untimed::Zero),
            Err(Untimed::Damaged),
            Err(Untimed::Absent),
            Err(Untimed::NoDate("soon".to_owned())),
        ];
        let mut crawl = Crawl::default();
        let table = Crawl::default().keep().unwrap();
        assert!(Crawl::kept(&table).unwrap().pictures.is_empty());
        for (i, time) in times.iter().enumerate() {
            let path = format!("cards/A/{i}.jpg");
            crawl.pictures.push(Picture {
                clip: i == 3,
                ..Picture::plain(path, "A".to_owned(), 7, time.clone())
            });
        }
        crawl.duplicates = vec![("cards/A/x.jpg".to_owned(), "cards/A/0.jpg".to_owned())];
        crawl.side_files = vec!["cards/A/0.xmp".into()];
        let back = Crawl::kept(&crawl.keep().unwrap()).unwrap();
        assert_eq!(format!("{crawl:?}"), format!("{back:?}"));
    }
}
