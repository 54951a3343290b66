//! Graylight reads a season of trail-camera pictures and answers what a landowner asks before
//! changing anything for the next one: who moved while it was light, where, in which minutes, and
//! whether a disturbance changed that.
//!
//! Data flows down this list, and a module imports only from those above it:
//!
//! | floor | what it does | what it hands on |
//! | --- | --- | --- |
//! | [`files`] | files whole, for good, and told from each other | bytes on a disk |
//! | [`property`] | reads what the person wrote | [`property::Property`] |
//! | [`card`] | finds pictures, reads their headers | [`card::Crawl`] |
//! | [`pull`] | takes the pictures off a card, verified | [`pull::Receipt`] |
//! | [`clock`] | camera time to local time | [`clock::LocalTime`] |
//! | [`tags`] | who is in it, joined to the pictures | [`tags::Tagged`] |
//! | [`sun`] | sunrise, sunset, light, sun-anchored time | [`sun::SunDay`] |
//! | [`weather`] | the weather at any moment | [`weather::Air`] |
//! | [`clock_check`] | whether a clock can be believed, by the light in the pictures | [`clock_check::Finding`] |
//! | [`view_check`] | whether a camera was moved or turned, by its still background | [`view_check::ViewChange`] |
//! | [`empty_check`] | whether a picture probably shows nothing, by those around it | [`empty_check::Found`] |
//! | [`visits`] | independent visits, camera-nights | [`visits::Season`] |
//! | [`measure`] | statistics on plain slices; knows no deer | [`measure::Estimate`] |
//! | [`shift`] | before, after, near, control, verdict | [`shift::Shifts`] |
//! | [`outlook`] | what the season says for the next one | [`outlook::Outlook`] |
//! | [`debrief`] | the season's answers | [`debrief::Debrief`] |
//! | [`report`] | plots, page, tables, findings file | files |
//! | [`exchange`] | packages by an open standard, out and in | files |
//! | [`coop`] | many properties: each one's answers, and what they say together | [`coop::Answers`] |
//! | [`desk`] | the tagging page, served to this computer's browser | `tags.csv` |
//! | [`practice`] | seasons with a known answer | a property folder |
//! | [`commands`] | one file per command | exit status |
//!
//! A whole season, from a made-up property to its answer:
//!
//! ```
//! use graylight::debrief::Debrief;
//! use graylight::practice::{self, Options};
//! use graylight::visits::Kind;
//! use indicatif::ProgressBar;
//!
//! # fn main() -> anyhow::Result<()> {
//! let folder = tempfile::tempdir()?;
//! let options = Options { seed: 2, size: 2.0, pictures: false, ..Options::default() };
//! practice::write(folder.path(), &options, &ProgressBar::hidden())?;
//!
//! let today = chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
//! let debrief = Debrief::of(folder.path(), today, &ProgressBar::hidden())?;
//!
//! let bucks = debrief.daylight_of(None, Kind::MatureBuck).unwrap();
//! println!("{} of {} visits in legal light", bucks.counted, bucks.visits);
//!
//! // The practice property's disturbance touches its first camera.
//! let verdict = debrief.shifts.of("box-blind", Kind::MatureBuck).next().unwrap().verdict;
//! assert_eq!(verdict.word(), "clear drop");
//! # Ok(())
//! # }
//! ```

#![warn(missing_docs)]
#![forbid(unsafe_code)]

pub mod card;
pub mod clock;
pub mod clock_check;
pub mod commands;
pub mod coop;
pub mod debrief;
pub mod desk;
pub mod empty_check;
pub mod exchange;
pub mod files;
pub mod measure;
pub mod outlook;
pub mod practice;
pub mod property;
pub mod pull;
pub mod report;
pub mod shift;
pub mod sun;
pub mod tags;
pub mod view_check;
pub mod visits;
pub mod weather;
