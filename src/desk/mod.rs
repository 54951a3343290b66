//! The window: pages on this computer in which one person does a whole evening, and the desk on which a season
//! is tagged.
//!
//! | file | what it is |
//! | --- | --- |
//! | `server`, `door`, `connections` | which address leads where, who is let in, how long a connection may take |
//! | `window`, `known` | the property that is open, and those that were opened before |
//! | `home`, `begin` | how far things are; starting a property |
//! | `pulling`, `volumes` | cards in the reader, and a pull that goes on by itself |
//! | `clocks`, `live` | the clocks, and the debrief made in the background |
//! | `screens`, `filter` | the season cut into visits, and which of them are wanted |
//! | `state`, `lost` | tags, steps that can be undone, what changed since, rows that vanished |
//! | `visits`, `so_far`, `contact_sheet`, `deer`, `logbook`, `land_sketch`, `keys` | one file for each other thing a page asks for |
//! | `views`, `clip` | pictures made small enough for the screen, ahead of time; clips piece by piece |
//! | `sorting` | which pictures probably show nothing, and what stands out in the others |
//! | `pages`, `page/` | what the browser is given: plain HTML, one style sheet, small scripts |
//!
//! Every change goes to the person's own files at once: `tags.csv`, `disturbances.csv` and
//! `cameras.csv` stay the truth, and are read again when another program has saved them.

mod begin;
mod behind;
mod clip;
mod clocks;
mod connections;
mod contact_sheet;
mod deer;
mod door;
mod filter;
mod home;
mod keys;
mod known;
mod land_sketch;
mod live;
mod log_columns;
mod logbook;
mod lost;
mod pages;
mod pulling;
mod screens;
mod server;
mod so_far;
mod sorting;
mod state;
mod views;
mod visits;
mod volumes;
mod window;

use std::fs::File;
use std::io::ErrorKind;
use std::net::IpAddr;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use anyhow::{Result, bail};
use chrono::NaiveDate;
use indicatif::ProgressBar;

use crate::card;
use crate::clock;
use crate::files::{self, Busy};
use crate::property::Property;
use keys::Keys;
use live::Live;
use pulling::Pulling;
use sorting::Sorting;
pub use sorting::probably_nothing;
use state::{DeskSeason, Tagging};
use views::{Size, Views};
use window::Window;

/// How the desk is to be opened.
#[derive(Debug, Clone)]
pub struct DeskOptions {
    /// Where to listen: a loopback address.
    pub address: IpAddr,
    /// The port; 0 for any that is free.
    pub port: u16,
    /// The last day on which a picture can have been taken.
    pub today: NaiveDate,
}

/// The desk, shared by everything that answers.
pub(crate) struct Desk {
    season: Mutex<DeskSeason>,
    views: Views,
    keys: Mutex<Keys>,
    today: NaiveDate,
    pulling: Pulling,
    live: Live,
    /// Tells this opening from every other in the same window: a page that was loaded before another property was
    /// opened must not write into that one.
    opening: u64,
    /// Another property was opened in the place of this one.
    closed: AtomicBool,
    /// Held as long as the desk is open; `None` where the folder can only be looked at.
    lock: Option<File>,
}

impl Desk {
    fn season(&self) -> MutexGuard<'_, DeskSeason> {
        held(&self.season)
    }

    /// The season, to change something in it: a program that is writing one of the files is waited
    /// for, and what it wrote is read.
    ///
    /// # Errors
    /// When it does not come to an end, or what it wrote cannot be read.
    fn season_to_change(&self) -> Result<MutexGuard<'_, DeskSeason>> {
        if self.lock.is_none() {
            bail!("{READ_ONLY}");
        }
        const STEP: Duration = Duration::from_millis(50);
        const STEPS: u32 = 60;
        for _ in 0..STEPS {
            let mut season = self.season();
            season.ensure_there()?;
            if season.is_settled() {
                season.refresh()?;
                return Ok(season);
            }
            drop(season);
            std::thread::sleep(STEP);
        }
        bail!("another program is writing the property's files; try again when it is through");
    }

    /// Whether it is the desk of this folder.
    fn is_of(&self, root: &Path) -> bool {
        let own = self.season().property.root.canonicalize();
        own.is_ok_and(|own| root.canonicalize().is_ok_and(|other| own == other))
    }

    fn close(&self) {
        self.closed.store(true, Ordering::Relaxed);
    }

    fn is_closed(&self) -> bool {
        self.closed.load(Ordering::Relaxed)
    }

    fn keys(&self) -> MutexGuard<'_, Keys> {
        held(&self.keys)
    }
}

/// What several answers share. A panic in one of them must not take it from the others.
fn held<T>(shared: &Mutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

const READ_ONLY: &str =
    "this folder can only be read, so nothing can be saved: look as long as you like";

/// Opens the window and serves it until the program is stopped; `open` is handed the address once it answers
/// there. Without a property it begins at home, with the property that was open last if that can be opened.
///
/// # Errors
/// When the property cannot be read, the desk is open already, or the address cannot be had.
pub fn serve(
    root: Option<&Path>,
    request: &DeskOptions,
    progress: &ProgressBar,
    open: impl FnOnce(&str),
) -> Result<()> {
    // Somebody else's computer is not let in at all: the pictures show when nobody is at home.
    if !request.address.is_loopback() {
        bail!(
            "{} can be reached from other computers. The desk only listens on this one: 127.0.0.1 or ::1.",
            request.address
        );
    }
    let window = Arc::new(Window::new(request.today));
    let first = match root {
        Some(root) => {
            window.show(root, progress)?;
            "visits.html"
        }
        None => {
            let known = window.known.read().properties.into_iter().next();
            // Whatever is wrong with it is said when the person opens it.
            let _ = known.map(|k| window.show(&k.path, progress));
            "home.html"
        }
    };
    progress.finish_and_clear();
    server::run(&window, request, first, open)
}

/// A property that was opened, and what goes on by itself once it is shown.
struct Opening {
    desk: Arc<Desk>,
    work: Box<dyn FnOnce()>,
}

fn open(root: &Path, today: NaiveDate, progress: &ProgressBar) -> Result<Opening> {
    let property = Property::open(root)?;
    let lock = only_one(root)?;
    if lock.is_some() {
        files::clear_away(root, OLD);
    }
    let remembered = card::remembered(&property, today);
    // Listing them takes as long as the first screen may; where the pictures are remembered they are read once more.
    let folders = match &remembered {
        Some(_) => None,
        None => Some(card::Folders::below(&property.cards())),
    };
    let crawl = remembered.unwrap_or_else(|| {
        let crawl = card::crawl(&property, today, progress);
        crawl.memory.keep();
        crawl
    });
    let crawl = clock::settled(&property, crawl, today);
    let mut season = DeskSeason::open(property, crawl, lock.is_some())?;
    if lock.is_none() {
        season.tell([format!("Note: {READ_ONLY}.")]);
    }
    let opening = season.generation;
    let desk = Arc::new(Desk {
        season: Mutex::new(season),
        views: Views::default(),
        keys: Mutex::new(Keys::read(root)?),
        today,
        pulling: Pulling::default(),
        live: Live::default(),
        opening,
        closed: AtomicBool::new(false),
        lock,
    });
    let [first, worker, maker] = [&desk, &desk, &desk].map(Arc::clone);
    let work = move || {
        std::thread::spawn(move || make_first(&first));
        std::thread::spawn(move || look_through(&worker, folders));
        std::thread::spawn(move || live::keep_making(&maker));
    };
    Ok(Opening { desk, work: Box::new(work) })
}

/// A second desk would not see what the first one changes until it is too late.
fn only_one(root: &Path) -> Result<Option<File>> {
    let held = files::hold(
        &root.join("catalogue/.desk-lock"),
        &Busy::Refuse(
            "the desk is open on this property already. Go to that window, or stop the other graylight first.",
        ),
    );
    let is_read_only = |e: &anyhow::Error| {
        let kind = e.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
        matches!(kind, Some(ErrorKind::ReadOnlyFilesystem | ErrorKind::PermissionDenied))
    };
    match held {
        Ok(lock) => Ok(Some(lock)),
        Err(e) if is_read_only(&e) => Ok(None),
        Err(e) => Err(e),
    }
}

/// A file in the making that is older than this is nobody's.
const OLD: Duration = Duration::from_secs(60);

/// Makes the picture that will be asked for first while the browser still fetches the page.
fn make_first(desk: &Desk) {
    let first = {
        let season = desk.season();
        let untagged =
            (0..season.screens.all.len()).find(|s| season.tagging(*s) != Tagging::Tagged);
        untagged.map(|s| {
            let picture = season.screens.all[s].pictures[0];
            let file = season.crawl.pictures[picture as usize].file().to_owned();
            (season.property.root.clone(), file)
        })
    };
    if let Some((root, file)) = first
        && let Ok(path) = views::inside(&root, &file)
    {
        desk.views.of(&path, Size::Screen);
    }
}

/// What is done while the person already tags: the cards are looked at where the pictures came from memory,
/// other programs' tags are read, the pictures are sorted, and pictures that arrive are taken in.
fn look_through(desk: &Desk, listed: Option<card::Folders>) {
    // The first screen comes first: until it is there both cores are needed for it.
    const FIRST_SCREEN: Duration = Duration::from_secs(2);
    const FIRST_ANSWERS: Duration = Duration::from_millis(400);
    std::thread::sleep(FIRST_ANSWERS);
    desk.season().miss_what_is_gone();
    std::thread::sleep(FIRST_SCREEN);
    let property = desk.season().property.clone();
    let is_remembered = listed.is_none();
    let mut folders = listed.unwrap_or_else(|| card::Folders::below(&property.cards()));
    if is_remembered && let Err(e) = read_anew(desk) {
        desk.season().tell([format!("{e:#}")]);
    }
    if let Err(e) = read_elsewhere(desk) {
        desk.season().tell([format!("{e:#}")]);
    }
    // Screens that were laid out anew in between are other screens.
    while !sort(desk) {}
    const LOOK_AGAIN: Duration = Duration::from_secs(2);
    let opened = Instant::now();
    let mut is_cleared = desk.lock.is_none();
    while !desk.is_closed() {
        std::thread::sleep(LOOK_AGAIN);
        // What a kill right before this start left behind was too new then to be told from another command's.
        if !is_cleared && opened.elapsed() > OLD {
            files::clear_away(&property.root, OLD);
            is_cleared = true;
        }
        if !folders.have_changed() {
            continue;
        }
        folders = card::Folders::below(&property.cards());
        match read_anew(desk) {
            Ok(false) => {}
            Ok(true) => while !sort(desk) {},
            Err(e) => desk.season().tell([format!("{e:#}")]),
        }
    }
}

/// Whether there are other pictures than before.
fn read_anew(desk: &Desk) -> Result<bool> {
    let property = {
        let season = desk.season();
        season.ensure_there()?;
        season.property.clone()
    };
    let crawl = card::crawl(&property, desk.today, &ProgressBar::hidden());
    crawl.memory.keep();
    let crawl = clock::settled(&property, crawl, desk.today);
    let mut season = desk.season();
    // The log may have been changed while the cards were read.
    let property = Property::open(&property.root)?;
    let facts = |c: &card::Crawl| -> Vec<_> {
        let facts = |p: &card::Picture| (p.path.clone(), p.time.clone());
        c.pictures.iter().map(facts).collect()
    };
    let has_changed = facts(&season.crawl) != facts(&crawl);
    if has_changed {
        season.open_again(property, crawl)?;
        desk.views.forget();
    } else {
        // The same pictures, and what lies beside them.
        season.crawl = Arc::new(crawl);
    }
    Ok(has_changed)
}

fn read_elsewhere(desk: &Desk) -> Result<()> {
    let (property, crawl) = {
        let season = desk.season();
        (season.property.clone(), Arc::clone(&season.crawl))
    };
    let mut problems = Vec::new();
    let found = crate::tags::foreign_tags(&property, &crawl, &mut problems)?;
    let mut season = desk.season();
    season.take_in(found);
    season.tell(problems.iter().take(5).map(ToString::to_string));
    Ok(())
}

/// Whether it came to the end.
fn sort(desk: &Desk) -> bool {
    let (property, crawl, screens, generation) = {
        let mut season = desk.season();
        season.sorting = Sorting::begin(season.crawl.pictures.len());
        (
            season.property.clone(),
            Arc::clone(&season.crawl),
            Arc::clone(&season.screens),
            season.generation,
        )
    };
    sorting::sort(&property, &crawl, &screens, |found| {
        let mut season = desk.season();
        if season.generation != generation {
            return false;
        }
        season.sorting.learn(found);
        season.touch();
        true
    });
    let mut season = desk.season();
    // Into a folder that went away nothing is written.
    if season.ensure_there().is_ok() {
        crawl.memory.keep();
    }
    if season.generation == generation {
        season.sorting.end();
        season.touch();
    }
    season.generation == generation
}
