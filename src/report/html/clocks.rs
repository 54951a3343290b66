//! Which clocks can be believed, and what is wrong with the others.

use maud::{Markup, html};

use super::figure;
use crate::debrief::Debrief;
use crate::report::gallery::{Plot, Subject};
use crate::report::words;
use crate::trust::{CameraClock, Finding, Shade};

pub(super) fn section(debrief: &Debrief, plots: &[Plot]) -> Markup {
    html! {
        @if !debrief.clocks.is_empty() {
            section {
                h2 { "Clocks" }
                p {
                    "Cameras shoot in colour by day and in grey under infrared by night, so the pictures themselves show when the light went. Nothing is corrected here: a correction acts once its row stands in "
                    code { "clocks.csv" } "."
                }
                @for (i, finding) in debrief.wrong_clocks().enumerate() {
                    article {
                        h3 { (finding.camera) ": " (finding.fault.word()) }
                        p.answer { (words::capital(&finding.evidence)) "." }
                        @if let Some(doubt) = &finding.doubt { p.mind { "But " (doubt) "." } }
                        p { (remedy(finding)) }
                        (figure(plots, Subject::Clock(i)))
                    }
                }
                ul {
                    @for clock in &debrief.clocks { li { (clock.camera) ": " (sentence(clock)) } }
                }
            }
        }
    }
}

fn remedy(finding: &Finding) -> String {
    let stretch = format!(
        "The pictures from {} to {} by its own clock",
        finding.from, finding.until
    );
    if finding.corrected {
        format!(
            "{stretch} are covered by a row of clocks.csv already, which does not put them right. Change that row."
        )
    } else if finding.shift_min.abs() < 1.0 {
        format!("{stretch} cannot be put right from the pictures alone.")
    } else {
        format!(
            "{stretch} need {:+.0} minutes. If you agree, graylight clock --accept writes the row; until then no change at this camera is called clear.",
            finding.shift_min
        )
    }
}

fn sentence(clock: &CameraClock) -> String {
    let pictures = format!(
        "{} in colour, {} grey",
        words::counted(clock.count(Shade::Colour), "picture"),
        clock.count(Shade::Grey)
    );
    match clock.offset {
        None => {
            format!("cannot be checked by its light, too few pictures of one sort ({pictures}).")
        }
        Some(_) if !clock.findings.is_empty() => format!("wrong, see above ({pictures})."),
        Some(o) => format!(
            "agrees with the light; off by {:+.0} minutes, 95 % between {:+.0} and {:+.0} ({pictures}).",
            o.minutes, o.low, o.high
        ),
    }
}
