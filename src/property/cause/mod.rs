//! All that can be wrong with the person's files, in one list.
//!
//! A cause holds plain data, since every floor tells its problems with it; its sentences are in `what` and
//! `remedy`.

mod remedy;
mod what;

use chrono::{NaiveDate, NaiveDateTime};

/// From when to when a camera was at work, by its own clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AtWork {
    /// The camera.
    pub camera: String,
    /// The date of its first picture.
    pub first: NaiveDate,
    /// The date of its last picture.
    pub last: NaiveDate,
}

/// Why something in the person's files could not be used, or is in doubt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    // Every table.
    /// A heading that the table does not have.
    UnknownColumn {
        /// The headings that it has, as a list in words.
        known: String,
    },
    /// A cell that should hold a date or a moment and holds neither.
    NotADate {
        /// The cell's text.
        text: String,
        /// How a date is written in that column.
        remedy: String,
    },
    /// A date whose day and month could change places, in a table that does not tell which is which.
    EitherDate {
        /// The cell's text.
        text: String,
    },
    /// A quotation mark without its second.
    OpenQuote,
    /// A row with more cells than the table has columns.
    SurplusCells,
    /// A row with which the file would be no table any more.
    NoTable {
        /// What the reader of tables says.
        why: String,
    },
    /// A new row in which nothing is filled in.
    EmptyRow,

    // `cameras.csv`, and places in every table.
    /// A row of `cameras.csv` that names no camera.
    PlacementWithoutCamera,
    /// Two rows of one camera claim the same days for different places.
    TwoPlaces {
        /// The camera.
        camera: String,
        /// Where the earlier row begins.
        from: Option<NaiveDate>,
        /// Where the earlier row ends.
        until: Option<NaiveDate>,
        /// Where the later row begins.
        moved: Option<NaiveDate>,
    },
    /// A placement that ends before it begins.
    UntilBeforeFrom {
        /// Its beginning.
        from: NaiveDate,
        /// Its end.
        until: NaiveDate,
    },
    /// A word for how a clock is kept that means nothing.
    UnknownClockSetting {
        /// The cell's text.
        text: String,
    },
    /// A latitude and a longitude that fit the property only the other way round.
    SwappedPlace {
        /// The cell under latitude.
        latitude: String,
        /// The cell under longitude.
        longitude: String,
    },
    /// A place too far from the property to be meant.
    FarPlace {
        /// How far, in whole kilometres.
        km: String,
    },
    /// A latitude and a longitude that are no place on earth.
    NoPlace {
        /// The cell under latitude.
        latitude: String,
        /// The cell under longitude.
        longitude: String,
    },

    // `disturbances.csv`.
    /// A disturbance without an id.
    NoId,
    /// An id that an earlier disturbance has.
    IdInUse {
        /// The id.
        id: String,
    },
    /// A disturbance without a start.
    NoStart,
    /// A disturbance that ends before it starts.
    EndBeforeStart,
    /// A word for where a date is from that means nothing.
    UnknownDating {
        /// The cell's text.
        text: String,
    },
    /// A word for whose doing it was that means nothing.
    UnknownDoer {
        /// The cell's text.
        text: String,
    },

    // `clocks.csv`.
    /// A correction that names no camera.
    CorrectionWithoutCamera,
    /// A cell that should hold minutes to add to a clock and does not, or holds more than a clock can be off.
    NotMinutes {
        /// The cell's text.
        text: String,
    },
    /// A word for what a correction acts on that means nothing.
    UnknownReading {
        /// The cell's text, in small letters.
        text: String,
    },

    // The cards.
    /// A link to a folder in which it lies itself.
    LinkLoop,
    /// A file or folder that will not open.
    NotOpened {
        /// What the computer says.
        why: String,
    },
    /// Two files that are one picture and differ in their bytes.
    DamagedTwin {
        /// The file that counts.
        kept: String,
    },
    /// Pictures and clips of kinds that are not read.
    KindsNotRead {
        /// How many of each kind, as a list in words.
        kinds: String,
    },
    /// Pictures directly in `cards/`.
    LoosePictures {
        /// How many.
        pictures: usize,
    },
    /// Clips of a camera that are dated by their files.
    TimesOfFiles {
        /// How many.
        clips: usize,
    },
    /// Pictures of a camera that are dated by their last change.
    TimesOfChange {
        /// How many.
        changed: usize,
        /// Of how many pictures.
        all: usize,
    },
    /// A camera most of whose pictures have no time.
    NoTimes {
        /// How many have none.
        without: usize,
        /// Of how many pictures.
        all: usize,
    },

    // Clocks.
    /// Clips whose times turned out to be UTC.
    ClipsInUtc {
        /// How many clips.
        clips: usize,
        /// How many stills beside them show it.
        stills: usize,
    },
    /// Clips whose times turned out to be some hours off.
    ClipsOff {
        /// How many clips.
        clips: usize,
        /// How many stills beside them show it.
        stills: usize,
        /// The hours, with one decimal.
        hours: String,
    },

    // Tags and sightings.
    /// A word for who was seen that means nothing.
    UnknownWho {
        /// The cell's text.
        text: String,
    },
    /// The same in the person's own table, whose words `keywords.csv` can explain.
    UnknownForeignWho {
        /// The cell's text.
        text: String,
    },
    /// A cell that should hold a number of animals and does not.
    NotACount {
        /// The cell's text.
        text: String,
    },
    /// An age that such an animal cannot have.
    ImpossibleAge {
        /// The cell's text.
        text: String,
        /// The animal.
        who: String,
    },
    /// A tag that names no picture.
    NoPictureNamed,
    /// A cell that should hold the hash of a picture's content and does not.
    NotAHash,
    /// A tag whose path fits no picture, or several.
    NoSuchPicture {
        /// The path.
        path: String,
    },
    /// The same in the person's own table.
    NoSuchForeignPicture {
        /// The path.
        path: String,
    },
    /// A tag whose picture is known by its content and lies nowhere any more.
    PictureGone {
        /// The path.
        path: String,
    },
    /// The same, and another picture has its path now.
    PathTaken {
        /// The path.
        path: String,
    },
    /// Two sources that see different animals in one picture.
    SourcesDiffer {
        /// The source that counts, and what it says.
        counts: String,
        /// The other one, and what it says.
        other: String,
    },
    /// A file of keywords beside a picture that cannot be read.
    NoKeywordFile {
        /// What is wrong with it.
        why: String,
    },
    /// A row of `keywords.csv` without a keyword.
    NoKeyword,
    /// A sighting that names no camera.
    SightingWithoutCamera,
    /// A sighting later than tomorrow.
    FutureSighting {
        /// Its moment.
        time: NaiveDateTime,
    },
    /// A sighting with a date and no time of day.
    NoTimeOfDay {
        /// The cell's text.
        text: String,
        /// How a moment is written in that column.
        remedy: String,
    },
    /// A sighting without a time.
    NotATime {
        /// The cell's text.
        text: String,
        /// How a moment is written in that column.
        remedy: String,
    },

    // The check of clocks.
    /// Two cameras that saw the same weeks of different years.
    YearsApart {
        /// The camera for whose year nothing speaks but its clock.
        one: Box<AtWork>,
        /// The camera it is held against.
        other: Box<AtWork>,
        /// Whole years between the two.
        years: i32,
        /// Whether something speaks for the other's year.
        is_witnessed: bool,
    },

    // Shift.
    /// A disturbance that is near to a camera of which nothing is known.
    UnknownNear {
        /// The disturbance.
        id: String,
        /// The camera.
        camera: String,
    },
    /// A camera without a place, where places decide which are near.
    Unplaced {
        /// The camera.
        camera: String,
        /// The disturbance.
        id: String,
    },

    // `deer.csv`.
    /// A row that names no deer.
    DeerWithoutName,
    /// Two rows with one name.
    DeerTwice {
        /// The name.
        name: String,
    },
    /// A row of which no tag names the deer.
    UnseenDeer {
        /// The name.
        name: String,
    },
    /// A deer that was seen before it was born.
    SeenUnborn {
        /// The name.
        name: String,
        /// The year of birth.
        born: i32,
    },
    /// Tags give a deer another age than follows from its year of birth.
    AgesDiffer {
        /// The name.
        name: String,
        /// An age that a tag gives, and the one that follows from the year of birth, in years.
        ages: Box<(String, String)>,
    },
    /// A deer that is not always tagged as the same kind.
    KindsDiffer {
        /// The name.
        name: String,
    },
    /// A year in which no deer that is known today was born.
    NotABirthYear {
        /// The cell's text.
        text: String,
    },

    // `stands.csv`, `sits.csv` and `grounds.csv`.
    /// A row that names no stand.
    StandWithoutName,
    /// Two rows with one stand.
    StandTwice {
        /// The stand.
        stand: String,
    },
    /// A wind that is no point of the compass.
    NotAWind {
        /// The cell's text.
        text: String,
    },
    /// A stand beside which no camera hangs.
    StandUnwatched {
        /// The stand.
        stand: String,
    },
    /// A name of a camera of which nothing is known.
    UnknownCamera {
        /// The camera.
        camera: String,
        /// Whose row names it.
        of: String,
    },
    /// A sit that names no stand.
    SitWithoutStand,
    /// A sit without a start.
    SitWithoutStart,
    /// A sit that ends on another date, or before it began.
    SitTooLong,
    /// A sit on a stand that has no row.
    UnknownStand {
        /// The stand.
        stand: String,
    },
    /// A ground without a name.
    GroundWithoutName,
    /// A word for the side of the fence that means nothing.
    UnknownFenceSide {
        /// The cell's text.
        text: String,
    },
    /// A ground that lies on both sides of the fence.
    GroundOnBothSides {
        /// The ground.
        ground: String,
    },

    // `questions.csv`.
    /// A question without one of its dates.
    QuestionWithoutDate,
    /// A question that names no camera.
    QuestionWithoutCamera,
    /// A question that was asked when its days had begun.
    AskedTooLate {
        /// The first of its days.
        from: NaiveDate,
    },
    /// A question that an earlier row asks.
    AskedTwice,
    /// A ground with no camera that sees its deer.
    GroundWithoutCamera,
    /// So many impossible values in one column that its unit must be another.
    WrongUnit {
        /// How many are impossible, of how many.
        impossible: (usize, usize),
    },
    /// Weather that is hardly that of the place, taken as a whole.
    UnlikelyWeather {
        /// What is unlikely of it, in words.
        what: String,
    },
    /// A cell that should hold a part, and does not.
    NotAPart {
        /// The cell's text.
        text: String,
    },

    // Weather.
    /// A row of weather without a moment.
    NotAnHour {
        /// The cell's text.
        text: String,
    },
    /// A value that weather never has.
    NotAWeatherValue {
        /// The cell's text.
        text: String,
    },

    // The land.
    /// A file of the land that cannot be read.
    NotALand {
        /// What its reader says.
        why: String,
    },
    /// A file of the land without a shape.
    EmptyLand,
    /// A shape that has the latitude before the longitude.
    LandSwapped {
        /// The feature.
        name: String,
    },
    /// A shape with places that are on no globe, or with none.
    LandOffTheGlobe {
        /// The feature.
        name: String,
    },
    /// A shape that lies far from the property.
    LandFarAway {
        /// The feature.
        name: String,
        /// How far.
        kilometres: u32,
    },

    // Debrief.
    /// A folder of pictures none of which has a time.
    SilentFolder {
        /// The camera.
        camera: String,
    },
    /// A camera that is only in `cameras.csv`.
    SilentPlacement {
        /// The camera.
        camera: String,
    },
    /// A disturbance that lies ahead.
    FutureDisturbance {
        /// The disturbance.
        id: String,
        /// The date on which it begins.
        start: NaiveDate,
    },
    /// A correction for a camera that there is not.
    NothingToCorrect {
        /// The camera.
        camera: String,
    },
    /// Days with pictures on which no row of `cameras.csv` has the camera at work.
    OutsideDates {
        /// The camera.
        camera: String,
        /// How many days.
        days: usize,
    },
    /// A camera that looks at something else from one picture to the next.
    ViewChanged {
        /// The camera.
        camera: String,
        /// The last picture of the old view, and its date.
        before: Box<(String, NaiveDate)>,
        /// The first picture of the new view, and its date.
        after: Box<(String, NaiveDate)>,
    },
}
