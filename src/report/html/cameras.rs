//! Every camera's season: its nights, its silences, its visits, and what it told.

use maud::{Markup, html};

use super::contents::Part;
use super::figure;
use super::strip::strip;
use crate::debrief::Debrief;
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::shift::{Role, Shift, Verdict};
use crate::visits::{Camera, Kind};

pub(super) fn section(debrief: &Debrief, gallery: &Gallery, with_places: bool) -> Markup {
    html! {
        section id=(Part::Cameras.id()) {
            h2 { (Part::Cameras.heading()) }
            p {
                "A camera-night is a day on which the camera is known to have worked. Long silences are left out, unless nobody had been at the camera when they ended: a silent camera is not a quiet night."
            }
            @for (i, camera) in debrief.season.cameras.iter().enumerate() {
                details.camera {
                    summary { (camera.name) @if !camera.setting_words().is_empty() { ", " (camera.setting_words()) } ": " (nights(camera, debrief.season.years.len())) }
                    @if with_places {
                        @for place in camera.placements.iter().filter_map(|p| p.position) {
                            p.note { (format!("{:.5}, {:.5}", place.latitude_deg, place.longitude_deg)) }
                        }
                    }
                    @for silence in &camera.effort.silences {
                        p.mind {
                            "No picture at all from " (words::day(silence.from)) " to " (words::day(silence.until))
                            ": " (words::counted(silence.days(), "day")) " left out, the camera may have been dead."
                        }
                    }
                    @for kind in debrief.kinds_seen() { (of_kind(debrief, i, kind)) }
                    @let told = told(debrief, i);
                    @if !told.is_empty() { ul { @for line in &told { li { (line) } } } }
                    (figure(gallery, Subject::Season(Some(i))))
                }
            }
        }
    }
}

fn nights(camera: &Camera, seasons: usize) -> String {
    let (known, most) = (camera.effort.nights(), camera.effort.nights_at_most());
    let nights = match most > known {
        true => format!("{}, {most} at most", words::counted(known, "night")),
        false => words::counted(known, "night"),
    };
    let pictures = match camera.pictures {
        0 => String::new(),
        n => format!("{}, ", words::counted(n, "picture")),
    };
    format!(
        "{nights}, {pictures}{} of deer{}",
        words::counted(camera.visits(Kind::Deer).len(), "visit"),
        if seasons > 1 { ", all seasons" } else { "" }
    )
}

/// The newest season's visits of a kind by the hour; nothing where there is none.
fn of_kind(debrief: &Debrief, camera: usize, kind: Kind) -> Markup {
    let Some(answer) = debrief.daylight_of(Some(camera), kind) else {
        return html! {};
    };
    let is_tagged = answer.visits > 0 || answer.pictures.are_tagged();
    let visits = debrief.season.newest().map_or(&[][..], |year| {
        debrief.season.cameras[camera].visits_between(kind, year.first(), year.last())
    });
    let label = format!("{} at {} by hour", kind.plural(), debrief.camera_name(Some(camera)));
    html! {
        @if !visits.is_empty() {
            div.striped {
                strong { (kind.plural()) }
                (strip(debrief, visits.iter(), &label))
                span { (words::share(answer.counted, answer.visits, answer.share)) }
            }
        } @else if !is_tagged {
            p.note { (kind.plural()) ": not tagged" }
        }
    }
}

/// What it told of everything that is logged near it, and what it could have told.
fn told(debrief: &Debrief, camera: usize) -> Vec<String> {
    let about = debrief.season.about.kind;
    let rows = debrief.shifts.rows.iter();
    let worked = |s: &&Shift| s.before.nights > 0 && s.after.nights > 0;
    let here = rows.filter(|s| s.camera == Some(camera) && s.kind == about).filter(worked);
    let (near, others): (Vec<&Shift>, Vec<&Shift>) = here.partition(|s| s.role == Role::Near);
    let mut lines: Vec<String> = near.iter().map(|s| told_of(debrief, s)).collect();
    if !others.is_empty() {
        let clear = others.iter().filter(|s| s.is_clear());
        lines.push(format!(
            "It was a control for {}, and changed clearly by itself around {}.",
            words::counted(others.len(), "logged event"),
            match clear.count() {
                0 => "none of them".to_owned(),
                n => format!("{n} of them"),
            }
        ));
    }
    lines
}

fn told_of(debrief: &Debrief, s: &Shift) -> String {
    let logged = debrief.property.disturbances.iter().find(|d| d.id == s.disturbance);
    let what = logged.map_or(s.disturbance.as_str(), |d| d.what.as_str());
    let seen = match s.enough.and_then(|e| e.smallest_loss) {
        _ if s.fall_ruled_out.is_some() && !s.light_verdict.is_clear() => format!(
            "; a loss of more than {} of its visits in light is ruled out",
            words::percent(s.fall_ruled_out.unwrap_or_default())
        ),
        Some(loss) if loss >= 0.995 && !s.light_verdict.is_clear() => {
            "; it would most likely have shown the loss of all of its visits in light".to_owned()
        }
        Some(loss) if !s.light_verdict.is_clear() => format!(
            "; it would most likely have shown the loss of {} of its visits in light or more",
            words::percent(loss)
        ),
        None if s.light_verdict == Verdict::NoClearChange => {
            "; with so few visits it would hardly have shown the loss of all of them".to_owned()
        }
        _ => String::new(),
    };
    format!("{what}: {}{seen}.", s.light_verdict.word())
}
