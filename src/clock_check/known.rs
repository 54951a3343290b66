//! A moment that is known for certain: a picture of a watch.

use anyhow::{Result, bail, ensure};
use chrono::{NaiveDateTime, TimeDelta};

use super::fault::{ClockRow, Fault, Finding, duration};
use super::minutes_between;
use crate::card::{CameraTime, Crawl, Picture};
use crate::clock::{Clocks, LocalTime};
use crate::property::{Property, same_name};

/// A picture and the true time in it, by the property's wall clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Anchor {
    /// The picture's name, or enough of its path.
    pub picture: String,
    /// What the watch shows.
    pub shows: NaiveDateTime,
}

/// What a clock is off by when pictures show the true time. The finding covers the pictures of the
/// same camera that its clock numbers without a jump around them; with two moments the minutes grow from
/// the first to the second, and `set_right` is when the owner put the clock right, if that is known.
///
/// A picture without a time lends its file's date to itself and to the pictures around it.
///
/// # Errors
/// When no picture, or more than one, has that name, when the moments are of several cameras, or when
/// the clock is right already.
pub fn known_moment(
    property: &Property,
    crawl: &Crawl,
    anchors: &[Anchor],
    set_right: Option<NaiveDateTime>,
) -> Result<Finding> {
    let mut found: Vec<(&Picture, &Anchor)> = Vec::new();
    for anchor in anchors {
        found.push((named(property, crawl, &anchor.picture)?, anchor));
    }
    let Some(&(first, _)) = found.first() else {
        bail!("no picture was named.");
    };
    ensure!(
        found.iter().all(|(p, _)| same_name(&p.camera, &first.camera)),
        "the pictures are of several cameras. Give one camera's at a time."
    );
    let of_file_date = found.iter().all(|(p, _)| p.shown_time().is_none());
    let moment = |p: &Picture| match of_file_date {
        true => p.written_on,
        false => p.shown_time(),
    };
    let mut known: Vec<(NaiveDateTime, f64)> = Vec::new();
    for (picture, anchor) in &found {
        let Some(shown) = moment(picture) else {
            bail!(
                "{} carries no time, and neither does its file, so it cannot be set against {}.",
                picture.path,
                anchor.shows
            );
        };
        known.push((shown.shown(), behind(property, picture, shown, anchor.shows, of_file_date)));
    }
    known.sort_by_key(|k| k.0);
    let (from, until, pictures) = stretch(crawl, first, &known, moment, set_right);
    let row = row(&known, from, until);
    let most = row.shift_min.abs().max(row.until_shift_min.map_or(0.0, f64::abs));
    if most < 1.0 && !of_file_date {
        bail!(
            "{} shows {}, and so does its clock as it is read without any row of clocks.csv: it is right. Nothing is to be corrected.",
            first.path,
            anchors[0].shows
        );
    }
    Ok(Finding {
        camera: first.camera.to_string(),
        from,
        until,
        fault: Fault::Known,
        shift_min: row.shift_min,
        low_min: row.shift_min.min(row.until_shift_min.unwrap_or(row.shift_min)),
        high_min: row.shift_min.max(row.until_shift_min.unwrap_or(row.shift_min)),
        pictures,
        evidence: evidence(&found, &known, of_file_date),
        doubt: None,
        corrected: false,
        setting: None,
        rows: vec![row],
        of_file_date,
    })
}

fn named<'a>(property: &Property, crawl: &'a Crawl, name: &str) -> Result<&'a Picture> {
    let name = name.replace('\\', "/");
    // An absolute path, or one from where the person stands.
    let real = std::path::Path::new(&name).canonicalize().ok();
    let below = real.and_then(|real| {
        let root = property.root.canonicalize().ok()?;
        Some(crate::card::shown(real.strip_prefix(root).ok()?))
    });
    let is_it = |p: &&Picture| {
        p.path == name || Some(&p.path) == below.as_ref() || p.path.ends_with(&format!("/{name}"))
    };
    let named: Vec<&Picture> = crawl.pictures.iter().filter(is_it).collect();
    match named[..] {
        [picture] => Ok(picture),
        [] => bail!(
            "no picture is called \"{name}\". Write its path below the property, such as cards/Oak/IMG_0001.JPG."
        ),
        _ => bail!(
            "{} pictures are called \"{name}\". Write its path below the property, such as cards/Oak/IMG_0001.JPG.",
            named.len()
        ),
    }
}

/// Minutes by which a clock is behind the truth, as it is read without corrections. The known moment is
/// the wall clock's, the camera may be kept otherwise.
fn behind(
    property: &Property,
    picture: &Picture,
    shown: CameraTime,
    truth: NaiveDateTime,
    of_file_date: bool,
) -> f64 {
    if of_file_date {
        return minutes_between(shown.shown(), truth);
    }
    let offset = picture.time.as_ref().ok().and_then(|s| s.offset);
    let read = Clocks::of(property).of_camera(&picture.camera).uncorrected(shown, offset);
    let truth = LocalTime::of_wall_clock(truth, property.settings.time_zone);
    truth.minutes_since(read.utc())
}

/// The pictures around the known ones that the clock dates without a jump: first, last, how many.
fn stretch(
    crawl: &Crawl,
    first: &Picture,
    known: &[(NaiveDateTime, f64)],
    moment: impl Fn(&Picture) -> Option<CameraTime>,
    set_right: Option<NaiveDateTime>,
) -> (NaiveDateTime, NaiveDateTime, usize) {
    let of_camera = crawl.pictures.iter().filter(|p| same_name(&p.camera, &first.camera));
    let mut times: Vec<NaiveDateTime> = of_camera
        .filter_map(|p| Some(moment(p)?.shown()))
        .filter(|t| set_right.is_none_or(|s| *t < s))
        .collect();
    times.sort_unstable();
    // A clock that was set anew leaves a gap or a jump; within 30 days it is one clock.
    let near = |a: &NaiveDateTime, b: &NaiveDateTime| *b - *a <= TimeDelta::days(30);
    let holds = |c: &&[NaiveDateTime]| known.iter().any(|(t, _)| c.contains(t));
    let parts: Vec<&[NaiveDateTime]> = times.chunk_by(near).filter(holds).collect();
    let (earliest, latest) = (known[0].0, known[known.len() - 1].0);
    let from = parts.first().and_then(|c| c.first()).copied().unwrap_or(earliest);
    let until = parts.last().and_then(|c| c.last()).copied().unwrap_or(latest);
    let until = set_right.map_or(until, |s| s - TimeDelta::seconds(1)).max(from);
    (from.min(earliest), until.max(latest), parts.iter().map(|c| c.len()).sum())
}

/// One number of minutes, or with two moments that differ a line through the first and the last.
fn row(known: &[(NaiveDateTime, f64)], from: NaiveDateTime, until: NaiveDateTime) -> ClockRow {
    let ((t0, m0), (t1, m1)) = (known[0], known[known.len() - 1]);
    let between = minutes_between(t0, t1);
    if between < 1.0 || (m1 - m0).abs() < 1.0 {
        return ClockRow { from, until, shift_min: m0, until_shift_min: None };
    }
    let at = |t: NaiveDateTime| m0 + (m1 - m0) * minutes_between(t0, t) / between;
    ClockRow { from, until, shift_min: at(from), until_shift_min: Some(at(until)) }
}

fn evidence(
    found: &[(&Picture, &Anchor)],
    known: &[(NaiveDateTime, f64)],
    of_file_date: bool,
) -> String {
    let clock = if of_file_date { "its file's date is" } else { "its clock is" };
    let one = |(picture, anchor): &(&Picture, &Anchor)| {
        format!("{} shows {}", picture.path, anchor.shows)
    };
    let said: Vec<String> = found.iter().map(one).collect();
    let minutes = known[0].1;
    let way = if minutes < 0.0 { "ahead" } else { "behind" };
    format!("{}, and {clock} {} {way}", said.join(" and "), duration(minutes))
}
