//! Which picture a row means: the one with the content that the row remembers, and only where it
//! remembers none, the one that its path names.
//!
//! Cameras start again at `IMG_0001` after every format, so a name alone may mean one picture in one
//! year and another in the next. A content is written `HASH` or `HASH-ENDS`: the BLAKE3 hash of a
//! picture's bytes, 64 hexadecimal digits as `b3sum` prints them, and 16 digits of a hash of its size,
//! beginning and end, by which it is known again without being read whole.

use std::cell::{Cell, OnceCell};
use std::collections::HashMap;
use std::fmt;
use std::path::Path;

use chrono::{NaiveDateTime, Timelike};
use rayon::prelude::*;

use crate::card::{Crawl, ODD, Picture};
use crate::files::hash_whole;
use crate::property::{Property, picture_key};
use crate::pull::{Catalogue, Remembered};

/// What a picture is known by, whatever it is called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Content {
    pub hash: blake3::Hash,
    pub ends: Option<u64>,
}

impl Content {
    /// The content of a picture, read whole; `None` where it cannot be read.
    pub fn read(property: &Property, picture: &Picture) -> Option<Self> {
        Some(Self {
            hash: hash_whole(&property.root.join(picture.file()))?,
            ends: Some(picture.ends()),
        })
    }

    pub fn parse(text: &str) -> Option<Self> {
        let (hash, ends) = match text.split_once('-') {
            Some((hash, ends)) => (hash, Some(u64::from_str_radix(ends, 16).ok()?)),
            None => (text, None),
        };
        let hash = blake3::Hash::from_hex(hash).ok()?;
        Some(Self { hash, ends })
    }
}

impl fmt::Display for Content {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.hash.to_hex())?;
        self.ends.map_or(Ok(()), |ends| write!(f, "-{ends:016x}"))
    }
}

/// What a row's picture turned out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Found {
    /// This picture of the crawl.
    Picture(u32),
    /// No picture has that name, or several have.
    Unknown,
    /// The picture with that content is not there any more.
    Gone,
    /// The same, and another picture has its name.
    NamedAnew,
}

/// Finds the pictures that rows mean.
pub(super) struct Finder<'a> {
    property: &'a Property,
    crawl: &'a Crawl,
    /// The picture after the one found last: most rows stand in the pictures' order.
    next: Cell<u32>,
    /// Made when first needed: nearly every row names its picture by its whole path.
    loose: OnceCell<HashMap<String, u32>>,
    memory: OnceCell<Memory>,
    by_ends: OnceCell<HashMap<u64, u32>>,
    /// Every picture by its hash: made only for a content without its ends that no pull remembers.
    by_hash: OnceCell<HashMap<blake3::Hash, u32>>,
}

/// What pulls remember, laid out for looking up.
struct Memory {
    ends_of: HashMap<blake3::Hash, u64>,
    of_path: HashMap<String, Remembered>,
}

impl Memory {
    fn of(property: &Property) -> Self {
        let mut memory = Self { ends_of: HashMap::new(), of_path: HashMap::new() };
        for file in Catalogue::read(property).files {
            if let Some(ends) = file.ends {
                memory.ends_of.entry(file.content).or_insert(ends);
            }
            memory.of_path.entry(picture_key(&file.path)).or_insert(file);
        }
        memory
    }
}

impl<'a> Finder<'a> {
    pub fn of(property: &'a Property, crawl: &'a Crawl) -> Self {
        Self {
            property,
            crawl,
            next: Cell::new(0),
            loose: OnceCell::new(),
            memory: OnceCell::new(),
            by_ends: OnceCell::new(),
            by_hash: OnceCell::new(),
        }
    }

    /// The picture of a row that names a path, and a content or none.
    pub fn find(&self, path: &str, content: Option<Content>) -> Found {
        let named = self.by_path(path);
        let Some(content) = content.or_else(|| self.remembered_at(path, named)) else {
            return named.map_or(Found::Unknown, Found::Picture);
        };
        if let Some(picture) = named.filter(|p| self.is(*p, content)) {
            return Found::Picture(picture);
        }
        match (self.by_content(content), named) {
            (Some(elsewhere), _) => Found::Picture(elsewhere),
            (None, Some(_)) => Found::NamedAnew,
            (None, None) => Found::Gone,
        }
    }

    fn memory(&self) -> &Memory {
        self.memory.get_or_init(|| Memory::of(self.property))
    }

    /// What lay under a path when it was pulled, for a row that remembers no content. A picture that is
    /// another one now, by its ends and by its moment, must not take over the row.
    fn remembered_at(&self, path: &str, named: Option<u32>) -> Option<Content> {
        let before = self.memory().of_path.get(&picture_key(path))?;
        let same = named.is_some_and(|p| self.is_of_the_moment(p, before));
        (!same).then_some(Content { hash: before.content, ends: before.ends })
    }

    fn is(&self, picture: u32, content: Content) -> bool {
        let Some(p) = self.crawl.pictures.get(picture as usize) else {
            return false;
        };
        let ends = content.ends.or_else(|| self.memory().ends_of.get(&content.hash).copied());
        let same = match ends {
            Some(ends) => p.ends() == ends,
            None => Content::read(self.property, p).is_some_and(|c| c.hash == content.hash),
        };
        // A picture that was turned or retouched, or has rotted, is still the one of that moment.
        let before = || self.memory().of_path.get(&picture_key(&p.path));
        let is_before =
            |b: &Remembered| b.content == content.hash && self.is_of_the_moment(picture, b);
        same || before().is_some_and(is_before)
    }

    fn is_of_the_moment(&self, picture: u32, before: &Remembered) -> bool {
        let p = self.crawl.pictures.get(picture as usize);
        let shown = p.and_then(|p| p.time.as_ref().ok()).map(|s| s.time.shown());
        let to_the_second = |t: NaiveDateTime| t.with_nanosecond(0);
        shown.is_some() && shown.and_then(to_the_second) == before.shown
    }

    fn by_content(&self, content: Content) -> Option<u32> {
        let ends = content.ends.or_else(|| self.memory().ends_of.get(&content.hash).copied());
        match ends {
            Some(ends) => self.by_ends().get(&ends).copied(),
            None => self.by_hash().get(&content.hash).copied(),
        }
    }

    fn by_ends(&self) -> &HashMap<u64, u32> {
        self.by_ends.get_or_init(|| {
            let mut first = HashMap::new();
            for (picture, i) in self.crawl.pictures.iter().zip(0..) {
                first.entry(picture.ends()).or_insert(i);
            }
            first
        })
    }

    fn by_hash(&self) -> &HashMap<blake3::Hash, u32> {
        self.by_hash.get_or_init(|| {
            let hash = |p: &Picture| Content::read(self.property, p).map(|c| c.hash);
            let all: Vec<Option<blake3::Hash>> = self.crawl.pictures.par_iter().map(hash).collect();
            all.into_iter().zip(0..).filter_map(|(h, i)| Some((h?, i))).collect()
        })
    }

    fn by_path(&self, text: &str) -> Option<u32> {
        let next = self.next.get();
        let follows = self.crawl.pictures.get(next as usize);
        let follows = follows.is_some_and(|p| p.path == text) && !text.contains(ODD);
        let found = match follows {
            true => Some(next),
            false => self.look_up(text),
        };
        self.next.set(found.map_or(next, |i| i + 1));
        found
    }

    fn look_up(&self, text: &str) -> Option<u32> {
        let text = self.below_the_property(text).unwrap_or(text);
        let loose = || self.loose.get_or_init(|| every_name(self.crawl));
        let exact = self.crawl.by_path(text);
        exact.or_else(|| loose().get(&picture_key(text)).copied())
    }

    /// What is left of a whole path on this computer; nothing of one that leads elsewhere, where another picture may
    /// have the same name.
    fn below_the_property<'t>(&self, text: &'t str) -> Option<&'t str> {
        if !Path::new(text).is_absolute() {
            return None;
        }
        let root = std::path::absolute(&self.property.root).ok()?;
        Path::new(text).strip_prefix(root).ok()?.to_str()
    }
}

/// Every way to name a picture that fits exactly one: its path below the property, the path below
/// `cards/`, camera folder and file name, or the file name alone.
pub(super) fn every_name(crawl: &Crawl) -> HashMap<String, u32> {
    let mut owners: HashMap<String, Option<u32>> = HashMap::new();
    let mut claim = |key: String, picture: u32| {
        owners
            .entry(key)
            .and_modify(|owner| {
                if *owner != Some(picture) {
                    *owner = None;
                }
            })
            .or_insert(Some(picture));
    };
    let pictures = crawl.pictures.iter().zip(0..);
    let pictures = pictures.map(|(p, i)| (p.path.as_str(), i));
    // A copy, and a twin, are the picture that counts for them.
    let copies = crawl
        .duplicates
        .iter()
        .chain(&crawl.twins)
        .filter_map(|(copy, original)| Some((copy.as_str(), crawl.by_path(original)?)));
    for (path, picture) in pictures.chain(copies) {
        let full = picture_key(path);
        let below = full.strip_prefix("cards/").unwrap_or(&full).to_owned();
        let name = full.rsplit('/').next().unwrap_or(&full).to_owned();
        let folder = below.split('/').next().unwrap_or("");
        let mut forms = vec![format!("{folder}/{name}"), name, below, full];
        forms.sort();
        forms.dedup();
        for form in forms {
            claim(form, picture);
        }
    }
    owners.into_iter().filter_map(|(key, owner)| Some((key, owner?))).collect()
}
