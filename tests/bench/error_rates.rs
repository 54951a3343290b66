//! How often a verdict is wrong, measured on practice seasons whose answer is known.
//!
//!     cargo bench --bench error_rates              2,000 seasons of each sort, some minutes
//!     cargo bench --bench error_rates -- 200       fewer
//!     cargo bench --bench error_rates -- placebo FOLDER
//!                                                  a property's own sightings.csv, with an event logged on dates of its
//!                                                  own record near each camera in turn: how often something is called
//!
//! Prints the table that is committed as `tests/bench/error_rates.md`.

#[path = "seasons.rs"]
mod seasons;

use seasons::{
    Effect, Law, Outcome, Tally, World, covered, found, in_world, power, quiet_dates, sorts,
    without_effect, worlds, worlds_for_effects,
};

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let first = arguments.next().unwrap_or_default();
    if first == "placebo" {
        return on_quiet_dates(&arguments.next().expect("a property's folder"));
    }
    let seasons: u64 = first.parse().unwrap_or(2000);
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
        "interval. Covered: how often the 95 % interval of the near cameras holds the true value, for mature bucks.\n"
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
    if wanted.is_empty() || wanted == "losses" {
        losses(seasons.div_ceil(4));
    }
    if wanted.is_empty() || wanted == "ranges" {
        ranges(seasons.div_ceil(4));
    }
}

/// Events that nobody logged, on every third week of a property's own record.
fn on_quiet_dates(folder: &str) {
    let [near, any] = quiet_dates(std::path::Path::new(folder));
    println!("| events put into {folder} | near cameras called | any row called |");
    println!("| --- | --- | --- |");
    println!("| {} | {} | {} |", near.trials, bounded(near), bounded(any));
}

/// How often each sort of effect is found, and whether the chance that is told of the loss of half is kept.
fn losses(seasons: u64) {
    println!("\n## What is found\n");
    println!(
        "Effects at the near camera, six controls, about 1.5 visits in light a night, 45 days on either side (three"
    );
    println!(
        "seasons of 90 days: in the last of them), {seasons} seasons each. Light, share: called a clear drop, everything looked"
    );
    println!(
        "at allowed for. Promised: the chance of finding the loss of half that the report tells, on average.\n"
    );
    println!(
        "| world | half of all | promised | three quarters | all lost | share .55 to .06, as many visits | half in light alone: light, share |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for world in worlds_for_effects() {
        let of = |effect| found(&world.with(effect), seasons);
        let half = of(Effect::loss(0.5, 0.5));
        let (quarter, none) = (of(Effect::loss(0.75, 0.75)), of(Effect::loss(1.0, 1.0)));
        let (share, light) = (of(Effect::share(0.06)), of(Effect::loss(0.5, 0.0)));
        println!(
            "| {} | {} | {:.0} % | {} | {} | {} | {}, {} |",
            world.name,
            half.light.percent(),
            100.0 * half.told / half.seasons,
            quarter.light.percent(),
            none.light.percent(),
            share.share.percent(),
            light.light.percent(),
            light.share.percent(),
        );
    }
    println!("\n## Deer that come back\n");
    println!(
        "Nine in ten visits are lost for 45 days and then come back, mild drift; how often the loss is called, by how"
    );
    println!("many days of the record follow the return.\n");
    println!("| days after the return | called |");
    println!("| --- | --- |");
    for after in [0, 15, 30, 90] {
        let effect = Effect { lasts: Some(45), ..Effect::loss(0.9, 0.9) };
        let law = Law::Drift { days: 20.0, near: 0.35, others: 0.35 };
        let world = World::new("back", law).rate(3.0).even().days(Some(21), 2 * (45 + after));
        println!("| {after} | {} |", found(&world.with(effect), seasons).light.percent());
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
    let or_none = |t: Tally| if t.trials > 0 { t.percent() } else { "–".to_owned() };
    println!(
        "| {name} | {} | {} | {} | {} | {} |",
        bounded(outcome.near),
        bounded(outcome.any),
        bounded(outcome.alarm),
        or_none(outcome.light),
        or_none(outcome.share),
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
