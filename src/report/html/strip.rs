//! The light strip: a day from midnight to midnight in dark, gray light and daylight, with a tick for every
//! visit. It stands wherever a time is told.

use std::fmt::Write;

use maud::{Markup, html};

use crate::debrief::Debrief;
use crate::sun::{MeanDay, SUN_DAY_MIN};
use crate::visits::Visit;

/// A strip of some visits. Sunrise and sunset stand at their mean over the visits, and every day is stretched to
/// it (sun-anchored time), so that a tick's light is that of its visit. `label` says what is shown to a reader
/// who cannot see it.
pub(super) fn strip<'a>(
    debrief: &Debrief,
    visits: impl Iterator<Item = &'a Visit> + Clone,
    label: &str,
) -> Markup {
    const HEIGHT: f64 = 40.0;
    let mean = mean_day(visits.clone());
    let settings = &debrief.property.settings;
    let (rise, set) = (mean.sunrise_min, mean.sunset_min);
    let legal = (
        (rise - settings.legal_before_sunrise_min).max(0.0),
        (set + settings.legal_after_sunset_min).min(SUN_DAY_MIN),
    );
    let mut minutes: Vec<f64> =
        visits.map(|v| mean.anchor(v.after_sunrise_min, v.day_length_min())).collect();
    minutes.sort_by(f64::total_cmp);
    let mut ticks = String::new();
    for minute in &minutes {
        // Writing into a string cannot fail.
        let _ = write!(ticks, "M{minute:.0} 0v{HEIGHT}");
    }
    let band = |class: &str, from: f64, until: f64| {
        html! {
            rect class=(class) x=(format!("{from:.0}")) width=(format!("{:.0}", until - from)) height=(HEIGHT) {}
        }
    };
    html! {
        svg.strip viewBox=(format!("0 0 {SUN_DAY_MIN} {HEIGHT}")) preserveAspectRatio="none" role="img" aria-label=(label) {
            (band("night", 0.0, SUN_DAY_MIN))
            (band("gray", legal.0, legal.1))
            (band("day", rise, set))
            path.ticks d=(ticks) vector-effect="non-scaling-stroke" {}
        }
    }
}

/// What a strip's colours and ticks mean, said once where strips begin.
pub(super) fn legend() -> Markup {
    html! {
        p.legend {
            span.pair { span.key.night {} "dark" } span.pair { span.key.gray {} "gray light" } span.pair { span.key.day {} "daylight" }
            span.pair { span.tick {} "a visit" } "by the sun of its day; midnight at either end, noon in the middle"
        }
    }
}

fn mean_day<'a>(visits: impl Iterator<Item = &'a Visit>) -> MeanDay {
    let suns: Vec<(f64, f64)> = visits
        .map(|v| {
            let minute = v.first.minute_of_day();
            (minute - v.after_sunrise_min, minute + v.before_sunset_min)
        })
        .collect();
    MeanDay::of(&suns)
        .unwrap_or(MeanDay { sunrise_min: SUN_DAY_MIN / 4.0, sunset_min: SUN_DAY_MIN * 3.0 / 4.0 })
}
