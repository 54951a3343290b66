//! The answers in a few sentences, first.

use chrono::NaiveDate;
use maud::{Markup, html};

use crate::clock_check::Finding;
use crate::debrief::Debrief;
use crate::report::words;
use crate::shift::{Pattern, Role, Shift, Verdict};
use crate::visits::{About, Camera, PicturesOn, Why};

pub(super) fn section(debrief: &Debrief) -> Markup {
    html! {
        section {
            h2 { "In short" }
            ul.answer {
                @for sentence in sentences(debrief) { li { (sentence) } }
            }
        }
    }
}

fn sentences(debrief: &Debrief) -> Vec<String> {
    let mut all: Vec<String> = debrief.wrong_clocks().map(wrong_clock).collect();
    all.extend(tagged_so_far(debrief));
    all.extend(about(debrief));
    all.push(property(debrief));
    all.extend(best_camera(debrief));
    for disturbance in &debrief.property.disturbances {
        let near: Vec<&Shift> = debrief
            .shifts
            .of(&disturbance.id, debrief.season.about.kind)
            .filter(|s| s.role == Role::Near)
            .collect();
        all.push(format!(
            "{} ({}): {}",
            disturbance.what,
            words::day(disturbance.start.date()),
            verdict_sentence(debrief, &near)
        ));
    }
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
    let every = |c: &Camera| c.pictures_between(NaiveDate::MIN, NaiveDate::MAX);
    let all: PicturesOn = debrief.season.cameras.iter().map(every).sum();
    (!all.are_tagged()).then(|| {
        format!(
            "Only {} of {} are tagged so far. What follows is of these alone: the others may hold other deer at other hours.",
            words::grouped(all.all - all.untagged),
            words::counted(all.all, "picture"),
        )
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

fn property(debrief: &Debrief) -> String {
    let light = debrief.property.settings.share_light();
    let about = debrief.season.about.kind;
    match debrief.daylight_of(None, about) {
        Some(a) if a.visits > 0 => format!(
            "Over the whole property {} came in {light} on {}.",
            about.them(),
            words::share(a.counted, a.visits, a.share)
        ),
        _ if debrief.season.about.visits.deer == 0 => {
            "No visit of a deer is tagged yet.".to_owned()
        }
        _ => format!("No visit of {} is tagged yet.", about.them()),
    }
}

fn best_camera(debrief: &Debrief) -> Option<String> {
    let leader = debrief.leader?;
    let best = debrief.daylight_of(Some(leader.camera), debrief.season.about.kind)?;
    let interval = best.per_100_nights.filter(|_| best.counted > 0)?;
    let certainty = if leader.p_adjusted <= 0.05 {
        "clearly more than the other cameras together"
    } else {
        "but the others are too close behind to call it better"
    };
    Some(format!(
        "{} had the most: {} of {} in {} over {}, {:.0} in 100 nights ({:.0}–{:.0}); {certainty}.",
        debrief.camera_name(best.camera),
        words::counted(best.counted, "visit"),
        debrief.season.about.kind.them(),
        debrief.property.settings.share_light(),
        words::counted(best.nights, "night"),
        interval.value,
        interval.low,
        interval.high,
    ))
}

/// What can be said about some near cameras, in one sentence.
pub(super) fn verdict_sentence(debrief: &Debrief, near: &[&Shift]) -> String {
    let clear: Vec<&&Shift> = near.iter().filter(|s| s.verdict.is_clear()).collect();
    if !clear.is_empty() {
        let parts: Vec<String> = clear.iter().map(|s| change_words(debrief, s)).collect();
        return parts.join("; ") + ".";
    }
    let gone: Vec<String> = near.iter().filter_map(|s| gone(debrief, s)).collect();
    if !gone.is_empty() {
        return gone.join("; ") + ".";
    }
    if near.iter().all(|s| s.verdict == Verdict::TooFewVisits) {
        return format!(
            "not enough visits of {} near it to tell ({}).",
            debrief.season.about.kind.them(),
            counts(debrief, near)
        );
    }
    let judged = near.iter().filter(|s| s.verdict != Verdict::TooFewVisits);
    if judged.clone().all(|s| s.verdict == Verdict::NoControl) {
        return format!(
            "cannot be told, because no camera can be compared with, and the season itself may have made any change ({}).",
            counts(debrief, near)
        );
    }
    format!(
        "no clear change in {} near it ({}).",
        debrief.season.about.kind.them(),
        counts(debrief, near)
    )
}

fn change_words(debrief: &Debrief, shift: &Shift) -> String {
    let fell = if shift.verdict == Verdict::ClearDrop {
        "fell"
    } else {
        "rose"
    };
    let against = shift
        .share_change_against_controls
        .map_or_else(String::new, |c| {
            format!("{} against the controls", words::points(c))
        });
    format!(
        "at {} {} in {} {fell} from {} of {} visits to {} of {}: {}, {against} ({} with everything looked at allowed for)",
        debrief.camera_name(Some(shift.camera)),
        debrief.season.about.kind.them(),
        debrief.property.settings.share_light(),
        shift.before.counted,
        shift.before.visits,
        shift.after.counted,
        shift.after.visits,
        shift.share_change.map_or_else(String::new, words::points),
        words::p(shift.p_adjusted),
    )
}

/// Deer that come less at all hours.
fn gone(debrief: &Debrief, shift: &Shift) -> Option<String> {
    let how = match shift.pattern? {
        Pattern::Left => "came less at all hours",
        Pattern::Moved => "came less at all hours while another camera had more",
        Pattern::WentDark | Pattern::Stayed => return None,
    };
    Some(format!(
        "{} {how} at {}: {} in {} before, {} in {} after ({} with everything looked at allowed for); of those that came, no clear change in the share in {}",
        debrief.season.about.kind.them(),
        debrief.camera_name(Some(shift.camera)),
        words::counted(shift.before.visits, "visit"),
        words::counted(shift.before.nights, "night"),
        words::counted(shift.after.visits, "visit"),
        words::counted(shift.after.nights, "night"),
        words::p(shift.rate_p_adjusted),
        debrief.property.settings.share_light(),
    ))
}

fn counts(debrief: &Debrief, near: &[&Shift]) -> String {
    let one = |s: &&Shift| {
        format!(
            "{}: {} of {} before, {} of {} after",
            debrief.camera_name(Some(s.camera)),
            s.before.counted,
            s.before.visits,
            s.after.counted,
            s.after.visits
        )
    };
    const SHOWN: usize = 3;
    let mut parts: Vec<String> = near.iter().take(SHOWN).map(one).collect();
    if near.len() > SHOWN {
        parts.push(format!("and {} more cameras", near.len() - SHOWN));
    }
    parts.join("; ")
}
