//! What a sceptic asks of a comparison: which deer, since when, which minutes, how sure.

use maud::{Markup, html};

use super::{figure, plan, rests_on};
use crate::debrief::Debrief;
use crate::measure::Estimate;
use crate::property::Disturbance;
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Enough, MOST_TIMES, Onset, POWER, Placebo, Question, Shift, Side};

/// What a sceptic asks next: over other days, then camera by camera.
pub(super) fn section(
    debrief: &Debrief,
    gallery: &Gallery,
    index: usize,
    disturbance: &Disturbance,
    near: &[&Shift],
) -> Markup {
    let about = debrief.season.about.kind;
    let together = debrief.shifts.together(&disturbance.id, about);
    html! {
        details {
            summary { "Working: " (about.them()) " at the near cameras, other numbers of days, minutes, other dates, what could be seen" }
            (figure(gallery, Subject::Sketch(index)))
            (plan::other_days(debrief, &disturbance.id))
            @if let Some(together) = together.filter(|_| near.len() > 1) {
                h4 { "All near cameras together" }
                ul { @for line in findings(debrief, together) { li { (line) } } }
            }
            @for shift in near {
                h4 { (debrief.camera_name(shift.camera)) }
                ul { @for line in findings(debrief, shift) { li { (line) } } }
                @if let Some(camera) = shift.camera {
                    (figure(gallery, Subject::Placebo { disturbance: index, camera }))
                }
            }
        }
    }
}

fn findings(debrief: &Debrief, shift: &Shift) -> Vec<Markup> {
    let plain = |line: String| html! { (line) };
    let rests_on = shift.rests_on.as_ref();
    let rests_on = rests_on.map(|rests| rests_on::sentence(debrief, shift, rests));
    let mut all = vec![plain(odds(debrief, shift))];
    all.extend(rests_on);
    all.extend(more_findings(debrief, shift).into_iter().map(plain));
    all
}

fn more_findings(debrief: &Debrief, shift: &Shift) -> Vec<String> {
    let mut lines = Vec::new();
    if shift.is_clear() {
        lines.push(
            "The real change is probably smaller than it looks: it is told because it stood out."
                .to_owned(),
        );
    }
    lines.extend(shift.onset.as_ref().map(|o| onset(debrief, o)));
    if let Some(timing) = shift.timing {
        lines.extend(minutes(
            "Evening visits, by the sunset of their day,",
            timing.evening_min,
            timing.evening_against_min,
        ));
        lines.extend(minutes(
            "Morning visits, by the sunrise of their day,",
            timing.morning_min,
            timing.morning_against_min,
        ));
        lines.extend(timing.overlap.map(|o| {
            format!(
                "The patterns of the day before and after overlap by {} ({}); 100 % would be the same pattern. Few visits alone already make patterns differ; with every visit taken as independent, the test that both are one pattern gives {}.",
                words::percent(o.value),
                words::percent_range(o),
                timing.pattern_p.map_or_else(|| "too few visits for a test".to_owned(), |p| words::p(Some(p)))
            )
        }));
    }
    lines.push(data(shift));
    lines.push(unlike(shift));
    let had_some = shift.before.counted > 0;
    // Of less than what is ruled out nothing need be said.
    let is_beyond = |e: &Enough| match (e.smallest_loss, shift.fall_ruled_out) {
        (Some(visible), Some(ruled_out)) => visible > ruled_out,
        _ => false,
    };
    let enough = shift.enough.filter(|e| had_some && !is_beyond(e));
    lines.extend(enough.map(could_be_seen));
    let no_less = shift.fall_ruled_out.filter(|loss| *loss >= 0.005);
    lines.extend(no_less.map(|loss| {
        format!(
            "With 95 % confidence no more than {} of the visits in light are lost.",
            words::percent(loss)
        )
    }));
    lines.extend(shift.placebo.as_ref().map(placebo));
    lines
}

/// The odds of chance, by themselves and with everything that was looked at allowed for.
fn odds(debrief: &Debrief, shift: &Shift) -> String {
    format!(
        "Visits in {}: {}, {}. Their part of all visits: {}, {}. The first of each pair is of this question alone; the second, by which the verdict goes, allows for everything that was looked at.",
        debrief.property.settings.share_light(),
        words::p(shift.light_p_value),
        words::p(shift.light_p_adjusted),
        words::p(shift.p_value),
        words::p(shift.p_adjusted),
    )
}

fn minutes(visits: &str, own: Option<Estimate>, against: Option<Estimate>) -> Option<String> {
    let own = own?;
    Some(match against {
        Some(against) => format!(
            "{visits} came {}; against the control cameras, whose evenings and mornings the season moves too, {}.",
            words::later(own),
            words::later(against)
        ),
        None => format!(
            "{visits} came {}; too few control cameras have visits enough to say what the season alone would have moved.",
            words::later(own)
        ),
    })
}

/// What runs of days and unlike cameras cost.
fn unlike(shift: &Shift) -> String {
    let runs = match shift.runs.design_effect {
        few if few < 1.05 => String::new(),
        many => format!(
            "Visits come in streaks: {many:.1} of them tell about as much as one that stands alone. "
        ),
    };
    let against = match shift.controls {
        0 => return runs,
        n if shift.last_year => {
            format!("{} and its own earlier years", words::counted(n, "other camera"))
        }
        n => words::counted(n, "other camera"),
    };
    let between = |b: Option<f64>| b.filter(|b| *b > 0.0).map(|b| words::factor(b.sqrt().exp()));
    match between(shift.between[0]) {
        Some(times) => format!(
            "{runs}Compared with {against}; luck aside, visits in light here drift by about {times} up or down while nothing happens."
        ),
        None => {
            format!("{runs}Compared with {against}, which differ no more than few visits explain.")
        }
    }
}

/// What went into the comparison.
fn data(shift: &Shift) -> String {
    let side = |side: &Side| {
        format!(
            "{} in {}{}",
            words::counted(side.visits, "visit"),
            words::counted(side.nights, "camera-night"),
            match side.pictures.all {
                0 => String::new(),
                all => format!(
                    ", {} of {} without a tag",
                    words::grouped(side.pictures.untagged),
                    words::counted(all, "picture")
                ),
            }
        )
    };
    format!(
        "Used: before, {}; after, {}. Left out: dates on which the camera is not known to have worked, and everything listed under \"What was left out\".",
        side(&shift.before),
        side(&shift.after)
    )
}

fn onset(debrief: &Debrief, onset: &Onset) -> String {
    let (from, until) = onset.interval;
    let what = match onset.of {
        Question::Share => "The share".to_owned(),
        _ => format!("Visits in {}", debrief.property.settings.share_light()),
    };
    let recovery = onset.recovered_after_days.map_or_else(
        || {
            format!(
                "no return is seen up to {}, when the pictures end",
                words::day(onset.followed_until)
            )
        },
        |days| {
            let days = usize::try_from(days).unwrap_or(0);
            format!("it was over about {} later", words::counted(days, "day"))
        },
    );
    format!(
        "{what} most likely changed on {} (between {} and {}); {recovery}.",
        words::day(onset.date),
        words::day(from),
        words::day(until)
    )
}

fn could_be_seen(enough: Enough) -> String {
    let repeats = format!("{} of 10 repeats", (POWER * 10.0).round());
    let loss = enough.smallest_loss.map_or_else(
        || "not even the loss of all visits in light would have been found".to_owned(),
        |loss| {
            format!(
                "the loss of {} of the visits in light or more would have been found",
                words::percent(loss)
            )
        },
    );
    let drop = enough.smallest_drop.map_or_else(
        || "no drop of the share".to_owned(),
        |drop| format!("a drop of the share by {:.0} points or more", drop * 100.0),
    );
    let times = match enough.times_nights {
        Some(times) if times <= 1.0 => String::new(),
        Some(times) => format!(
            " To find the loss of half of them takes about {times:.1} times as many camera-nights."
        ),
        None => format!(
            " To find the loss of half of them takes more than {MOST_TIMES:.0} times as many camera-nights, or more control cameras: they differ too much among themselves."
        ),
    };
    format!("In {repeats} of these weeks {loss}, and {drop}.{times}")
}

fn placebo(placebo: &Placebo) -> String {
    match placebo.untouched {
        0 => "No other date has all its days before the disturbance, so there is none to compare this one with.".to_owned(),
        n => format!(
            "Of {} whose days all lie before the disturbance and hold nothing else that is logged near the camera, {} changed as much, up or down. Neighbouring dates share most of their days, so these are far fewer independent comparisons than they look.",
            words::counted(n, "other date"),
            placebo.as_large
        ),
    }
}
