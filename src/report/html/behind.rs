//! Which visits stand behind a number. On paper and in the file nothing shows of it; in the window the number
//! leads to them.

use maud::{Markup, html};

use crate::debrief::{Behind, Beside, Counted, DaylightAnswer, Debrief, Half};
use crate::shift::{Shift, Side};

/// A number in words, with what it was counted from.
pub(super) fn told(words: &str, number: &Behind) -> Markup {
    marked(words, number, false)
}

/// A way to the visits that only the window shows.
pub(super) fn way(words: &str, number: &Behind) -> Markup {
    marked(words, number, true)
}

fn marked(words: &str, number: &Behind, is_hidden: bool) -> Markup {
    let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    let is_compared = matches!(number.of, Counted::Change | Counted::Years);
    html! {
        span hidden[is_hidden] data-of=(number.of.word()) data-kind=[some(&number.kind)] data-camera=[some(&number.camera)]
            data-which=[some(&number.which)] data-season=[some(&number.season)]
            data-side=[is_compared.then(|| number.side.word())]
            data-half=[number.half.map(Half::word)] data-since=[some(&number.since)] { (words) }
    }
}

/// Of the newest season.
pub(super) fn of_season(debrief: &Debrief, answer: &DaylightAnswer) -> Behind {
    Behind {
        of: Counted::Season,
        kind: answer.kind.word().to_owned(),
        camera: camera(debrief, answer.camera),
        which: String::new(),
        season: String::new(),
        side: Beside::Before,
        half: None,
        since: String::new(),
    }
}

/// Of one half of its days.
pub(super) fn of_half(debrief: &Debrief, answer: &DaylightAnswer, half: Half) -> Behind {
    Behind {
        half: Some(half),
        ..of_season(debrief, answer)
    }
}

/// Of one side of what a disturbance may have changed.
pub(super) fn of_change(debrief: &Debrief, row: &Shift, side: Beside) -> Behind {
    Behind {
        of: Counted::Change,
        kind: row.kind.word().to_owned(),
        camera: camera(debrief, row.camera),
        which: row.disturbance.clone(),
        season: String::new(),
        side,
        half: None,
        since: String::new(),
    }
}

/// Of one of two seasons.
pub(super) fn of_years(debrief: &Debrief, row: &Shift, with: &str, side: Beside) -> Behind {
    Behind {
        of: Counted::Years,
        which: String::new(),
        season: with.to_owned(),
        ..of_change(debrief, row, side)
    }
}

/// Of a deer with a name in one season.
pub(super) fn of_deer(name: &str, season: &str) -> Behind {
    Behind {
        of: Counted::Deer,
        kind: String::new(),
        camera: String::new(),
        which: name.to_owned(),
        season: season.to_owned(),
        side: Beside::Before,
        half: None,
        since: String::new(),
    }
}

/// Words about one side of a comparison; without visits they lead nowhere.
pub(super) fn side(side: &Side, words: &str, number: &Behind) -> Markup {
    match side.visits {
        0 => html! { (words) },
        _ => told(words, number),
    }
}

fn camera(debrief: &Debrief, index: Option<usize>) -> String {
    index.map_or_else(String::new, |i| debrief.season.cameras[i].name.clone())
}
