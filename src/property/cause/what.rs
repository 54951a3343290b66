//! What happened, in the person's words.

use chrono::NaiveDate;

use super::{AtWork, Cause};

impl Cause {
    /// What is wrong. It goes on from the name of the file, so it begins with a small letter.
    pub fn what(&self) -> String {
        match self {
            Self::UnknownColumn { .. } => "this column is not known and was left alone.".to_owned(),
            Self::NotADate { text, .. } => {
                format!("\"{text}\" is not a date, so the row was left out.")
            }
            Self::EitherDate { text } => format!(
                "\"{text}\" can be read with the day first or with the month first, and no date in its column tells which, so rows with such a date were left out."
            ),
            Self::OpenQuote => {
                "a quotation mark is opened and never closed, so the row was left out.".to_owned()
            }
            Self::SurplusCells => {
                "there are more cells than columns, so the row was left out.".to_owned()
            }
            Self::NoTable { why } => why.clone(),
            Self::EmptyRow => "the row is empty.".to_owned(),

            Self::PlacementWithoutCamera => {
                "the camera has no name, so the row was left out.".to_owned()
            }
            Self::TwoPlaces { camera, from, until, .. } => format!(
                "{camera} hangs at two places at once: another row of it goes from {} to {}. On days that both rows claim the first counts.",
                day(*from, "the beginning"),
                day(*until, "the end")
            ),
            Self::UntilBeforeFrom { from, until } => {
                format!("{until} is before from, {from}, so the row was left out.")
            }
            Self::UnknownClockSetting { text } => {
                format!("\"{text}\" is not a way to keep a clock, so the row was left out.")
            }
            Self::SwappedPlace { latitude, longitude } => format!(
                "latitude {latitude} and longitude {longitude} are swapped, so the row was left out."
            ),
            Self::FarPlace { km } => {
                format!("the place would be {km} km from the property, so the row was left out.")
            }
            Self::NoPlace { latitude, longitude } => {
                format!("\"{latitude}\", \"{longitude}\" is not a place, so the row was left out.")
            }

            Self::NoId => "there is no id, so the row was left out.".to_owned(),
            Self::IdInUse { id } => {
                format!("\"{id}\" is used by an earlier row, so this row was left out.")
            }
            Self::NoStart => "there is no start, so the row was left out.".to_owned(),
            Self::EndBeforeStart => "it ends before it starts, so the row was left out.".to_owned(),
            Self::UnknownDoer { text } | Self::UnknownDating { text } => {
                format!("\"{text}\" is not known, so the row was left out.")
            }

            Self::CorrectionWithoutCamera => {
                "there is no camera, so the row was left out.".to_owned()
            }
            Self::NotMinutes { text } => {
                format!("\"{text}\" is not a number of minutes, so the row was left out.")
            }
            Self::UnknownReading { text } => {
                format!("\"{text}\" is nothing that a row can act on, so it was left out.")
            }

            Self::LinkLoop => {
                "this link leads back to a folder above it and was not followed.".to_owned()
            }
            Self::NotOpened { why } => {
                format!("could not be opened ({why}), so nothing in it was read.")
            }
            Self::DamagedTwin { kept } => format!(
                "is the same picture as {kept} with other bytes, so one of the two is damaged; {kept} counts."
            ),
            Self::KindsNotRead { kinds } => {
                format!("files of kinds that are not read here are counted nowhere: {kinds}.")
            }
            Self::LoosePictures { pictures } => format!(
                "{pictures} pictures lie in no camera's folder, so nobody knows which camera took them."
            ),
            Self::TimesOfFiles { clips } => format!(
                "{clips} clips carry no time and go by their file's date, which copying can change."
            ),
            Self::TimesOfChange { changed, all } => format!(
                "{changed} of {all} pictures carry only the time of their last change (EXIF DateTime), which counts for want of a better one."
            ),
            Self::NoTimes { without, all } => format!(
                "{without} of {all} pictures carry no time that can be used, so they count nowhere."
            ),

            Self::ClipsInUtc { clips, stills } => format!(
                "{clips} clips hold UTC and not what the camera's clock showed, as {stills} stills beside them show; they were read so."
            ),
            Self::ClipsOff { clips, stills, hours } => format!(
                "{clips} clips are {hours} hours off the stills, as {stills} stills beside them show; they were read so."
            ),

            Self::UnknownWho { text } | Self::UnknownForeignWho { text } => {
                format!("\"{text}\" is not a known word, so the row was left out.")
            }
            Self::NotACount { text } => {
                format!("\"{text}\" is not a number of animals, so the row was left out.")
            }
            Self::ImpossibleAge { text, who } => format!(
                "\"{text}\" cannot be the age of a {who}; the age was left out and the rest of the row counts."
            ),
            Self::NoPictureNamed => "no picture is named, so the row was left out.".to_owned(),
            Self::NotAHash => "this is not a picture's hash, so the row was left out.".to_owned(),
            Self::NoSuchPicture { path } | Self::NoSuchForeignPicture { path } => format!(
                "\"{path}\" matches no picture on the cards, or more than one, so the row was left out."
            ),
            Self::PictureGone { path } => format!(
                "the picture of this tag, \"{path}\", is not on the cards any more, so the row was left out."
            ),
            Self::PathTaken { path } => format!(
                "the picture of this tag is not on the cards any more, and another picture is called \"{path}\" now, so the row was left out."
            ),
            Self::SourcesDiffer { counts, other } => {
                format!("{counts}, and {other}; the first counts.")
            }
            Self::NoKeywordFile { why } => {
                format!("could not be read ({why}), so its keywords were left out.")
            }
            Self::NoKeyword => "there is no keyword, so the row was left out.".to_owned(),
            Self::SightingWithoutCamera => {
                "no camera is named, so the row was left out.".to_owned()
            }
            Self::FutureSighting { time } => {
                format!("{time} has not come yet, so the row was left out.")
            }
            Self::NoTimeOfDay { text, .. } => {
                format!("\"{text}\" has no time of day, so the row was left out.")
            }
            Self::NotATime { text, .. } => {
                format!("\"{text}\" is not a time, so the row was left out.")
            }

            Self::YearsApart { one, other, years, is_witnessed } => {
                years_apart(one, other, *years, *is_witnessed)
            }

            Self::UnknownNear { id, camera } => format!(
                "{id}: near names a camera \"{camera}\" that has no pictures and no row in cameras.csv."
            ),
            Self::Unplaced { camera, id } => format!(
                "{camera} has no latitude and longitude, so it counts as a control for {id}."
            ),

            Self::SilentFolder { camera } | Self::SilentPlacement { camera } => {
                format!("{camera} has no picture or sighting with a time.")
            }
            Self::FutureDisturbance { id, start } => format!(
                "{id} begins on {start}, which has not come yet, so there is nothing after it."
            ),
            Self::NothingToCorrect { camera } => {
                format!("there is no camera \"{camera}\", so its row corrects nothing.")
            }
            Self::DeerWithoutName => "the row names no deer.".to_owned(),
            Self::DeerTwice { name } => {
                format!("{name} has a row already, and this one is not read.")
            }
            Self::NotABirthYear { text } => format!("\"{text}\" is not a year of birth."),
            Self::NotALand { why } => format!("it cannot be read as a map of the land: {why}."),
            Self::EmptyLand => "there is no shape in it.".to_owned(),
            Self::UnseenDeer { name } => format!("no tag names {name}."),
            Self::SeenUnborn { name, born } => {
                format!("{name} was seen before {born}, the year in which it was born.")
            }
            Self::AgesDiffer { name, ages } => format!(
                "{name} is tagged as {} years old on a day on which it was {} by its year of birth; the tag counts.",
                ages.0, ages.1
            ),
            Self::KindsDiffer { name } => {
                format!("{name} is not always tagged as the same kind of deer.")
            }
            Self::LandSwapped { name } => {
                format!("\"{name}\" has the latitude before the longitude.")
            }
            Self::LandOffTheGlobe { name } => {
                format!(
                    "\"{name}\" has no places, or some that are not degrees of longitude and latitude."
                )
            }
            Self::LandFarAway { name, kilometres } => {
                format!("\"{name}\" lies {kilometres} km from the property.")
            }
            Self::StandWithoutName | Self::SitWithoutStand => {
                "the stand has no name, so the row was left out.".to_owned()
            }
            Self::StandTwice { stand } => {
                format!("there is an earlier row of {stand}, which counts.")
            }
            Self::NotAWind { text } => {
                format!("\"{text}\" is no point of the compass, so the row was left out.")
            }
            Self::StandUnwatched { stand } => {
                format!("no camera that has worked watches {stand}, so nothing is told of it.")
            }
            Self::UnknownCamera { camera, of } => {
                format!("{of} names a camera {camera}, and there is none.")
            }
            Self::SitWithoutStart => "the sit has no start, so the row was left out.".to_owned(),
            Self::SitTooLong => {
                "the sit ends on another date, or before it began, so the row was left out."
                    .to_owned()
            }
            Self::UnknownStand { stand } => {
                format!("there is a sit on {stand}, and no such stand in stands.csv.")
            }
            Self::GroundWithoutName => {
                "the ground has no name, so the row was left out.".to_owned()
            }
            Self::UnknownFenceSide { text } => {
                format!("\"{text}\" is no side of the fence, so the row was left out.")
            }
            Self::GroundOnBothSides { ground } => {
                format!(
                    "{ground} is on the other side of the fence in an earlier row, which counts."
                )
            }
            Self::QuestionWithoutDate => {
                "the question lacks a date, so the row was left out.".to_owned()
            }
            Self::QuestionWithoutCamera => {
                "the question names no camera, so the row was left out.".to_owned()
            }
            Self::AskedTooLate { from } => format!(
                "this was asked when its days had begun, on {from}, so it is not asked beforehand and was left out."
            ),
            Self::AskedTwice => {
                "an earlier row asks the same, so this one was left out.".to_owned()
            }
            Self::GroundWithoutCamera => {
                "no camera is named that sees its deer, so nothing is told of it.".to_owned()
            }
            Self::WrongUnit { impossible: (some, all) } => format!(
                "{some} of {all} values are impossible in the unit that this column is read in, so all of it was left out."
            ),
            Self::UnlikelyWeather { what } => {
                format!("{what}; if that is not so, what is said of the weather is wrong.")
            }
            Self::NotAPart { text } => {
                format!("\"{text}\" is no part of 1, so the row was left out.")
            }
            Self::NotAnHour { text } => {
                format!("\"{text}\" is not a moment, so the row was left out.")
            }
            Self::NotAWeatherValue { text } => {
                format!("\"{text}\" is no value that weather has, so it was left out.")
            }
            Self::OutsideDates { camera, days } => {
                format!(
                    "{camera} has pictures or sightings on {days} day{} outside its dates.",
                    if *days == 1 { "" } else { "s" }
                )
            }
            Self::ViewChanged { camera, before, after } => format!(
                "{camera} seems to look at something else since {}: compare {} of {} with {}. A comparison across that day would compare two places.",
                after.1, before.0, before.1, after.0
            ),
        }
    }
}

fn day(date: Option<NaiveDate>, open: &str) -> String {
    date.map_or(open.to_owned(), |d| d.to_string())
}

fn years_apart(one: &AtWork, other: &AtWork, years: i32, is_witnessed: bool) -> String {
    let span = |c: &AtWork| format!("{} to {}", c.first, c.last);
    let apart = if years == 1 { "one year" } else { "some years" };
    let which = match is_witnessed {
        true => format!("nothing but its clock speaks for the year of {}", one.camera),
        false => "nothing says which of the two is right".to_owned(),
    };
    format!(
        "{} and {} were never at work together: {} against {}, the same weeks {apart} apart, and {which}.",
        one.camera,
        other.camera,
        span(one),
        span(other)
    )
}
