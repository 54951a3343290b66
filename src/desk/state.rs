//! What the desk knows and does: the season in screens, their tags, and every step that can be undone.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use anyhow::{Result, bail};
use chrono::Utc;

use super::screens::Screens;
use super::sorting::Sorting;
use crate::card::Crawl;
use crate::files::without_number;
use crate::property::{Property, Written};
use crate::tags::{
    Change, Entry, ForeignTag, JOURNAL, Journal, Kept, Opened, PictureRows, Tag, TagBook, Who,
    tag_in,
};

/// A season on the desk.
pub(super) struct DeskSeason {
    pub property: Property,
    pub crawl: Arc<Crawl>,
    pub screens: Arc<Screens>,
    pub book: TagBook,
    /// For every picture, what other sources say of it.
    pub elsewhere: Vec<Vec<ForeignTag>>,
    pub sorting: Sorting,
    /// Progress up when the pictures are read anew: numbers of screens mean something else then.
    pub generation: u64,
    /// Progress up with every change.
    pub version: u64,
    /// The version in which each screen last changed.
    changed_in: Vec<u64>,
    steps: Vec<Step>,
    pub notices: Vec<String>,
    /// What was ever saved here.
    pub journal: Journal,
    /// Saved rows that are in the table no longer, by picture.
    pub gone: BTreeMap<String, Kept>,
    /// Since when `tags.csv` is not there, if it was.
    absent_since: Option<Instant>,
}

/// Programs that save a table may take it away for a moment.
const BRIEFLY: Duration = Duration::from_secs(2);

/// A change, kept so that it can be taken back.
struct Step {
    words: String,
    screen: usize,
    before: BTreeMap<u32, Vec<Tag>>,
    after: BTreeMap<u32, Vec<Tag>>,
}

/// No two readings share one, of whichever property: a browser keeps pictures by their numbers.
fn next_generation() -> u64 {
    static LAST: AtomicU64 = AtomicU64::new(0);
    LAST.fetch_add(1, Ordering::Relaxed) + 1
}

/// How far a screen is tagged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tagging {
    Untagged,
    Partly,
    Tagged,
}

/// Why a change was not made.
#[derive(Debug)]
pub(super) enum Refused {
    /// The screen is not what the page showed.
    Changed,
    /// The disk did not take it, or the file cannot be used.
    NotSaved(anyhow::Error),
}

impl From<anyhow::Error> for Refused {
    fn from(e: anyhow::Error) -> Self {
        Self::NotSaved(e)
    }
}

/// Progress of screens and pictures.
#[derive(Debug, Clone, Copy, Default, serde::Serialize)]
pub(super) struct Progress {
    pub visits: usize,
    pub untagged: usize,
    pub pictures: usize,
    pub untagged_pictures: usize,
}

impl DeskSeason {
    /// Lays a season out.
    ///
    /// # Errors
    /// When `tags.csv` cannot be read, or the sun does not rise and set there.
    pub fn open(property: Property, crawl: Crawl, is_writable: bool) -> Result<Self> {
        // Where nothing can be written, nothing is put right.
        let read_tags = match is_writable {
            true => TagBook::open,
            false => TagBook::reopen,
        };
        let (opened, journal) = rayon::join(
            || Self::lay_out(&property, crawl, next_generation(), read_tags),
            || Journal::open(&property.root),
        );
        let mut season = opened?;
        match journal {
            Ok(journal) => season.journal = journal,
            Err(e) => season.tell([format!(
                "{JOURNAL} cannot be read ({e}): rows that vanish from tags.csv would not be noticed."
            )]),
        }
        season.steps = season.known_steps();
        Ok(season)
    }

    /// Steps of an earlier start that can be taken back.
    fn known_steps(&self) -> Vec<Step> {
        let tags = |entry: &Entry, rows: &[Vec<String>]| -> Option<Vec<Tag>> {
            let columns = || entry.columns.iter().map(String::as_str);
            let cells = |row: &Vec<String>| columns().zip(row.iter().cloned()).collect::<Vec<_>>();
            rows.iter().map(|row| tag_in(&cells(row))).collect()
        };
        let step = |entry: &Entry| {
            let (mut before, mut after) = (BTreeMap::new(), BTreeMap::new());
            for rows in &entry.pictures {
                let picture = self.crawl.by_path(&rows.picture)?;
                before.insert(picture, tags(entry, &rows.before)?);
                after.insert(picture, tags(entry, &rows.after)?);
            }
            let first = *after.keys().next()?;
            Some(Step {
                words: entry.words.clone(),
                screen: self.screens.of_picture[first as usize] as usize,
                before,
                after,
            })
        };
        self.journal.steps.iter().filter_map(step).collect()
    }

    /// Lays it out anew, because there are other pictures. What can be undone and what was to be told
    /// stays.
    ///
    /// # Errors
    /// As [`DeskSeason::open`]; then all is as it was.
    pub fn open_again(&mut self, property: Property, crawl: Crawl) -> Result<()> {
        let next = Self::lay_out(&property, crawl, next_generation(), TagBook::reopen)?;
        let before = std::mem::replace(self, next);
        self.follow(before);
        Ok(())
    }

    fn lay_out(
        property: &Property,
        crawl: Crawl,
        generation: u64,
        read_tags: impl FnOnce(&Property, &Crawl) -> Result<(TagBook, Opened)> + Send,
    ) -> Result<Self> {
        let (screens, opened) =
            rayon::join(|| Screens::of(property, &crawl), || read_tags(property, &crawl));
        let (screens, (book, opened)) = (screens?, opened?);
        let mut notices: Vec<String> = Vec::new();
        if let Some((text, file)) = opened.cut_short {
            notices.push(format!(
                "The last row of tags.csv was cut short and has been moved to {file}: \"{text}\". Look at that picture again."
            ));
        }
        notices.extend(opened.problems.iter().take(5).map(ToString::to_string));
        Ok(Self {
            changed_in: vec![0; screens.all.len()],
            elsewhere: vec![Vec::new(); crawl.pictures.len()],
            sorting: Sorting::default(),
            version: generation << 32,
            steps: Vec::new(),
            property: property.clone(),
            crawl: Arc::new(crawl),
            screens: Arc::new(screens),
            book,
            generation,
            notices,
            journal: Journal::default(),
            gone: BTreeMap::new(),
            absent_since: None,
        })
    }

    /// Lays the same pictures out anew, because what the person wrote of the cameras has changed.
    ///
    /// # Errors
    /// When the sun does not rise and set there.
    pub fn lay_out_again(&mut self, property: Property) -> Result<()> {
        let screens = Screens::of(&property, &self.crawl)?;
        self.property = property;
        self.generation = next_generation();
        self.version += 1;
        self.changed_in = vec![self.version; screens.all.len()];
        for step in &mut self.steps {
            let picture = step.after.keys().next();
            step.screen = picture.map_or(0, |p| screens.of_picture[*p as usize] as usize);
        }
        self.screens = Arc::new(screens);
        Ok(())
    }

    fn follow(&mut self, before: Self) {
        let moved = |tags: &BTreeMap<u32, Vec<Tag>>| -> Option<BTreeMap<u32, Vec<Tag>>> {
            let path = |p: &u32| before.crawl.pictures[*p as usize].path.as_str();
            let one = |(p, t): (&u32, &Vec<Tag>)| Some((self.crawl.by_path(path(p))?, t.clone()));
            tags.iter().map(one).collect()
        };
        let step = |step: &Step| {
            let (old, after) = (moved(&step.before)?, moved(&step.after)?);
            let first = after.keys().next()?;
            Some(Step {
                words: step.words.clone(),
                screen: self.screens.of_picture[*first as usize] as usize,
                before: old,
                after,
            })
        };
        let steps = before.steps.iter().filter_map(step).collect();
        self.steps = steps;
        let told = std::mem::replace(&mut self.notices, before.notices);
        self.tell(told);
        // What a window still shows of the pictures as they were before must be told from what it does not.
        for (screen, changed_in) in self.screens.all.iter().zip(&mut self.changed_in) {
            for picture in &screen.pictures {
                let path = self.crawl.pictures[*picture as usize].path.as_str();
                let Some(then) = before.crawl.by_path(path) else {
                    continue;
                };
                let is_same = self.book.of_picture(*picture) == before.book.of_picture(then);
                let screen_then = before.screens.of_picture[then as usize] as usize;
                let changed = if is_same { before.changed_in[screen_then] } else { self.version };
                *changed_in = changed.max(*changed_in);
            }
        }
        self.journal = before.journal;
        self.book.follow(before.book);
        self.look_for_lost();
    }

    /// Keeps what is to be told, once.
    pub fn tell(&mut self, words: impl IntoIterator<Item = String>) {
        for text in words.into_iter().map(|text| without_number(&text)) {
            if !self.notices.contains(&text) {
                self.notices.push(text);
            }
        }
    }

    /// What `tags.csv` says of a screen's pictures, one after the other.
    pub fn tags(&self, screen: usize) -> impl Iterator<Item = &Tag> {
        let pictures = self.screens.all[screen].pictures.iter();
        pictures.flat_map(|p| self.tags_of(*p))
    }

    /// What counts for a picture: `tags.csv`, or where that is silent another source.
    pub fn tags_of(&self, picture: u32) -> Vec<&Tag> {
        let own = self.book.of_picture(picture);
        if !own.is_empty() {
            return own.iter().collect();
        }
        let others = &self.elsewhere[picture as usize];
        let first = others.first().map(|e| &e.origin);
        let counts = others.iter().filter(|e| Some(&e.origin) == first);
        counts.map(|e| &e.tag).collect()
    }

    /// How far a screen is tagged.
    pub fn tagging(&self, screen: usize) -> Tagging {
        let pictures = &self.screens.all[screen].pictures;
        let is_tagged = |p: &u32| {
            !self.book.of_picture(*p).is_empty() || !self.elsewhere[*p as usize].is_empty()
        };
        match pictures.iter().filter(|p| is_tagged(p)).count() {
            0 => Tagging::Untagged,
            n if n == pictures.len() => Tagging::Tagged,
            _ => Tagging::Partly,
        }
    }

    /// Whether a screen is probably nothing; `None` where that is not known.
    pub fn quiet(&self, screen: usize) -> Option<bool> {
        self.sorting.quiet(&self.screens.all[screen].pictures)
    }

    /// Whether two sources say different things of one of its pictures.
    pub fn has_conflict(&self, screen: usize) -> bool {
        let pictures = &self.screens.all[screen].pictures;
        pictures.iter().any(|p| {
            let counts = self.tags_of(*p);
            let others = &self.elsewhere[*p as usize];
            others.iter().any(|e| !counts.iter().any(|t| t.who == e.tag.who))
        })
    }

    /// The version in which a screen last changed.
    pub fn changed_in(&self, screen: usize) -> u64 {
        self.changed_in[screen]
    }

    pub fn counts(&self) -> Progress {
        let mut counts = Progress::default();
        for (i, screen) in self.screens.all.iter().enumerate() {
            counts.visits += 1;
            counts.pictures += screen.pictures.len();
            if self.tagging(i) != Tagging::Tagged {
                counts.untagged += 1;
                let untagged = |p: &&u32| self.tags_of(**p).is_empty();
                counts.untagged_pictures += screen.pictures.iter().filter(untagged).count();
            }
        }
        counts
    }

    /// Reads again what another program has saved meanwhile and is through with.
    ///
    /// # Errors
    /// When `tags.csv` can no longer be read as a table; what was known before stays.
    pub fn refresh(&mut self) -> Result<()> {
        if let Err(e) = self.ensure_there() {
            self.tell([format!("{e:#}")]);
            return Ok(());
        }
        self.refresh_property();
        if self.book.is_current() || !self.is_book_settled() {
            return Ok(());
        }
        let (book, opened) = TagBook::reopen(&self.property, &self.crawl)?;
        self.take_book(book);
        self.tell(opened.problems.iter().take(5).map(ToString::to_string));
        Ok(())
    }

    /// Whether the property's folder is still there: a drive that went away leaves an empty one, or none.
    ///
    /// # Errors
    /// When it is not.
    pub fn ensure_there(&self) -> Result<()> {
        let root = &self.property.root;
        if !root.join("property.toml").exists() {
            bail!(
                "{} is not there any more. Is its drive still connected? Nothing is written until it is back; what was saved before is safe.",
                root.join("property.toml").display()
            );
        }
        Ok(())
    }

    /// Takes what the table says now in the place of what it said before.
    pub fn take_book(&mut self, book: TagBook) {
        self.absent_since = None;
        self.version += 1;
        for (screen, changed_in) in self.screens.all.iter().zip(&mut self.changed_in) {
            let mut pictures = screen.pictures.iter();
            if pictures.any(|p| self.book.of_picture(*p) != book.of_picture(*p)) {
                *changed_in = self.version;
            }
        }
        let before = std::mem::replace(&mut self.book, book);
        self.book.follow(before);
        self.know_what_is_there();
        self.look_for_lost();
    }

    /// Looks for rows that vanished while the desk was closed. Not on the way to the first screen: with many rows it
    /// takes a moment.
    pub fn miss_what_is_gone(&mut self) {
        self.know_what_is_there();
        self.look_for_lost();
        self.version += 1;
    }

    /// Rows that were tagged elsewhere, or before there was a journal, are missed as well as long as the desk
    /// is open; and where another program has corrected a row, the corrected one.
    fn know_what_is_there(&mut self) {
        let there = self.book.kept_rows(&self.crawl, &self.journal);
        let pictures = self.journal.changed_elsewhere(&there);
        for (path, kept) in there {
            self.journal.know(path, kept);
        }
        if pictures.is_empty() {
            return;
        }
        // A journal that cannot be written knows it as long as the desk is open.
        let _ = self.journal.add(Entry {
            at: Utc::now().to_rfc3339(),
            change: Change::Found,
            words: "found in the table".to_owned(),
            columns: self.book.columns().to_vec(),
            pictures,
        });
    }

    /// Whether nobody is about to save the table. One that is away for a moment is about to come back.
    fn is_book_settled(&mut self) -> bool {
        if self.book.is_absent() {
            let since = *self.absent_since.get_or_insert_with(Instant::now);
            return since.elapsed() > BRIEFLY;
        }
        self.absent_since = None;
        self.book.is_settled()
    }

    fn refresh_property(&mut self) {
        let now = Written::now(&self.property.root);
        if now == self.property.written || !now.is_settled() {
            return;
        }
        // One that cannot be read is told once, and not read again before it is saved again.
        self.property.written = now;
        let read = Property::open(&self.property.root).and_then(|p| self.lay_out_again(p));
        if let Err(e) = read {
            self.tell([format!("{e:#}")]);
            self.version += 1;
        }
    }

    /// Whether no other program is writing one of the files just now.
    pub fn is_settled(&mut self) -> bool {
        let now = Written::now(&self.property.root);
        let log_is = now == self.property.written || now.is_settled();
        log_is && (self.book.is_current() || self.is_book_settled())
    }

    /// Tags pictures of one screen, if it still is what the page showed.
    pub fn tag(
        &mut self,
        screen: usize,
        version: u64,
        pictures: &[u32],
        tags: &[Tag],
    ) -> Result<(), Refused> {
        let of_picture = |p: &u32| self.screens.of_picture[*p as usize] as usize;
        let screens = pictures.iter().map(of_picture).chain([screen]);
        if screens.into_iter().any(|s| self.changed_in[s] > version) {
            return Err(Refused::Changed);
        }
        let changes = pictures.iter().map(|p| (*p, tags.to_vec())).collect();
        let words = if tags.is_empty() {
            "tags taken away".to_owned()
        } else {
            tags.iter().map(said).collect::<Vec<_>>().join(", ")
        };
        Ok(self.step(words, screen, changes)?)
    }

    /// Gives many screens one tag, in one step. Those that changed meanwhile are left out, and
    /// counted.
    pub fn sweep(
        &mut self,
        screens: &[(usize, u64)],
        tag: &Tag,
    ) -> Result<(usize, usize), Refused> {
        let fresh: Vec<usize> = screens
            .iter()
            .filter(|(screen, version)| self.changed_in[*screen] <= *version)
            .map(|(screen, _)| *screen)
            .collect();
        let changes: BTreeMap<u32, Vec<Tag>> = fresh
            .iter()
            .flat_map(|s| &self.screens.all[*s].pictures)
            .map(|p| (*p, vec![tag.clone()]))
            .collect();
        if let Some(first) = fresh.first() {
            let words = format!("{} visits swept as {}", fresh.len(), said(tag));
            self.step(words, *first, changes)?;
        }
        Ok((fresh.len(), screens.len() - fresh.len()))
    }

    fn step(&mut self, words: String, screen: usize, after: BTreeMap<u32, Vec<Tag>>) -> Result<()> {
        let before = after.keys().map(|p| (*p, self.book.of_picture(*p).to_vec())).collect();
        self.save(Change::Saved, words.clone(), &after)?;
        self.steps.push(Step { words, screen, before, after });
        Ok(())
    }

    fn save(
        &mut self,
        change: Change,
        words: String,
        changes: &BTreeMap<u32, Vec<Tag>>,
    ) -> Result<()> {
        let rows = self.book.set(&self.property, &self.crawl, changes)?;
        for picture in &rows {
            self.gone.remove(&picture.picture);
        }
        self.note(change, words, self.book.columns().to_vec(), rows);
        self.version += 1;
        for picture in changes.keys() {
            self.changed_in[self.screens.of_picture[*picture as usize] as usize] = self.version;
        }
        Ok(())
    }

    /// Writes into the journal what has just been saved. A journal that cannot be written takes nothing away
    /// from that.
    pub fn note(
        &mut self,
        change: Change,
        words: String,
        columns: Vec<String>,
        pictures: Vec<PictureRows>,
    ) {
        let entry = Entry { at: Utc::now().to_rfc3339(), change, words, columns, pictures };
        if let Err(e) = self.journal.add(entry) {
            self.tell([format!(
                "Your tags are saved, but {JOURNAL} cannot be written ({e}): rows that vanish from tags.csv could not be put back."
            )]);
        }
    }

    /// Takes the last step back and returns what it was, and where. A step whose pictures have got
    /// other tags since, from elsewhere, is left as it is, and stays the last one.
    pub fn undo(&mut self) -> Result<Option<(String, usize)>> {
        let Some(step) = self.steps.last() else {
            return Ok(None);
        };
        let path = |p: &u32| &self.crawl.pictures[*p as usize].path;
        let mut pictures = step.after.keys();
        if pictures.any(|p| self.gone.contains_key(path(p))) {
            bail!("rows of that step are gone from tags.csv; put them back first, or let them go");
        }
        let mut after = step.after.iter();
        if !after.all(|(p, tags)| self.book.of_picture(*p) == tags.as_slice()) {
            let words = format!(
                "\"{}\" was not undone: tags.csv has been changed by another program since",
                step.words
            );
            return Ok(Some((words, step.screen)));
        }
        let (words, screen, before) = (step.words.clone(), step.screen, step.before.clone());
        self.save(Change::Undone, words.clone(), &before)?;
        self.steps.pop();
        Ok(Some((format!("undone: {words}"), screen)))
    }

    /// Steps that can be undone.
    pub fn steps(&self) -> usize {
        self.steps.len()
    }

    /// Takes in what other programs have written of the pictures.
    pub fn take_in(&mut self, found: Vec<ForeignTag>) {
        self.elsewhere = vec![Vec::new(); self.crawl.pictures.len()];
        self.version += 1;
        for e in found {
            let picture = e.picture as usize;
            if let Some(of_picture) = self.elsewhere.get_mut(picture) {
                of_picture.push(e);
            }
        }
    }

    /// Progress up because something outside the tags has changed.
    pub fn touch(&mut self) {
        self.version += 1;
    }
}

/// `buck, 2, 3.5 years, Crab`
pub(super) fn said(tag: &Tag) -> String {
    let kind = match tag.who {
        Who::Empty => "nothing",
        who => who.word(),
    };
    let mut words = vec![kind.to_owned()];
    if tag.count > 1 {
        words.push(tag.count.to_string());
    }
    if let Some(age) = tag.age {
        words.push(format!("{age} years"));
    }
    words.extend(tag.name.clone());
    words.join(", ")
}
