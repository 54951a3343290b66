//! Every camera's season: its nights, its silences, its visits.

use maud::{Markup, html};

use super::figure;
use crate::debrief::Debrief;
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;
use crate::visits::{Camera, Kind};

pub(super) fn section(debrief: &Debrief, gallery: &Gallery, with_places: bool) -> Markup {
    html! {
        section {
            h2 { "Camera by camera" }
            p {
                "A camera-night is a day on which the camera is known to have worked. Long silences are left out, unless nobody had been at the camera when they ended: a silent camera is not a quiet night."
            }
            @for (i, camera) in debrief.season.cameras.iter().enumerate() {
                details {
                    summary { (camera.name) @if !camera.setting_words().is_empty() { ", " (camera.setting_words()) } ": " (nights(camera)) }
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
                    ul {
                        @for kind in debrief.kinds_seen() {
                            @if let Some(a) = debrief.daylight_of(Some(i), kind) {
                                li {
                                    (kind.plural()) ": "
                                    @if a.visits == 0 && !a.pictures.are_tagged() { "not tagged" }
                                    @else { (words::share(a.counted, a.visits, a.share)) }
                                }
                            }
                        }
                    }
                    (figure(gallery, Subject::Season(Some(i))))
                }
            }
        }
    }
}

fn nights(camera: &Camera) -> String {
    let (known, most) = (camera.effort.nights(), camera.effort.nights_at_most());
    let nights = match most > known {
        true => format!("{}, {most} at most", words::counted(known, "night")),
        false => words::counted(known, "night"),
    };
    format!(
        "{nights}, {}, {} of deer",
        words::counted(camera.pictures, "picture"),
        words::counted(camera.visits(Kind::Deer).len(), "visit")
    )
}
