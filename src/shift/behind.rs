//! The visits that a row of a comparison counts.

use super::quiet::{as_on, counts_on};
use super::window::Windows;
use crate::visits::{Kind, Season, Visit};

/// A camera's visits of a kind before and after, as [`Side`](super::Side) counts them: at the place where it
/// hangs after, and of seasons only on the days of the year on which it worked in both. In order of time.
pub fn visits_compared<'a>(
    season: &'a Season,
    camera: usize,
    kind: Kind,
    windows: &Windows,
) -> [Vec<&'a Visit>; 2] {
    let as_on = as_on(season, camera, windows);
    [windows.before, windows.after].map(|side| {
        let all = season.cameras[camera].visits_at_place(kind, side, as_on);
        all.filter(|v| counts_on(season, camera, windows, v.date())).collect()
    })
}
