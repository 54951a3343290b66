//! Clocks on the page: what is found, accepted and undone one by one, and a picture of a watch.

use anyhow::Context;
use chrono::{Days, NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::server::{Answer, Failure, Reply};
use super::state::DeskSeason;
use super::visits::{TIME, file_name, number};
use super::{Desk, live};
use crate::clock_check::{self, Anchor, Fault, Finding, added, duration, duration_in_full, way};
use crate::property::{
    ClockCorrection, CorrectionLine, Property, correction_lines, parse_date, parse_moment,
    remove_correction, same_name,
};
use crate::report;

/// `GET api/clocks`
pub(super) fn clocks(desk: &Desk) -> Answer {
    let made = live::view(desk);
    let root = desk.season().property.root.clone();
    let row =
        |r: CorrectionLine| json!({ "line": r.line, "row": r.row, "words": r.read.map(in_words) });
    let rows: Vec<Value> = correction_lines(&root)?.into_iter().map(row).collect();
    let known = desk.live.clocks();
    let camera = |c: &clock_check::CameraClock| {
        json!({
            "camera": c.camera,
            "word": c.word(),
            "findings": c.findings.iter().map(finding_view).collect::<Vec<_>>(),
        })
    };
    Reply::json(&json!({
        "report": made,
        "clocks": known.as_ref().map(|all| all.iter().map(camera).collect::<Vec<_>>()),
        "rows": rows,
        "cameras": desk.season().screens.cameras,
    }))
}

/// A finding in plain words, with its plot.
fn finding_view(finding: &Finding) -> Value {
    json!({
        "key": key(finding),
        "plain": plain(finding),
        "evidence": finding.evidence,
        "doubt": finding.doubt,
        "pictures": finding.pictures,
        "remedy": remedy(finding),
        "other_way": finding.other_way().as_ref().and_then(remedy),
        "plot": report::clock_plot_name(finding),
    })
}

/// What tells a finding from every other.
fn key(finding: &Finding) -> String {
    format!(
        "{}/{}/{}/{}/{}",
        finding.camera,
        finding.fault.word(),
        finding.from,
        finding.until,
        finding.shift_min
    )
}

/// `an hour behind, from 9 Mar 2025 to 14 Apr 2025`
fn plain(finding: &Finding) -> String {
    const DAY: &str = "%-d %b %Y";
    let (from, until) = (finding.from.format(DAY), finding.until.format(DAY));
    let is_named = !matches!(finding.fault, Fault::Off | Fault::Known);
    let by = match finding.shift_min {
        // Twelve hours on and twelve hours back differ by a day, which the light does not tell.
        _ if finding.fault == Fault::HalfDay => String::new(),
        m if m.abs() < 1.0 => String::new(),
        m if m < 0.0 => format!(": {} ahead", duration(-m)),
        m => format!(": {} behind", duration(m)),
    };
    let when = match finding.from.date() == finding.until.date() {
        true => format!("on {from}"),
        false => format!("from {from} to {until}"),
    };
    match by.strip_prefix(": ").filter(|_| !is_named) {
        Some(by) => format!("{by}, {when} by its own clock"),
        None => format!("{}{by}, {when} by its own clock", finding.fault.word()),
    }
}

/// What accepting it does; `None` where there is no remedy.
fn remedy(finding: &Finding) -> Option<String> {
    if let Some(setting) = finding.setting {
        return Some(format!(
            "cameras.csv will say that this clock is kept on {}.",
            setting.word()
        ));
    }
    let row = finding.rows.first()?;
    let end = row
        .until_shift_min
        .map_or(String::new(), |end| format!(" at first and {} at the end", duration_in_full(end)));
    Some(format!(
        "{} will be {}{end} where those pictures are counted. The pictures stay as they are.",
        duration_in_full(row.shift_min),
        way(row.shift_min)
    ))
}

/// `North Fence: 12 hours added, 3 Oct 2025 06:10 to 21 Nov 2025 17:02 by its own clock`
fn in_words(row: ClockCorrection) -> String {
    let moment = |t: NaiveDateTime| t.format("%-d %b %Y %H:%M").to_string();
    let end = row
        .until_shift_min
        .map_or(String::new(), |m| format!(" at first, {} at the end", added(m)));
    let when = match (row.from, row.until) {
        (None, None) => ", always".to_owned(),
        (Some(from), None) => format!(", from {} by its own clock", moment(from)),
        (None, Some(until)) => format!(", until {} by its own clock", moment(until)),
        (Some(from), Some(until)) => {
            format!(", {} to {} by its own clock", moment(from), moment(until))
        }
    };
    format!("{}: {}{end}{when}", row.camera, added(row.shift_min))
}

/// Which finding.
#[derive(Debug, Deserialize)]
pub(super) struct Accepted {
    key: String,
    /// The other answer to a half-day.
    #[serde(default)]
    other_way: bool,
}

/// `POST api/clocks/accept`
pub(super) fn accept(desk: &Desk, sent: &Accepted) -> Answer {
    let anew = || Failure::Wrong("The clocks are judged anew just now. Look once more.".to_owned());
    // Two answers to one finding must not both be written.
    if !live::is_fresh(desk) {
        return Err(anew());
    }
    let clocks = desk.live.clocks().unwrap_or_default();
    let finding = clocks.iter().flat_map(|c| &c.findings).find(|f| key(f) == sent.key);
    let finding = finding.ok_or_else(anew)?;
    if !sent.other_way {
        return apply(desk, finding);
    }
    let other = finding.other_way();
    let other = other.ok_or_else(|| Failure::Wrong("There is one way only.".to_owned()))?;
    apply(desk, &other)
}

fn apply(desk: &Desk, finding: &Finding) -> Answer {
    let (property, crawl) = {
        let season = desk.season_to_change()?;
        (season.property.clone(), std::sync::Arc::clone(&season.crawl))
    };
    if let Some(why) = clock_check::doubt(&property, &crawl, finding, desk.today)? {
        return Err(Failure::Wrong(format!("Nothing was changed: {why}.")));
    }
    let done = clock_check::accept(&property.root, finding)?;
    Reply::json(&json!({ "done": format!("{}: {done}", finding.camera) }))
}

/// A row of `clocks.csv` as the page showed it.
#[derive(Debug, Deserialize)]
pub(super) struct Undone {
    line: u64,
    row: String,
}

/// `POST api/clocks/undo`
pub(super) fn undo(desk: &Desk, sent: &Undone) -> Answer {
    let root = desk.season_to_change()?.property.root.clone();
    let rows = correction_lines(&root)?;
    let row = rows.into_iter().find(|r| r.line == sent.line && r.row == sent.row);
    let Some(row) = row else {
        return Err(Failure::Wrong(
            "clocks.csv has been changed meanwhile. Look once more.".to_owned(),
        ));
    };
    let said = row.read.map_or(row.row, in_words);
    remove_correction(&root, sent.line)?;
    Reply::json(&json!({ "done": format!("Taken out of clocks.csv: {said}") }))
}

/// Whose pictures, of which day.
#[derive(Debug, Deserialize)]
pub(super) struct WatchAsked {
    camera: String,
    #[serde(default)]
    day: Option<String>,
}

#[derive(Serialize)]
struct WatchPicture {
    id: u64,
    path: String,
    file: String,
    time: Option<String>,
}

/// `GET api/clocks/pictures`: a camera's pictures of one day by its own clock, the last day unless one is named.
pub(super) fn pictures(desk: &Desk, asked: &WatchAsked) -> Answer {
    const MOST: usize = 120;
    let season = desk.season();
    let of_camera = own_pictures(&season, &asked.camera);
    let day = |p: &u32| {
        let picture = &season.crawl.pictures[*p as usize];
        let time = picture.shown_time().or(picture.written_on);
        time.map(|t| t.shown().date())
    };
    let mut days: Vec<NaiveDate> = of_camera.iter().filter_map(day).collect();
    days.sort_unstable();
    days.dedup();
    let asked_day = asked.day.as_deref().and_then(parse_date);
    let wanted = asked_day.filter(|d| days.contains(d)).or(days.last().copied());
    let view = |p: &u32| {
        let picture = &season.crawl.pictures[*p as usize];
        let time = picture.shown_time().or(picture.written_on);
        WatchPicture {
            id: number(&season, *p),
            path: picture.path.clone(),
            file: file_name(&picture.path),
            time: time.map(|t| t.shown().format(TIME).to_string()),
        }
    };
    let shown = of_camera.iter().filter(|p| day(p) == wanted).take(MOST).map(view);
    let pictures: Vec<WatchPicture> = shown.collect();
    let days: Vec<String> = days.iter().map(ToString::to_string).collect();
    let day = wanted.map(|d| d.to_string());
    Reply::json(&json!({ "days": days, "day": day, "pictures": pictures }))
}

fn own_pictures(season: &DeskSeason, camera: &str) -> Vec<u32> {
    let all = season.crawl.pictures.iter().zip(0..);
    let is_own = |p: &crate::card::Picture| !p.clip && same_name(&p.camera, camera);
    all.filter(|(p, _)| is_own(p)).map(|(_, i)| i).collect()
}

/// A picture and the true time in it.
#[derive(Debug, Deserialize)]
pub(super) struct Watch {
    picture: String,
    shows: String,
    /// The person has seen what it means, and agrees.
    #[serde(default)]
    agreed: bool,
}

/// `POST api/clocks/watch`
pub(super) fn watch(desk: &Desk, sent: &Watch) -> Answer {
    let (property, crawl) = {
        let season = desk.season_to_change()?;
        (season.property.clone(), std::sync::Arc::clone(&season.crawl))
    };
    let finding =
        known(&property, &crawl, sent, desk.today).map_err(|e| Failure::Wrong(format!("{e:#}")))?;
    match sent.agreed {
        true => apply(desk, &finding),
        false => Reply::json(&json!({ "found": finding_view(&finding) })),
    }
}

fn known(
    property: &Property,
    crawl: &crate::card::Crawl,
    sent: &Watch,
    today: NaiveDate,
) -> anyhow::Result<Finding> {
    anyhow::ensure!(
        !sent.shows.trim().is_empty(),
        "type what the watch shows, such as 2025-10-18T06:30"
    );
    let shows = parse_moment(&sent.shows, property.settings.date_order)
        .with_context(|| format!("\"{}\" is not a time", sent.shows))?;
    anyhow::ensure!(shows.date() <= today + Days::new(1), "{shows} has not come yet");
    let anchor = Anchor { picture: sent.picture.clone(), shows };
    clock_check::known_moment(property, crawl, &[anchor], None)
}
