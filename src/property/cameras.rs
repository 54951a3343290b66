//! `cameras.csv`: where each camera hung, from when to when, and how its clock is kept.

use std::path::Path;

use anyhow::Result;
use chrono::{Days, FixedOffset, NaiveDate};

use super::{Headings, Ledger, Position, Problem, Row, Settings, Sheet, parse_number, same_name};

pub(super) const FILE: &str = "cameras.csv";
pub(super) const HEADINGS: Headings = Headings {
    required: &["camera"],
    known: &[
        "camera",
        "latitude",
        "longitude",
        "setting",
        "from",
        "until",
        "clock",
        "folder",
    ],
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
    sheet.for_each(problems, |row, problems| {
        match placement(row, settings.position) {
            Ok(placement) => {
                problems.extend(overlap(&placements, &placement, row.line));
                placements.push(placement);
            }
            Err(problem) => problems.push(problem),
        }
    });
    Ok(placements)
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
    let day = |d: Option<NaiveDate>, open: &str| d.map_or(open.to_owned(), |d| d.to_string());
    Some(Problem::cell(
        FILE,
        line,
        "from",
        format!(
            "{} hangs at two places at once: another row of it goes from {} to {}. On days that both rows claim the first counts.",
            new.camera,
            day(other.from, "the beginning"),
            day(other.until, "the end"),
        ),
        match new
            .from
            .and_then(|from| from.checked_sub_days(Days::new(1)))
        {
            Some(before) => format!(
                "If it was moved on {}, end the other row with until {before}.",
                before + Days::new(1)
            ),
            None => "Give each row its from and until.".to_owned(),
        },
    ))
}

/// A place further from the property than this is a slip of the pen, in metres.
const FURTHEST_M: f64 = 100_000.0;

pub(super) fn placement(row: &Row, home: Position) -> Result<Placement, Problem> {
    let cell = |column: &str, what: String, remedy: &str| {
        Problem::cell(FILE, row.line, column, what, remedy)
    };
    let camera = row.some("camera").ok_or_else(|| {
        cell(
            "camera",
            "the camera has no name, so the row was left out.".into(),
            "Write the name of the camera's folder.",
        )
    })?;
    let from = date(row, "from")?;
    let until = date(row, "until")?;
    if let (Some(from), Some(until)) = (from, until)
        && until < from
    {
        return Err(cell(
            "until",
            format!("{until} is before from, {from}, so the row was left out."),
            "Put the later date under until.",
        ));
    }
    let place = position(row, FILE, home)?;
    Ok(Placement {
        camera: camera.to_owned(),
        position: place,
        setting: row.get("setting").to_owned(),
        from,
        until,
        clock: clock(row.get("clock")).ok_or_else(|| {
            cell(
                "clock",
                format!("\"{}\" is not a way to keep a clock, so the row was left out.", row.get("clock")),
                "Use local (reset for daylight time), standard (never moved) or an offset such as -06:00.",
            )
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
    let (what, remedy) = match (place, swapped.filter(near)) {
        (_, Some(_)) => (
            format!(
                "latitude {latitude} and longitude {longitude} are swapped, so the row was left out."
            ),
            "Put the two the other way round: latitude is how far north.",
        ),
        (Some(place), None) => (
            format!(
                "the place would be {:.0} km from the property, so the row was left out.",
                place.distance_m(home) / 1000.0
            ),
            "Check both numbers and their signs: west and south are negative.",
        ),
        (None, None) => (
            format!("\"{latitude}\", \"{longitude}\" is not a place, so the row was left out."),
            "Use degrees, north and east positive, such as 43.10 and -90.70, or leave both empty.",
        ),
    };
    Err(Problem::cell(file, row.line, "latitude", what, remedy))
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
        assert!(
            problems[0].what.contains("two places at once"),
            "{problems:?}"
        );
        let (rows, problems) =
            read_back("camera,latitude,longitude\nA,-90.71,43.11\nB,43.11,-90.71\nC,43.1,90.7\n");
        assert_eq!(rows, 1);
        assert!(problems[0].what.contains("swapped"), "{problems:?}");
        assert!(problems[1].what.contains("km from"), "{problems:?}");
    }

    #[test]
    fn clock_words() {
        assert_eq!(clock(""), Some(ClockSetting::Local));
        assert_eq!(clock("Standard"), Some(ClockSetting::Standard));
        assert_eq!(
            clock("-06:00"),
            FixedOffset::west_opt(6 * 3600).map(ClockSetting::Offset)
        );
        assert_eq!(clock("summer"), None);
    }
}
