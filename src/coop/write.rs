//! The answers as tables, as one JSON file and as a page. Small cells are hidden in all of them.

use std::fs;
use std::io::Write;
use std::path::Path;

use anyhow::{Context, Result};
use serde_json::{Map, Value, json};

use super::contrast::{Contrast, Untagged};
use super::event::{EventAnswer, EventAnswers, GroupShares, Part};
use super::hidden::{hidden, is_small, is_small_apart};
use super::question::{CoopQuestion, Happened};
use super::record::{KindOf, Record, SeasonOf};
use super::season::Spread;
use super::words::word;
use super::{Answers, page};
use crate::files::{Lasting, write_whole};
use crate::measure::{Effect, Estimate};
use crate::report::{harmless, rounded};
use crate::shift::Question;
use crate::visits::Kind;

/// A table: its file and its rows, each with the same columns; an empty value is an empty cell.
struct Table {
    name: &'static str,
    headings: &'static [&'static str],
    rows: Vec<Vec<Value>>,
}

/// Writes `coop.json`, its tables and the page below `folder`; their names are returned.
///
/// # Errors
/// When the disk does not take them.
pub fn write(answers: &Answers, question: &CoopQuestion, folder: &Path) -> Result<Vec<String>> {
    let tables = [
        seasons(answers),
        properties(answers, question.kind()?),
        event(answers),
        other_dates(answers),
        joined(answers, question),
        left_out(answers),
    ];
    let mut files = vec![("coop.json".to_owned(), as_json(question, &tables)?)];
    files.push(("coop.html".to_owned(), page::page(answers, question)?.into_bytes()));
    for table in &tables {
        files.push((format!("{}.csv", table.name), as_csv(table)?));
    }
    let say = || format!("cannot write {}", folder.display());
    fs::create_dir_all(folder).with_context(say)?;
    for (name, bytes) in &files {
        let path = folder.join(name);
        write_whole(&path, Lasting::Remade, |f| f.write_all(bytes), || Ok(())).with_context(say)?;
    }
    Ok(files.into_iter().map(|f| f.0).collect())
}

fn as_csv(table: &Table) -> Result<Vec<u8>> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(table.headings)?;
    for row in &table.rows {
        let cell = |v: &Value| match v {
            Value::Null => String::new(),
            Value::String(text) => harmless(text).into_owned(),
            other => rounded(other.clone()).to_string(),
        };
        csv.write_record(row.iter().map(cell))?;
    }
    Ok(csv.into_inner()?)
}

fn as_json(question: &CoopQuestion, tables: &[Table]) -> Result<Vec<u8>> {
    let mut all = Map::new();
    all.insert("question".to_owned(), asked(question));
    for table in tables {
        let row = |row: &Vec<Value>| -> Map<String, Value> {
            let names = table.headings.iter().map(|h| (*h).to_owned());
            names.zip(row.iter().cloned()).collect()
        };
        let rows: Vec<Map<String, Value>> = table.rows.iter().map(row).collect();
        all.insert(table.name.replace('-', "_"), json!(rows));
    }
    let mut text = serde_json::to_vec_pretty(&rounded(Value::Object(all)))?;
    text.push(b'\n');
    Ok(text)
}

fn asked(question: &CoopQuestion) -> Value {
    let date = match &question.happened {
        Some(Happened::Everywhere(date)) => json!(date),
        _ => Value::Null,
    };
    json!({
        "what": question.what,
        "kind": question.kind,
        "days": question.days,
        "everywhere_on": date,
    })
}

/// So many digits: from more than a few the counts behind a number could be reckoned.
fn digits(x: f64, digits: usize) -> f64 {
    format!("{x:.*e}", digits - 1).parse().unwrap_or(x)
}

/// A sum over properties, in two digits.
pub(super) fn about(n: u64) -> usize {
    digits(n as f64, 2) as usize
}

/// A number over properties.
fn told(x: f64) -> Value {
    json!(digits(x, 3))
}

/// A share over properties, in whole percent.
fn told_share(x: f64) -> Value {
    json!((x * 100.0).round() / 100.0)
}

/// Value, low, high.
fn three(estimate: Option<Estimate>) -> [Value; 3] {
    estimate.map_or_else(Default::default, |e| [e.value, e.low, e.high].map(told))
}

fn three_shares(estimate: Option<Estimate>) -> [Value; 3] {
    estimate.map_or_else(Default::default, |e| [e.value, e.low, e.high].map(told_share))
}

/// Quarters of fewer properties than this would be those of single ones.
pub(super) const FEWEST_FOR_QUARTERS: usize = 20;

fn spread(spread: Option<Spread>, told: fn(f64) -> Value) -> Vec<Value> {
    let mut cells = vec![spread.map_or(Value::Null, |s| json!(s.properties))];
    let mean = spread.map(|s| [s.mean.value, s.mean.low, s.mean.high].map(told));
    cells.extend(mean.unwrap_or_default());
    let half = spread.filter(|s| s.properties >= FEWEST_FOR_QUARTERS);
    let half = half.map(|s| [told(s.middle_half.0), told(s.middle_half.1)]);
    cells.extend(half.unwrap_or_default());
    cells
}

fn seasons(answers: &Answers) -> Table {
    let row = |s: &super::SeasonAnswer| {
        // From an exact sum what is shown of properties could be taken away.
        let is_told = s.properties >= super::FEWEST_PROPERTIES;
        let sum = |n: u64| {
            if is_told { json!(about(n)) } else { Value::Null }
        };
        let mut row = vec![
            json!(s.season),
            json!(s.kind.word()),
            json!(s.properties),
            sum(s.nights),
            sum(s.visits),
            sum(s.light),
        ];
        row.extend(spread(s.share, told_share));
        row.extend(spread(s.per_100_nights, told));
        row
    };
    Table {
        name: "seasons",
        headings: &[
            "season",
            "kind",
            "properties",
            "nights_about",
            "visits_about",
            "light_visits_about",
            "share_properties",
            "share_mean",
            "share_low",
            "share_high",
            "share_quarter_below",
            "share_quarter_above",
            "per_100_nights_properties",
            "per_100_nights_mean",
            "per_100_nights_low",
            "per_100_nights_high",
            "per_100_nights_quarter_below",
            "per_100_nights_quarter_above",
        ],
        rows: answers.seasons.iter().map(row).collect(),
    }
}

/// The kinds told of single properties: the one that is asked about, and all deer. From more of them a small cell could
/// be reckoned by taking one away from another.
fn kinds_told(asked: Kind) -> Vec<Kind> {
    let mut kinds = vec![asked, Kind::Deer];
    kinds.dedup();
    kinds
}

/// Which of a season's properties are hidden, in both kinds that are told.
fn hidden_in(group: &[(&Record, &SeasonOf)], asked: Kind) -> Vec<bool> {
    let one = |(_, season): &(&Record, &SeasonOf)| {
        let [part, all] = [asked, Kind::Deer].map(|k| &season.kinds[k as usize]);
        let is_apart = asked != Kind::Deer && is_small_apart(all, part);
        (is_small(part) || is_small(all) || is_apart, part.visits)
    };
    hidden(&group.iter().map(one).collect::<Vec<_>>())
}

fn properties(answers: &Answers, asked: Kind) -> Table {
    let mut rows = Vec::new();
    for season in answers.season_names() {
        let group = of_season(answers, season);
        let hidden = hidden_in(&group, asked);
        for kind in kinds_told(asked) {
            for ((record, season), hidden) in group.iter().zip(&hidden) {
                let nights = |nights: u32| if *hidden { Value::Null } else { json!(nights) };
                let mut row = vec![
                    json!(record.property),
                    json!(season.season),
                    json!(kind.word()),
                    nights(season.nights),
                    nights(season.nights_in_doubt),
                    json!(hidden),
                ];
                row.extend(shown(&season.kinds[kind as usize], *hidden));
                rows.push(row);
            }
        }
    }
    Table {
        name: "properties",
        headings: &[
            "property",
            "season",
            "kind",
            "nights",
            "nights_clock_in_doubt",
            "hidden",
            "visits",
            "light_visits",
            "share",
            "share_low",
            "share_high",
            "per_100_nights",
            "per_100_nights_low",
            "per_100_nights_high",
        ],
        rows,
    }
}

/// The properties that have a camera-night in a season.
fn of_season<'a>(answers: &'a Answers, season: &str) -> Vec<(&'a Record, &'a SeasonOf)> {
    let of = |r: &'a Record| {
        let found = r.seasons.iter().find(|s| s.season == season && s.nights > 0);
        Some((r, found?))
    };
    answers.records.iter().filter_map(of).collect()
}

fn shown(counts: &KindOf, hidden: bool) -> Vec<Value> {
    const CELLS: usize = 8;
    if hidden {
        return vec![Value::Null; CELLS];
    }
    let mut row = vec![json!(counts.visits), json!(counts.light)];
    for all in [counts.share, counts.per_100_nights] {
        row.extend(all.map_or_else(Default::default, |a| a.map(|x| json!(x))));
    }
    row
}

fn group(shares: Option<GroupShares>) -> Vec<Value> {
    let mut cells = Vec::from(three_shares(shares.map(|s| s.before)));
    cells.extend(three_shares(shares.map(|s| s.after)));
    cells
}

fn event(answers: &Answers) -> Table {
    let row = |all: &EventAnswers, a: &EventAnswer| {
        let mut row = vec![
            json!(word(a.question)),
            json!(a.verdict.word()),
            json!(a.exposed),
            json!(a.controls),
        ];
        for estimate in [a.own, a.elsewhere, a.against, a.new_property] {
            row.extend(three(estimate));
        }
        for number in [a.between_sd, a.drift_sd, a.p_value, a.p_adjusted] {
            row.push(number.map_or(Value::Null, |x| json!(digits(x, 2))));
        }
        row.push(json!(digits(a.design_effect, 2)));
        let is_share = a.question == Question::Share;
        row.extend(group(all.exposed.filter(|_| is_share)));
        row.extend(group(all.controls.filter(|_| is_share)));
        row
    };
    let rows = answers.event.iter();
    Table {
        name: "event",
        headings: &[
            "question",
            "verdict",
            "properties_where_it_happened",
            "properties_where_it_did_not",
            "change",
            "change_low",
            "change_high",
            "change_elsewhere",
            "change_elsewhere_low",
            "change_elsewhere_high",
            "against_elsewhere",
            "against_elsewhere_low",
            "against_elsewhere_high",
            "new_property",
            "new_property_low",
            "new_property_high",
            "between_properties_sd_log",
            "drift_on_other_dates_sd_log",
            "p",
            "p_adjusted",
            "design_effect",
            "share_before",
            "share_before_low",
            "share_before_high",
            "share_after",
            "share_after_low",
            "share_after_high",
            "share_before_elsewhere",
            "share_before_elsewhere_low",
            "share_before_elsewhere_high",
            "share_after_elsewhere",
            "share_after_elsewhere_low",
            "share_after_elsewhere_high",
        ],
        rows: rows.flat_map(|all| all.answers.iter().map(move |a| row(all, a))).collect(),
    }
}

fn other_dates(answers: &Answers) -> Table {
    let all = answers.event.iter().flat_map(|e| &e.answers);
    let rows = all.flat_map(|a| {
        a.other_dates.iter().map(|o| {
            let mut row = vec![json!(word(a.question)), json!(o.days_later), json!(o.exposed)];
            row.extend(three(Some(o.change)));
            row
        })
    });
    Table {
        name: "other-dates",
        headings: &["question", "days_later", "properties", "change", "change_low", "change_high"],
        rows: rows.collect(),
    }
}

/// A property's own change as a factor. Its range would tell the counts.
fn own(effect: Option<Effect>) -> Value {
    effect.map_or(Value::Null, |e| json!(digits(e.value.exp(), 2)))
}

/// A property's own change, if no count behind it is small.
fn own_change(change: &Contrast, question: Question) -> Option<Effect> {
    let told = (!change.is_small(question)).then_some(change)?;
    told.effect(question, Untagged::LeftOut)
}

fn joined(answers: &Answers, question: &CoopQuestion) -> Table {
    let Some(event) = &answers.event else {
        return Table { name: "joined", headings: JOINED, rows: Vec::new() };
    };
    let row = |(id, part): &(String, Part), record: &Record| {
        let (word, date, why) = match part {
            Part::Exposed(date) => ("happened", Some(*date), ""),
            Part::Control => ("did not happen", None, ""),
            Part::Unusable(date, why) => ("happened, not usable", Some(*date), why.word()),
            Part::UnusableControl(why) => ("did not happen, not usable", None, why.word()),
            Part::Unsaid => ("not named", None, "nobody says whether it happened there"),
        };
        let mut row = vec![json!(id), json!(word), json!(date.map(|d| d.to_string())), json!(why)];
        for question in [Question::Share, Question::LightVisits] {
            let change = date.and_then(|d| record.change(d)?.as_ref().ok());
            let own_change = change.and_then(|c| own_change(c, question));
            if change.is_some() && own_change.is_none() {
                row[3] = json!("a count behind its own change is too small to be told");
            }
            row.push(own(own_change));
        }
        row
    };
    let here = event.parts.iter().zip(&answers.records);
    let mut rows: Vec<Vec<Value>> = here.map(|(part, record)| row(part, record)).collect();
    for id in answers.missing(question) {
        let mut row = vec![Value::Null; JOINED.len()];
        let why = "it is named, and the data set does not hold it";
        row[..4].clone_from_slice(&[json!(id), json!("not there"), Value::Null, json!(why)]);
        rows.push(row);
    }
    Table { name: "joined", headings: JOINED, rows }
}

const JOINED: &[&str] =
    &["property", "part", "date", "why_not", "share_change", "light_visits_change"];

fn left_out(answers: &Answers) -> Table {
    let row = |(id, why): &(String, String)| vec![json!(id), json!(why)];
    Table {
        name: "left-out",
        headings: &["property", "why"],
        rows: answers.left_out.iter().map(row).collect(),
    }
}
