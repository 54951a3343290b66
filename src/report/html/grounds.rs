//! Ground that others decide over, and one's own: how much hangs on it, and what it was when.

use maud::{Markup, html};

use super::contents::Part;
use crate::debrief::Debrief;
use crate::property::FenceSide;
use crate::report::words;
use crate::shift::{GroundRow, GroundYear, Verdict};
use crate::visits::DeerYear;

pub(super) fn section(debrief: &Debrief) -> Markup {
    let grounds = &debrief.grounds;
    html! {
        @if !grounds.is_empty() {
            section id=(Part::Grounds.id()) {
                h2 { (Part::Grounds.heading()) }
                p.answer { (hangs_on_others(debrief)) }
                p {
                    "A ground is set against the seasons in which it was something else: its cameras together, over the same days of both seasons, against the cameras that it does not feed. Another owner or crop is not the only thing that differs from one season to the next at one place."
                }
                @for ground in grounds { (one(debrief, ground)) }
            }
        }
    }
}

/// How much of the movement in light hangs on cameras that ground outside the fence feeds.
fn hangs_on_others(debrief: &Debrief) -> String {
    let about = debrief.season.about.kind;
    let light = debrief.property.settings.share_light();
    let Some(year) = debrief.season.newest() else {
        return String::new();
    };
    let outside = debrief.grounds.iter().filter(|g| g.side == FenceSide::Outside);
    let mut fed: Vec<usize> = outside.clone().flat_map(|g| g.cameras.clone()).collect();
    fed.sort_unstable();
    fed.dedup();
    let in_light = |camera: usize| {
        let camera = &debrief.season.cameras[camera];
        let visits = camera.visits_between(about, year.first(), year.last());
        visits.iter().filter(|v| v.counted).count()
    };
    let of_fed: usize = fed.iter().map(|c| in_light(*c)).sum();
    let all: usize = (0..debrief.season.cameras.len()).map(in_light).sum();
    match fed.is_empty() {
        true => {
            "No ground outside the fence is written down with the cameras that it feeds.".to_owned()
        }
        false => format!(
            "Of {} of {} in {light} this season {} came at {} that ground outside the fence feeds: others decide over that.",
            words::counted(all, "visit"),
            about.them(),
            words::grouped(of_fed),
            words::counted(fed.len(), "camera"),
        ),
    }
}

fn one(debrief: &Debrief, ground: &GroundRow) -> Markup {
    let cameras: Vec<&str> = ground.cameras.iter().map(|c| debrief.camera_name(Some(*c))).collect();
    html! {
        h3 { (ground.ground) ", " (ground.side.word()) " the fence" }
        p {
            "This season: " (if ground.what.is_empty() { "not written down" } else { ground.what.as_str() })
            ". It feeds " (cameras.join(", ")) ": " (words::counted(ground.light_visits, "visit")) " in light."
            @if ground.against.is_empty() { " No earlier season is written down in which it was something else, so nothing can be set against it." }
        }
        @if !ground.against.is_empty() {
            ul { @for year in &ground.against { li { (against(debrief, ground, year)) } } }
        }
    }
}

fn against(debrief: &Debrief, ground: &GroundRow, year: &GroundYear) -> String {
    let row = &year.shift;
    let now = debrief.season.newest().map_or_else(String::new, DeerYear::name);
    let counts = format!(
        "{} ({}): in light {}, and {} on the same days of {now}",
        year.with.name(),
        year.what,
        words::counted_in_nights(&row.before),
        words::counted_in_nights(&row.after),
    );
    let verdict = match year.verdict {
        Verdict::ClearDrop => "clearly fewer now",
        Verdict::ClearRise => "clearly more now",
        Verdict::NoClearChange => "no difference shown",
        Verdict::NoControl => "nothing to compare with",
        Verdict::TooFewVisits => "too few visits to tell",
        Verdict::NotTagged => "not tagged far enough",
    };
    let so = year.had_it_been_so().map_or_else(String::new, |e| {
        let now = words::counted(row.after.counted, "visit");
        match year.verdict.is_clear() {
            true => format!(
                " If it went as it did then, that would be {:.0} ({:.0}–{:.0}) on those days, in place of {now}.",
                e.value, e.low, e.high
            ),
            false => format!(
                " What it would be if it went as it did then cannot be told: anything from {:.0} to {:.0} on those days fits, in place of {now}.",
                e.low, e.high
            ),
        }
    });
    let compared: Vec<&str> = ground
        .cameras
        .iter()
        .filter(|c| worked_in_both(debrief, **c, year.with))
        .map(|c| debrief.camera_name(Some(*c)))
        .collect();
    let counts = match compared.len() < ground.cameras.len() {
        true => format!("{counts}, {} alone", compared.join(" and ")),
        false => counts,
    };
    format!("{counts}; against the other cameras {verdict}.{so}")
}

fn worked_in_both(debrief: &Debrief, camera: usize, with: DeerYear) -> bool {
    let effort = &debrief.season.cameras[camera].effort;
    let worked = |y: DeerYear| !effort.dates_between(y.first(), y.last()).is_empty();
    worked(with) && debrief.season.newest().is_some_and(worked)
}
