//! What the person is handed when a pull ends.

use std::fmt;
use std::io;

use anyhow::Result;
use chrono::TimeDelta;
use serde::Serialize;

use super::list::{CardFile, Listed};
use super::{Fate, Request};
use crate::card::{CameraTime, Picture, TimeOrigin, Unreadable};

/// Something on the card that did not reach the property.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// Path below the card.
    pub file: String,
    /// What went wrong.
    pub what: String,
}

impl Trouble {
    pub(super) fn unread(file: &CardFile, error: &io::Error) -> Self {
        let what = format!("the card did not give it ({error})");
        Self {
            file: file.shown(),
            what,
        }
    }

    pub(super) fn differs(file: &CardFile) -> Self {
        let what = "read back from the disk it was not the same; the disk may be failing";
        Self {
            file: file.shown(),
            what: what.to_owned(),
        }
    }

    pub(super) fn unlisted(file: String, why: &str) -> Self {
        let what = format!("could not be listed ({why})");
        Self { file, what }
    }
}

/// What a pull did.
#[derive(Debug, Clone, Serialize)]
pub struct Receipt {
    /// The card's folder.
    pub card: String,
    /// The camera.
    pub camera: String,
    /// Files on the card.
    pub found: usize,
    /// Pictures among them, stills and clips.
    pub pictures: usize,
    /// Copied and verified now.
    pub copied: usize,
    /// Already in the property, and verified there now.
    pub already_had: usize,
    /// Files that did not reach the property.
    pub failed: Vec<Trouble>,
    /// Pictures that are copied bit for bit and are damaged on the card itself.
    pub damaged: Vec<Trouble>,
    /// Pictures without a time that can be used.
    pub without_time: usize,
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
    /// Every byte of the card is verified in the property.
    pub safe_to_clear: bool,
    #[serde(skip)]
    times: Vec<CameraTime>,
}

/// A camera that takes no picture for longer may have stood still.
const GAP_DAYS: i64 = 3;

impl Receipt {
    pub(super) fn new(request: &Request, listed: &Listed) -> Self {
        Self {
            card: request.card.display().to_string(),
            camera: request.camera.to_owned(),
            found: listed.files.len(),
            pictures: 0,
            copied: 0,
            already_had: 0,
            failed: listed.trouble.clone(),
            damaged: Vec::new(),
            without_time: 0,
            dated_by_file: 0,
            first: None,
            last: None,
            gaps: Vec::new(),
            temperature_c: None,
            safe_to_clear: false,
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
            Fate::Copied(..) => self.copied += 1,
            Fate::Had(..) => self.already_had += 1,
            Fate::Failed(trouble) => return self.failed.push(trouble.clone()),
        }
        let picture = match picture {
            Ok(Some(picture)) => picture,
            Ok(None) => return,
            Err(why) => {
                return self.damaged.push(Trouble {
                    file: file.shown(),
                    what: why.to_string(),
                });
            }
        };
        self.pictures += 1;
        match &picture.time {
            Ok(stamp) => {
                self.times.push(stamp.time);
                self.dated_by_file += usize::from(stamp.origin == TimeOrigin::FileDate);
            }
            Err(_) => self.without_time += 1,
        }
        if let Some(t) = picture.temperature_c {
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
        self.safe_to_clear = self.failed.is_empty() && self.copied + self.already_had == self.found;
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
        writeln!(
            f,
            "  {} already in the property, verified again",
            self.already_had
        )?;
        if let (Some(first), Some(last)) = (&self.first, &self.last) {
            writeln!(f, "  {first} to {last} by the camera's clock")?;
        }
        for (from, until) in &self.gaps {
            writeln!(f, "  no picture from {from} to {until}")?;
        }
        if let Some((low, high)) = self.temperature_c {
            writeln!(f, "  {low:.0} to {high:.0} °C by the camera")?;
        }
        if self.without_time > 0 {
            writeln!(
                f,
                "  {} pictures without a time that can be used",
                self.without_time
            )?;
        }
        if self.dated_by_file > 0 {
            writeln!(
                f,
                "  {} clips carry no time and go by their file's date",
                self.dated_by_file
            )?;
        }
        some(
            f,
            "damaged on the card, and copied as they are",
            &self.damaged,
        )?;
        some(f, "NOT in the property", &self.failed)?;
        if self.found == 0 && self.failed.is_empty() {
            write!(f, "There is nothing on this card.")
        } else if self.safe_to_clear {
            write!(
                f,
                "Every byte on it is verified in the property: safe to clear this card."
            )
        } else {
            write!(
                f,
                "Do NOT clear this card. Pull it again; what is missing is tried anew. If the same files fail again, keep the card and try another reader."
            )
        }
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
