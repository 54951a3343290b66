//! Which visits stand behind a number. On paper and in the file nothing shows of it; in the window the number
//! leads to them.

use maud::{Markup, html};

use crate::debrief::{Behind, Beside, Counted, DaylightAnswer, Debrief, Only};
use crate::outlook::{BeliefRow, Half, StandRow};
use crate::shift::{Repeated, Shift, Side};

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
    let has_sides =
        matches!(number.of, Counted::Change | Counted::Years | Counted::Again | Counted::Weather);
    html! {
        span hidden[is_hidden] data-of=(number.of.word()) data-kind=[some(&number.kind)] data-camera=[some(&number.camera)]
            data-which=[some(&number.which)] data-season=[some(&number.season)]
            data-side=[has_sides.then(|| number.side.word())] data-deer=[some(&number.deer)]
            data-only=[number.only.map(Only::word)] data-half=[number.half.map(Half::word)]
            data-part=[some(&number.part)] data-days=[some(&number.days)] data-since=[some(&number.since)] { (words) }
    }
}

/// Of the newest season.
pub(super) fn of_season(debrief: &Debrief, answer: &DaylightAnswer) -> Behind {
    Behind {
        of: Counted::Season,
        kind: answer.kind.word().to_owned(),
        camera: camera(debrief, answer.camera),
        ..Behind::default()
    }
}

/// Of one half of its days.
pub(super) fn of_half(debrief: &Debrief, answer: &DaylightAnswer, half: Half) -> Behind {
    Behind { half: Some(half), ..of_season(debrief, answer) }
}

/// Of one side of what a disturbance may have changed.
pub(super) fn of_change(debrief: &Debrief, row: &Shift, side: Beside) -> Behind {
    Behind {
        of: Counted::Change,
        kind: row.kind.word().to_owned(),
        camera: camera(debrief, row.camera),
        which: row.disturbance.clone(),
        side,
        ..Behind::default()
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
        which: name.to_owned(),
        season: season.to_owned(),
        ..Behind::default()
    }
}

/// Of a stand.
pub(super) fn of_stand(row: &StandRow) -> Behind {
    Behind {
        of: Counted::Stand,
        which: row.stand.clone(),
        part: row.part.clone(),
        half: Some(row.half),
        ..Behind::default()
    }
}

/// Of the days after something that happened several times, or of the others.
pub(super) fn of_again(repeated: &Repeated, side: Beside) -> Behind {
    Behind {
        of: Counted::Again,
        which: repeated.what.clone(),
        part: repeated.by.map_or_else(String::new, |by| by.word().to_owned()),
        side,
        ..Behind::default()
    }
}

/// Of the third with the least or the most of what is believed in.
pub(super) fn of_weather(row: &BeliefRow, side: Beside) -> Behind {
    Behind { of: Counted::Weather, which: row.belief.word().to_owned(), side, ..Behind::default() }
}

/// Of all weather.
pub(super) fn of_all_weather() -> Behind {
    Behind { of: Counted::Weather, ..Behind::default() }
}

/// The same, and of those only the ones in light.
pub(super) fn in_light(number: Behind) -> Behind {
    Behind { only: Some(Only::Light), ..number }
}

/// Words about one side of a comparison; without visits they lead nowhere.
pub(super) fn side(side: &Side, words: &str, number: &Behind) -> Markup {
    some(side.visits, words, number)
}

/// Words about so many visits; those about none lead nowhere.
pub(super) fn some(visits: usize, words: &str, number: &Behind) -> Markup {
    match visits {
        0 => html! { (words) },
        _ => told(words, number),
    }
}

fn camera(debrief: &Debrief, index: Option<usize>) -> String {
    index.map_or_else(String::new, |i| debrief.season.cameras[i].name.clone())
}
