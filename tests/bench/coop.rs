//! How often the co-op's answer is wrong, in worlds that it does not assume. `cargo bench --bench coop`

mod coop_worlds;

use coop_worlds::{CoopWorld, Played, STILL, play, without_an_effect};
use graylight::coop::{CoopVerdict, EventAnswer};
use graylight::shift::Question;
use rayon::prelude::*;

fn of(played: &Played, question: Question) -> &EventAnswer {
    &played.answers.event.as_ref().unwrap().answers[question as usize]
}

fn is_clear(answer: &EventAnswer) -> bool {
    matches!(
        answer.verdict,
        CoopVerdict::ClearDrop | CoopVerdict::ClearRise
    )
}

fn rate(worlds: u64, world: &CoopWorld, holds: impl Fn(&Played) -> bool + Sync) -> f64 {
    let count = (0..worlds)
        .into_par_iter()
        .filter(|seed| holds(&play(world, *seed)))
        .count();
    100.0 * count as f64 / worlds as f64
}

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let worlds: u64 = arguments
        .next()
        .and_then(|a| a.parse().ok())
        .unwrap_or(1000);
    println!("worlds without an effect, {worlds} each: clear of the share, of either question (%)");
    for world in without_an_effect() {
        let share = rate(worlds, &world, |p| is_clear(of(p, Question::Share)));
        let either = rate(worlds, &world, |p| {
            [Question::Share, Question::LightVisits]
                .iter()
                .any(|q| is_clear(of(p, *q)))
        });
        println!("{:<55} {share:>5.1} {either:>5.1}", world.name);
    }
    println!("effects: found, range holds the mean, prediction holds a new property (%)");
    for (change, sd, habits) in [(-0.5, 0.0, 0.0), (-0.5, 0.3, 0.3), (-0.8, 0.5, 0.3)] {
        let world = CoopWorld {
            name: "effect",
            change: (change, sd),
            habits,
            ..STILL
        };
        let found = rate(worlds, &world, |p| {
            of(p, Question::Share).verdict == CoopVerdict::ClearDrop
        });
        let holds = rate(worlds, &world, |p| {
            of(p, Question::Share)
                .against
                .is_some_and(|e| e.low.ln() <= change && change <= e.high.ln())
        });
        let new = rate(worlds, &world, |p| {
            of(p, Question::Share)
                .new_property
                .is_some_and(|e| e.low.ln() <= p.new && p.new <= e.high.ln())
        });
        println!("{change:>5} (sd {sd}, habits {habits}): {found:>5.1} {holds:>5.1} {new:>5.1}");
    }
}
