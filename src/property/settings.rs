//! `property.toml`: where the property lies and how the person wants things counted.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context, Result, bail, ensure};
use chrono::{Offset, TimeZone};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::weather::WeatherTable;
use super::{DateOrder, text};

/// A place on the WGS 84 ellipsoid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
}

impl Position {
    /// A position, if both numbers are on the globe.
    pub fn new(latitude_deg: f64, longitude_deg: f64) -> Option<Self> {
        (latitude_deg.abs() <= 90.0 && longitude_deg.abs() <= 180.0)
            .then_some(Self { latitude_deg, longitude_deg })
    }

    /// Metres east and north of an origin, on a plane: for places close together.
    pub fn metres_from(self, origin: Self) -> (f64, f64) {
        let east = Self { latitude_deg: origin.latitude_deg, ..self };
        let north = Self { longitude_deg: origin.longitude_deg, ..self };
        let sign = |d: f64| if d < 0.0 { -1.0 } else { 1.0 };
        (
            sign(self.longitude_deg - origin.longitude_deg) * origin.distance_m(east),
            sign(self.latitude_deg - origin.latitude_deg) * origin.distance_m(north),
        )
    }

    /// Great-circle distance in metres on a sphere of 6,371 km (haversine formula).
    pub fn distance_m(self, other: Self) -> f64 {
        let (lat1, lat2) = (self.latitude_deg.to_radians(), other.latitude_deg.to_radians());
        let half_lat = (lat2 - lat1) / 2.0;
        let half_lon = (other.longitude_deg - self.longitude_deg).to_radians() / 2.0;
        let h = half_lat.sin().powi(2) + lat1.cos() * lat2.cos() * half_lon.sin().powi(2);
        2.0 * 6_371_000.0 * h.sqrt().min(1.0).asin()
    }
}

/// A day of every year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct DayOfYear {
    /// 1 to 12.
    pub month: u32,
    /// A day that the month has in every year.
    pub day: u32,
}

impl DayOfYear {
    /// Reads `06-01`, which `setting` holds.
    fn parse(setting: &str, text: &str) -> Result<Self> {
        let read = || {
            let (month, day) = text.split_once('-')?;
            let (month, day) = (month.parse().ok()?, day.parse().ok()?);
            // A year without a leap day: a start must be a day of every year.
            chrono::NaiveDate::from_ymd_opt(2025, month, day)?;
            Some(Self { month, day })
        };
        read().with_context(|| {
            format!(
                "{setting} = \"{text}\" is not a day of every year. Write month and day without the year, \"06-01\" for 1 June."
            )
        })
    }
}

/// Which visits the daylight share counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ShareOf {
    /// Visits in legal light.
    Legal,
    /// Visits between sunrise and sunset.
    Daylight,
}

/// What `property.toml` says.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The property's name, as it is printed.
    pub name: String,
    /// The middle of the property.
    pub position: Position,
    /// The zone of the clock on the wall.
    pub time_zone: Tz,
    /// Minutes before sunrise at which legal light begins.
    pub legal_before_sunrise_min: f64,
    /// Minutes after sunset at which legal light ends.
    pub legal_after_sunset_min: f64,
    /// Whether the daylight share counts legal light or plain daylight.
    pub share_of: ShareOf,
    /// A buck of this age in years, or older, is mature.
    pub mature_age: f64,
    /// A longer silence than this, in minutes, ends a visit.
    pub gap_min: f64,
    /// Days compared on either side of a disturbance; `None` where they are chosen from the days before it.
    pub shift_days: Option<u32>,
    /// A camera within this many metres of a disturbance is near it, where no list says otherwise.
    pub near_m: f64,
    /// When a season begins.
    pub year_start: DayOfYear,
    /// Whether day or month comes first in a date such as 10/11/2025, where no other date tells.
    pub date_order: Option<DateOrder>,
    /// A table of tags that another program wrote.
    pub tag_table: Option<TagTable>,
    /// A table of weather with columns and units of its own.
    pub weather: Option<WeatherTable>,
    /// The parts that a season falls into; none where months are taken.
    pub parts: Vec<SeasonPart>,
    /// First and last day of the survey that the herd is counted over; both are in the count.
    pub survey: Option<(DayOfYear, DayOfYear)>,
}

/// A part of the season with a name of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeasonPart {
    /// Its name.
    pub name: String,
    /// The day on which it begins; it lasts until the next one does.
    pub from: DayOfYear,
}

/// A table of tags with column names of its own.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TagTable {
    /// The file's name, in the property's folder.
    pub file: String,
    /// Its column that names the picture.
    pub picture: String,
    /// Its column that says who; `keywords.csv` says what its words mean.
    pub who: String,
    /// Its column of how many.
    pub count: Option<String>,
    /// Its column of ages, in years.
    pub age: Option<String>,
    /// Its column of known individuals.
    pub name: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    name: String,
    latitude: f64,
    longitude: f64,
    time_zone: String,
    date_order: Option<DateOrder>,
    #[serde(default)]
    light: Light,
    #[serde(default)]
    deer: Deer,
    #[serde(default)]
    visits: Visits,
    #[serde(default)]
    shift: Shift,
    #[serde(default)]
    season: SeasonStart,
    #[serde(default)]
    herd: Herd,
    weather: Option<WeatherTable>,
    tags: Option<TagTable>,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct Herd {
    survey_from: Option<String>,
    survey_until: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Light {
    legal_before_sunrise_min: f64,
    legal_after_sunset_min: f64,
    share_of: ShareOf,
}

impl Default for Light {
    fn default() -> Self {
        Self {
            legal_before_sunrise_min: 30.0,
            legal_after_sunset_min: 30.0,
            share_of: ShareOf::Legal,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Deer {
    mature_age: f64,
}

impl Default for Deer {
    fn default() -> Self {
        Self { mature_age: 3.5 }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Visits {
    gap_min: f64,
}

impl Default for Visits {
    fn default() -> Self {
        Self { gap_min: 30.0 }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Shift {
    days: Option<u32>,
    near_m: f64,
}

impl Default for Shift {
    fn default() -> Self {
        Self { days: None, near_m: 250.0 }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct SeasonStart {
    starts: String,
    parts: BTreeMap<String, String>,
}

impl Default for SeasonStart {
    fn default() -> Self {
        Self { starts: "06-01".to_owned(), parts: BTreeMap::new() }
    }
}

const EXAMPLE: &str = "It needs at least these four lines:\n\
    \x20   name = \"My place\"\n\
    \x20   latitude = 43.10\n\
    \x20   longitude = -90.70\n\
    \x20   time_zone = \"America/Chicago\"";

impl Settings {
    /// A longer silence than this ends a visit.
    pub fn gap(&self) -> chrono::TimeDelta {
        chrono::TimeDelta::milliseconds((self.gap_min * 60_000.0) as i64)
    }

    /// Reads `property.toml` in `root`.
    ///
    /// # Errors
    /// When the file is missing, is not TOML, has an unknown setting (a misspelt one must not be
    /// silently ignored) or a value that cannot be.
    pub fn read(root: &Path) -> Result<Self> {
        ensure!(
            root.is_dir(),
            "{} is not a folder. Give the folder of a property, the one with property.toml in it.",
            root.display()
        );
        let path = root.join("property.toml");
        let bytes = match std::fs::read(&path) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                bail!("there is no property.toml in {}. {EXAMPLE}", root.display())
            }
            Err(e) => return Err(e).with_context(|| format!("cannot read {}", path.display())),
        };
        Self::parse(&text::decode(&bytes).text).with_context(|| format!("in {}", path.display()))
    }

    /// Reads the text of a `property.toml`.
    ///
    /// # Errors
    /// As [`Settings::read`].
    pub fn parse(text: &str) -> Result<Self> {
        let file: File = toml::from_str(text).map_err(|e| plainly(text, &e))?;
        let settings = Self {
            position: Position::new(file.latitude, file.longitude).with_context(|| {
                off_the_globe(file.latitude, file.longitude)
            })?,
            time_zone: file.time_zone.parse().map_err(|_| {
                anyhow::anyhow!(
                    "time_zone \"{}\" is not known. Use a name from the IANA time zone database, such as \"America/Chicago\".",
                    file.time_zone
                )
            })?,
            name: file.name,
            legal_before_sunrise_min: file.light.legal_before_sunrise_min,
            legal_after_sunset_min: file.light.legal_after_sunset_min,
            share_of: file.light.share_of,
            mature_age: file.deer.mature_age,
            gap_min: file.visits.gap_min,
            shift_days: file.shift.days,
            near_m: file.shift.near_m,
            year_start: DayOfYear::parse("[season] starts", &file.season.starts)?,
            parts: parts(&file.season)?,
            survey: survey(&file.herd)?,
            weather: file.weather,
            date_order: file.date_order,
            tag_table: file.tags,
        };
        settings.check()?;
        Ok(settings)
    }

    fn check(&self) -> Result<()> {
        self.check_longitude()?;
        if let Some(table) = &self.tag_table {
            ensure!(
                !table.file.contains(['/', '\\']) && table.file != "tags.csv",
                "[tags] file is \"{}\"; it must be the name of a table in the property's folder, other than tags.csv.",
                table.file
            );
        }
        if let Some(table) = &self.weather {
            ensure!(
                !table.file.contains(['/', '\\']),
                "[weather] file is \"{}\"; it must be the name of a table in the property's folder.",
                table.file
            );
        }
        let within = |name: &str, value: f64, low: f64, high: f64| {
            ensure!(
                (low..=high).contains(&value),
                "{name} is {value}; it must be from {low} to {high}."
            );
            Ok(())
        };
        within("legal_before_sunrise_min", self.legal_before_sunrise_min, 0.0, 120.0)?;
        within("legal_after_sunset_min", self.legal_after_sunset_min, 0.0, 120.0)?;
        within("mature_age", self.mature_age, 0.5, 15.0)?;
        within("gap_min", self.gap_min, 1.0, 1440.0)?;
        if let Some(days) = self.shift_days {
            within("days", f64::from(days), 3.0, 180.0)?;
        }
        within("near_m", self.near_m, 1.0, 20_000.0)
    }

    /// The sun's noon is within a few hours of the clock's everywhere on earth; a longitude without
    /// its minus sign is not.
    fn check_longitude(&self) -> Result<()> {
        let winter = chrono::NaiveDate::from_ymd_opt(2025, 1, 15)
            .and_then(|d| d.and_hms_opt(12, 0, 0))
            .unwrap_or_default();
        let offset = self.time_zone.offset_from_utc_datetime(&winter).fix();
        let zone_h = f64::from(offset.local_minus_utc()) / 3600.0;
        let sun_h = self.position.longitude_deg / 15.0;
        let apart_h = (zone_h - sun_h + 12.0).rem_euclid(24.0) - 12.0;
        let hours_apart = |longitude_deg: f64| {
            ((zone_h - longitude_deg / 15.0 + 12.0).rem_euclid(24.0) - 12.0).abs()
        };
        let swapped = Position::new(self.position.longitude_deg, self.position.latitude_deg);
        ensure!(
            apart_h.abs() <= 3.5
                || swapped.is_none_or(|p| hours_apart(p.longitude_deg) > 3.5)
                || hours_apart(-self.position.longitude_deg) <= 3.5,
            "latitude {} and longitude {} do not lie in the time zone {}, and the other way round they do. Are they swapped? Latitude is how far north.",
            self.position.latitude_deg,
            self.position.longitude_deg,
            self.time_zone
        );
        ensure!(
            apart_h.abs() <= 3.5,
            "longitude {} does not lie in the time zone {}: the sun would be {:.0} hours off the clock. West is negative; is a minus sign missing?",
            self.position.longitude_deg,
            self.time_zone,
            apart_h.abs()
        );
        Ok(())
    }

    /// How the person would name the light that the daylight share counts.
    pub fn share_light(&self) -> &'static str {
        match self.share_of {
            ShareOf::Legal => "legal light",
            ShareOf::Daylight => "daylight",
        }
    }
}

/// The parts of the season, in the order in which they come.
fn parts(season: &SeasonStart) -> Result<Vec<SeasonPart>> {
    let start = DayOfYear::parse("[season] starts", &season.starts)?;
    let part = |(name, from): (&String, &String)| -> Result<SeasonPart> {
        let from = DayOfYear::parse(&format!("[season.parts] {name}"), from)?;
        let name = name.clone();
        Ok(SeasonPart { name, from })
    };
    let mut parts = season.parts.iter().map(part).collect::<Result<Vec<_>>>()?;
    let since = |day: DayOfYear| (day < start, day);
    parts.sort_by_key(|p| since(p.from));
    if let Some(twice) = parts.windows(2).find(|w| w[0].from == w[1].from) {
        bail!(
            "[season.parts] {} and {} begin on the same day. Give each a day of its own.",
            twice[0].name,
            twice[1].name
        );
    }
    Ok(parts)
}

fn survey(herd: &Herd) -> Result<Option<(DayOfYear, DayOfYear)>> {
    let day = |setting: &str, text: &Option<String>| {
        let text = text.as_ref();
        text.map(|t| DayOfYear::parse(setting, t)).transpose()
    };
    let from = day("[herd] survey_from", &herd.survey_from)?;
    let until = day("[herd] survey_until", &herd.survey_until)?;
    match (from, until) {
        (None, None) => Ok(None),
        (Some(from), Some(until)) => Ok(Some((from, until))),
        _ => bail!(
            "[herd] needs both survey_from and survey_until, such as \"08-15\" and \"09-05\"."
        ),
    }
}

/// What a place off the globe most often is: the two numbers swapped, or a point that a spreadsheet has
/// taken for a mark between thousands.
fn off_the_globe(latitude: f64, longitude: f64) -> String {
    let remedy = if Position::new(longitude, latitude).is_some() {
        "The other way round they would be; are they swapped? Latitude is how far north."
    } else {
        "Use degrees, north and east positive, such as 43.10 and -90.70."
    };
    format!("latitude {latitude} and longitude {longitude} are not on the globe. {remedy}")
}

/// What is wrong with property.toml, in words for somebody who has never heard of TOML.
fn plainly(text: &str, error: &toml::de::Error) -> anyhow::Error {
    let at = error.span().map_or(0, |s| s.start.min(text.len()));
    let line = text.get(..at).unwrap_or(text).matches('\n').count() + 1;
    let written = text.lines().nth(line - 1).unwrap_or("").trim();
    let value = written.split_once('=').map_or("", |(_, v)| v.trim());
    let is_number = |v: &str| !v.is_empty() && v.chars().all(|c| "+-0123456789.,".contains(c));
    let message = error.message();
    let what = if written.contains(['\u{201c}', '\u{201d}', '\u{201e}', '\u{2018}', '\u{2019}']) {
        "it has curly quotation marks, as word processors make them. Write straight ones: \""
            .to_owned()
    } else if value.contains(['\u{2212}', '\u{2013}']) {
        format!(
            "the minus sign is not the one on the keyboard: {}",
            value.replace(['\u{2212}', '\u{2013}'], "-")
        )
    } else if is_number(value) && value.contains(',') {
        format!("a number is written with a point, not a comma: {}", value.replace(',', "."))
    } else if written.contains('=')
        && !value.is_empty()
        && !value.starts_with(['"', '\'', '[', '{'])
        && !is_number(value)
    {
        format!("words stand in quotation marks: \"{}\"", value.trim_matches('"'))
    } else if !written.contains('=') && !written.is_empty() && !written.starts_with(['[', '#']) {
        "a setting is a name, an equals sign and a value".to_owned()
    } else if message.contains("expected a string") {
        format!("{message}; text stands in quotation marks, a day of the year as \"09-01\"")
    } else {
        message.to_owned()
    };
    const NEEDED: [&str; 4] = ["`name`", "`latitude`", "`longitude`", "`time_zone`"];
    let field = message.strip_prefix("missing field ");
    match field {
        Some(field) if NEEDED.contains(&field) => {
            anyhow::anyhow!("there is no {field}.\n{EXAMPLE}")
        }
        Some(field) => anyhow::anyhow!("line {line}, \"{written}\": it needs a setting {field}."),
        None if written.starts_with('[') || text[..at].contains("\n[") => {
            anyhow::anyhow!("line {line}, \"{written}\": {what}")
        }
        None => anyhow::anyhow!("line {line}, \"{written}\": {what}\n{EXAMPLE}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FOUR: &str = "name='x'\nlatitude=43.1\nlongitude=-90.7\ntime_zone='America/Chicago'\n";

    #[test]
    fn defaults_are_the_documented_ones() {
        let s = Settings::parse(FOUR).unwrap();
        assert_eq!(
            (s.legal_before_sunrise_min, s.legal_after_sunset_min, s.mature_age),
            (30.0, 30.0, 3.5)
        );
        assert_eq!((s.gap_min, s.shift_days), (30.0, None));
    }

    #[test]
    fn a_misspelt_setting_is_an_error_with_its_line() {
        let e = Settings::parse(&format!("{FOUR}[light]\nlegal_after_sunst_min = 20\n"))
            .unwrap_err()
            .to_string();
        assert!(e.contains("line 6") && e.contains("legal_after_sunst_min"), "{e}");
    }

    #[test]
    fn mistakes_are_told_in_plain_words() {
        for (text, wanted) in [
            (FOUR.replace("'x'", "\u{201c}x\u{201d}"), "curly quotation marks"),
            (FOUR.replace("43.1", "43,1"), "a point, not a comma: 43.1"),
            (FOUR.replace("'x'", "My place"), "words stand in quotation marks: \"My place\""),
            (FOUR.replace("name='x'\n", ""), "there is no `name`"),
            (FOUR.replace("43.1", "-90.7").replace("longitude=-90.7", "longitude=43.1"), "swapped"),
            (FOUR.replace("43.1", "-98.7").replace("longitude=-90.7", "longitude=29.1"), "swapped"),
            (format!("{FOUR}date_order = \"year first\"\n"), "line 5"),
        ] {
            let e = Settings::parse(&text).unwrap_err().to_string();
            assert!(e.contains(wanted), "{wanted}: {e}");
        }
        let order = Settings::parse(&format!("{FOUR}date_order = \"day first\"\n"));
        assert_eq!(order.unwrap().date_order, Some(DateOrder::DayFirst));
    }

    #[test]
    fn places_off_the_globe_and_unknown_zones_are_errors() {
        assert!(Settings::parse(&FOUR.replace("43.1", "143.1")).is_err());
        assert!(Settings::parse(&FOUR.replace("-90.7", "90.7")).is_err());
        assert!(Settings::parse(&FOUR.replace("America/Chicago", "Mars/Base")).is_err());
        assert!(Settings::parse(&format!("{FOUR}[visits]\ngap_min = 0\n")).is_err());
    }

    /// One degree of latitude is a 360th of the circumference of the sphere.
    #[test]
    fn distance_of_a_degree() {
        let a = Position::new(40.0, -90.0).unwrap();
        let b = Position::new(41.0, -90.0).unwrap();
        let degree_m = 2.0 * std::f64::consts::PI * 6_371_000.0 / 360.0;
        assert!((a.distance_m(b) - degree_m).abs() < 1e-6);
    }
}
