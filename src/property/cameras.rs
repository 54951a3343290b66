//! `cameras.csv`: where each camera hung, from when to when, and how its clock is kept.

use std::path::Path;

use anyhow::Result;
use chrono::{FixedOffset, NaiveDate};

use super::{
    Cause, Headings, Ledger, Position, Problem, Row, Settings, Sheet, parse_number, same_name,
};

pub(super) const FILE: &str = "cameras.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["camera"],
    known: &["camera", "latitude", "longitude", "setting", "from", "until", "clock", "folder"],
};

/// How a camera's clock is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ClockSetting {
    /// The owner resets it for daylight time.
    #[default]
    Local,
    /// It always shows the zone's standard time.
    Standard,
    /// It always shows one offset from UTC.
    Offset(FixedOffset),
}

/// One row of `cameras.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// The camera's name.
    pub camera: String,
    /// Where it hung.
    pub position: Option<Position>,
    /// What it looked at: a plot, a scrape, a trail.
    pub setting: String,
    /// First date on which it hung there.
    pub from: Option<NaiveDate>,
    /// Last date on which it hung there.
    pub until: Option<NaiveDate>,
    /// How its clock is kept.
    pub clock: ClockSetting,
    /// The folder its pictures are in, where that is not the camera's name.
    pub folder: Option<String>,
}

impl ClockSetting {
    /// The word in `cameras.csv`.
    pub fn word(self) -> String {
        match self {
            Self::Local => "local".to_owned(),
            Self::Standard => "standard".to_owned(),
            Self::Offset(offset) => offset.to_string(),
        }
    }
}

impl Placement {
    /// A camera of which only the way its clock is kept is known.
    pub fn anywhere(camera: &str, clock: ClockSetting) -> Self {
        Self {
            camera: camera.to_owned(),
            position: None,
            setting: String::new(),
            from: None,
            until: None,
            clock,
            folder: None,
        }
    }

    /// Whether a date is within the placement; an open end includes everything.
    pub fn covers(&self, date: NaiveDate) -> bool {
        self.days_away(date) == 0
    }

    /// Days from a date to the nearest one within the placement; 0 within it.
    pub fn days_away(&self, date: NaiveDate) -> i64 {
        let before = self.from.map_or(0, |f| (f - date).num_days());
        let after = self.until.map_or(0, |u| (date - u).num_days());
        before.max(after).max(0)
    }
}

pub(super) fn read(
    root: &Path,
    settings: &Settings,
    problems: &mut Vec<Problem>,
) -> Result<Vec<Placement>> {
    let mut placements: Vec<Placement> = Vec::new();
    let Some(sheet) = Sheet::read(root, FILE, &HEADINGS, problems)? else {
        return Ok(placements);
    };
    let sheet = sheet.with_order(settings.date_order);
    sheet.for_each(problems, |row, problems| match placement(row, settings.position) {
        Ok(placement) => {
            problems.extend(overlap(&placements, &placement, row.line));
            placements.push(placement);
        }
        Err(problem) => problems.push(problem),
    });
    Ok(in_order_of_time(placements))
}

/// Cameras as the table lists them, and each camera's rows by the day on which it was hung there.
fn in_order_of_time(placements: Vec<Placement>) -> Vec<Placement> {
    let mut cameras: Vec<Vec<Placement>> = Vec::new();
    for placement in placements {
        match cameras.iter_mut().find(|rows| same_name(&rows[0].camera, &placement.camera)) {
            Some(rows) => rows.push(placement),
            None => cameras.push(vec![placement]),
        }
    }
    for rows in &mut cameras {
        rows.sort_by_key(|p| p.from);
    }
    cameras.into_iter().flatten().collect()
}

/// Writes under `clock` in every row of a camera how its clock is kept, or adds a row where it has none.
/// Everything else stays byte for byte. Returns how many rows say so now.
///
/// # Errors
/// When the file cannot be read or written.
pub fn set_clock(root: &Path, camera: &str, clock: ClockSetting) -> Result<usize> {
    let mut ledger = Ledger::open(root, FILE, &HEADINGS)?;
    let cells = [("clock", clock.word())];
    let mut changes = Vec::new();
    ledger.for_each(&mut Vec::new(), |row, _| {
        if same_name(row.get("camera"), camera) {
            let text = ledger.row(row.span.clone());
            changes.push((row.span.clone(), ledger.changed_line(text, &cells)));
        }
    });
    if changes.is_empty() {
        let line = ledger.line(&[("camera", camera.to_owned()), ("clock", clock.word())]);
        ledger.append(&line)?;
        return Ok(1);
    }
    ledger.replace(&changes, "")?;
    Ok(changes.len())
}

/// A camera cannot hang at two places at once. On the day of a move both rows may stand.
fn overlap(before: &[Placement], new: &Placement, line: u64) -> Option<Problem> {
    let ends_after = |p: &Placement, other: &Placement| {
        let until = p.until.unwrap_or(NaiveDate::MAX);
        other.from.is_none_or(|from| from < until)
    };
    let other = before.iter().find(|p| {
        same_name(&p.camera, &new.camera) && **p != *new && ends_after(p, new) && ends_after(new, p)
    })?;
    Some(Problem::cell(
        FILE,
        line,
        "from",
        Cause::TwoPlaces {
            camera: new.camera.clone(),
            from: other.from,
            until: other.until,
            moved: new.from,
        },
    ))
}

/// A place further from the property than this is a slip of the pen, in metres.
const FURTHEST_M: f64 = 100_000.0;

pub(super) fn placement(row: &Row, home: Position) -> Result<Placement, Problem> {
    let cell = |column: &str, cause: Cause| Problem::cell(FILE, row.line, column, cause);
    let camera = row.some("camera").ok_or_else(|| cell("camera", Cause::PlacementWithoutCamera))?;
    let from = date(row, "from")?;
    let until = date(row, "until")?;
    if let (Some(from), Some(until)) = (from, until)
        && until < from
    {
        return Err(cell("until", Cause::UntilBeforeFrom { from, until }));
    }
    let place = position(row, FILE, home)?;
    Ok(Placement {
        camera: camera.to_owned(),
        position: place,
        setting: row.get("setting").to_owned(),
        from,
        until,
        clock: clock(row.get("clock")).ok_or_else(|| {
            let text = row.get("clock").to_owned();
            cell("clock", Cause::UnknownClockSetting { text })
        })?,
        folder: row.some("folder").map(str::to_owned),
    })
}

/// A date cell; empty is `None`.
pub(super) fn date(row: &Row, column: &str) -> Result<Option<NaiveDate>, Problem> {
    let found = row.date(column, "Write year-month-day, such as 2025-10-18.")?;
    Ok(found.map(|(date, _)| date))
}

/// The latitude and longitude cells; both empty is `None`. A place further than [`FURTHEST_M`] from the
/// property is a slip of the pen.
pub(super) fn position(row: &Row, file: &str, home: Position) -> Result<Option<Position>, Problem> {
    let (latitude, longitude) = (row.get("latitude"), row.get("longitude"));
    if latitude.is_empty() && longitude.is_empty() {
        return Ok(None);
    }
    let near = |p: &Position| p.distance_m(home) <= FURTHEST_M;
    let (lat, lon) = (parse_number(latitude), parse_number(longitude));
    let place = lat.zip(lon).and_then(|(lat, lon)| Position::new(lat, lon));
    if place.is_some_and(|p| near(&p)) {
        return Ok(place);
    }
    let swapped = lat.zip(lon).and_then(|(lat, lon)| Position::new(lon, lat));
    let (latitude, longitude) = (latitude.to_owned(), longitude.to_owned());
    let cause = match (place, swapped.filter(near)) {
        (_, Some(_)) => Cause::SwappedPlace { latitude, longitude },
        (Some(place), None) => {
            Cause::FarPlace { km: format!("{:.0}", place.distance_m(home) / 1000.0) }
        }
        (None, None) => Cause::NoPlace { latitude, longitude },
    };
    Err(Problem::cell(file, row.line, "latitude", cause))
}

fn clock(text: &str) -> Option<ClockSetting> {
    match text.to_lowercase().as_str() {
        "" | "local" => Some(ClockSetting::Local),
        "standard" => Some(ClockSetting::Standard),
        offset => offset.parse().ok().map(ClockSetting::Offset),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_back(table: &str) -> (usize, Vec<Problem>) {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(FILE), table).unwrap();
        let four = "name='x'\nlatitude=43.1\nlongitude=-90.7\ntime_zone='America/Chicago'\n";
        std::fs::write(folder.path().join("property.toml"), four).unwrap();
        let settings = Settings::read(folder.path()).unwrap();
        let mut problems = Vec::new();
        let placements = read(folder.path(), &settings, &mut problems).unwrap();
        (placements.len(), problems)
    }

    #[test]
    fn a_camera_at_two_places_and_swapped_numbers_are_told() {
        let (rows, problems) = read_back(
            "camera,from,until\nOak,2025-09-01,2025-10-01\nOak,2025-10-01,2025-11-01\nElm,,\n",
        );
        assert_eq!((rows, problems.len()), (3, 0), "{problems:?}");
        let (rows, problems) =
            read_back("camera,from,until\nOak,2025-09-01,\noak,2025-10-01,2025-11-01\n");
        assert_eq!(rows, 2);
        assert!(problems[0].what().contains("two places at once"), "{problems:?}");
        let (rows, problems) =
            read_back("camera,latitude,longitude\nA,-90.71,43.11\nB,43.11,-90.71\nC,43.1,90.7\n");
        assert_eq!(rows, 1);
        assert!(problems[0].what().contains("swapped"), "{problems:?}");
        assert!(problems[1].what().contains("km from"), "{problems:?}");
    }

    #[test]
    fn clock_words() {
        assert_eq!(clock(""), Some(ClockSetting::Local));
        assert_eq!(clock("Standard"), Some(ClockSetting::Standard));
        assert_eq!(clock("-06:00"), FixedOffset::west_opt(6 * 3600).map(ClockSetting::Offset));
        assert_eq!(clock("summer"), None);
    }
}
