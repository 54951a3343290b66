//! Which screens the person wants to see.

use chrono::NaiveDate;
use serde::Deserialize;

use super::state::{DeskSeason, Tagging};
use crate::property::{parse_date, same_name};
use crate::sun::Light;
use crate::tags::Who;

/// As the page sends it: every part may be missing or empty, and then does not matter.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    camera: String,
    from: String,
    until: String,
    who: String,
    light: String,
    name: String,
    quiet: String,
}

/// The same, understood.
#[derive(Debug, Default)]
pub(super) struct Filter {
    camera: Option<String>,
    from: Option<NaiveDate>,
    until: Option<NaiveDate>,
    tags: Option<Tags>,
    light: Option<Lights>,
    name: Option<String>,
    quiet: Option<bool>,
}

#[derive(Debug, Clone, Copy)]
enum Lights {
    One(Light),
    /// Daylight and gray light.
    Legal,
}

#[derive(Debug, Clone, Copy)]
enum Tags {
    Untagged,
    Tagged,
    Conflict,
    With(Who),
    /// A buck of the age from which the property counts it as mature.
    MatureBuck,
}

impl Filter {
    /// # Errors
    /// In the person's words, when a part cannot be understood.
    pub fn of(asked: &Asked) -> Result<Self, String> {
        let some = |text: &str| Some(text.trim().to_owned()).filter(|t| !t.is_empty());
        let date = |text: &str| {
            some(text)
                .map(|t| parse_date(&t).ok_or(format!("\"{t}\" is not a date such as 2025-10-18.")))
                .transpose()
        };
        Ok(Self {
            camera: some(&asked.camera),
            from: date(&asked.from)?,
            until: date(&asked.until)?,
            tags: some(&asked.who).map(|t| tags(&t)).transpose()?,
            light: some(&asked.light).map(|t| light(&t)).transpose()?,
            name: some(&asked.name),
            quiet: some(&asked.quiet).map(|t| t == "yes"),
        })
    }

    /// The screens that are wanted, in order.
    pub fn fitting(&self, season: &DeskSeason) -> Vec<usize> {
        let all = 0..season.screens.all.len();
        all.filter(|s| self.fits(season, *s)).collect()
    }

    fn fits(&self, season: &DeskSeason, screen: usize) -> bool {
        let s = &season.screens.all[screen];
        let date = s.moment.map(|m| m.date());
        let camera = season.screens.camera(s);
        self.camera.as_ref().is_none_or(|c| same_name(c, camera))
            && self.from.is_none_or(|f| date.is_some_and(|d| f <= d))
            && self.until.is_none_or(|u| date.is_some_and(|d| d <= u))
            && self.light.is_none_or(|l| s.moment.is_some_and(|m| fits_light(l, m.light)))
            && self.quiet.is_none_or(|q| (season.quiet(screen) == Some(true)) == q)
            && self.tags.is_none_or(|t| fits_tags(t, season, screen))
            && self.name.as_ref().is_none_or(|name| {
                let mut tags = season.tags(screen);
                tags.any(|t| t.name.as_ref().is_some_and(|n| same_name(n, name)))
            })
    }
}

fn fits_light(wanted: Lights, light: Light) -> bool {
    match wanted {
        Lights::One(one) => light == one,
        Lights::Legal => light.is_legal(),
    }
}

fn fits_tags(wanted: Tags, season: &DeskSeason, screen: usize) -> bool {
    match wanted {
        Tags::Untagged => season.tagging(screen) != Tagging::Tagged,
        Tags::Tagged => season.tagging(screen) == Tagging::Tagged,
        Tags::Conflict => season.has_conflict(screen),
        Tags::With(who) => season.tags(screen).any(|t| t.who == who),
        Tags::MatureBuck => {
            let mature_age = season.property.settings.mature_age;
            let mut tags = season.tags(screen);
            tags.any(|t| t.who == Who::Buck && t.age.is_some_and(|a| a >= mature_age))
        }
    }
}

fn tags(text: &str) -> Result<Tags, String> {
    match text {
        "untagged" => Ok(Tags::Untagged),
        "tagged" => Ok(Tags::Tagged),
        "conflict" => Ok(Tags::Conflict),
        "mature" => Ok(Tags::MatureBuck),
        word => {
            Who::parse(word).map(Tags::With).ok_or_else(|| format!("\"{word}\" is not a kind."))
        }
    }
}

fn light(text: &str) -> Result<Lights, String> {
    match text {
        "daylight" => Ok(Lights::One(Light::Daylight)),
        "gray" => Ok(Lights::One(Light::Gray)),
        "dark" => Ok(Lights::One(Light::Dark)),
        "legal" => Ok(Lights::Legal),
        other => Err(format!("\"{other}\" is not a light.")),
    }
}
