//! What can be wrong with a clock, and how a finding is worded.

use chrono::{NaiveDateTime, TimeDelta};

use super::Stretch;
use super::offset::Offset;
use crate::property::{ClockCorrection, ClockSetting};

/// What people and batteries do to clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Kept in another way than `cameras.csv` says: not moved for daylight time, say.
    KeptOtherwise,
    /// On UTC.
    Utc,
    /// Twelve hours off: morning and afternoon mistaken.
    HalfDay,
    /// One hour off after a daylight-time weekend: the clock was not changed, or was when it should
    /// not have been.
    NotReset,
    /// Off by some other time.
    Off,
    /// Day and month the wrong way round when it was set.
    Swapped,
    /// A wrong day or month.
    WrongDate,
    /// A wrong year.
    WrongYear,
    /// Further and further off.
    Drift,
    /// Fell back to a factory date and ran on from there.
    Reset,
    /// Shows a date that had not come when the pictures were pulled.
    NotYet,
    /// Shown by a picture of the true time.
    Known,
}

impl Fault {
    /// The words in files and on the page.
    pub fn word(self) -> &'static str {
        match self {
            Self::KeptOtherwise => "kept in another way than cameras.csv says",
            Self::Utc => "on UTC",
            Self::HalfDay => "twelve hours off",
            Self::NotReset => "one hour off since a daylight-time weekend",
            Self::Off => "off by some time",
            Self::Swapped => "day and month the wrong way round",
            Self::WrongDate => "wrong day or month",
            Self::WrongYear => "wrong year",
            Self::Drift => "drifting",
            Self::Reset => "fell back to a factory date",
            Self::NotYet => "set to a date that has not come",
            Self::Known => "off by a known moment",
        }
    }
}

/// Minutes to add to a clock from one of its moments to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockRow {
    /// First moment, by the camera's own clock.
    pub from: NaiveDateTime,
    /// Last moment, by the camera's own clock.
    pub until: NaiveDateTime,
    /// Minutes to add at the beginning, and throughout where nothing else is said.
    pub shift_min: f64,
    /// Minutes to add at the end, of a drift.
    pub until_shift_min: Option<f64>,
}

/// A stretch of pictures whose times are wrong, and what would put them right.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// The camera.
    pub camera: String,
    /// First picture, by the camera's own clock.
    pub from: NaiveDateTime,
    /// Last picture, by the camera's own clock.
    pub until: NaiveDateTime,
    /// What happened.
    pub fault: Fault,
    /// Minutes to add to the clock, beyond what is added already; 0 where no one number says it.
    pub shift_min: f64,
    /// Lower end of the 95 % interval.
    pub low_min: f64,
    /// Upper end.
    pub high_min: f64,
    /// Pictures that it rests on.
    pub pictures: usize,
    /// Why it is believed.
    pub evidence: String,
    /// What the evidence leaves open.
    pub doubt: Option<String>,
    /// A row of `clocks.csv` is applied already, and is not right.
    pub corrected: bool,
    /// How `cameras.csv` should say that the clock is kept, where that is the remedy.
    pub setting: Option<ClockSetting>,
    /// The rows for `clocks.csv` that would put it right, where that is the remedy.
    pub rows: Vec<ClockRow>,
    /// The rows are for pictures that go by their files' own dates.
    pub of_file_date: bool,
}

impl Finding {
    /// Whether it says how to put the clock right.
    pub fn has_remedy(&self) -> bool {
        self.setting.is_some() || !self.rows.is_empty()
    }

    /// The other answer to a half-day: twelve hours on and twelve hours back differ by a day, which the light
    /// does not tell. `None` for every other fault, and where something else tells it.
    pub fn other_way(&self) -> Option<Self> {
        let turned = |row: &ClockRow| ClockRow {
            shift_min: -row.shift_min,
            until_shift_min: row.until_shift_min.map(|m| -m),
            ..*row
        };
        (self.fault == Fault::HalfDay && self.doubt.is_some()).then(|| Self {
            shift_min: -self.shift_min,
            low_min: -self.high_min,
            high_min: -self.low_min,
            rows: self.rows.iter().map(turned).collect(),
            ..self.clone()
        })
    }

    /// The rows for `clocks.csv`.
    pub fn corrections(&self) -> Vec<ClockCorrection> {
        let correction = |row: &ClockRow| ClockCorrection {
            camera: self.camera.clone(),
            from: Some(row.from),
            until: Some(row.until),
            shift_min: row.shift_min.round(),
            until_shift_min: row.until_shift_min.map(f64::round),
            of_file_date: self.of_file_date,
            why: format!("{}: {}", self.fault.word(), self.evidence),
        };
        self.rows.iter().map(correction).collect()
    }

    /// Lets it begin at a later moment.
    pub(super) fn begin(&mut self, from: NaiveDateTime) {
        self.from = from;
        for row in &mut self.rows {
            row.from = row.from.max(from);
        }
    }

    pub(super) fn set_drift(&mut self, start: f64, end: f64) {
        self.shift_min = f64::midpoint(start, end);
        (self.low_min, self.high_min) = (start.min(end), start.max(end));
        for row in &mut self.rows {
            let before = row.shift_min;
            row.shift_min = before + start;
            row.until_shift_min = Some(before + end);
        }
    }
}

/// A stretch that tells one fault.
pub(super) struct Found<'a> {
    pub stretch: &'a Stretch,
    pub offset: Offset,
    pub gain: f64,
}

impl Found<'_> {
    pub fn finding(&self, fault: Fault, shift_min: f64) -> Finding {
        let stretch = self.stretch;
        let setting_wrong = matches!(fault, Fault::KeptOtherwise | Fault::Utc);
        Finding {
            camera: stretch.camera.clone(),
            from: stretch.from,
            until: stretch.until,
            fault,
            shift_min,
            low_min: self.offset.low,
            high_min: self.offset.high,
            pictures: stretch.looks.len(),
            evidence: self.evidence(shift_min),
            doubt: None,
            corrected: stretch.looks.iter().any(|l| l.corrected),
            setting: None,
            rows: match setting_wrong {
                true => Vec::new(),
                false => rows(stretch, shift_min),
            },
            of_file_date: false,
        }
    }

    fn evidence(&self, shift_min: f64) -> String {
        let pictures = self.stretch.looks.len();
        if shift_min == 0.0 {
            return format!(
                "{pictures} pictures follow the light in that way ({} times likelier than by a right clock)",
                likelier(self.gain)
            );
        }
        let Offset { low, high, .. } = self.offset;
        format!(
            "the light in {pictures} pictures comes and goes {} too {} for the clock (95 % between {} and {}; {} times likelier than a right clock)",
            duration(shift_min.abs()),
            if shift_min < 0.0 { "late" } else { "early" },
            duration(low.abs().min(high.abs())),
            duration(low.abs().max(high.abs())),
            likelier(self.gain)
        )
    }
}

/// One row, or where rows of `clocks.csv` act on parts of the stretch already, one that takes the place
/// of each.
pub(super) fn rows(stretch: &Stretch, shift_min: f64) -> Vec<ClockRow> {
    let same = |a: &super::LightLook, b: &super::LightLook| a.added_min == b.added_min;
    let parts: Vec<&[super::LightLook]> = stretch.looks.chunk_by(same).collect();
    if parts.is_empty() {
        return vec![ClockRow {
            from: stretch.from,
            until: stretch.until,
            shift_min,
            until_shift_min: None,
        }];
    }
    let second = TimeDelta::seconds(1);
    let from = |i: usize| match i {
        0 => stretch.from,
        _ => parts[i][0].time.shown(),
    };
    (0..parts.len())
        .map(|i| ClockRow {
            from: from(i),
            until: if i + 1 < parts.len() { from(i + 1) - second } else { stretch.until },
            shift_min: parts[i][0].added_min + shift_min,
            until_shift_min: None,
        })
        .collect()
}

/// How many times likelier, in words.
pub(super) fn likelier(gain: f64) -> String {
    if gain > 13.8 { "over a million".to_owned() } else { format!("{:.0}", gain.exp()) }
}

/// A span of time as one says it: minutes up to three hours, then hours, days, years.
pub fn duration(minutes: f64) -> String {
    let whole = |n: f64, unit: &str| counted(n.round() as u64, unit);
    let minutes = minutes.abs();
    match minutes {
        m if m < 180.0 => whole(m, "minute"),
        m if m < 2880.0 => {
            let (hours, rest) = ((m / 60.0).floor(), (m % 60.0).round());
            match rest {
                0.0 => whole(hours, "hour"),
                rest => format!("{} {}", whole(hours, "hour"), whole(rest, "minute")),
            }
        }
        m if m < 1440.0 * 730.0 => whole(m / 1440.0, "day"),
        m => format!("{:.1} years", m / (1440.0 * 365.2425)),
    }
}

fn counted(n: u64, unit: &str) -> String {
    format!("{n} {unit}{}", if n == 1 { "" } else { "s" })
}

/// A span to the minute: `15 days 19 hours 53 minutes`.
pub fn duration_in_full(minutes: f64) -> String {
    let whole = minutes.abs().round() as u64;
    let parts = [(whole / 1440, "day"), (whole % 1440 / 60, "hour"), (whole % 60, "minute")];
    let there = parts.iter().filter(|(n, _)| *n > 0);
    let said = there.map(|(n, unit)| counted(*n, unit));
    match said.collect::<Vec<_>>().join(" ") {
        none if none.is_empty() => "less than a minute".to_owned(),
        said => said,
    }
}

/// `12 hours taken off`, `58 minutes added`
pub fn added(minutes: f64) -> String {
    format!("{} {}", duration_in_full(minutes), way(minutes))
}

/// What is done with so many minutes: `taken off` or `added`
pub fn way(minutes: f64) -> &'static str {
    if minutes < 0.0 { "taken off" } else { "added" }
}

#[cfg(test)]
mod tests {
    use super::{added, duration};

    #[test]
    fn spans_are_told_as_one_says_them() {
        for (minutes, words) in [
            (1.0, "1 minute"),
            (-60.0, "60 minutes"),
            (720.0, "12 hours"),
            (330.0, "5 hours 30 minutes"),
            (144_000.0, "100 days"),
            (-1_052_640.0, "2.0 years"),
        ] {
            assert_eq!(duration(minutes), words);
        }
    }

    #[test]
    fn what_is_taken_off_is_told_to_the_minute() {
        for (minutes, words) in [
            (-22_793.0, "15 days 19 hours 53 minutes taken off"),
            (720.0, "12 hours added"),
            (-60.0, "1 hour taken off"),
            (0.2, "less than a minute added"),
        ] {
            assert_eq!(added(minutes), words);
        }
    }
}
