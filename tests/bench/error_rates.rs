//! How often a verdict is wrong, measured on practice seasons whose answer is known.
//!
//!     cargo bench --bench error_rates              2,000 seasons of each sort, some minutes
//!     cargo bench --bench error_rates -- 200       fewer
//!
//! Prints the table that is committed as `tests/bench/error_rates.md`.

#[path = "seasons.rs"]
mod seasons;

use seasons::{
    Law, Outcome, Tally, World, covered, in_world, power, promise, sorts, without_effect, worlds,
};

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let seasons: u64 = arguments.next().and_then(|a| a.parse().ok()).unwrap_or(2000);
    let wanted = arguments.next().unwrap_or_default();
    println!("# Measured error rates\n");
    println!(
        "{seasons} seasons of each sort, made and judged by `cargo bench --bench error_rates`.\n"
    );
    println!("## Without an effect\n");
    println!(
        "Near: all near cameras are called clear on visits in light or on the share. Any: any camera, kind or"
    );
    println!(
        "disturbance is. Watch: a change that nobody logged is reported. In brackets the upper end of the 95 %"
    );
    println!(
        "interval. Covered: how often the 95 % interval holds the true value, for mature bucks at one camera.\n"
    );
    println!(
        "| season | near | any | watch | ratio of visits in light covered | change of share covered |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    for (name, options) in sorts() {
        if name.contains(&wanted) {
            row(&format!("practice: {name}"), &without_effect(&options, seasons));
        }
    }
    for world in worlds() {
        if world.name.contains(&wanted) {
            row(world.name, &in_world(&world, seasons));
        }
    }
    if wanted.is_empty() || wanted == "effect" {
        effects(seasons);
    }
    if wanted.is_empty() || wanted == "promises" {
        promises(seasons.div_ceil(2));
    }
    if wanted.is_empty() || wanted == "ranges" {
        ranges(seasons.div_ceil(4));
    }
}

/// Whether the chance that the report tells beforehand is kept.
fn promises(seasons: u64) {
    println!("\n## What the days before promise\n");
    println!(
        "Half of the visits in light at the near camera are lost, the days compared are chosen by the program. Told: the"
    );
    println!(
        "mean of the chances that the report gives of finding it, from the days before alone. Found: how often it is, in"
    );
    println!("{seasons} seasons; and in those in which that chance was told as 80 % or more.\n");
    println!("| world | told | found | found where likely was told (seasons) |");
    println!("| --- | --- | --- | --- |");
    let world = |name, law, rate| World::new(name, law).rate(rate).days(None, 126).halved();
    for world in [
        world("steady, 0.55 visits a night", Law::Steady, 0.55),
        world("steady, 1 visit a night", Law::Steady, 1.0),
        world("steady, 2 visits a night", Law::Steady, 2.0),
        world("unequal season, 1.5 visits a night", Law::UnequalSeason, 1.5),
        world("wandering, 1.5 visits a night", Law::Wandering, 1.5),
        world("residents for weeks, 1.5 visits a night", Law::Residents, 1.5),
    ] {
        let p = promise(&world, seasons);
        println!(
            "| {} | {:.1} % | {} | {} ({}) |",
            world.name,
            100.0 * p.told / p.seasons,
            p.found.percent(),
            p.likely.percent(),
            p.likely.trials,
        );
    }
}

/// The other ranges of the report.
fn ranges(seasons: u64) {
    println!("\n## Other ranges\n");
    println!(
        "How often a 95 % range holds the truth, in {seasons} seasons: a control's long-run daylight share and visits in"
    );
    println!(
        "light per 100 nights over twelve weeks; minutes by which the near camera's evenings shifted against the"
    );
    println!(
        "controls, where nothing shifts them; the day of a clear change. Last, how often a return is reported of a"
    );
    println!("change that stays.\n");
    println!(
        "| world | share | visits in light per 100 nights | evening minutes | day of the change | return reported |"
    );
    println!("| --- | --- | --- | --- | --- | --- |");
    let or_none = |t: Tally| {
        if t.trials > 0 { t.percent() } else { "–".to_owned() }
    };
    let effect = |rate| World::new("an effect", Law::Effect).rate(rate).days(Some(21), 112);
    // Long-run shares and rates: of the last two by a million days played.
    for (world, share, rate) in [
        (World::new("steady", Law::Steady).rate(1.5), 0.55, 1.5),
        (World::new("bucks shared by cameras", Law::SharedBucks), 0.546, 0.0),
        (World::new("wandering", Law::Wandering).rate(1.5), 0.545, 1.5),
        (World::new("residents for weeks", Law::Residents).rate(1.65), 0.543, 0.0),
        (World::new("the same bucks with names", Law::Residents).rate(1.65).named(), 0.543, 0.0),
        (effect(1.1), 0.45, 1.1),
        (effect(2.2), 0.45, 2.2),
    ] {
        let c = covered(&world, (share, rate), seasons);
        let of_rate = if rate > 0.0 { or_none(c.rate) } else { "–".to_owned() };
        println!(
            "| {}, {} visits a night | {} | {of_rate} | {} | {} | {} |",
            world.name,
            world.rate,
            or_none(c.share),
            or_none(c.evening),
            or_none(c.onset),
            or_none(c.returned),
        );
    }
}

fn row(name: &str, outcome: &Outcome) {
    println!(
        "| {name} | {} | {} | {} | {} | {} |",
        bounded(outcome.near),
        bounded(outcome.any),
        bounded(outcome.alarm),
        outcome.light.percent(),
        outcome.share.percent(),
    );
}

/// A rate with the upper end of its interval.
fn bounded(tally: Tally) -> String {
    let counts = graylight::measure::Counts::new(tally.hits as usize, tally.trials as usize);
    let upper = graylight::measure::wilson(counts).map_or(0.0, |w| 100.0 * w.high);
    format!("{} ({upper:.1})", tally.percent())
}

fn effects(seasons: u64) {
    println!("\n## With an effect\n");
    println!(
        "The daylight share of mature bucks falls from 0.45 to 0.20 at one camera and their visits halve, 21 days"
    );
    println!(
        "either side, six controls, one disturbance logged. Fisher's exact test, valid in these plain seasons, is"
    );
    println!("given the same visits and asked one question at 5 %; it knows no other camera.\n");
    println!(
        "| visits before + after | visits in light: clear drop | share: clear drop | share by itself | share by Fisher's test |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for rate in [0.385, 0.55, 0.825, 1.1, 1.65, 2.2] {
        let p = power(rate, seasons);
        println!(
            "| {:.0} + {:.0} | {} | {} | {} | {} |",
            p.before,
            p.after,
            p.light.percent(),
            p.share.percent(),
            p.share_alone.percent(),
            p.fisher.percent(),
        );
    }
}
