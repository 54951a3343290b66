//! The tables of a package: their fields, types and constraints, stated once for writing and for reading.
//!
//! `deployments`, `media` and `observations` are those of the camera-trap data package of Biodiversity
//! Information Standards (TDWG), 1.0.2; types and constraints are written down as Table Schema says
//! (Frictionless Data, "Table Schema", 1.0). The other tables are this program's own.

use chrono::{DateTime, Datelike, FixedOffset};
use serde_json::{Map, Value, json};

/// What cells of a field hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    Text,
    Number,
    Integer,
    Boolean,
    /// Date and time of day with their distance from UTC.
    Moment,
    Date,
    Any,
}

impl Sort {
    fn word(self) -> &'static str {
        match self {
            Self::Text => "string",
            Self::Number => "number",
            Self::Integer => "integer",
            Self::Boolean => "boolean",
            Self::Moment => "datetime",
            Self::Date => "date",
            Self::Any => "any",
        }
    }
}

/// How a text must look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pattern {
    Path,
    MediaType,
}

impl Pattern {
    /// As a regular expression.
    fn text(self) -> &'static str {
        match self {
            Self::Path => r"^(?=^[^./~])(^((?!\.{2}).)*$).*$",
            Self::MediaType => "^(image|video|audio)/.*$",
        }
    }

    fn fits(self, cell: &str) -> bool {
        match self {
            Self::Path => !cell.starts_with(['.', '/', '~']) && !cell.contains(".."),
            Self::MediaType => ["image/", "video/", "audio/"].iter().any(|t| cell.starts_with(t)),
        }
    }

    fn unfit(self) -> &'static str {
        match self {
            Self::Path => {
                "is no path within the package: it must not begin with . / or ~, nor hold .."
            }
            Self::MediaType => "is no media type such as image/jpeg",
        }
    }
}

/// A column.
#[derive(Debug, Clone, Copy)]
pub(super) struct Field {
    pub name: &'static str,
    sort: Sort,
    pub is_required: bool,
    is_unique: bool,
    range: (Option<f64>, Option<f64>),
    one_of: &'static [&'static str],
    pattern: Option<Pattern>,
    says: &'static str,
}

const fn field(name: &'static str, sort: Sort, says: &'static str) -> Field {
    Field {
        name,
        sort,
        is_required: false,
        is_unique: false,
        range: (None, None),
        one_of: &[],
        pattern: None,
        says,
    }
}

const fn text(name: &'static str, says: &'static str) -> Field {
    field(name, Sort::Text, says)
}

impl Field {
    const fn required(self) -> Self {
        Self { is_required: true, ..self }
    }

    const fn unique(self) -> Self {
        Self { is_required: true, is_unique: true, ..self }
    }

    const fn least(self, least: f64) -> Self {
        Self { range: (Some(least), self.range.1), ..self }
    }

    const fn within(self, least: f64, most: f64) -> Self {
        Self { range: (Some(least), Some(most)), ..self }
    }

    const fn one_of(self, words: &'static [&'static str]) -> Self {
        Self { one_of: words, ..self }
    }

    const fn pattern(self, pattern: Pattern) -> Self {
        Self { pattern: Some(pattern), ..self }
    }

    /// As Table Schema writes it.
    fn described(&self) -> Value {
        let mut constraints = Map::new();
        if self.is_required {
            constraints.insert("required".to_owned(), json!(true));
        }
        if self.is_unique {
            constraints.insert("unique".to_owned(), json!(true));
        }
        for (key, bound) in [("minimum", self.range.0), ("maximum", self.range.1)] {
            if let Some(bound) = bound {
                // Whole bounds of whole numbers are written whole.
                let is_whole = bound.fract() == 0.0;
                let value = if is_whole { json!(bound as i64) } else { json!(bound) };
                constraints.insert(key.to_owned(), value);
            }
        }
        if !self.one_of.is_empty() {
            constraints.insert("enum".to_owned(), json!(self.one_of));
        }
        if let Some(pattern) = self.pattern {
            constraints.insert("pattern".to_owned(), json!(pattern.text()));
        }
        let mut described = json!({
            "name": self.name,
            "type": self.sort.word(),
            "description": self.says,
        });
        if self.sort == Sort::Moment {
            described["format"] = json!(MOMENT_FORMAT);
        }
        if !constraints.is_empty() {
            described["constraints"] = Value::Object(constraints);
        }
        described
    }

    /// What is wrong with a cell and what would be right; `None` where it is as it must be.
    pub fn fault(&self, cell: &str) -> Option<String> {
        if is_missing(cell) {
            return self.is_required.then(|| "is empty, and must not be".to_owned());
        }
        let shown = || format!("\"{cell}\" ");
        let number = || cell.trim().parse::<f64>().ok().filter(|n| n.is_finite());
        let sort = match self.sort {
            Sort::Number => number().is_none().then_some("is no number such as 43.1"),
            Sort::Integer => {
                number().filter(|n| n.fract() == 0.0).is_none().then_some("is no whole number")
            }
            Sort::Boolean => boolean(cell).is_none().then_some("is neither true nor false"),
            Sort::Moment => moment(cell).filter(is_possible).is_none().then_some(
                "is no moment such as 2025-10-18T06:30:00-05:00 (its distance from UTC is needed)",
            ),
            Sort::Date => cell
                .parse::<chrono::NaiveDate>()
                .is_err()
                .then_some("is no date such as 2025-10-18"),
            Sort::Text | Sort::Any => None,
        };
        if let Some(why) = sort {
            return Some(shown() + why);
        }
        if !self.one_of.is_empty() && !self.one_of.contains(&cell) {
            return Some(shown() + "is none of " + &self.one_of.join(", "));
        }
        if let Some(pattern) = self.pattern.filter(|p| !p.fits(cell)) {
            return Some(shown() + pattern.unfit());
        }
        let (least, most) = self.range;
        let n = number().unwrap_or_default();
        let is_numeric = matches!(self.sort, Sort::Number | Sort::Integer);
        if is_numeric && (least.is_some_and(|l| n < l) || most.is_some_and(|m| n > m)) {
            let bound = |b: Option<f64>, word: &str| b.map(|b| format!("{word} {b}"));
            let bounds = [bound(least, "at least"), bound(most, "at most")];
            let bounds: Vec<String> = bounds.into_iter().flatten().collect();
            return Some(shown() + "must be " + &bounds.join(" and "));
        }
        None
    }
}

/// How moments are written, in the letters of `strftime`.
pub(super) const MOMENT_FORMAT: &str = "%Y-%m-%dT%H:%M:%S%z";

/// A moment as packages write it.
pub(super) fn moment(cell: &str) -> Option<DateTime<FixedOffset>> {
    let cell = cell.trim();
    DateTime::parse_from_rfc3339(cell)
        .or_else(|_| DateTime::parse_from_str(cell, MOMENT_FORMAT))
        .ok()
}

/// Clocks on the wall are at most 14 hours from UTC (Kiribati), and no trail camera is older than this.
fn is_possible(at: &DateTime<FixedOffset>) -> bool {
    let hours = at.offset().local_minus_utc().abs() / 3600;
    hours <= 14 && (1980..=2100).contains(&at.year())
}

/// The words of Table Schema for yes and no.
pub(super) fn boolean(cell: &str) -> Option<bool> {
    match cell {
        "true" | "True" | "TRUE" | "1" => Some(true),
        "false" | "False" | "FALSE" | "0" => Some(false),
        _ => None,
    }
}

/// Words that stand for nothing.
const MISSING: [&str; 4] = ["", "NA", "NaN", "nan"];

pub(super) fn is_missing(cell: &str) -> bool {
    MISSING.contains(&cell)
}

/// A table of the package.
#[derive(Debug, Clone)]
pub(super) struct Table {
    pub name: &'static str,
    pub title: &'static str,
    pub fields: Vec<Field>,
    /// The field that tells its rows apart; none where rows have no name.
    pub key: Option<&'static str>,
    /// Fields that name a row of another table, by that table's key.
    pub references: &'static [(&'static str, &'static str)],
}

impl Table {
    /// As Table Schema writes it.
    pub fn schema(&self) -> Value {
        let fields: Vec<Value> = self.fields.iter().map(Field::described).collect();
        let reference = |(field, table): &(&str, &str)| json!({ "fields": field, "reference": { "resource": table, "fields": key_of(table) } });
        let mut schema = json!({
            "name": self.name,
            "title": self.title,
            "fields": fields,
            "missingValues": MISSING,
        });
        if let Some(key) = self.key {
            schema["primaryKey"] = json!(key);
        }
        if !self.references.is_empty() {
            let all: Vec<Value> = self.references.iter().map(reference).collect();
            schema["foreignKeys"] = json!(all);
        }
        schema
    }

    /// The same where rows may go without some fields.
    pub fn without(mut self, names: &[&str]) -> Self {
        for field in self.fields.iter_mut().filter(|f| names.contains(&f.name)) {
            field.is_required = false;
        }
        self
    }

    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields.iter().find(|f| f.name == name)
    }
}

fn key_of(table: &str) -> &'static str {
    match table {
        DEPLOYMENTS => "deploymentID",
        MEDIA => "mediaID",
        _ => "observationID",
    }
}

/// Where a deployment is.
pub(super) const PLACE: [&str; 2] = ["latitude", "longitude"];

pub(super) const DEPLOYMENTS: &str = "deployments";
pub(super) const MEDIA: &str = "media";
pub(super) const OBSERVATIONS: &str = "observations";

/// What a camera looks at, in the standard's words.
pub(super) const FEATURES: [&str; 13] = [
    "roadPaved",
    "roadDirt",
    "trailHiking",
    "trailGame",
    "roadUnderpass",
    "roadOverpass",
    "roadBridge",
    "culvert",
    "burrow",
    "nestSite",
    "carcass",
    "waterSource",
    "fruitingTree",
];

/// Where and when a camera hung.
pub(super) fn deployments() -> Table {
    use Sort::{Boolean, Integer, Moment, Number};
    Table {
        name: DEPLOYMENTS,
        title: "Deployments",
        key: Some("deploymentID"),
        references: &[],
        fields: vec![
            text("deploymentID", "A camera at one place for a span of time.").unique(),
            text("locationID", "The place."),
            text("locationName", "What the place is called."),
            field("latitude", Number, "Degrees, north positive (WGS 84).")
                .required()
                .within(-90.0, 90.0),
            field("longitude", Number, "Degrees, east positive (WGS 84).")
                .required()
                .within(-180.0, 180.0),
            field("coordinateUncertainty", Integer, "Metres within which the true place lies.")
                .least(1.0),
            field("deploymentStart", Moment, "When it began.").required(),
            field("deploymentEnd", Moment, "When it ended.").required(),
            text("setupBy", "Who hung it."),
            text("cameraID", "The camera's body."),
            text("cameraModel", "Its maker and model."),
            field("cameraDelay", Integer, "Seconds in which it rests after a trigger.").least(0.0),
            field("cameraHeight", Number, "Metres above the ground.").least(0.0),
            field("cameraDepth", Number, "Metres under water.").least(0.0),
            field("cameraTilt", Integer, "Degrees, up positive.").within(-90.0, 90.0),
            field("cameraHeading", Integer, "Degrees from north, clockwise.").within(0.0, 360.0),
            field("detectionDistance", Number, "Metres within which it surely triggers.")
                .least(0.0),
            field("timestampIssues", Boolean, "Whether its times are known to be wrong."),
            field("baitUse", Boolean, "Whether bait lay before it."),
            text("featureType", "What it looks at, by the standard's list.").one_of(&FEATURES),
            text("habitat", "The habitat, in free words."),
            text("deploymentGroups", "Groups it belongs to, with | between them."),
            text("deploymentTags", "Words about it, with | between them."),
            text("deploymentComments", "Remarks."),
        ],
    }
}

/// Pictures and clips.
pub(super) fn media() -> Table {
    use Sort::{Any, Boolean, Moment};
    Table {
        name: MEDIA,
        title: "Media",
        key: Some("mediaID"),
        references: &[("deploymentID", DEPLOYMENTS)],
        fields: vec![
            text("mediaID", "A picture or clip.").unique(),
            text("deploymentID", "The deployment that took it.").required(),
            text("captureMethod", "What released the camera.")
                .one_of(&["activityDetection", "timeLapse"]),
            field("timestamp", Moment, "When it was taken.").required(),
            text("filePath", "Where the file is: an address, or a path without .. in it.")
                .required()
                .pattern(Pattern::Path),
            field("filePublic", Boolean, "Whether anybody may see it.").required(),
            text("fileName", "The file's own name."),
            text("fileMediatype", "Its media type (IANA).").required().pattern(Pattern::MediaType),
            field("exifData", Any, "What its header says, as a JSON object."),
            field("favorite", Boolean, "Whether it is a fine one."),
            text("mediaComments", "Remarks."),
        ],
    }
}

/// Who was seen.
pub(super) fn observations() -> Table {
    use Sort::{Integer, Moment, Number};
    let share = |name, says| field(name, Number, says).within(0.0, 1.0);
    Table {
        name: OBSERVATIONS,
        title: "Observations",
        key: Some("observationID"),
        references: &[("deploymentID", DEPLOYMENTS), ("mediaID", MEDIA)],
        fields: vec![
            text("observationID", "One statement about who was seen.").unique(),
            text("deploymentID", "The deployment it belongs to.").required(),
            text("mediaID", "The picture it was made from; empty for one of a whole event."),
            text("eventID", "The event it belongs to."),
            field("eventStart", Moment, "When the event began.").required(),
            field("eventEnd", Moment, "When it ended.").required(),
            text("observationLevel", "Whether it is about one picture or a whole event.")
                .required()
                .one_of(&["media", "event"]),
            text("observationType", "What was seen.").required().one_of(&[
                "animal",
                "human",
                "vehicle",
                "blank",
                "unknown",
                "unclassified",
            ]),
            text("cameraSetupType", "Whether somebody was at the camera for its sake.")
                .one_of(&["setup", "calibration"]),
            text("scientificName", "The taxon."),
            field("count", Integer, "How many.").least(1.0),
            text("lifeStage", "How old, in three steps.")
                .one_of(&["adult", "subadult", "juvenile"]),
            text("sex", "The sex.").one_of(&["female", "male"]),
            text("behavior", "What they did, with | between the words."),
            text("individualID", "The one that was recognised."),
            field("individualPositionRadius", Number, "Metres from the camera.").least(0.0),
            field(
                "individualPositionAngle",
                Number,
                "Degrees from the middle of the view, right positive.",
            )
            .within(-90.0, 90.0),
            field("individualSpeed", Number, "Metres a second.").least(0.0),
            share("bboxX", "Left edge of the box around it, as part of the width."),
            share("bboxY", "Upper edge, as part of the height."),
            field("bboxWidth", Number, "The box's width, as part of the width.").within(1e-15, 1.0),
            field("bboxHeight", Number, "The box's height, as part of the height.")
                .within(1e-15, 1.0),
            text("classificationMethod", "Who or what told it.").one_of(&["human", "machine"]),
            text("classifiedBy", "The name of who told it."),
            field("classificationTimestamp", Moment, "When it was told."),
            share("classificationProbability", "How sure that was."),
            text("observationTags", "Words about it, with | between them."),
            text("observationComments", "Remarks."),
        ],
    }
}

/// What the standard has no place for: logged disturbances.
pub(super) fn disturbances() -> Table {
    use Sort::Number;
    Table {
        name: "disturbances",
        title: "Disturbances",
        key: Some("id"),
        references: &[],
        fields: vec![
            text("id", "A short name.").unique(),
            text("start", "When it began, by the clock on the wall of the study's time zone.")
                .required(),
            text("end", "When it ended; empty while it goes on."),
            text("by", "Whose doing it was.").one_of(&["neighbour", "own", "nature"]),
            text("what", "What it was."),
            field("latitude", Number, "Degrees, north positive (WGS 84).").within(-90.0, 90.0),
            field("longitude", Number, "Degrees, east positive (WGS 84).").within(-180.0, 180.0),
            text(
                "near",
                "Locations that it could touch, with | between them; empty where nearness tells.",
            ),
        ],
    }
}

/// Days without a single picture on which a camera may have been dead.
pub(super) fn silences() -> Table {
    Table {
        name: "silences",
        title: "Silences",
        key: None,
        references: &[],
        fields: vec![
            text("locationName", "The place.").required(),
            field("from", Sort::Date, "First silent date.").required(),
            field("until", Sort::Date, "Last silent date. These days are not counted as effort.")
                .required(),
        ],
    }
}

/// Corrections of clocks that the times in this package contain already.
pub(super) fn clock_corrections() -> Table {
    use Sort::Number;
    Table {
        name: "clock-corrections",
        title: "Clock corrections",
        key: None,
        references: &[],
        fields: vec![
            text("locationName", "The place.").required(),
            text("from", "First moment it acts on, by the camera's own clock."),
            text("until", "Last moment it acts on, by the camera's own clock."),
            field("minutes", Number, "Minutes that were added to the camera's clock.").required(),
            field(
                "minutesAtEnd",
                Number,
                "Minutes added at the last moment, of a clock that drifts.",
            ),
            text("reason", "Why."),
        ],
    }
}

/// Animals that are known one by one.
pub(super) fn individuals() -> Table {
    Table {
        name: "individuals",
        title: "Individuals",
        key: Some("individualID"),
        references: &[],
        fields: vec![
            text("individualID", "As in the observations.").unique(),
            field("born", Sort::Integer, "The year of its birth."),
            text("note", "Remarks."),
        ],
    }
}

/// What a reader needs to count as the sender did.
pub(super) fn settings() -> Table {
    Table {
        name: "settings",
        title: "Settings",
        key: Some("setting"),
        references: &[],
        fields: vec![
            text("setting", "Which.").unique(),
            text("value", "Its value."),
            text("unit", "The value's unit."),
        ],
    }
}

/// Pictures that have no place among the media, for want of a time.
pub(super) fn untimed() -> Table {
    Table {
        name: "untimed",
        title: "Pictures without a usable time",
        key: None,
        references: &[],
        fields: vec![
            text("filePath", "Where the file is.").required(),
            text("locationName", "The place.").required(),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_checked_by_their_field() {
        let observations = observations();
        let fault =
            |name: &str, cell: &str| observations.field(name).unwrap().fault(cell).is_some();
        assert!(fault("observationID", "NA") && !fault("observationID", "o1"));
        assert!(fault("count", "0") && fault("count", "1.5") && !fault("count", "2"));
        assert!(fault("sex", "Male") && !fault("sex", "male") && !fault("sex", ""));
        for good in [
            "2025-10-18T06:30:00-05:00",
            "2025-10-18T06:30:00Z",
            "2025-10-18T06:30:00-0500",
            "2025-10-18T06:30:00.250+02:00",
        ] {
            assert!(!fault("eventStart", good), "{good}");
        }
        for bad in ["2025-10-18T06:30:00", "2025-10-18", "18.10.2025 06:30"] {
            assert!(fault("eventStart", bad), "{bad}");
        }
        let media = media();
        assert!(media.field("filePublic").unwrap().fault("yes").is_some());
    }

    #[test]
    fn a_schema_says_what_is_checked() {
        let schema = deployments().schema();
        assert_eq!(schema["primaryKey"], "deploymentID");
        let latitude =
            schema["fields"].as_array().unwrap().iter().find(|f| f["name"] == "latitude");
        let constraints = &latitude.unwrap()["constraints"];
        assert_eq!(*constraints, json!({ "required": true, "minimum": -90, "maximum": 90 }));
    }
}
