//! How often the co-op's answer is wrong, in worlds that it does not assume, and how long it takes.
//!
//!     cargo bench --bench coop             the error rates, 1,000 worlds of each sort: about 10 minutes
//!     cargo bench --bench coop -- 200      fewer
//!     cargo bench --bench coop -- scale    10, 100 and 1,000 properties of 10,000 visits, beside DuckDB that counts them
//!
//! Both print tables that are committed in `tests/bench/coop.md`.

mod coop_scale;
mod coop_worlds;

use coop_worlds::{CoopWorld, Played, STILL, play, with_an_effect, without_an_effect};
use graylight::coop::{CoopVerdict, EventAnswer};
use graylight::measure::{Counts, wilson};
use graylight::shift::Question;
use rayon::prelude::*;

fn main() {
    let mut asked = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    match asked.next().as_deref() {
        Some("scale") => coop_scale::measure(),
        number => {
            let worlds = number.and_then(|a| a.parse().ok()).unwrap_or(1000);
            nothing_planted(worlds);
            planted(worlds);
        }
    }
}

fn of(played: &Played, question: Question) -> &EventAnswer {
    &played.answers.event.as_ref().unwrap().answers[question as usize]
}

fn is_clear(answer: &EventAnswer) -> bool {
    use CoopVerdict::{ClearDrop, ClearRise};
    matches!(answer.verdict, ClearDrop | ClearRise)
}

/// `2.0 % (3.1)`: how often, and the upper end of the interval.
fn often(hits: usize, all: usize) -> String {
    let share = wilson(Counts::new(hits, all)).unwrap();
    format!("{:.1} % ({:.1})", share.value * 100.0, share.high * 100.0)
}

fn all(world: &CoopWorld, worlds: u64) -> Vec<Played> {
    (0..worlds).into_par_iter().map(|seed| play(world, seed)).collect()
}

fn nothing_planted(worlds: u64) {
    println!("| world | daylight share | visits in light | either |");
    println!("| --- | --- | --- | --- |");
    for world in without_an_effect() {
        let played = all(&world, worlds);
        let clear = |asked: &[Question]| {
            let any = |p: &&Played| asked.iter().any(|q| is_clear(of(p, *q)));
            often(played.iter().filter(any).count(), played.len())
        };
        println!(
            "| {} | {} | {} | {} |",
            world.name,
            clear(&[Question::Share]),
            clear(&[Question::LightVisits]),
            clear(&[Question::Share, Question::LightVisits])
        );
    }
}

fn planted(worlds: u64) {
    println!(
        "\n| world | found | wrong way | range holds the mean | prediction holds a new property |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for world in with_an_effect() {
        let played = all(&world, worlds);
        let mean = world.change.0;
        let count = |holds: &dyn Fn(&EventAnswer, &Played) -> bool| {
            let held = |p: &&Played| holds(of(p, Question::Share), p);
            often(played.iter().filter(held).count(), played.len())
        };
        let is_in =
            |e: graylight::measure::Estimate, log: f64| (e.low.ln()..=e.high.ln()).contains(&log);
        println!(
            "| {} | {} | {} | {} | {} |",
            world.name,
            count(&|a, _| a.verdict == CoopVerdict::ClearDrop),
            count(&|a, _| a.verdict == CoopVerdict::ClearRise),
            count(&|a, _| a.against.is_some_and(|e| is_in(e, mean))),
            count(&|a, p| a.new_property.is_some_and(|e| is_in(e, p.new)))
        );
    }
    let everywhere = CoopWorld { controls: 0, change: (-0.8, 0.0), ..STILL };
    let none = all(&everywhere, worlds.div_ceil(10));
    let verdicts = none.iter().filter(|p| of(p, Question::Share).verdict != CoopVerdict::NoControl);
    println!(
        "\nAt every property on one date: a verdict in {} of {} worlds.",
        verdicts.count(),
        none.len()
    );
}
