//! Many properties: each one's answers, and what they say together.
//!
//! A property's rows ([`DayRow`]) become its [`Record`]: sums without places and names, all that leaves it. The records
//! become [`Answers`]. Who makes the records does not matter: [`run`] makes them on this machine, property by property,
//! and an engine for large tables can make them by handing joined days to [`record_of_table`]; the numbers are the same.
//!
//! What is told of the event rests on properties as units. Each says how much its own deer changed from the days before
//! to the days after, camera by camera. Where it happened is compared with where it did not on the same dates, so that
//! season and weather fall out; and because two groups of properties can drift apart for reasons of their own, the same
//! comparison is made on other dates, and what it scatters there beyond its counts comes to the range.

mod contrast;
mod days;
mod event;
mod groups;
mod hidden;
mod other_dates;
mod page;
mod question;
mod read;
mod record;
mod run;
mod season;
mod spark;
mod words;
mod write;

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context, Result};

pub use contrast::{Contrast, CoopSide, Untagged, Unusable};
pub use days::{DayRow, PropertyDays};
pub use event::{
    CoopVerdict, EventAnswer, EventAnswers, FEWEST_PROPERTIES, GroupShares, OtherDate, Part,
};
pub use question::{At, CoopQuestion, Happened, WrittenDate, happened};
pub use read::properties;
pub use record::{KindOf, Record, SeasonOf};
pub use run::{Ran, run};
pub use season::{SeasonAnswer, Spread};
pub use spark::{OfProperty, SPARK_JOB, SparkPlan, from_records, run_on_spark, write_spark_job};
pub use words::lines;
pub use write::write;

/// What properties say together.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    /// Every season and kind.
    pub seasons: Vec<SeasonAnswer>,
    /// What happened; `None` where only the seasons were asked for.
    pub event: Option<EventAnswers>,
    /// The records that they rest on, in the order of names.
    pub records: Vec<Record>,
    /// Properties that could not be read, and why.
    pub left_out: Vec<(String, String)>,
}

impl Answers {
    /// Puts records together, in whatever order they come.
    pub fn of(
        mut records: Vec<Record>,
        mut left_out: Vec<(String, String)>,
        question: &CoopQuestion,
    ) -> Self {
        records.sort_by(|a, b| a.property.cmp(&b.property));
        take_copies_out(&mut records, &mut left_out);
        left_out.sort();
        Self {
            seasons: season::answers(&records),
            event: question.happened.as_ref().map(|_| event::answers(&records, question)),
            records,
            left_out,
        }
    }
}

impl Answers {
    /// The seasons' names, the oldest first.
    fn season_names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self.seasons.iter().map(|s| s.season.as_str()).collect();
        names.dedup();
        names
    }

    /// The properties that the co-op names and the data set does not hold.
    pub fn missing(&self, question: &CoopQuestion) -> Vec<String> {
        let Some(Happened::Here(all)) = &question.happened else {
            return Vec::new();
        };
        let is_there = |id: &&String| {
            self.records.iter().any(|r| r.property == **id)
                || self.left_out.iter().any(|(left, _)| left == *id)
        };
        all.keys().filter(|id| !is_there(id)).cloned().collect()
    }
}

/// Two properties that say the same to the last visit are one under two names: counted twice it would look like two
/// that agree.
fn take_copies_out(records: &mut Vec<Record>, left_out: &mut Vec<(String, String)>) {
    let mut first: BTreeMap<String, String> = BTreeMap::new();
    records.retain(|record| {
        let kinds = record.seasons.iter().flat_map(|s| &s.kinds);
        if kinds.map(|k| k.visits).sum::<u32>() == 0 {
            return true;
        }
        let counts = format!("{:?}{:?}", record.seasons, record.changes);
        if let Some(other) = first.get(&counts) {
            let why = format!(
                "it says the same as {other} to the last visit: one property under two names"
            );
            left_out.push((record.property.clone(), why));
            return false;
        }
        first.insert(counts, record.property.clone());
        true
    });
}

/// The record of one property in a data set, as text.
///
/// # Errors
/// When its files cannot be read or do not agree.
pub fn record(dataset: &Path, id: &str, question: &CoopQuestion) -> Result<String> {
    as_text(&Record::of(id, &read::property(dataset, id)?, question)?)
}

/// The same of one table of its days, with the visits counted, as Parquet.
///
/// # Errors
/// When the table cannot be read or does not agree with itself.
pub fn record_of_table(id: &str, table: Vec<u8>, question: &CoopQuestion) -> Result<String> {
    as_text(&Record::of(id, &read::joined(table)?, question)?)
}

fn as_text(record: &Record) -> Result<String> {
    Ok(serde_json::to_string(record)?)
}

/// A record from its text; every record goes through it, so that its numbers are the same whoever made it.
///
/// # Errors
/// When it is none.
pub fn from_text(text: &str) -> Result<Record> {
    serde_json::from_str(text).context("this is no property's record")
}
