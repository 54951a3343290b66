//! The contact sheet: many visits at once, for sweeps.

use serde::{Deserialize, Serialize};

use super::Desk;
use super::filter::{Asked, Filter};
use super::server::{Answer, Failure, Reply};
use super::state::{DeskSeason, Refused, said};
use super::visits::{DATE, TIME, number, state_word};
use crate::tags::{Tag, Who};

/// Which part of the sheet is wanted.
#[derive(Debug, Deserialize)]
pub(super) struct Part {
    #[serde(default)]
    from_index: usize,
    #[serde(default = "page")]
    limit: usize,
}

fn page() -> usize {
    60
}

#[derive(Serialize)]
struct Cell {
    id: usize,
    version: u64,
    generation: u64,
    camera: String,
    date: Option<String>,
    time: Option<String>,
    light: Option<&'static str>,
    pictures: usize,
    first_picture: u64,
    /// All of them, for a look at the whole burst.
    burst: Vec<u64>,
    state: &'static str,
    tags: String,
    quiet: Option<bool>,
}

impl Cell {
    fn of(season: &DeskSeason, id: usize) -> Self {
        let screen = &season.screens.all[id];
        let shown = |form: &'static str| {
            let moment = screen.moment;
            moment.map(|m| m.first.shown().format(form).to_string())
        };
        let telling = season.sorting.most_telling(&screen.pictures);
        let mut tags: Vec<String> = season.tags(id).map(said).collect();
        tags.dedup();
        Self {
            id,
            version: season.version,
            generation: season.generation,
            camera: season.screens.camera(screen).to_owned(),
            date: shown(DATE),
            time: shown(TIME),
            light: screen.moment.map(|m| m.light.word()),
            pictures: screen.pictures.len(),
            first_picture: number(season, telling.unwrap_or(screen.pictures[0])),
            burst: screen.pictures.iter().map(|p| number(season, *p)).collect(),
            state: state_word(season.tagging(id)),
            tags: tags.join("; "),
            quiet: season.quiet(id),
        }
    }
}

/// `GET api/sheet`
pub(super) fn sheet(desk: &Desk, part: &Part, asked: &Asked) -> Answer {
    const LIMIT_MAX: usize = 200;
    let filter = Filter::of(asked).map_err(Failure::Wrong)?;
    let mut season = desk.season();
    season.refresh()?;
    let fitting = filter.fitting(&season);
    let wanted = fitting.iter().skip(part.from_index);
    let visits: Vec<Cell> =
        wanted.take(part.limit.min(LIMIT_MAX)).map(|s| Cell::of(&season, *s)).collect();
    Reply::json(&serde_json::json!({ "total": fitting.len(), "visits": visits }))
}

/// What the page sends to tag many visits at once.
#[derive(Debug, Deserialize)]
pub(super) struct Sweep {
    generation: u64,
    visits: Vec<Swept>,
    who: String,
}

#[derive(Debug, Deserialize)]
struct Swept {
    id: usize,
    version: u64,
}

/// `POST api/sweep`: one step, on the disk when it answers.
pub(super) fn sweep(desk: &Desk, sent: &Sweep) -> Answer {
    let who = Who::parse(&sent.who)
        .ok_or_else(|| Failure::Wrong(format!("\"{}\" is not a kind.", sent.who)))?;
    let mut season = desk.season_to_change()?;
    let known = season.screens.all.len();
    if sent.generation != season.generation || sent.visits.iter().any(|s| s.id >= known) {
        return Err(Failure::Wrong("The pictures were read anew. Load the page again.".to_owned()));
    }
    let screens: Vec<(usize, u64)> = sent.visits.iter().map(|s| (s.id, s.version)).collect();
    match season.sweep(&screens, &Tag::of(who)) {
        Ok((saved, changed)) => Reply::json(&serde_json::json!({
            "saved": saved,
            "changed_meanwhile": changed,
            "counts": season.counts(),
            "version": season.version,
        })),
        Err(Refused::NotSaved(e)) => Err(e.into()),
        Err(Refused::Changed) => Err(Failure::Wrong("Load the page again.".to_owned())),
    }
}
