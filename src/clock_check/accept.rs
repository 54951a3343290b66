//! Putting a clock right for good: the remedy of a finding, written into the person's own tables.

use anyhow::Result;
use chrono::NaiveDate;

use super::{Fault, Finding, rehearse};
use crate::card::Crawl;
use crate::property::{ClockCorrection, Property, add_corrections, same_name, set_clock};

/// Why a finding's remedy must not be applied, if so.
///
/// # Errors
/// As [`rehearse`].
pub fn doubt(
    property: &Property,
    crawl: &Crawl,
    finding: &Finding,
    today: NaiveDate,
) -> Result<Option<String>> {
    if !finding.has_remedy() {
        return Ok(Some(
            "the pictures do not say by how much. A picture of a watch would".to_owned(),
        ));
    }
    if finding.fault == Fault::Known {
        return Ok(None);
    }
    let rehearsal = rehearse(property, crawl, finding, today)?;
    let still = rehearsal.still_wrong.first();
    Ok(still.map(|f| {
        format!(
            "judged again with it, the clock is still wrong ({}). A picture of a watch would say more",
            f.fault.word()
        )
    }))
}

/// Writes a finding's remedy, and says what was written.
///
/// # Errors
/// When a table cannot be read or written.
pub fn accept(root: &std::path::Path, finding: &Finding) -> Result<String> {
    if let Some(setting) = finding.setting {
        let rows = set_clock(root, &finding.camera, setting)?;
        return Ok(format!(
            "cameras.csv says that its clock is kept on {} now ({rows} rows).",
            setting.word()
        ));
    }
    let before = Property::open(root)?.corrections;
    let is_there = |r: &ClockCorrection| {
        let same = |b: &&ClockCorrection| {
            same_name(&b.camera, &r.camera)
                && (b.from, b.until, b.of_file_date) == (r.from, r.until, r.of_file_date)
                && (b.shift_min, b.until_shift_min) == (r.shift_min, r.until_shift_min)
        };
        before.iter().any(|b| same(&b))
    };
    let rows: Vec<ClockCorrection> =
        finding.corrections().into_iter().filter(|r| !is_there(r)).collect();
    if rows.is_empty() {
        return Ok("clocks.csv says so already.".to_owned());
    }
    add_corrections(root, &rows)?;
    Ok(match rows.len() {
        1 => "1 row was added to clocks.csv.".to_owned(),
        n => format!("{n} rows were added to clocks.csv."),
    })
}
