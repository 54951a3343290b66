//! Which clocks can be believed, and what is wrong with the others.

use maud::{Markup, html};

use super::contents::Part;
use super::figure;
use crate::card::Shade;
use crate::clock_check::{CameraClock, Finding, added, duration};
use crate::debrief::Debrief;
use crate::report::gallery::{Gallery, Subject};
use crate::report::words;

pub(super) fn section(debrief: &Debrief, gallery: &Gallery) -> Markup {
    html! {
        @if !debrief.clocks.is_empty() {
            section id=(Part::Clocks.id()) {
                h2 { (Part::Clocks.heading()) }
                p {
                    "Pictures tell by their flash, their exposure or their colour in which light they were taken, so they show when the light went. Nothing is corrected here: a correction acts once its row stands in "
                    code { "clocks.csv" } "."
                }
                @for (i, finding) in debrief.wrong_clocks().enumerate() {
                    article {
                        h3 { (finding.camera) ": " (finding.fault.word()) }
                        p.answer { (words::capital(&finding.evidence)) "." }
                        @if let Some(doubt) = &finding.doubt { p.mind { "But " (doubt) "." } }
                        p { (remedy(finding)) }
                        (figure(gallery, Subject::Clock(i)))
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
    let stretch =
        format!("The pictures from {} to {} by its own clock", finding.from, finding.until);
    if let Some(setting) = finding.setting {
        return format!(
            "{stretch} fit when cameras.csv says {} under clock for this camera. If you agree, graylight clock --accept writes it; until then no change at this camera is called clear.",
            setting.word()
        );
    }
    let Some(row) = finding.rows.first() else {
        return format!(
            "{stretch} cannot be put right from the pictures alone. Until their clock is settled (graylight clock with --picture and --shows), no change at this camera is called clear."
        );
    };
    let more = match (row.until_shift_min, finding.rows.len()) {
        (Some(end), _) => format!(" at first and {} at the end", duration(end)),
        (None, 1) => String::new(),
        (None, _) => " before the clocks changed, and an hour more or less after".to_owned(),
    };
    format!(
        "{stretch} need {}{more}. If you agree, graylight clock --accept writes the row; until then no change at this camera is called clear.",
        added(row.shift_min)
    )
}

fn sentence(clock: &CameraClock) -> String {
    let (light, dark) = clock.source.words();
    let pictures = format!(
        "{} {light}, {} {dark}",
        words::counted(clock.count(Shade::Colour), "picture"),
        clock.count(Shade::Grey)
    );
    match clock.offset {
        _ if clock.findings.is_empty() && !clock.could_be_checked() => {
            format!(
                "cannot be checked: too few of its pictures tell when the light came and went ({pictures})."
            )
        }
        None => format!("wrong, see above ({pictures})."),
        Some(_) if !clock.findings.is_empty() => format!("wrong, see above ({pictures})."),
        Some(o) => format!(
            "{}; off by {:+.0} minutes, 95 % between {:+.0} and {:+.0} ({pictures}).",
            clock.word(),
            words::whole(o.minutes),
            words::whole(o.low),
            words::whole(o.high)
        ),
    }
}
