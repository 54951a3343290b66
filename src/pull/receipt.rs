//! What the person is handed when a pull ends.

use std::collections::BTreeMap;
use std::fmt;
use std::io;
use std::path::Path;

use anyhow::Result;
use chrono::TimeDelta;
use serde::Serialize;

use super::list::{CardFile, Listed};
use super::{CardPull, Fate};
use crate::card::{self, CameraTime, Picture, TimeOrigin, Unreadable, shown};
use crate::files::without_number;

/// Something on the card that did not reach the property, or did so damaged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// Path below the card.
    pub file: String,
    /// What went wrong.
    pub what: String,
}

impl Trouble {
    pub(super) fn unread(file: &CardFile, error: &io::Error) -> Self {
        Self::of(file, format!("the card did not give it ({error})"))
    }

    pub(super) fn differs(file: &CardFile) -> Self {
        Self::of(file, "read back from the disk it was not the same; the disk may be failing")
    }

    pub(super) fn unsteady(file: &CardFile) -> Self {
        Self::of(
            file,
            "the card gave other bytes each time it was read; the card or its reader is failing",
        )
    }

    pub(super) fn is_the_card(file: &CardFile, place: &Path) -> Self {
        let what =
            format!("{} is a link to the card itself, so there is no copy of it", shown(place));
        Self::of(file, what)
    }

    pub(super) fn unsynced(file: &CardFile, error: &io::Error) -> Self {
        let what = format!("its copy could not be made sure of on the disk ({error})");
        Self::of(file, what)
    }

    pub(super) fn unlisted(file: String, why: &str) -> Self {
        let what = format!("could not be listed ({})", without_number(why));
        Self { file, what }
    }

    pub(super) fn of(file: &CardFile, what: impl Into<String>) -> Self {
        Self { file: file.shown(), what: without_number(&what.into()) }
    }
}

/// What a pull did.
#[derive(Debug, Clone, Serialize)]
pub struct Receipt {
    /// The pull's name, by which the property remembers it.
    pub pull: String,
    /// The card's folder.
    pub card: String,
    /// The camera.
    pub camera: String,
    /// Files on the card.
    pub found: usize,
    /// Pictures among them that can be read, stills and clips.
    pub pictures: usize,
    /// Copied and verified now.
    pub copied: usize,
    /// Already in the property, and verified there now.
    pub already_had: usize,
    /// Where the card's files lie now: folders below the property, and how many are in each.
    pub places: BTreeMap<String, usize>,
    /// Files that did not reach the property.
    pub failed: Vec<Trouble>,
    /// Pictures that are copied bit for bit and are damaged on the card itself.
    pub damaged: Vec<Trouble>,
    /// Pictures that the property has already with other bytes; one of the two is damaged.
    pub twins: Vec<Trouble>,
    /// Pictures and clips of kinds that are not read, by their ending: copied and verified, and not
    /// counted anywhere.
    pub not_read: BTreeMap<String, usize>,
    /// Folders of the computer's own on the card, which were left alone.
    pub left_alone: Vec<String>,
    /// Pictures without a time that can be used.
    pub without_time: usize,
    /// Pictures that go by the time of their last change, since they carry no other.
    pub dated_by_change: usize,
    /// Clips that go by their file's own date.
    pub dated_by_file: usize,
    /// First moment by the camera's clock.
    pub first: Option<String>,
    /// Last moment by the camera's clock.
    pub last: Option<String>,
    /// Stretches of more than three days without a picture: from, until.
    pub gaps: Vec<(String, String)>,
    /// Coldest and warmest, degrees Celsius, where the camera writes the temperature.
    pub temperature_c: Option<(f64, f64)>,
    /// What went wrong beside the files themselves: nothing depends on it.
    pub notes: Vec<String>,
    /// Every byte of the card is verified in the property.
    pub safe_to_clear: bool,
    /// Why the card must not be cleared, where nothing failed.
    pub why_not: Option<String>,
    #[serde(skip)]
    times: Vec<CameraTime>,
}

/// A camera that takes no picture for longer may have stood still.
const GAP_DAYS: i64 = 3;

impl Receipt {
    pub(super) fn new(request: &CardPull, listed: &Listed, pull: String) -> Self {
        Self {
            pull,
            card: request.card.display().to_string(),
            camera: request.camera.to_owned(),
            found: listed.files.len(),
            pictures: 0,
            copied: 0,
            already_had: 0,
            places: BTreeMap::new(),
            failed: listed.trouble.clone(),
            damaged: Vec::new(),
            twins: Vec::new(),
            not_read: BTreeMap::new(),
            left_alone: listed.system.clone(),
            without_time: 0,
            dated_by_change: 0,
            dated_by_file: 0,
            first: None,
            last: None,
            gaps: Vec::new(),
            temperature_c: None,
            notes: Vec::new(),
            safe_to_clear: false,
            why_not: None,
            times: Vec::new(),
        }
    }

    pub(super) fn add(
        &mut self,
        file: &CardFile,
        fate: &Fate,
        picture: &Result<Option<Picture>, Unreadable>,
    ) {
        match fate {
            Fate::Copied(arrived, twin) => {
                self.copied += 1;
                if arrived.unsteady {
                    let what = "the card gave other bytes the first time, and the same twice after; the card or its reader is failing";
                    self.damaged.push(Trouble::of(file, what));
                }
                self.twins.extend(twin.as_ref().map(|twin| {
                    let what = format!(
                        "the property has it already with other bytes, as {}; kept as {} beside it. One of the two is damaged: look at both and remove the bad one. They count as one picture",
                        shown(twin),
                        shown(&arrived.place)
                    );
                    Trouble::of(file, what)
                }));
                if let Some(damage) = arrived.damage {
                    self.damaged.push(Trouble::of(file, damage.to_string()));
                }
            }
            Fate::Had(..) => self.already_had += 1,
            Fate::Failed(trouble) => return self.failed.push(trouble.clone()),
        }
        if let Some((place, _)) = fate.kept() {
            let folder = place.parent().map_or_else(String::new, shown);
            *self.places.entry(folder).or_default() += 1;
        }
        let picture = match picture {
            Ok(Some(picture)) => picture,
            Ok(None) => {
                if let Some(kind) = card::kind_not_read(&file.path) {
                    *self.not_read.entry(kind).or_default() += 1;
                }
                return;
            }
            Err(why) => return self.damaged.push(Trouble::of(file, why.to_string())),
        };
        self.pictures += 1;
        self.count(picture);
    }

    fn count(&mut self, picture: &Picture) {
        match &picture.time {
            Ok(stamp) => {
                self.times.push(stamp.time);
                self.dated_by_file += usize::from(stamp.origin == TimeOrigin::FileDate);
                self.dated_by_change += usize::from(stamp.origin == TimeOrigin::Changed);
            }
            Err(_) => self.without_time += 1,
        }
        if let Some(t) = picture.temperature_c() {
            let (low, high) = self.temperature_c.unwrap_or((t, t));
            self.temperature_c = Some((low.min(t), high.max(t)));
        }
    }

    /// Works out what needs the whole card. `after` lists the card once more: a file that came or
    /// changed meanwhile is not in the property.
    pub(super) fn close(&mut self, after: Result<Listed>, before: &Listed) {
        self.times.sort_unstable();
        self.first = self.times.first().map(ToString::to_string);
        self.last = self.times.last().map(ToString::to_string);
        self.gaps = self
            .times
            .windows(2)
            .filter(|w| w[1].shown() - w[0].shown() > TimeDelta::days(GAP_DAYS))
            .map(|w| (w[0].to_string(), w[1].to_string()))
            .collect();
        let unchanged = after.is_ok_and(|a| a.files == before.files && a.trouble.is_empty());
        if !unchanged && self.failed.is_empty() {
            self.failed.push(Trouble {
                file: self.card.clone(),
                what: "the card changed, or was taken out, while it was pulled".to_owned(),
            });
        }
        let all_kept = self.failed.is_empty() && self.copied + self.already_had == self.found;
        const MANY: usize = 3;
        let damaged = self.damaged.len();
        let much_is_damaged = damaged >= MANY && damaged * 10 >= self.pictures + damaged;
        self.why_not = match (all_kept, self.pictures, self.not_read.is_empty()) {
            (false, ..) => None,
            _ if much_is_damaged => Some(format!(
                "{damaged} of its files are damaged, which a failing reader makes too. Try another reader first, and pull again"
            )),
            (true, 0, true) => Some("there is no picture on it".to_owned()),
            (true, 0, false) => Some(
                "it holds only pictures or clips of kinds that are not read here. They are copied byte for byte; open some of the copies before you clear it".to_owned(),
            ),
            (true, ..) => None,
        };
        self.safe_to_clear = all_kept && self.why_not.is_none();
    }
}

impl fmt::Display for Receipt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "Receipt for {}, camera {}", self.card, self.camera)?;
        writeln!(
            f,
            "  {} files found, {} of them pictures that can be read",
            self.found, self.pictures
        )?;
        writeln!(f, "  {} copied and verified", self.copied)?;
        writeln!(f, "  {} already in the property, verified again", self.already_had)?;
        for (folder, count) in &self.places {
            writeln!(f, "  {count} lie in {folder}")?;
        }
        if let (Some(first), Some(last)) = (&self.first, &self.last) {
            writeln!(f, "  {first} to {last} by the camera's clock")?;
        }
        for (from, until) in &self.gaps {
            writeln!(f, "  no picture from {from} to {until}")?;
        }
        if let Some((low, high)) = self.temperature_c {
            writeln!(f, "  {low:.0} to {high:.0} °C by the camera")?;
        }
        self.doubtful_times(f)?;
        for (kind, count) in &self.not_read {
            writeln!(
                f,
                "  {count} of a kind that is not read here ({kind}): copied and verified, counted nowhere"
            )?;
        }
        for folder in &self.left_alone {
            writeln!(f, "  {folder} is the computer's own and was left alone")?;
        }
        some(f, "damaged on the card, and copied as they are", &self.damaged)?;
        some(f, "there already with other bytes", &self.twins)?;
        some(f, "NOT in the property", &self.failed)?;
        for note in &self.notes {
            writeln!(f, "  {note}")?;
        }
        match (&self.why_not, self.safe_to_clear) {
            (_, true) => {
                write!(f, "Every byte on it is verified in the property: safe to clear this card.")
            }
            (Some(why), _) => write!(f, "Do NOT clear this card: {why}."),
            (None, _) => write!(
                f,
                "Do NOT clear this card. Pull it again; what is missing is tried anew. If the same files fail again, keep the card and try another reader."
            ),
        }
    }
}

impl Receipt {
    fn doubtful_times(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.without_time > 0 {
            writeln!(f, "  {} pictures without a time that can be used", self.without_time)?;
        }
        if self.dated_by_change > 0 {
            let what = if self.dated_by_change == 1 {
                "1 picture carries"
            } else {
                &format!("{} pictures carry", self.dated_by_change)
            };
            writeln!(f, "  {what} only the time of its last change")?;
        }
        if self.dated_by_file > 0 {
            let what = if self.dated_by_file == 1 {
                "1 clip carries no time and goes by its".to_owned()
            } else {
                format!("{} clips carry no time and go by their", self.dated_by_file)
            };
            writeln!(f, "  {what} file's date")?;
        }
        Ok(())
    }
}

fn some(f: &mut fmt::Formatter<'_>, heading: &str, list: &[Trouble]) -> fmt::Result {
    if list.is_empty() {
        return Ok(());
    }
    writeln!(f, "  {} {heading}:", list.len())?;
    for trouble in list {
        writeln!(f, "    {}: {}", trouble.file, trouble.what)?;
    }
    Ok(())
}
