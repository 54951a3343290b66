//! What would put it right, in the person's words.

use chrono::{Days, NaiveDate};

use super::Cause;

impl Cause {
    /// What the person can do about it.
    pub fn remedy(&self) -> String {
        let words: &str = match self {
            Self::UnknownColumn { known } => return format!("Known columns: {known}."),
            Self::NotADate { remedy, .. } => remedy,
            Self::EitherDate { .. } => {
                "Write date_order = \"day first\" or date_order = \"month first\" at the top of property.toml, or dates as 2025-10-18."
            }
            Self::OpenQuote => "Close it, or remove it.",
            Self::SurplusCells => {
                "Put quotation marks around a cell that holds a comma or semicolon, a number with a decimal comma too."
            }
            // The reader of tables has said it all.
            Self::NoTable { .. } => "",
            Self::EmptyRow => "Fill it in.",

            Self::PlacementWithoutCamera => "Write the name of the camera's folder.",
            Self::TwoPlaces { moved, .. } => return end_the_other(*moved),
            Self::UntilBeforeFrom { .. } => "Put the later date under until.",
            Self::UnknownClockSetting { .. } => {
                "Use local (reset for daylight time), standard (never moved) or an offset such as -06:00."
            }
            Self::SwappedPlace { .. } => {
                "Put the two the other way round: latitude is how far north."
            }
            Self::FarPlace { .. } => {
                "Check both numbers and their signs: west and south are negative."
            }
            Self::NoPlace { .. } => {
                "Use degrees, north and east positive, such as 43.10 and -90.70, or leave both empty."
            }

            Self::NoId => "Give it a short name, such as tower-blind.",
            Self::IdInUse { .. } => "Give every disturbance its own id.",
            Self::NoStart => "Write the date it began, such as 2025-10-18.",
            Self::EndBeforeStart => "Put the later date under end.",
            Self::UnknownDoer { .. } => "Use neighbour, own or nature.",
            Self::UnknownDating { .. } => {
                "Use notes if you wrote the date down, or pictures if you found it by looking at them."
            }

            Self::CorrectionWithoutCamera => "Name the camera whose clock is corrected.",
            Self::NotMinutes { .. } => {
                "Write the minutes to add to the camera's clock, such as -60."
            }
            Self::UnknownReading { .. } => {
                "Leave it empty, or write file date for pictures without a time."
            }

            Self::LinkLoop => "Remove the link if it is not wanted.",
            Self::NotOpened { .. } => "Check that it exists and that you may read it.",
            Self::DamagedTwin { .. } => "Look at both, and remove the bad one.",
            Self::KindsNotRead { .. } => {
                "Set the camera to JPEG pictures and MP4, MOV or AVI clips, or tag what they show in sightings.csv."
            }
            Self::LoosePictures { .. } => {
                "Make a folder for each camera in cards and put its pictures there."
            }
            Self::TimesOfFiles { .. } => {
                "Compare some of them with what they show, and take them out if the dates are wrong."
            }
            Self::TimesOfChange { .. } => {
                "If a program has changed them, use the files as the camera wrote them."
            }
            Self::NoTimes { .. } => {
                "If one of them shows a moment that you know, tell it: graylight clock PROPERTY --picture PICTURE --shows TIME --accept. The others follow by their files' dates."
            }

            Self::ClipsInUtc { .. } | Self::ClipsOff { .. } => "Nothing needs to be done.",

            Self::UnknownWho { .. } => {
                "Use buck, doe, fawn, deer, other, person, vehicle or empty."
            }
            Self::UnknownForeignWho { .. } => "Say whom it means in keywords.csv: keyword,who",
            Self::NotACount { .. } => "Use a whole number from 1, or leave it empty for one.",
            Self::ImpossibleAge { .. } => "Use years such as 0.5, 1.5, 2.5, or leave it empty.",
            Self::NoPictureNamed | Self::NoSuchPicture { .. } => {
                "Write the picture's path below the property, such as cards/Oak/IMG_0001.JPG."
            }
            Self::NotAHash => "Leave it empty if you do not know it.",
            Self::NoSuchForeignPicture { .. } => {
                "Write the picture's path below the property, or the end of it that fits only one."
            }
            Self::PictureGone { .. } | Self::PathTaken { .. } => {
                "Put the picture back; under another name or in another folder it is found too."
            }
            Self::SourcesDiffer { .. } => "Look at the picture and put one of them right.",
            Self::NoKeywordFile { .. } => "Save it again with the program that wrote it.",
            Self::NoKeyword => "Write the keyword as the photo manager has it.",
            Self::SightingWithoutCamera => "Write the camera's name as in cameras.csv.",
            Self::FutureSighting { .. } | Self::FutureDisturbance { .. } => "Check the year.",
            Self::NoTimeOfDay { remedy, .. } | Self::NotATime { remedy, .. } => remedy,

            Self::YearsApart { .. } => {
                "If they hung at the same time, one clock has a wrong year: write from and until of both in cameras.csv, and graylight clock says which. If they did not, write that."
            }

            Self::UnknownNear { .. } => {
                "Write the camera's name as its folder has it; put ; between several."
            }
            Self::Unplaced { .. } => {
                "Give its place, or list the near cameras in disturbances.csv."
            }

            Self::DeerWithoutName => "Write its name as it stands in tags.csv, or remove the row.",
            Self::DeerTwice { .. } => "Keep one row for each name.",
            Self::NotABirthYear { .. } => {
                "Write the year in which it was a fawn, such as 2021, or leave it empty."
            }
            Self::NotALand { .. } | Self::EmptyLand => {
                "Save the land from the mapping program again, as GeoJSON, KML or GPX; the report is made without it."
            }
            Self::UnseenDeer { .. } => "Check its spelling against tags.csv.",
            Self::SeenUnborn { .. } => "Check its year of birth, or the name in its tags.",
            Self::AgesDiffer { .. } => {
                "Put one of the two right, or leave the age out of the tags."
            }
            Self::KindsDiffer { .. } => "Check its tags: are they of one deer?",
            Self::LandSwapped { .. } => "Save it again with the longitude first.",
            Self::LandOffTheGlobe { .. } => {
                "Save it in degrees (WGS 84), not in metres or feet of a map grid."
            }
            Self::LandFarAway { .. } => {
                "Check the place in property.toml, and that the file has the longitude before the latitude."
            }
            Self::StandWithoutName => "Give it a name.",
            Self::StandTwice { .. } => "Keep one row for each stand.",
            Self::NotAWind { .. } => {
                "Write where the wind may come from, as N, NE, E, SE, S, SW, W, NW or a point between, with ; between several."
            }
            Self::StandUnwatched { .. } => {
                "List its cameras under near, or give its place and that of the cameras."
            }
            Self::UnknownCamera { .. } => {
                "Write the camera's name as its folder has it; put ; between several."
            }
            Self::SitWithoutStand => "Write the stand as stands.csv has it.",
            Self::SitWithoutStart => "Write when it began, such as 2025-10-18T06:10.",
            Self::SitTooLong => "Write one row for each date.",
            Self::UnknownStand { .. } => {
                "Write its name as stands.csv has it, or give it a row there."
            }
            Self::GroundWithoutName => "Give the ground a name.",
            Self::UnknownFenceSide { .. } => "Use inside or outside.",
            Self::GroundOnBothSides { .. } => "Use one side for each ground, or another name.",
            Self::QuestionWithoutDate => "Write asked, from and by, each such as 2026-10-01.",
            Self::QuestionWithoutCamera => "List its cameras under near, with ; between several.",
            Self::AskedTooLate { .. } => "A question counts that is written down before.",
            Self::AskedTwice => "Remove one of the two.",
            Self::GroundWithoutCamera => "List them under feeds, with ; between several.",
            Self::WrongUnit { .. } | Self::UnlikelyWeather { .. } => {
                "Name the unit in [weather] in property.toml: temperature_unit = \"F\", wind_unit = \"mph\", pressure_unit = \"inHg\", rain_unit = \"in\" or the like."
            }
            Self::NotAPart { .. } => "Write a half as 0.5.",
            Self::NotAnHour { .. } => {
                "Write 2025-10-18T06:00, or with its offset 2025-10-18T06:00-05:00."
            }
            Self::NotAWeatherValue { .. } => {
                "Write a number in the column's unit, or leave the cell empty; [weather] in property.toml names other units."
            }
            Self::SilentFolder { .. } => "See what is said of its pictures.",
            Self::SilentPlacement { .. } => {
                "Check that its name is that of its folder, or remove the row."
            }
            Self::NothingToCorrect { .. } => "Write the camera's name as its folder has it.",
            Self::OutsideDates { .. } => "Check from and until, or the camera's clock.",
            Self::ViewChanged { before, after, .. } => {
                return format!(
                    "If it was moved or turned, end its row with until {} and give it a new one from {} with another place or setting.",
                    before.1, after.1
                );
            }
        };
        words.to_owned()
    }
}

/// For a camera that came to its new place on a date, where the row says so.
fn end_the_other(moved: Option<NaiveDate>) -> String {
    match moved.and_then(|from| from.checked_sub_days(Days::new(1))) {
        Some(before) => format!(
            "If it was moved on {}, end the other row with until {before}.",
            before + Days::new(1)
        ),
        None => "Give each row its from and until.".to_owned(),
    }
}
