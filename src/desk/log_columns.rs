//! The columns of the log's tables as the page asks for them.

use serde::Serialize;

use crate::property::LogTable;

/// A column, described to the page.
#[derive(Serialize)]
pub(super) struct Column {
    name: &'static str,
    words: &'static str,
    kind: &'static str,
    choices: &'static [&'static str],
    help: &'static str,
    required: bool,
}

const fn column(
    name: &'static str,
    words: &'static str,
    kind: &'static str,
    help: &'static str,
) -> Column {
    Column { name, words, kind, choices: &[], help, required: false }
}

const DEGREES_NORTH: &str = "Degrees, south is negative: 43.10";
const DEGREES_EAST: &str = "Degrees, west is negative: -90.70";

const DISTURBANCES: [Column; 9] = [
    Column {
        required: true,
        ..column("id", "Short name", "text", "One word or two, such as tower-blind")
    },
    Column {
        required: true,
        ..column(
            "start",
            "Began",
            "date-time",
            "2025-10-18, or 2025-10-18T14:00 by the clock on the wall",
        )
    },
    column("end", "Ended", "date-time", "Empty while it goes on"),
    Column {
        choices: &["neighbour", "own", "nature"],
        ..column("by", "Whose doing", "choice", "A neighbour's, your own, or nature's")
    },
    column("what", "What happened", "text", "In your own words, as it will stand in the report"),
    column("latitude", "Latitude", "number", DEGREES_NORTH),
    column("longitude", "Longitude", "number", DEGREES_EAST),
    column(
        "near",
        "Cameras it could touch",
        "text",
        "Names with ; between them, one that holds a ; itself in \"…\". Empty: by distance",
    ),
    Column {
        choices: &["notes", "pictures"],
        ..column(
            "dated_by",
            "Why this date?",
            "choice",
            "notes: you knew when it happened. pictures: you saw when the deer changed, which then proves nothing",
        )
    },
];

const CAMERAS: [Column; 8] = [
    Column {
        required: true,
        ..column("camera", "Camera", "text", "The name of its folder in cards")
    },
    column("latitude", "Latitude", "number", DEGREES_NORTH),
    column("longitude", "Longitude", "number", DEGREES_EAST),
    column("setting", "What it looks at", "text", "A plot, a scrape, a trail"),
    column("from", "Hung there from", "date", "2025-09-01. Empty: always"),
    column("until", "Until", "date", "The last day. Empty: still there"),
    column(
        "clock",
        "Its clock",
        "text",
        "local (reset for daylight time), standard (never moved), or an offset such as -06:00",
    ),
    column("folder", "Its folder", "text", "Only where that is not the camera's name"),
];

const STANDS: [Column; 5] = [
    Column { required: true, ..column("stand", "Stand", "text", "Its name") },
    column("latitude", "Latitude", "number", DEGREES_NORTH),
    column("longitude", "Longitude", "number", DEGREES_EAST),
    column(
        "near",
        "Cameras that watch its ground",
        "text",
        "Names with ; between them, one that holds a ; itself in \"…\". Empty: by distance",
    ),
    column(
        "winds",
        "Winds it can be hunted on",
        "text",
        "Where they come from, with ; between them: NW;N;NE",
    ),
];

const SITS: [Column; 5] = [
    Column { required: true, ..column("stand", "Stand", "text", "Its name in the list of stands") },
    Column {
        required: true,
        ..column("start", "Began", "date-time", "2025-11-08T06:10 by the clock on the wall")
    },
    column("end", "Ended", "date-time", "On the same date"),
    column("saw", "What was seen", "text", ""),
    column("note", "Note", "text", ""),
];

const GROUNDS: [Column; 6] = [
    Column {
        required: true,
        ..column("ground", "Ground", "text", "A field, a plot, bedding, water")
    },
    Column {
        required: true,
        choices: &["inside", "outside"],
        ..column("side", "Side of the fence", "choice", "Inside is yours; of outside others decide")
    },
    column("what", "What it was", "text", "The crop, or whose it was: one row for each"),
    column("from", "From", "date", "2025-05-01. Empty: always"),
    column("until", "Until", "date", "The last day. Empty: still so"),
    column(
        "feeds",
        "Cameras that see its deer",
        "text",
        "Names with ; between them, one that holds a ; itself in \"…\"",
    ),
];

const QUESTIONS: [Column; 6] = [
    Column {
        required: true,
        ..column("asked", "Asked on", "date", "The day on which it was asked")
    },
    Column {
        required: true,
        ..column("from", "From", "date", "The first day on which something may be different")
    },
    Column { required: true, ..column("by", "To be known by", "date", "The last day compared") },
    Column {
        required: true,
        ..column("near", "Cameras", "text", "Where it may be, with ; between them")
    },
    column("loss", "Loss", "number", "The part of the visits in light that may be lost: 0.5"),
    column("chance", "Chance told", "number", "How likely it was then to be found"),
];

/// The columns of a table.
pub(super) fn columns(which: LogTable) -> &'static [Column] {
    match which {
        LogTable::Disturbances => &DISTURBANCES,
        LogTable::Cameras => &CAMERAS,
        LogTable::Stands => &STANDS,
        LogTable::Sits => &SITS,
        LogTable::Grounds => &GROUNDS,
        LogTable::Questions => &QUESTIONS,
    }
}
