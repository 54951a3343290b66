//! What these visits could have shown, and how many would show more.

use super::compare::LEVEL;
use crate::measure::{Counts, change_p_value};

/// What a comparison was able to see.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Enough {
    /// The smallest drop of the share, as a positive fraction, that would have had a p-value at or
    /// under 0.05 by itself; `None` where not even a fall to nothing would.
    pub smallest_drop: Option<f64>,
    /// How many times as many camera-nights as now, on either side and at every camera, would show a
    /// drop of [`WORTH_KNOWING`]; `None` beyond [`MOST_TIMES`].
    pub times_nights: Option<f64>,
}

/// A drop that would change where a person sits.
pub const WORTH_KNOWING: f64 = 0.25;
/// More camera-nights than so many times as now are no advice.
pub const MOST_TIMES: f64 = 20.0;

/// Asks of effective counts what they could have shown. `None` where a side has no visit.
pub(super) fn enough(
    here: (Counts, Counts),
    elsewhere: Option<(Counts, Counts)>,
    freedom: f64,
) -> Option<Enough> {
    let before = here.0.share()?;
    here.1.share()?;
    let seen = |drop: f64, times: f64| {
        let more = |c: Counts| c.divided_by(1.0 / times);
        let after = Counts {
            hits: (before - drop).max(0.0) * here.1.trials,
            ..here.1
        };
        // The controls are taken to stand still, so that only their number matters.
        let still = |(b, a): (Counts, Counts)| {
            let share = b.share().unwrap_or(0.0);
            let hits = share * a.trials;
            (more(b), more(Counts { hits, ..a }))
        };
        change_p_value((more(here.0), more(after)), elsewhere.map(still), freedom)
            .is_some_and(|p| p <= LEVEL)
    };
    let percents = (1..=100).map(|p| f64::from(p) / 100.0);
    let tenths = (10..=(MOST_TIMES * 10.0) as u32).map(|t| f64::from(t) / 10.0);
    Some(Enough {
        smallest_drop: percents
            .take_while(|drop| *drop <= before + 1e-9)
            .find(|drop| seen(*drop, 1.0)),
        times_nights: (before >= WORTH_KNOWING)
            .then(|| tenths.into_iter().find(|times| seen(WORTH_KNOWING, *times)))
            .flatten(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::KNOWN;

    #[test]
    fn more_visits_see_smaller_drops() {
        let side = |n: usize| Counts::new(n / 2, n);
        let of = |n: usize| enough((side(n), side(n)), None, KNOWN).unwrap();
        let (few, many) = (of(20), of(200));
        assert!(many.smallest_drop < few.smallest_drop);
        assert_eq!(many.times_nights, Some(1.0));
        assert!((1.3..1.7).contains(&few.times_nights.unwrap()));
        assert_eq!(of(4).smallest_drop, None);
    }
}
