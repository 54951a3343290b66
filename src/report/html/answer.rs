//! What is said of a comparison: the counts, what the other cameras did, and how sure it is. The page, the printed
//! report and the appendix all take their sentences from here.

use crate::debrief::Debrief;
use crate::property::Disturbance;
use crate::report::words;
use crate::shift::{
    Answer, Explanation, Instead, Pattern, Question, Role, Shift, Side, Verdict, Why,
};

/// A comparison in sentences.
pub(super) struct Told {
    /// What happened, in one short sentence.
    pub heart: String,
    /// Counts here and elsewhere, and how sure that is.
    pub rest: String,
}

/// Of one event: of the row that changed if one did, else of all near cameras together.
pub(super) fn of_event(debrief: &Debrief, disturbance: &Disturbance) -> Told {
    let Some(row) = row_of(debrief, disturbance) else {
        return told("No camera is near it, so the pictures say nothing of it.", String::new());
    };
    if let Some(why) = not_watched(debrief, disturbance, row) {
        return told(why, String::new());
    }
    let said = [counts(debrief, row), others(debrief, row), sureness(debrief, row)];
    let said: Vec<String> = said.into_iter().filter(|s| !s.is_empty()).collect();
    Told { heart: heart(debrief, row), rest: said.join(" ") }
}

fn told(heart: &str, rest: String) -> Told {
    Told { heart: heart.to_owned(), rest }
}

/// The row that an event is told by.
pub(super) fn row_of<'a>(debrief: &'a Debrief, disturbance: &Disturbance) -> Option<&'a Shift> {
    let about = debrief.season.about.kind;
    let together = debrief.shifts.together(&disturbance.id, about)?;
    let alone = debrief.shifts.of(&disturbance.id, about);
    let near: Vec<&Shift> = alone.filter(|s| s.role == Role::Near).collect();
    // One near camera is all of them, and more is known of it.
    let first = if let [one] = near[..] { one } else { together };
    let mut rows = std::iter::once(first).chain(near);
    Some(rows.find(|s| s.is_clear()).unwrap_or(first))
}

fn not_watched(debrief: &Debrief, disturbance: &Disturbance, row: &Shift) -> Option<&'static str> {
    let is_ahead = debrief.season.span().is_none_or(|(_, last)| disturbance.start.date() > last);
    match (row.before.nights, row.after.nights) {
        _ if is_ahead => Some("It came after the last picture, so nothing can be said of it yet."),
        (0, 0) => Some("No camera near it was at work before or after."),
        (0, _) => Some("No camera near it was at work before it."),
        (_, 0) => Some("No camera near it was at work after it."),
        _ => None,
    }
}

/// `North Fence: fewer mature bucks came in legal light.`
fn heart(debrief: &Debrief, row: &Shift) -> String {
    let them = debrief.season.about.kind.them();
    let light = debrief.property.settings.share_light();
    let place = place(debrief, row);
    let answer = |question| row.answer(question);
    match (row.light_verdict, row.verdict) {
        (Verdict::ClearDrop, _) => format!("{place}: fewer {them} came in {light}."),
        (Verdict::ClearRise, _) => format!("{place}: more {them} came in {light}."),
        (_, Verdict::ClearDrop) => {
            format!("{place}: a smaller part of the visits of {them} came in {light}.")
        }
        (_, Verdict::ClearRise) => {
            format!("{place}: a larger part of the visits of {them} came in {light}.")
        }
        _ => match answer(Question::LightVisits) {
            Answer::Stayed => format!("{place}: {them} kept coming in {light}."),
            Answer::TooFew => format!("{place}: too few visits of {them} to tell."),
            Answer::CannotTell(Why::NotTagged) => {
                format!("{place}: not enough of these pictures have a tag to tell.")
            }
            _ if row.before.counted + row.after.counted == 0 => {
                format!("{place}: no {them} came in {light}, before or after.")
            }
            _ => format!("{place}: can't tell whether it changed the {them}."),
        },
    }
}

/// `Visits in legal light went from 25 in 21 nights to 4 in 20.`
fn counts(debrief: &Debrief, row: &Shift) -> String {
    let light = debrief.property.settings.share_light();
    let (before, after) = (&row.before, &row.after);
    let visits = format!(
        "Visits in {light} went from {} in {} to {} in {}",
        before.counted,
        words::counted(before.nights, "night"),
        after.counted,
        words::counted(after.nights, "night"),
    );
    let all = format!("of all visits {} and {}", before.visits, after.visits);
    format!("{visits} ({all}).")
}

/// What the cameras that it is set against did over the same days.
fn others(debrief: &Debrief, row: &Shift) -> String {
    let controls: Vec<&Shift> = debrief
        .shifts
        .of(&row.disturbance, row.kind)
        .filter(|s| s.role == Role::Control && s.before.nights > 0 && s.after.nights > 0)
        .collect();
    let sum = |of: fn(&Shift) -> &Side| controls.iter().map(|s| of(s).counted).sum::<usize>();
    let (before, after) = (sum(|s| &s.before), sum(|s| &s.after));
    let beyond = row.controls_beyond[0];
    match controls.len() {
        _ if row.before.counted + row.after.counted == 0 => String::new(),
        0 => String::new(),
        1 => format!("The one other camera went from {before} to {after}."),
        n => {
            let as_much = match beyond {
                0 => "none of them changed as much".to_owned(),
                1 => "one of them changed as much".to_owned(),
                all if all == n => "all of them changed as much".to_owned(),
                some => format!("{some} of them changed as much"),
            };
            format!("The {n} other cameras went from {before} to {after}; {as_much}.")
        }
    }
}

/// How sure it is, or why nothing can be told.
fn sureness(debrief: &Debrief, row: &Shift) -> String {
    let is_light = row.light_verdict.is_clear() || !row.verdict.is_clear();
    let question = if is_light { Question::LightVisits } else { Question::Share };
    match row.answer(question) {
        Answer::Changed => {
            let how = how(row);
            let range = match is_light {
                true => against(row),
                false => share_against(row),
            };
            [range, chance(row), how.to_owned()].map(|s| spaced(&s)).concat().trim().to_owned()
        }
        Answer::Stayed => format!(
            "A loss of half is ruled out, and so is twice as many{}.",
            row.fall_ruled_out.filter(|loss| *loss > 0.0).map_or_else(String::new, |loss| format!(
                ": at most {} are gone",
                words::percent(loss)
            ))
        ),
        Answer::TooFew => {
            "With so few visits or nights, even losing all of them would not stand out.".to_owned()
        }
        Answer::CannotTell(why) => cannot_tell(debrief, row, why),
    }
}

fn spaced(sentence: &str) -> String {
    match sentence.is_empty() {
        true => String::new(),
        false => format!("{sentence} "),
    }
}

fn cannot_tell(debrief: &Debrief, row: &Shift, why: Why) -> String {
    let per_night = |side: &Side| side.counted as f64 / side.nights.max(1) as f64;
    let still_possible = match row.fall_ruled_out {
        Some(loss) if loss > 0.0 && per_night(&row.after) < per_night(&row.before) => {
            format!(" The real loss could be anything up to {}.", words::percent(loss))
        }
        _ => String::new(),
    };
    match why {
        Why::NotTagged => {
            let untagged = row.before.pictures.untagged + row.after.pictures.untagged;
            format!("{} of these days have no tag yet.", words::counted(untagged, "picture"))
        }
        Why::ClockInDoubt => "The camera's clock is in doubt. Settle it first.".to_owned(),
        Why::NoControl => {
            "No other camera shows what the season alone would have done.".to_owned()
        }
        Why::DateFromPictures => {
            "You found this date by looking at when the deer changed, so that they changed then proves nothing. Ask next season, with a date you write down first."
                .to_owned()
        }
        Why::OtherDatesToo => {
            "At least every second date before it changed as much there, so this is nothing out of the ordinary."
                .to_owned()
        }
        Why::SeesLess => {
            "Other animals fell there as well, so the camera itself may see less. Check what grows before it, and its trigger."
                .to_owned()
        }
        Why::GroundChanged => {
            "A ground that feeds it changed in the same days, and the two can't be kept apart.".to_owned()
        }
        Why::AloneInItsSort => {
            "No other camera looks at the same sort of place, so none shows what the season did there."
                .to_owned()
        }
        Why::OthersChanged => {
            "It stayed as it was while the other cameras changed.".to_owned()
        }
        Why::CamerasDiffer => format!(
            "Cameras here change too much by themselves for these {} to settle it.{still_possible}",
            words::counted(row.before.nights + row.after.nights, "night"),
        ),
        Why::MoreNights(times) => format!(
            "About {:.0} times as many nights would show a loss of half.{still_possible}",
            times.ceil().max(2.0)
        ),
        Why::NotLookedAt => format!("By itself {} did not change.", place(debrief, row)),
    }
}

/// Visits in light over what was to be expected.
fn against(row: &Shift) -> String {
    let Some(ratio) = row.rate_ratio_against_controls else { return String::new() };
    match ratio.high < 1.0 {
        true => format!(
            "The real loss is between {} and {}.",
            words::percent(1.0 - ratio.high),
            words::percent(1.0 - ratio.low)
        ),
        false => format!(
            "That is {} what was to be expected ({}–{}).",
            words::times_or_part_of(ratio.value),
            words::factor(ratio.low),
            words::factor(ratio.high)
        ),
    }
}

fn share_against(row: &Shift) -> String {
    row.share_change_against_controls.map_or_else(String::new, |change| {
        format!("Against the other cameras that part changed by {}.", words::points(change))
    })
}

/// How often chance would do as much.
pub(super) fn chance(row: &Shift) -> String {
    let p = match row.light_verdict.is_clear() {
        true => row.light_p_adjusted,
        false => row.p_adjusted,
    };
    match p {
        Some(p) => {
            format!(
                "If nothing had happened, luck would still do this {} seasons.",
                words::once_in(p)
            )
        }
        None => String::new(),
    }
}

fn how(row: &Shift) -> &'static str {
    match row.pattern {
        Some(Pattern::WentDark) => "They still come, but in the dark.",
        Some(Pattern::Left) => "They come less at all hours.",
        Some(Pattern::Moved) => "They come less at all hours, and more at another camera.",
        Some(Pattern::Stayed | Pattern::CannotTell) | None => "",
    }
}

/// The other explanations of a clear change that were tested, each with its answer.
pub(super) fn instead(row: &Shift) -> String {
    let said = |other: &Instead| match (&other.what, other.still_clear) {
        (Explanation::OneBuck(name), true) => format!("without {name}, or any other buck"),
        (Explanation::OneBuck(name), false) => format!("without {name}"),
        (Explanation::OwnSits, _) => "without the days of your own sits".to_owned(),
        (Explanation::EarlierYears(_), _) => String::new(),
    };
    let sort = |clear: bool| -> Vec<String> {
        let those = row.instead.iter().filter(|o| o.still_clear == clear).map(said);
        those.filter(|s| !s.is_empty()).collect()
    };
    let (holds, falls) = (sort(true), sort(false));
    let mut sentences = Vec::new();
    if !holds.is_empty() {
        sentences.push(format!("It holds {}.", words::listed(&holds)));
    }
    if !falls.is_empty() {
        sentences.push(format!("It can no longer be told {}.", words::listed(&falls)));
    }
    sentences.extend(row.instead.iter().filter_map(|other| match other.what {
        Explanation::EarlierYears([before, after]) => Some(format!(
            "In the same weeks of earlier years it went from {before} to {after} there."
        )),
        _ => None,
    }));
    sentences.join(" ")
}

/// When a change began, and whether it is over.
pub(super) fn since(row: &Shift) -> String {
    let Some(onset) = &row.onset else { return String::new() };
    let day = |date: chrono::NaiveDate| date.format("%-d %B").to_string();
    let began = format!(
        "It most likely began on {} ({} to {})",
        day(onset.date),
        day(onset.interval.0),
        day(onset.interval.1)
    );
    match onset.recovered_after_days {
        Some(days) => format!(
            "{began} and was over after about {}.",
            words::counted(usize::try_from(days).unwrap_or(0), "day")
        ),
        None => format!("{began}; no return is seen up to {}.", day(onset.followed_until)),
    }
}

/// The near cameras of a row: by name if there are one or two.
pub(super) fn place(debrief: &Debrief, row: &Shift) -> String {
    if row.camera.is_some() {
        return debrief.camera_name(row.camera).to_owned();
    }
    let rows = debrief.shifts.of(&row.disturbance, row.kind);
    let near: Vec<&str> =
        rows.filter(|s| s.role == Role::Near).map(|s| debrief.camera_name(s.camera)).collect();
    match near[..] {
        [one] => one.to_owned(),
        [one, two] => format!("{one} and {two}"),
        _ => format!("the {} near cameras together", near.len()),
    }
}
