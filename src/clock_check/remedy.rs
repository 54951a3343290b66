//! Putting a clock right on a copy of the property first: a remedy after which the judge still finds
//! something wrong is none.

use anyhow::Result;
use chrono::NaiveDate;

use super::{Finding, check};
use crate::card::Crawl;
use crate::clock;
use crate::property::{Property, same_name};

/// What the judge says of a camera once a finding's remedy has been applied.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehearsal {
    /// What is still wrong within the finding's pictures.
    pub still_wrong: Vec<Finding>,
}

/// Applies a finding's remedy to a copy and judges its camera again.
///
/// # Errors
/// As [`check`].
pub fn rehearse(
    property: &Property,
    crawl: &Crawl,
    finding: &Finding,
    today: NaiveDate,
) -> Result<Rehearsal> {
    let mut copy = property.clone();
    copy.corrections.extend(finding.corrections());
    if let Some(setting) = finding.setting {
        let of_camera =
            copy.placements.iter_mut().filter(|p| same_name(&p.camera, &finding.camera));
        let mut any = false;
        for placement in of_camera {
            placement.clock = setting;
            any = true;
        }
        if !any {
            copy.placements.push(crate::property::Placement::anywhere(&finding.camera, setting));
        }
    }
    let pictures = crawl.only(|p| same_name(&p.camera, &finding.camera));
    let pictures = clock::settled(&copy, pictures, today);
    let overlaps = |f: &Finding| f.from <= finding.until && finding.from <= f.until;
    let still_wrong =
        check(&copy, &pictures)?.into_iter().flat_map(|c| c.findings).filter(overlaps).collect();
    Ok(Rehearsal { still_wrong })
}
