//! What can be wrong with a clock, and how a finding is worded.

use chrono::NaiveDateTime;

use super::Look;
use super::light_model::Offset;

/// What people and batteries do to clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Twelve hours off: morning and afternoon mistaken.
    HalfDay,
    /// One hour off after a daylight-time weekend: the clock was not changed, or was when it should
    /// not have been.
    NotReset,
    /// Off by some other time.
    Off,
    /// A wrong day or month.
    WrongDate,
    /// A wrong year.
    WrongYear,
    /// Further and further off.
    Drift,
    /// Fell back to a factory date and ran on from there.
    Reset,
    /// Shown by a picture of the true time.
    Known,
}

impl Fault {
    /// The words in files and on the page.
    pub fn word(self) -> &'static str {
        match self {
            Self::HalfDay => "twelve hours off",
            Self::NotReset => "one hour off since a daylight-time weekend",
            Self::Off => "off by some time",
            Self::WrongDate => "wrong day or month",
            Self::WrongYear => "wrong year",
            Self::Drift => "drifting",
            Self::Reset => "fell back to a factory date",
            Self::Known => "off by a known moment",
        }
    }
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
    /// Minutes to add to the clock.
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
}

/// Pictures of a camera that tell one fault.
pub(super) struct Found<'a> {
    pub camera: &'a str,
    pub looks: &'a [Look],
    pub offset: Offset,
}

impl Found<'_> {
    pub fn finding(&self, fault: Fault, shift_min: f64, evidence: String) -> Finding {
        let time = |l: Option<&Look>| l.map(|l| l.time.shown()).unwrap_or_default();
        Finding {
            camera: self.camera.to_owned(),
            from: time(self.looks.first()),
            until: time(self.looks.last()),
            fault,
            shift_min,
            low_min: self.offset.low,
            high_min: self.offset.high,
            pictures: self.looks.len(),
            evidence,
            doubt: None,
            corrected: self.looks.iter().any(|l| l.corrected),
        }
    }

    pub fn evidence(&self, gain: f64) -> String {
        let Offset { minutes, low, high } = self.offset;
        format!(
            "{} pictures turn from colour to grey {:.0} minutes {} than the light (95 % between {:.0} and {:.0} minutes; {} times likelier than a right clock)",
            self.looks.len(),
            minutes.abs(),
            if minutes < 0.0 { "later" } else { "earlier" },
            low.abs().min(high.abs()),
            low.abs().max(high.abs()),
            likelier(gain)
        )
    }
}

/// How many times likelier, in words.
pub(super) fn likelier(gain: f64) -> String {
    if gain > 13.8 {
        "over a million".to_owned()
    } else {
        format!("{:.0}", gain.exp())
    }
}
