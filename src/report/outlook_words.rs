//! The words for what the season says for the next one.

use super::words::{counted, grouped};
use crate::debrief::Answered;
use crate::measure::Estimate;
use crate::outlook::{
    Belief, BeliefRow, BesideBest, Conditions, Half, Held, Proof, StandRow, Tally, WhyNot,
    WindTally,
};
use crate::property::Question;
use crate::shift::Verdict;

/// What is believed, as a person says it.
pub(crate) fn belief(belief: Belief) -> &'static str {
    match belief {
        Belief::ColdFront => "Colder than the day before",
        Belief::Cold => "Colder than usual for the time of year",
        Belief::NorthWind => "Wind from the north, not the south",
        Belief::WestWind => "Wind from the west, not the east",
        Belief::StrongWind => "More wind",
        Belief::HighPressure => "Higher air pressure",
        Belief::RisingPressure => "Air pressure that rose",
        Belief::Rain => "Rain in the three hours before",
        Belief::FullMoon => "A fuller moon",
        Belief::HighMoon => "A higher moon",
    }
}

/// The difference that a ratio is told for.
pub(crate) fn step(belief: Belief) -> &'static str {
    match belief {
        Belief::ColdFront => "by 5 °C (9 °F)",
        Belief::Cold => "by 5 °C (9 °F)",
        Belief::NorthWind => "due north instead of due south",
        Belief::WestWind => "due west instead of due east",
        Belief::StrongWind => "by 10 km/h (6 mph)",
        Belief::HighPressure => "by 10 hPa (0.3 inHg)",
        Belief::RisingPressure => "by 3 hPa (0.09 inHg) in six hours",
        Belief::Rain => "with it instead of without",
        Belief::FullMoon => "full instead of new",
        Belief::HighMoon => "by 30 degrees",
    }
}

/// The two thirds that are set beside each other; of rain two sorts.
pub(crate) fn thirds(belief: Belief) -> [&'static str; 2] {
    match belief {
        Belief::Rain => ["without", "with it"],
        _ => [
            "third with the least for the time of year",
            "third with the most for the time of year",
        ],
    }
}

/// Of which stands nothing is known; `None` where each has a camera.
pub(crate) fn unwatched(stands: &[String]) -> Option<String> {
    let is_or_are = if stands.len() == 1 { "it" } else { "them" };
    (!stands.is_empty()).then(|| {
        format!(
            "Nothing is said of {}: no camera near {is_or_are} worked this season.",
            stands.join(", ")
        )
    })
}

/// `24 visits in 310 mornings and evenings`
pub(crate) fn tally(tally: Tally) -> String {
    format!(
        "{} in {} mornings and evenings",
        counted(tally.visits, "visit"),
        grouped(tally.half_days)
    )
}

/// `×1.4 (1.1–1.8)`, or a dash.
pub(crate) fn ratio(ratio: Option<Estimate>) -> String {
    ratio
        .map_or_else(|| "–".to_owned(), |r| format!("×{:.2} ({:.2}–{:.2})", r.value, r.low, r.high))
}

/// The ratio of a belief for its step.
pub(crate) fn belief_ratio(row: &BeliefRow) -> Option<Estimate> {
    row.found.map(|f| f.ratio(row.belief.step()))
}

/// The odds of what was found.
pub(crate) fn odds(p: f64) -> String {
    format!("luck would do this {}", super::words::once_in(p))
}

/// What could have been seen: `×1.6 or more, ×0.63 or less`.
pub(crate) fn smallest(row: &BeliefRow) -> String {
    match row.smallest {
        Some(r) if r < 20.0 => format!("×{r:.1} or more, ×{:.2} or less", 1.0 / r),
        Some(_) => "nothing of any likely size".to_owned(),
        None => "not in the weather, always the same, or too few visits with it".to_owned(),
    }
}

/// Why the weather could not be tested.
pub(crate) fn why_not(conditions: &Conditions) -> Option<String> {
    Some(match conditions.why_not? {
        WhyNot::NoCamera => {
            "No camera is known to have worked for four weeks of a season, so there is nothing to set against the weather."
                .to_owned()
        }
        WhyNot::NoWeather => {
            "There is no weather.csv, so only the moon can be looked at. Hourly weather of the nearest station, saved under that name, is enough."
                .to_owned()
        }
        WhyNot::OtherDays => {
            "The weather is of other days than the pictures, so only the moon can be looked at.".to_owned()
        }
        WhyNot::TooFewVisits => format!(
            "{} in light are too few to set against any weather.",
            counted(conditions.all.visits, "visit")
        ),
    })
}

/// What all of it comes to, in a sentence.
pub(crate) fn conditions(conditions: &Conditions) -> String {
    let rows = |held: Held| -> Vec<String> {
        let of = conditions.rows.iter().filter(|r| r.held == held);
        of.map(|r| belief(r.belief).to_lowercase()).collect()
    };
    let (more, fewer, open) = (rows(Held::More), rows(Held::Fewer), rows(Held::NotShown));
    let mut said = Vec::new();
    if !more.is_empty() {
        said.push(format!("more came with this: {}", more.join("; ")));
    }
    if !fewer.is_empty() {
        said.push(format!("fewer came with this: {}", fewer.join("; ")));
    }
    let together = conditions
        .rows
        .iter()
        .find(|r| !r.not_apart_from.is_empty())
        .map_or("", |_| " What mostly comes together cannot be told apart.");
    match (said.is_empty(), open.len()) {
        (true, 0) => {
            "Nothing of wind, weather and moon can be told from these pictures.".to_owned()
        }
        (true, n) => format!(
            "Of {} of wind, weather and moon none is shown to make a difference.",
            counted(n, "belief")
        ),
        (false, 0) => format!("{}.{together}", super::words::capital(&said.join(", and "))),
        (false, n) => format!(
            "{}.{together} Of {} more no difference is shown.",
            super::words::capital(&said.join(", and ")),
            grouped(n)
        ),
    }
}

/// `2.4 (1.1–4.6)`, or a dash.
pub(crate) fn per_ten(per_ten: Option<Estimate>) -> String {
    per_ten
        .map_or_else(|| "–".to_owned(), |e| format!("{:.1} ({:.1}–{:.1})", e.value, e.low, e.high))
}

/// When three of four came.
pub(crate) fn three_of_four(row: &StandRow) -> String {
    row.three_of_four_min.map_or_else(
        || format!("fewer than {} visits", crate::outlook::FEWEST_FOR_SPAN),
        |(a, b)| match row.half {
            Half::Morning => super::words::span_around_sunrise(a, b),
            Half::Evening => super::words::span_around_sunset(a, b),
        },
    )
}

/// `5 visits on 21 that suited, 2 on 40 others`
pub(crate) fn wind(wind: Option<WindTally>) -> String {
    wind.map_or_else(
        || "–".to_owned(),
        |w| {
            format!(
                "{} on {} that suited, {} on {} others",
                counted(w.suited_visits, "visit"),
                grouped(w.suited),
                grouped(w.others_visits),
                grouped(w.others)
            )
        },
    )
}

/// How a stand is beside the others.
pub(crate) fn beside_best(row: &StandRow) -> &'static str {
    match row.beside_best {
        BesideBest::AmongTheBest => "too close to call with the best",
        BesideBest::Behind => "clearly behind the best",
        BesideBest::OnlyOne => "no other to set it beside",
        BesideBest::NoneCame => "none came in light anywhere",
        BesideBest::TooFew => "too few to tell",
    }
}

/// What the numbers of the herd are not (its bias from memory: Southeastern Association of Fish and Wildlife Agencies
/// 2014).
pub(crate) const HERD_CAUTION: &str = "These are no numbers of deer per area. Bucks and does do not come before cameras alike: where it was tried on a herd of known size, the camera survey found about a third fewer does than there were.";

/// A question in words.
pub(crate) fn question(q: &Question) -> String {
    format!(
        "Would it be known by {} if {} of the visits in light at {} were lost from {} on?",
        super::words::day(q.by),
        match (q.loss - 0.5).abs() < 1e-9 {
            true => "half".to_owned(),
            false => super::words::percent(q.loss),
        },
        q.near.join(" and "),
        super::words::day(q.from)
    )
}

/// What a plan comes to.
pub(crate) fn helps(proof: &Proof) -> String {
    let Some((now, others)) = proof.rows.split_first() else {
        return String::new();
    };
    let best = proof.rows.iter().max_by_key(|r| r.found.0).unwrap_or(now);
    let ends = match best.chance.high < 0.5 {
        true => format!(
            "No: with none of these would it be known more often than not; at best in {} of {}.",
            best.found.0, best.found.1
        ),
        false => format!(
            "It would be known in {} of {} as the cameras hang, at best in {}.",
            now.found.0, now.found.1, best.found.0
        ),
    };
    let clearly: Vec<&str> = others
        .iter()
        .filter(|r| r.chance.low > now.chance.high)
        .map(|r| r.addition.words())
        .collect();
    match clearly.is_empty() {
        true => {
            format!("{ends} None of these changes it by more than so few played seasons can tell.")
        }
        false => format!("{ends} What clearly helps: {}.", clearly.join("; ")),
    }
}

/// Its answer.
pub(crate) fn answer(answered: &Answered) -> String {
    let Some(row) = answered.row.as_ref() else {
        return match answered.is_due {
            true => "No near camera worked on both sides, so it cannot be told.".to_owned(),
            false => "The pictures do not reach that day yet.".to_owned(),
        };
    };
    let counts = format!(
        "In light {} before, {} after",
        super::words::counted_in_nights(&row.before),
        super::words::counted_in_nights(&row.after)
    );
    let verdict = match row.light_verdict {
        Verdict::ClearDrop => "they are clearly fewer",
        Verdict::ClearRise => "they are clearly more",
        Verdict::NoClearChange => "no change is shown",
        Verdict::NoControl => "there is nothing to compare with",
        Verdict::TooFewVisits => "too few visits to tell",
        Verdict::NotTagged => "some of the pictures have no tag yet",
    };
    let left = row.rate_ratio_against_controls.map_or_else(String::new, |r| {
        format!(
            ": {} what the other cameras lead to expect ({})",
            super::words::times_or_part_of(r.value),
            super::words::factor_range(r)
        )
    });
    format!("{counts}; {verdict}{left}.")
}
