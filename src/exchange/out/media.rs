//! Pictures as media, each by a name that follows from its content.

use std::collections::{HashMap, HashSet};

use super::deployments::{Deployment, Deployments};
use super::sheet::Sheet;
use super::{Files, moment};
use crate::card::Picture;
use crate::clock::LocalTime;
use crate::debrief::Debrief;
use crate::exchange::schema;
use crate::property::same_name;

/// A picture that has a time.
pub(super) struct Medium<'a> {
    pub id: String,
    /// Index in the crawl.
    pub picture: u32,
    pub deployment: &'a Deployment,
    pub at: LocalTime,
    /// Whether people or vehicles were seen in it, or it is not to be seen for another reason.
    pub is_private: bool,
}

/// Those with a time by deployment and moment, and the pictures without one.
pub(super) struct Media<'a> {
    pub all: Vec<Medium<'a>>,
    pub untimed: Vec<u32>,
    /// By the picture's index, its place in `all`.
    pub of_picture: HashMap<u32, usize>,
}

impl<'a> Media<'a> {
    pub fn of(
        debrief: &Debrief,
        deployments: &'a Deployments,
        times: &[Option<LocalTime>],
        private: &HashSet<u32>,
    ) -> Self {
        let (mut all, mut untimed) = (Vec::new(), Vec::new());
        for ((picture, time), index) in debrief.crawl.pictures.iter().zip(times).zip(0..) {
            let cameras = &debrief.season.cameras;
            let camera = cameras.iter().position(|c| same_name(&c.name, &picture.camera));
            let deployment =
                camera.zip(*time).and_then(|(c, t)| deployments.at(debrief, c, t.date()));
            match (deployment, *time) {
                (Some(deployment), Some(at)) => all.push(Medium {
                    id: format!("{:016x}", picture.ends()),
                    picture: index,
                    deployment,
                    at,
                    is_private: private.contains(&index),
                }),
                _ => untimed.push(index),
            }
        }
        let path = |m: &Medium| debrief.crawl.pictures[m.picture as usize].path.as_str();
        all.sort_by(|a, b| {
            (&a.deployment.id, a.at, path(a)).cmp(&(&b.deployment.id, b.at, path(b)))
        });
        let mut known: HashMap<String, usize> = HashMap::new();
        for medium in &mut all {
            let times = known.entry(medium.id.clone()).or_insert(0);
            *times += 1;
            if *times > 1 {
                medium.id = format!("{}-{times}", medium.id);
            }
        }
        let of_picture = all.iter().enumerate().map(|(i, m)| (m.picture, i)).collect();
        Self { all, untimed, of_picture }
    }

    /// Keeps back more pictures than those of people.
    pub fn keep_back(&mut self, is_kept: impl Fn(u32) -> bool) {
        for medium in &mut self.all {
            medium.is_private |= is_kept(medium.picture);
        }
    }

    pub fn sheet(&self, debrief: &Debrief, files: Files) -> Sheet {
        let mut sheet = Sheet::of(schema::media());
        for medium in &self.all {
            let picture = &debrief.crawl.pictures[medium.picture as usize];
            sheet.add(&[
                ("mediaID", medium.id.clone()),
                ("deploymentID", medium.deployment.id.clone()),
                ("captureMethod", "activityDetection".to_owned()),
                ("timestamp", moment(medium.at)),
                ("filePath", medium.path(picture, files)),
                ("filePublic", (!medium.is_private).to_string()),
                ("fileName", file_name(picture).to_owned()),
                ("fileMediatype", media_type(picture).to_owned()),
            ]);
        }
        sheet
    }
}

impl Medium<'_> {
    /// Where the package says the file is: in the property, or in the package itself. Names that the standard
    /// does not take are replaced by the picture's own number.
    pub fn path(&self, picture: &Picture, files: Files) -> String {
        let ending = file_name(picture).rsplit_once('.').map_or("jpg", |(_, e)| e);
        match files {
            Files::Copied => format!("media/{}.{}", self.id, ending.to_lowercase()),
            Files::Referenced if !picture.path.contains("..") => picture.path.clone(),
            Files::Referenced => format!("cards/{}.{ending}", self.id),
        }
    }
}

fn file_name(picture: &Picture) -> &str {
    picture.path.rsplit('/').next().unwrap_or(&picture.path)
}

/// By the file's ending (IANA media types).
fn media_type(picture: &Picture) -> &'static str {
    let ending = file_name(picture).rsplit('.').next().unwrap_or("").to_lowercase();
    match ending.as_str() {
        "png" => "image/png",
        "tif" | "tiff" => "image/tiff",
        "mp4" | "m4v" => "video/mp4",
        "mov" => "video/quicktime",
        "avi" => "video/x-msvideo",
        "3gp" => "video/3gpp",
        _ if picture.clip => "video/mp4",
        _ => "image/jpeg",
    }
}
