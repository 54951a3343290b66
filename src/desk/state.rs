//! What the desk knows and does: the season in screens, their tags, and every step that can be undone.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use anyhow::Result;

use super::screens::Screens;
use super::sorting::Sorting;
use crate::card::Crawl;
use crate::property::{Property, Written};
use crate::tags::{ForeignTag, Opened, Tag, TagBook, Who};

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
}

/// A change, kept so that it can be taken back.
struct Step {
    words: String,
    screen: usize,
    before: BTreeMap<u32, Vec<Tag>>,
    after: BTreeMap<u32, Vec<Tag>>,
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
    pub fn open(property: Property, crawl: Crawl) -> Result<Self> {
        Self::lay_out(property, crawl, 1, TagBook::open)
    }

    /// Lays it out anew, because there are other pictures. What can be undone and what was to be told
    /// stays.
    ///
    /// # Errors
    /// As [`DeskSeason::open`]; then all is as it was.
    pub fn open_again(&mut self, property: Property, crawl: Crawl) -> Result<()> {
        let next = Self::lay_out(property, crawl, self.generation + 1, TagBook::reopen)?;
        let before = std::mem::replace(self, next);
        self.follow(before);
        Ok(())
    }

    fn lay_out(
        property: Property,
        crawl: Crawl,
        generation: u64,
        read_tags: impl FnOnce(&Property, &Crawl) -> Result<(TagBook, Opened)> + Send,
    ) -> Result<Self> {
        let (screens, opened) = rayon::join(
            || Screens::of(&property, &crawl),
            || read_tags(&property, &crawl),
        );
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
            property,
            crawl: Arc::new(crawl),
            screens: Arc::new(screens),
            book,
            generation,
            notices,
        })
    }

    /// Lays the same pictures out anew, because what the person wrote of the cameras has changed.
    ///
    /// # Errors
    /// When the sun does not rise and set there.
    pub fn lay_out_again(&mut self, property: Property) -> Result<()> {
        let screens = Screens::of(&property, &self.crawl)?;
        self.property = property;
        self.generation += 1;
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
        let paths = self.crawl.pictures.iter().map(|p| p.path.as_str());
        let here: HashMap<&str, u32> = paths.zip(0..).collect();
        let moved = |tags: &BTreeMap<u32, Vec<Tag>>| -> Option<BTreeMap<u32, Vec<Tag>>> {
            let there = |p: &u32| before.crawl.pictures[*p as usize].path.as_str();
            let one = |(p, t): (&u32, &Vec<Tag>)| Some((*here.get(there(p))?, t.clone()));
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
        self.book.follow(before.book);
    }

    /// Keeps what is to be told, once.
    pub fn tell(&mut self, words: impl IntoIterator<Item = String>) {
        for text in words {
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
            others
                .iter()
                .any(|e| !counts.iter().any(|t| t.who == e.tag.who))
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
        self.refresh_property();
        if self.book.is_current() || !self.book.is_settled() {
            return Ok(());
        }
        let (book, opened) = TagBook::reopen(&self.property, &self.crawl)?;
        self.version += 1;
        for (screen, changed_in) in self.screens.all.iter().zip(&mut self.changed_in) {
            let mut pictures = screen.pictures.iter();
            if pictures.any(|p| self.book.of_picture(*p) != book.of_picture(*p)) {
                *changed_in = self.version;
            }
        }
        let before = std::mem::replace(&mut self.book, book);
        self.book.follow(before);
        self.tell(opened.problems.iter().take(5).map(ToString::to_string));
        Ok(())
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
    pub fn is_settled(&self) -> bool {
        let now = Written::now(&self.property.root);
        let log_is = now == self.property.written || now.is_settled();
        log_is && (self.book.is_current() || self.book.is_settled())
    }

    /// Tags pictures of one screen, if it still is what the page showed.
    pub fn tag(
        &mut self,
        screen: usize,
        version: u64,
        pictures: &[u32],
        tags: &[Tag],
    ) -> Result<(), Refused> {
        if self.changed_in[screen] > version {
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
        let before = after
            .keys()
            .map(|p| (*p, self.book.of_picture(*p).to_vec()))
            .collect();
        self.save(&after)?;
        self.steps.push(Step {
            words,
            screen,
            before,
            after,
        });
        Ok(())
    }

    fn save(&mut self, changes: &BTreeMap<u32, Vec<Tag>>) -> Result<()> {
        self.book.set(&self.property, &self.crawl, changes)?;
        self.version += 1;
        for picture in changes.keys() {
            self.changed_in[self.screens.of_picture[*picture as usize] as usize] = self.version;
        }
        Ok(())
    }

    /// Takes the last step back and returns what it was, and where. A step whose pictures have got
    /// other tags since, from elsewhere, is left as it is.
    pub fn undo(&mut self) -> Result<Option<(String, usize)>> {
        let Some(step) = self.steps.pop() else {
            return Ok(None);
        };
        let mut after = step.after.iter();
        if !after.all(|(p, tags)| self.book.of_picture(*p) == tags.as_slice()) {
            let words = format!(
                "\"{}\" was not undone: tags.csv has been changed by another program since",
                step.words
            );
            return Ok(Some((words, step.screen)));
        }
        if let Err(e) = self.save(&step.before) {
            self.steps.push(step);
            return Err(e);
        }
        Ok(Some((format!("undone: {}", step.words), step.screen)))
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
