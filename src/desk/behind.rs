//! The visits behind a number of the debrief, each with the screen on which it was tagged.

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::Desk;
use super::deer::{self, Hours};
use super::server::{Answer, Failure, Reply};
use super::state::DeskSeason;
use super::visits::{DATE, TIME};
use crate::debrief::{Behind, Beside, Counted, Debrief};
use crate::outlook::{Belief, Half};
use crate::report::outlook_words;
use crate::visits::{Kind, Visit};

/// `GET api/behind`
pub(super) fn behind(desk: &Desk, number: &Behind) -> Answer {
    let missing = || Failure::Missing("The debrief holds no such number".to_owned());
    let found = desk.live.with_debrief(|debrief| {
        let mut visits = debrief.visits_behind(number)?;
        visits.sort_by_key(|(camera, v)| (v.first, *camera));
        let named = |(camera, v): (usize, Visit)| (debrief.camera_name(Some(camera)).to_owned(), v);
        let visits: Vec<(String, Visit)> = visits.into_iter().map(named).collect();
        Some((title(debrief, number), visits))
    });
    let found = found.ok_or_else(|| Failure::Missing("The debrief is not made yet".to_owned()))?;
    let (title, visits) = found.ok_or_else(missing)?;
    let mut season = desk.season();
    season.refresh()?;
    let settings = &season.property.settings;
    let alone: Vec<Visit> = visits.iter().map(|(_, v)| *v).collect();
    let views: Vec<Value> = visits.iter().map(|(c, v)| view(&season, c, v)).collect();
    Reply::json(&json!({
        "title": title,
        "light": settings.share_light(),
        "counted": alone.iter().filter(|v| v.counted).count(),
        "hours": Hours::of(&alone, settings),
        "visits": views,
    }))
}

fn title(debrief: &Debrief, number: &Behind) -> String {
    let whose = match number.of {
        Counted::Deer => number.which.clone(),
        Counted::Again if !number.days.is_empty() => Kind::Deer.plural().to_owned(),
        Counted::Stand | Counted::Again | Counted::Weather => {
            let about = debrief.season.about.kind.plural();
            format!("{about} in {}", debrief.property.settings.share_light())
        }
        _ if !number.deer.is_empty() => number.deer.clone(),
        _ => Kind::parse(&number.kind).map_or_else(String::new, |k| k.plural().to_owned()),
    };
    let place = match (number.camera.as_str(), number.of) {
        ("", Counted::Change) => ", all near cameras".to_owned(),
        ("", _) => String::new(),
        (camera, _) => format!(" at {camera}"),
    };
    let newest = || debrief.season.newest().map_or_else(String::new, |y| y.name());
    let when = match (number.of, number.side) {
        (Counted::Season, _) => match number.since.parse::<NaiveDate>() {
            Ok(date) => format!("{} from {}", newest(), date.format("%-d %b %Y")),
            Err(_) => newest(),
        },
        (Counted::Deer, _) if number.season.is_empty() => "all seasons".to_owned(),
        (Counted::Deer, _) | (Counted::Years, Beside::Before) => number.season.clone(),
        (Counted::Years, _) => format!("{}, beside {}", newest(), number.season),
        (Counted::Change, side) => {
            let mut all = debrief.property.disturbances.iter();
            let what = all.find(|d| d.id == number.which);
            format!(
                "{} \u{201c}{}\u{201d}",
                match side {
                    Beside::Both => "before and after",
                    side => side.word(),
                },
                what.map_or("", |d| d.what.as_str())
            )
        }
        (Counted::Stand, _) => {
            let half = number.half.map_or("", Half::word);
            let wind = match number.days.as_str() {
                "suited" => ", with a wind that suits",
                "other" => ", with another wind",
                _ => "",
            };
            format!("{}, {half}s of {}{wind}", number.which, number.part)
        }
        (Counted::Again, _) if number.days == "other" => {
            format!("a week or more after \u{201c}{}\u{201d}", number.which)
        }
        (Counted::Again, _) if !number.days.is_empty() => {
            format!("day {} after \u{201c}{}\u{201d}", number.days, number.which)
        }
        (Counted::Again, Beside::Before) => {
            format!("other days than those of \u{201c}{}\u{201d}", number.which)
        }
        (Counted::Again, _) => {
            format!("the day of \u{201c}{}\u{201d} and the two after it", number.which)
        }
        (Counted::Weather, side) => weather(number, side),
    };
    format!("{whose}{place}, {when}")
}

fn weather(number: &Behind, side: Beside) -> String {
    let belief = Belief::ALL.into_iter().find(|b| b.word() == number.which);
    belief.map_or_else(
        || "in all weather".to_owned(),
        |belief| {
            let third = outlook_words::thirds(belief)[usize::from(side == Beside::After)];
            format!("{}: {third}", outlook_words::belief(belief))
        },
    )
}

fn view(season: &DeskSeason, camera: &str, visit: &Visit) -> Value {
    let shown = |form| visit.first.shown().format(form).to_string();
    let picture = first_picture(season, camera, visit).map(|p| deer::picture(season, p));
    json!({
        "camera": camera,
        "date": shown(DATE),
        "time": shown(TIME),
        "light": visit.light.word(),
        "counted": visit.counted,
        "picture": picture,
    })
}

/// The picture with which a visit begins; a row of sightings.csv has none.
fn first_picture(season: &DeskSeason, camera: &str, visit: &Visit) -> Option<u32> {
    let screens = &season.screens;
    let camera = screens.cameras.iter().position(|c| c == camera)?;
    let start = screens.all.partition_point(|s| s.camera < camera);
    let of_camera = screens.all[start..].iter().take_while(|s| s.camera == camera);
    let mut pictures = of_camera.flat_map(|s| s.pictures.iter().copied());
    pictures.find(|p| screens.times[*p as usize] == Some(visit.first))
}
