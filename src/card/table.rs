//! Pictures as a table: one row a picture, one column a fact.

use anyhow::Result;
use polars::prelude::*;

use super::{Picture, Stamp};

/// Columns: `path`, `camera`, `bytes`, `camera_time` (by the camera's own clock, ISO 8601
/// without a zone), `offset_s` (seconds east of UTC, where the camera wrote it), `time_from`,
/// `make`, `model`, `serial`, `label`.
pub(super) fn pictures(pictures: &[Picture]) -> Result<DataFrame> {
    let stamp = |p: &Picture| p.time.as_ref().ok().copied();
    let column = |name: &str, of: fn(&Picture) -> Option<&str>| {
        let values: StringChunked = pictures.iter().map(of).collect();
        values.with_name(name.into()).into_column()
    };
    let number = |name: &str, of: &dyn Fn(&Picture) -> Option<i64>| {
        let values: Int64Chunked = pictures.iter().map(of).collect();
        values.with_name(name.into()).into_column()
    };
    let shown = |s: Stamp| s.time.shown().format("%FT%T%.f").to_string();
    let times: StringChunked = pictures.iter().map(|p| stamp(p).map(shown)).collect();
    let offset_s = |s: Stamp| s.offset.map(|o| i64::from(o.local_minus_utc()));
    Ok(DataFrame::new(
        pictures.len(),
        vec![
            column("path", |p| Some(&p.path)),
            column("camera", |p| Some(&p.camera)),
            number("bytes", &|p| i64::try_from(p.bytes).ok()),
            times.with_name("camera_time".into()).into_column(),
            number("offset_s", &|p| stamp(p).and_then(offset_s)),
            column("time_from", |p| p.time.as_ref().ok().map(|s| s.origin.word())),
            column("make", |p| p.body.make.as_deref()),
            column("model", |p| p.body.model.as_deref()),
            column("serial", |p| p.body.serial.as_deref()),
            column("label", |p| p.body.label.as_deref()),
        ],
    )?)
}
