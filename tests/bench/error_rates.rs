//! How often a verdict is wrong, measured on practice seasons whose answer is known.
//!
//!     cargo bench --bench error_rates              2,000 seasons of each sort, some minutes
//!     cargo bench --bench error_rates -- 200       fewer
//!
//! Prints the table that is committed as `tests/bench/error_rates.md`.

#[path = "seasons.rs"]
mod seasons;

use graylight::practice::Trouble;
use seasons::{Outcome, power, sorts, without_effect};

fn main() {
    let seasons: u64 = std::env::args()
        .skip(1)
        .find_map(|a| a.parse().ok())
        .unwrap_or(2000);
    println!("# Measured error rates\n");
    println!(
        "{seasons} practice seasons of each sort, made and judged by `cargo bench --bench error_rates`.\n"
    );
    println!("## Seasons without an effect\n");
    println!(
        "A season counts as wrong when any camera, kind or disturbance in it is called clear."
    );
    println!(
        "Coverage: how often the 95 % interval holds the true value, for mature bucks, all cameras.\n"
    );
    println!(
        "| season | wrong verdict | false alarm of the watch | change of share covered | change against controls covered |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for (name, options) in sorts() {
        let Outcome {
            wrong,
            alarm,
            own,
            against,
        } = without_effect(&options, seasons);
        // The share itself moves in a strong season, so its change has no single true value.
        let own = match options.trouble {
            Trouble::StrongSeason => "–".to_owned(),
            _ => own.percent(),
        };
        println!(
            "| {name} | {} | {} | {own} | {} |",
            wrong.percent(),
            alarm.percent(),
            against.percent()
        );
    }
    println!("\n## Seasons with an effect\n");
    println!(
        "The daylight share of mature bucks falls from 0.45 to 0.20 at one camera and their visits halve."
    );
    println!(
        "Fisher's exact test, valid in these plain seasons, is given the same visits; both at 5 %, one question.\n"
    );
    println!(
        "| visits before + after | found | by Fisher's test | ratio | clear drop with everything looked at allowed for |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for size in [0.7, 1.0, 1.5, 2.0, 3.0, 4.0] {
        let p = power(size, seasons);
        println!(
            "| {:.0} + {:.0} | {} | {} | {:.2} | {} |",
            p.before,
            p.after,
            p.found.percent(),
            p.fisher.percent(),
            p.found.share() / p.fisher.share(),
            p.verdict.percent()
        );
    }
}
