//! The answers in a few sentences, first.

use maud::{Markup, html};

use crate::debrief::{DaylightAnswer, Debrief};
use crate::report::words;
use crate::shift::{Role, Shift, Verdict};
use crate::visits::Kind;

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
    let mut all = vec![property(debrief)];
    all.extend(best_camera(debrief));
    for disturbance in &debrief.property.disturbances {
        let near: Vec<&Shift> = debrief
            .shifts
            .of(&disturbance.id, Kind::MatureBuck)
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

fn property(debrief: &Debrief) -> String {
    let light = debrief.property.settings.share_light();
    match debrief.daylight_of(None, Kind::MatureBuck) {
        Some(a) if a.visits > 0 => format!(
            "Over the whole property mature bucks came in {light} on {}.",
            words::share(a.counted, a.visits, a.share)
        ),
        _ => format!(
            "No visit of a mature buck is tagged yet. A buck counts as mature from {} years, so tags need an age.",
            debrief.property.settings.mature_age
        ),
    }
}

/// The camera with the highest rate whose interval lies clear of the property's own rate, or the
/// highest with a warning.
fn best_camera(debrief: &Debrief) -> Option<String> {
    let all = debrief
        .daylight_of(None, Kind::MatureBuck)?
        .per_100_nights?;
    let rate = |a: &DaylightAnswer| a.per_100_nights.map_or(0.0, |r| r.value);
    let best = debrief
        .daylight
        .iter()
        .filter(|a| a.camera.is_some() && a.kind == Kind::MatureBuck && a.counted > 0)
        .max_by(|a, b| rate(a).total_cmp(&rate(b)))?;
    let interval = best.per_100_nights?;
    let certainty = if interval.low > all.value {
        "more than chance would give an ordinary camera here"
    } else {
        "but the others are too close behind to call it better"
    };
    Some(format!(
        "{} had the most: {} of mature bucks in {} over {}, {} in 100 nights ({:.0}–{:.0}); {certainty}.",
        debrief.camera_name(best.camera),
        words::counted(best.counted, "visit"),
        debrief.property.settings.share_light(),
        words::counted(best.nights, "night"),
        interval.value.round(),
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
    if near.iter().all(|s| s.verdict == Verdict::TooFewVisits) {
        return format!(
            "not enough visits of mature bucks near it to tell ({}).",
            counts(debrief, near)
        );
    }
    format!(
        "no clear change in mature bucks near it ({}).",
        counts(debrief, near)
    )
}

fn change_words(debrief: &Debrief, shift: &Shift) -> String {
    let fell = if shift.verdict == Verdict::ClearDrop {
        "fell"
    } else {
        "rose"
    };
    format!(
        "at {} the share of mature-buck visits in {} {fell} from {} of {} to {} of {}, {}, {} with everything looked at allowed for",
        debrief.camera_name(Some(shift.camera)),
        debrief.property.settings.share_light(),
        shift.before.counted,
        shift.before.visits,
        shift.after.counted,
        shift.after.visits,
        shift.share_change.map_or_else(String::new, words::points),
        words::p(shift.p_adjusted),
    )
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
