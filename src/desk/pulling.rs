//! Cards on the page: which are in the reader, and a pull that goes on whether a page looks at it or not.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};
use std::time::Instant;

use indicatif::ProgressBar;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::server::{Answer, Failure, Reply};
use super::window::Window;
use super::{Desk, held, volumes};
use crate::card::Folders;
use crate::files::unfit_for_a_folder;
use crate::property::{Property, same_name};
use crate::pull::{self, CardPull, PullCount, Receipt, Recognised, nearly_named, recognise};

/// The pull of a property, the one that is at work or the last one.
#[derive(Default)]
pub(super) struct Pulling {
    job: Mutex<Option<Arc<Job>>>,
    /// Cards that were pulled whole since the window was opened, as they were then.
    pulled: Mutex<HashMap<PathBuf, Folders>>,
}

struct Job {
    card: PathBuf,
    camera: String,
    count: PullCount,
    begun: Instant,
    ended: Mutex<Option<Result<Receipt, String>>>,
}

impl Pulling {
    fn job(&self) -> Option<Arc<Job>> {
        held(&self.job).clone()
    }

    /// Whether all of a card is here already, and nothing has changed on it since.
    pub fn has_pulled(&self, card: &Path) -> bool {
        let pulled = held(&self.pulled);
        pulled.get(card).is_some_and(|then| !then.have_changed())
    }

    /// Whether a pull is at work.
    pub fn is_busy(&self) -> bool {
        self.job().is_some_and(|j| j.result().is_none())
    }
}

impl Job {
    fn result(&self) -> Option<Result<Receipt, String>> {
        held(&self.ended).clone()
    }

    fn view(&self) -> Value {
        let count = |c: &std::sync::atomic::AtomicU64| c.load(Ordering::Relaxed);
        let result = self.result();
        let receipt = result.as_ref().and_then(|r| r.as_ref().ok());
        json!({
            "card": self.card,
            "camera": self.camera,
            "files": count(&self.count.files),
            "of_files": count(&self.count.of_files),
            "bytes": count(&self.count.bytes),
            "of_bytes": count(&self.count.of_bytes),
            "seconds": self.begun.elapsed().as_secs_f64(),
            "done": result.is_some(),
            "error": result.as_ref().and_then(|r| r.as_ref().err()),
            "receipt": receipt.map(|r| r.pull.clone()),
            "lost": receipt.map_or(0, |r| r.failed.len()),
        })
    }
}

/// A card in the reader as the page has it.
#[derive(Serialize)]
struct CardView {
    path: PathBuf,
    name: String,
    /// It was pulled whole since the window was opened.
    pulled: bool,
}

/// `GET api/cards`
pub(super) fn cards(window: &Window, desk: &Desk) -> Answer {
    let card = |path: PathBuf| CardView {
        name: card_name(&path),
        pulled: desk.pulling.has_pulled(&path),
        path,
    };
    let found = volumes::cards(&window.known.read().card_folders);
    let found: Vec<CardView> = found.into_iter().map(card).collect();
    Reply::json(&json!({
        "cards": found,
        "pull": desk.pulling.job().map(|j| j.view()),
        "receipts": receipts(&desk.season().property.root),
        "cameras": desk.season().screens.cameras,
    }))
}

/// The folder's own name; a drive has none but its letter.
fn card_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

/// The names of all pulls of which there is a receipt, the oldest first.
pub(super) fn pulls(root: &Path) -> Vec<String> {
    let entries = root.join(RECEIPTS).read_dir().into_iter().flatten();
    let name = |path: PathBuf| {
        let is_json = path.extension().is_some_and(|e| e == "json");
        let name = path.file_stem()?.to_str()?;
        is_json.then(|| name.to_owned())
    };
    let mut names: Vec<String> = entries.flatten().filter_map(|e| name(e.path())).collect();
    names.sort();
    names
}

/// Below the property.
const RECEIPTS: &str = "catalogue/receipts";

/// The receipts of all pulls, the newest first.
fn receipts(root: &Path) -> Vec<Value> {
    let receipt = |name: &String| -> Option<Value> {
        let file = root.join(RECEIPTS).join(format!("{name}.json"));
        let said: Value = serde_json::from_slice(&std::fs::read(file).ok()?).ok()?;
        let lost = said["failed"].as_array().map_or(0, Vec::len);
        Some(json!({
            "pull": name,
            "date": pull::pulled_at(name).map(|t| t.format("%-d %b %Y").to_string()),
            "camera": said["camera"],
            "found": said["found"],
            "copied": said["copied"],
            "already_had": said["already_had"],
            "lost": lost,
        }))
    };
    pulls(root).iter().rev().filter_map(receipt).collect()
}

/// Which receipt.
#[derive(Debug, Deserialize)]
pub(super) struct WhichReceipt {
    pull: String,
}

/// `GET api/receipt`: its text.
pub(super) fn receipt(desk: &Desk, which: &WhichReceipt) -> Answer {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    let missing = || Failure::Missing("there is no such receipt".to_owned());
    if which.pull.starts_with('.') || !which.pull.chars().all(is_plain) {
        return Err(missing());
    }
    let root = desk.season().property.root.clone();
    let path = root.join(RECEIPTS).join(format!("{}.txt", which.pull));
    let text = std::fs::read_to_string(path).map_err(|_| missing())?;
    Reply::json(&json!({ "text": text }))
}

/// What the page sends to have a card pulled.
#[derive(Debug, Deserialize)]
pub(super) struct Wanted {
    card: PathBuf,
    #[serde(default)]
    camera: Option<String>,
    /// The person was asked whether it is that camera's card, and said so.
    #[serde(default)]
    even_so: bool,
}

/// `POST api/pull`: begins, or asks which camera it is.
pub(super) fn begin(desk: &Arc<Desk>, wanted: Wanted) -> Answer {
    let property = desk.season_to_change()?.property.clone();
    if !wanted.card.is_dir() {
        return Err(Failure::Wrong(format!(
            "There is no folder {}. Is the card still in the reader?",
            wanted.card.display()
        )));
    }
    let camera = match camera(&property, &wanted, desk.today)? {
        Ok(camera) => camera,
        Err(question) => return Reply::json(&question),
    };
    let job = Arc::new(Job {
        card: wanted.card,
        camera,
        count: PullCount::default(),
        begun: Instant::now(),
        ended: Mutex::default(),
    });
    {
        let mut current = held(&desk.pulling.job);
        if current.as_ref().is_some_and(|j| j.result().is_none()) {
            return Err(Failure::Wrong(
                "A card is being pulled already. One after the other.".to_owned(),
            ));
        }
        *current = Some(Arc::clone(&job));
    }
    let view = job.view();
    let (desk, job) = (Arc::clone(desk), job);
    std::thread::spawn(move || work(&desk, &property, &job));
    Reply::json(&json!({ "pull": view }))
}

/// `POST api/pull/stop`: it ends after the files that are being copied.
pub(super) fn stop(desk: &Desk) -> Answer {
    let job = desk.pulling.job().filter(|j| j.result().is_none());
    let job = job.ok_or_else(|| Failure::Wrong("No card is being pulled.".to_owned()))?;
    job.count.stop.store(true, Ordering::Relaxed);
    Reply::json(&json!({ "pull": job.view() }))
}

fn work(desk: &Desk, property: &Property, job: &Job) {
    let request = CardPull { card: &job.card, camera: &job.camera, today: desk.today };
    let pulled = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        pull::pull_counted(property, &request, &ProgressBar::hidden(), &job.count)
    }));
    let result = match pulled {
        Ok(Ok(receipt)) => Ok(receipt),
        Ok(Err(e)) => Err(format!("{e:#}")),
        Err(_) => Err("the pull failed. Do not clear the card; pull it again".to_owned()),
    };
    if result.as_ref().is_ok_and(|r| r.failed.is_empty()) {
        let mut pulled = held(&desk.pulling.pulled);
        pulled.insert(job.card.clone(), Folders::below(&job.card));
    }
    *held(&job.ended) = Some(result);
}

/// The camera to file under, or the question that must be answered first.
fn camera(
    property: &Property,
    wanted: &Wanted,
    today: chrono::NaiveDate,
) -> Result<Result<String, Value>, Failure> {
    let named = wanted.camera.as_deref().map(str::trim).filter(|n| !n.is_empty());
    if let Some(name) = named {
        check_name(name)?;
        if wanted.even_so {
            return Ok(Ok(name.to_owned()));
        }
    }
    let found = recognise(property, &wanted.card, today);
    let question = |words: String| {
        let candidates = match &found {
            Recognised::Unclear(all) => all.clone(),
            Recognised::One(one) => vec![one.clone()],
            Recognised::Mixed(_) => Vec::new(),
        };
        let view =
            |c: &pull::Candidate| json!({ "camera": c.camera, "why": c.why, "against": c.against });
        let candidates: Vec<Value> = candidates.iter().map(view).collect();
        Ok(Err(
            json!({ "question": words, "card": wanted.card, "name": card_name(&wanted.card), "candidates": candidates, "named": named }),
        ))
    };
    match (&found, named) {
        (Recognised::One(c), None) => Ok(Ok(c.camera.clone())),
        (Recognised::Mixed(what), _) => question(format!(
            "This card holds {what}. Choose the camera only if all of it belongs to that one."
        )),
        (Recognised::Unclear(_), None) => question(
            "Nothing on this card says for certain which camera it comes from. Which one is it?"
                .to_owned(),
        ),
        (Recognised::One(c), Some(name)) if !same_name(&c.camera, name) => {
            question(format!("It looks like the card of {c}. Is it really the card of {name}?"))
        }
        (_, Some(name)) => {
            if let Some(near) = nearly_named(property, name) {
                return question(format!("There is no camera {name} yet. Did you mean {near}?"));
            }
            Ok(Ok(name.to_owned()))
        }
    }
}

/// A camera's name is the name of a folder.
fn check_name(name: &str) -> Result<(), Failure> {
    match unfit_for_a_folder(name) {
        None => Ok(()),
        Some(why) => Err(Failure::Wrong(format!(
            "\"{name}\" cannot be the name of a camera, since it becomes a folder: {why}."
        ))),
    }
}
