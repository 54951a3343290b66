//! What is said of the season, of its cameras and of each disturbance, in sentences.

use super::answer;
use crate::clock_check::Finding;
use crate::debrief::{Debrief, FEWEST_RANKED_NIGHTS};
use crate::property::Disturbance;
use crate::report::words;
use crate::shift::{Role, Shift};
use crate::visits::{About, Camera, PicturesOn, Why};

/// What puts the rest in doubt, or says whom it is about.
pub(super) fn to_mind(debrief: &Debrief) -> Vec<String> {
    let mut all: Vec<String> = debrief.wrong_clocks().map(wrong_clock).collect();
    all.extend(tagged_so_far(debrief));
    all.extend(untagged_weeks(debrief));
    all.extend(about(debrief));
    all
}

fn wrong_clock(finding: &Finding) -> String {
    format!(
        "The clock of {} is wrong: {}. What is said here of {} between {} and {} by its clock is in doubt until that is settled; see Clocks.",
        finding.camera,
        finding.fault.word(),
        finding.camera,
        words::day(finding.from.date()),
        words::day(finding.until.date())
    )
}

/// How far the tagging has come, where it has not come far enough for rates.
fn tagged_so_far(debrief: &Debrief) -> Option<String> {
    let all = debrief.season.pictures_of(debrief.season.newest()?);
    let (found, tagged) = (all.all, all.all - all.untagged);
    (!all.are_tagged()).then(|| match tagged {
        0 => format!(
            "None of {} of this season is tagged so far, so nothing is known of who is in them.",
            words::counted(found, "picture")
        ),
        // Most of what is tagged shows no deer.
        _ if all.mostly_have_a_tag() => format!(
            "{} of this season have no tag yet, beside {} that show deer. What follows is of these alone: the others may hold other deer at other hours.{}",
            words::counted(all.untagged, "picture"),
            words::grouped(all.with_deer),
            probably_nothing(all),
        ),
        _ => format!(
            "Only {} of {} of this season are tagged so far. What follows is of these alone: the others may hold other deer at other hours.{}",
            words::grouped(tagged),
            words::counted(found, "picture"),
            probably_nothing(all),
        ),
    })
}

/// How many of the pictures without a tag can be looked over at once.
fn probably_nothing(all: PicturesOn) -> String {
    match all.probably_nothing {
        0 => String::new(),
        n => format!(
            " In {} of the {} without a tag there is probably nothing: the page for tagging puts them together, to be looked over and swept.",
            words::grouped(n),
            words::grouped(all.untagged),
        ),
    }
}

/// Cameras and weeks of the newest season of which too little is tagged, although most of it is.
fn untagged_weeks(debrief: &Debrief) -> Option<String> {
    const NAMED: usize = 3;
    let year = debrief.season.newest()?;
    let weeks = |c: &Camera| c.untagged_weeks(year.first(), year.last());
    let named: Vec<String> = debrief
        .season
        .cameras
        .iter()
        .map(|c| (c, weeks(c)))
        .filter(|(_, weeks)| !weeks.is_empty())
        .map(|(c, weeks)| {
            let from = weeks[0].0.format("%-d %B");
            match weeks.len() {
                1 => format!("{} in the week of {from}", c.name),
                n => format!("{} in {n} weeks from {from} on", c.name),
            }
        })
        .collect();
    let more = named.len().saturating_sub(NAMED);
    let mut told = named.into_iter().take(NAMED).collect::<Vec<_>>().join(", ");
    if more > 0 {
        told += &format!(" and {}", words::counted(more, "more camera"));
    }
    (!told.is_empty()).then(|| {
        format!("Not tagged yet, or less than nine tenths of what may show deer: {told}. Deer may be missing there, and what is said of these days may change.")
    })
}

/// Whom all of it is about, where that is not mature bucks, and what would change it.
fn about(debrief: &Debrief) -> Option<String> {
    let About { why, visits, .. } = debrief.season.about;
    let years = debrief.property.settings.mature_age;
    let bucks = format!("{} of bucks", words::counted(visits.bucks, "visit"));
    let none_or = |n: usize| match n {
        0 => "None".to_owned(),
        n => format!("Only {}", words::grouped(n)),
    };
    match why {
        Why::Aged => None,
        Why::NotAged => Some(format!(
            "{} of {bucks} have an age, so this is about bucks of all ages. With an age in four of five of them it would be about mature bucks, from {years} years.",
            none_or(visits.aged),
        )),
        Why::NoneMature => Some(format!(
            "No buck of {years} years or more was seen in {bucks}, so this is about bucks of all ages.",
        )),
        Why::FewBucks => Some(format!(
            "{} of {} are of bucks, so this is about all deer.",
            none_or(visits.bucks),
            words::counted(visits.deer, "visit"),
        )),
        Why::NotToldApart => Some(format!(
            "Deer are hardly told apart: {} of {} say buck, doe or fawn. So this is about all deer; with bucks tagged, and their ages, it would be about them.",
            words::grouped(visits.of_a_kind),
            words::counted(visits.deer, "visit"),
        )),
    }
}

/// How much of the newest season's visits came in light, over the whole property, and the numbers behind it.
pub(super) fn season(debrief: &Debrief) -> (String, String) {
    let light = debrief.property.settings.share_light();
    let about = debrief.season.about.kind;
    match debrief.daylight_of(None, about) {
        Some(a) if a.visits > 0 => (
            format!(
                "{}{} came in {light} on {} of {}.",
                of_season(debrief),
                match of_season(debrief).is_empty() {
                    true => about.plural().to_owned(),
                    false => about.them().to_owned(),
                },
                words::grouped(a.counted),
                words::counted(a.visits, "visit")
            ),
            format!(
                "{}{}.",
                a.share.map_or_else(String::new, |s| format!(
                    "{} ({})",
                    words::percent(s.value),
                    words::percent_range(s)
                )),
                match has_changed(debrief) {
                    true => ", over the whole season, in which something changed: see below",
                    false if !a.pictures.are_tagged() => ", of what is tagged so far",
                    false => ", over the whole property and season",
                }
            ),
        ),
        _ if debrief.season.about.visits.deer == 0 => {
            ("No visit of a deer is tagged yet.".to_owned(), String::new())
        }
        _ => (format!("No visit of {} is tagged yet.", about.them()), String::new()),
    }
}

/// Whether a disturbance of the newest season clearly changed whom the season is about.
fn has_changed(debrief: &Debrief) -> bool {
    let about = debrief.season.about.kind;
    let newest = debrief.season.newest();
    let rows = debrief.shifts.rows.iter();
    let mut near = rows.filter(|s| s.role == Role::Near && s.kind == about);
    // What changed before its first picture is part of all of it.
    let within = |s: &Shift| Some(debrief.season.year_of(s.before.until)) == newest;
    near.any(|s| Some(s.season) == newest && within(s) && s.is_clear())
}

/// The camera that leads, without numbers.
pub(super) fn leads(debrief: &Debrief) -> Option<String> {
    let leader = debrief.leader?;
    let name = debrief.camera_name(Some(leader.camera));
    let second = debrief.camera_name(Some(leader.second));
    let since = debrief
        .leader_since()
        .map_or_else(String::new, |date| format!("Since {}, ", date.format("%-d %B")));
    let not_ranked = not_ranked(debrief);
    let of = match not_ranked.is_empty() {
        true => "any other camera",
        false => "any other that can be ranked",
    };
    let has = match leader.p_adjusted <= 0.05 {
        _ if leader.is_level => {
            format!("{name} and {second} have had the most of them a night, as many each.")
        }
        true => format!("{name} has had clearly more of them a night than {of}."),
        false => format!(
            "{name} has had the most of them a night; {second} is too close behind to call it better."
        ),
    };
    Some(since + &has + &not_ranked)
}

/// Cameras of which too little is tagged to be ranked, in a sentence.
pub(super) fn not_ranked(debrief: &Debrief) -> String {
    let leader = debrief.leader;
    let cameras = leader.map_or_else(Vec::new, |l| l.not_tagged(&debrief.season));
    let name = |c: &usize| debrief.camera_name(Some(*c)).to_owned();
    let names: Vec<String> = cameras.iter().map(name).collect();
    match names.len() {
        0 => String::new(),
        n => format!(
            " {} {} not ranked, since too little there has a tag, and may have had more.",
            words::listed(&names),
            if n == 1 { "is" } else { "are" }
        ),
    }
}

/// Which season is told of, where there are several.
fn of_season(debrief: &Debrief) -> String {
    match debrief.season.years[..] {
        [.., _, newest] => format!("In {} ", newest.name()),
        _ => String::new(),
    }
}

pub(super) fn best_camera(debrief: &Debrief) -> Option<String> {
    let leader = debrief.leader?;
    let second = debrief.camera_name(Some(leader.second));
    let certainty = if leader.is_level {
        format!("{second} has as many")
    } else if leader.p_adjusted <= 0.05 {
        format!("clearly more than every other camera, {second} next")
    } else {
        format!("but {second} is too close behind to call it better")
    };
    let since = debrief.leader_since().map_or_else(String::new, |date| {
        format!(" since {}, the last day on which something is logged", words::day(date))
    });
    Some(format!(
        "{} had the most a night{since}: {} of {} in {} over {}, {:.0} in 100 nights ({:.0}–{:.0}); {certainty}. All cameras are counted over the same days; one that worked on fewer than {FEWEST_RANKED_NIGHTS} of them is not ranked.{}",
        debrief.camera_name(Some(leader.camera)),
        words::counted(leader.counted, "visit"),
        debrief.season.about.kind.them(),
        debrief.property.settings.share_light(),
        words::counted(leader.nights, "night"),
        leader.per_100_nights.value,
        leader.per_100_nights.low,
        leader.per_100_nights.high,
        not_ranked(debrief),
    ))
}

/// What can be said about one disturbance, in some sentences.
pub(super) fn verdict_sentence(debrief: &Debrief, disturbance: &Disturbance) -> String {
    let told = answer::of_event(debrief, disturbance);
    format!("{} {}", words::capital(&told.heart), told.rest)
}
