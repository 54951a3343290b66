//! What the tables of a data set hold, stated once: written into `columns.csv`, and asked for by name when tables are
//! made and read.

use anyhow::Result;

/// A table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Table {
    pub name: &'static str,
    says: &'static str,
    /// Name, type as Parquet has it, unit, and what it says.
    pub columns: &'static [(&'static str, &'static str, &'static str, &'static str)],
}

const UTC: &str = "timestamp (ms)";
const WHEN: &str = "UTC";
const WALL: &str = "the property's wall clock";

/// In the order in which they are written.
pub(crate) const TABLES: [Table; 6] = [
    Table {
        name: "days",
        says: "one row a camera, kind and date on which the camera worked, took a picture or has a visit",
        columns: &[
            ("camera", "string", "", "the camera"),
            (
                "placement",
                "uint32",
                "",
                "where it hung then: its number among the camera's own, from 1",
            ),
            ("kind", "string", "", "buck, mature buck, doe, fawn, or deer of every kind"),
            ("date", "date", WALL, "the date"),
            ("light_visits", "uint32", "visits", "visits that begin in legal light"),
            ("visits", "uint32", "visits", "visits at all hours"),
            ("worked", "boolean", "", "whether the camera is known to have worked"),
            (
                "clock_in_doubt",
                "boolean",
                "",
                "whether its clock was wrong that day, and nobody has settled it",
            ),
            ("pictures", "uint32", "pictures", "pictures taken"),
            ("untagged", "uint32", "pictures", "pictures of which nobody has said who is in them"),
        ],
    },
    Table {
        name: "visits",
        says: "one row a visit and kind; a mature buck stands under mature buck, buck and deer",
        columns: &[
            ("camera", "string", "", "the camera"),
            ("placement", "uint32", "", "as in days"),
            ("kind", "string", "", "as in days"),
            ("first_utc", UTC, WHEN, "the first picture"),
            ("first_local", UTC, WALL, "the first picture"),
            ("last_utc", UTC, WHEN, "the last picture"),
            ("last_local", UTC, WALL, "the last picture"),
            ("group", "uint32", "animals", "the most seen at one moment"),
            ("light", "string", "", "the light at the first picture"),
            ("legal", "boolean", "", "whether that is legal light"),
            ("counted", "boolean", "", "whether the daylight share counts it"),
            (
                "minutes_after_sunrise",
                "double",
                "min",
                "from sunrise of that date at the place that placements tell; null where none is told",
            ),
            (
                "minutes_before_sunset",
                "double",
                "min",
                "until sunset of that date at that place; null where none is told",
            ),
            (
                "sun_minute",
                "double",
                "min",
                "minute of a day on which the sun rises at 360 and sets at 1080, at that place; null where none is told",
            ),
            ("name", "string", "", "the known individual; null for none or several"),
        ],
    },
    Table {
        name: "pictures",
        says: "one row a picture or clip, copies left out",
        columns: &[
            ("camera", "string", "", "the camera"),
            ("picture", "string", "", "path below the property's folder"),
            ("utc", UTC, WHEN, "when it was taken; null where that cannot be told"),
            ("local", UTC, WALL, "the same"),
            ("clip", "boolean", "", "whether it is a video clip"),
            ("bytes", "uint64", "bytes", "size of the file"),
            ("tagged", "boolean", "", "whether somebody said who is in it"),
        ],
    },
    Table {
        name: "placements",
        says: "one row a camera, place and season in which it worked there",
        columns: &[
            ("camera", "string", "", "the camera"),
            ("placement", "uint32", "", "as in days"),
            ("first", "date", WALL, "the first date on which it worked there"),
            ("last", "date", WALL, "the last one"),
            (
                "nights",
                "uint32",
                "camera-nights",
                "dates on which it is known to have worked there",
            ),
            (
                "latitude",
                "double",
                "degrees north",
                "as exact as its owner chose; null where nothing is said",
            ),
            ("longitude", "double", "degrees east", "the same"),
            (
                "uncertainty",
                "uint32",
                "m",
                "within which the true place lies; null where it is exact",
            ),
            ("setting", "string", "", "what it looks at"),
        ],
    },
    Table {
        name: "events",
        says: "one row a logged disturbance, in the season in which it began",
        columns: &[
            ("id", "string", "", "its short name"),
            ("start_local", UTC, WALL, "when it began"),
            ("end_local", UTC, WALL, "when it ended; null while it goes on"),
            ("by", "string", "", "neighbour, own or nature"),
            ("what", "string", "", "in its owner's words"),
        ],
    },
    Table {
        name: "settings",
        says: "how things are counted, the same for every season",
        columns: &[
            ("setting", "string", "", "its name"),
            ("value", "string", "", "its value"),
            ("unit", "string", "", "its unit"),
        ],
    },
];

/// The headings of `columns.csv`, by which a folder is known for a data set.
pub(super) const HEADINGS: [&str; 5] = ["table", "column", "type", "unit", "meaning"];

/// The same as a table.
pub(super) fn as_csv() -> Result<Vec<u8>> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(HEADINGS)?;
    for table in TABLES {
        csv.write_record([table.name, "", "", "", table.says])?;
        for (name, sort, unit, says) in table.columns {
            csv.write_record([table.name, name, sort, unit, says])?;
        }
        for (name, says) in [
            ("property", "the property, from the folder's name"),
            (
                "season",
                "the deer year, from the folder's name; unknown for pictures without a time",
            ),
        ] {
            csv.write_record([table.name, name, "string", "", says])?;
        }
    }
    Ok(csv.into_inner()?)
}
