//! What the standard has no place for.

use super::PackageOptions;
use super::media::Media;
use super::sheet::Sheet;
use crate::debrief::Debrief;
use crate::exchange::coordinates::degrees;
use crate::exchange::{schema, settings_told};

pub(super) fn disturbances(debrief: &Debrief, options: &PackageOptions) -> Sheet {
    let mut sheet = Sheet::of(schema::disturbances());
    for d in &debrief.property.disturbances {
        let place = d.position.and_then(|p| options.coordinates.tell(p));
        sheet.add(&[
            ("id", d.id.clone()),
            ("start", d.start.format("%FT%T").to_string()),
            ("end", d.end.map_or_else(String::new, |e| e.format("%FT%T").to_string())),
            ("by", d.by.word().to_owned()),
            ("what", d.what.clone()),
            ("latitude", place.map_or_else(String::new, |p| degrees(p.latitude_deg))),
            ("longitude", place.map_or_else(String::new, |p| degrees(p.longitude_deg))),
            ("near", d.near.join("|")),
        ]);
    }
    sheet
}

pub(super) fn silences(debrief: &Debrief) -> Sheet {
    let mut sheet = Sheet::of(schema::silences());
    for camera in &debrief.season.cameras {
        for silence in &camera.effort.silences {
            sheet.add(&[
                ("locationName", camera.name.clone()),
                ("from", silence.from.to_string()),
                ("until", silence.until.to_string()),
            ]);
        }
    }
    sheet
}

pub(super) fn clock_corrections(debrief: &Debrief) -> Sheet {
    let mut sheet = Sheet::of(schema::clock_corrections());
    for c in &debrief.property.corrections {
        let moment = |t: Option<chrono::NaiveDateTime>| {
            t.map_or_else(String::new, |t| t.format("%FT%T").to_string())
        };
        sheet.add(&[
            ("locationName", c.camera.clone()),
            ("from", moment(c.from)),
            ("until", moment(c.until)),
            ("minutes", c.shift_min.to_string()),
            ("minutesAtEnd", c.until_shift_min.map_or_else(String::new, |m| m.to_string())),
            ("reason", c.why.clone()),
        ]);
    }
    sheet
}

pub(super) fn individuals(debrief: &Debrief) -> Sheet {
    let mut sheet = Sheet::of(schema::individuals());
    for deer in &debrief.property.deer {
        sheet.add(&[
            ("individualID", deer.name.clone()),
            ("born", deer.born.map_or_else(String::new, |y| y.to_string())),
            ("note", deer.note.clone()),
        ]);
    }
    sheet
}

pub(super) fn settings(debrief: &Debrief) -> Sheet {
    let mut sheet = Sheet::of(schema::settings());
    for (setting, value, unit) in settings_told(&debrief.property.settings) {
        sheet.add(&[("setting", setting.to_owned()), ("value", value), ("unit", unit.to_owned())]);
    }
    sheet
}

pub(super) fn untimed(debrief: &Debrief, media: &Media) -> Sheet {
    let mut sheet = Sheet::of(schema::untimed());
    for picture in media.untimed.iter().map(|p| &debrief.crawl.pictures[*p as usize]) {
        sheet.add(&[
            ("filePath", picture.path.clone()),
            ("locationName", picture.camera.to_string()),
        ]);
    }
    sheet
}
