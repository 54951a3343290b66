//! Tags that were written with other programs: keywords in a picture or beside it, and a table with
//! columns of its own.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use anyhow::Result;
use rayon::prelude::*;

use super::find::every_name;
use super::keywords::{Meanings, of_iptc, of_xmp};
use super::words::{Tag, seen_as};
use crate::card::{Crawl, read_packets};
use crate::property::{Cause, Headings, Problem, Property, Sheet, TagTable, picture_key};

/// Where a tag was written. The earlier in this list counts more: it is the more deliberate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Origin {
    /// `tags.csv`.
    Tags,
    /// The table that `[tags]` in `property.toml` names.
    Table,
    /// Keywords in a `.xmp` file beside the picture.
    Beside,
    /// Keywords in the picture.
    Within,
}

impl Origin {
    /// In words, and in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tags => "tags.csv",
            Self::Table => "the table named in property.toml",
            Self::Beside => "keywords beside the picture",
            Self::Within => "keywords in the picture",
        }
    }

    /// The words that what it says follows on.
    pub(super) fn says(self) -> String {
        let says = match self {
            Self::Tags | Self::Table => "says",
            Self::Beside | Self::Within => "say",
        };
        format!("{} {says}", self.word())
    }
}

/// A tag from another program.
#[derive(Debug, Clone, PartialEq)]
pub struct ForeignTag {
    /// The picture, as its place in the crawl.
    pub picture: u32,
    /// Where it was written.
    pub origin: Origin,
    /// What it says.
    pub tag: Tag,
}

/// Reads every tag that another program has written, in order of the pictures and, of one picture,
/// of what counts more.
///
/// # Errors
/// When `keywords.csv` or the table that `property.toml` names cannot be read.
pub fn foreign_tags(
    property: &Property,
    crawl: &Crawl,
    problems: &mut Vec<Problem>,
) -> Result<Vec<ForeignTag>> {
    let meanings = Meanings::read(property, problems)?;
    let mut all = Vec::new();
    if let Some(table) = &property.settings.tag_table {
        of_table(property, table, crawl, &meanings, &mut all, problems)?;
    }
    let beside: HashMap<PathBuf, &Path> =
        crawl.side_files.iter().map(|file| (without_xmp(file), file.as_path())).collect();
    let found: Vec<(Vec<ForeignTag>, Vec<Problem>)> = crawl
        .pictures
        .par_iter()
        .enumerate()
        .filter(|(_, p)| p.is_described || !beside.is_empty())
        .map(|(i, p)| {
            let mut problems = Vec::new();
            let mut tags = Vec::new();
            let side = [p.file().to_owned(), p.file().with_extension("")]
                .iter()
                .find_map(|stem| beside.get(&stem.to_owned()).copied());
            let mut add = |origin, keywords: &[String]| {
                tags.extend(meanings.tags(keywords).into_iter().map(|tag| ForeignTag {
                    picture: i as u32,
                    origin,
                    tag,
                }));
            };
            if let Some(side) = side {
                add(Origin::Beside, &of_side_file(property, side, &mut problems));
            }
            if p.is_described {
                let packets = read_packets(&property.root.join(p.file()));
                let mut keywords = packets.iptc.map_or(Vec::new(), |i| of_iptc(&i));
                // A packet that is no XML in a picture says nothing; the picture counts without it.
                keywords.extend(packets.xmp.and_then(|x| of_xmp(&x).ok()).unwrap_or_default());
                add(Origin::Within, &keywords);
            }
            (tags, problems)
        })
        .collect();
    for (tags, mut told) in found {
        all.extend(tags);
        problems.append(&mut told);
    }
    all.sort_by_key(|e| (e.picture, e.origin));
    Ok(all)
}

/// `IMG_0001.xmp` and `IMG_0001.JPG.xmp` both lie beside `IMG_0001.JPG`.
fn without_xmp(file: &Path) -> PathBuf {
    file.with_extension("")
}

fn of_side_file(property: &Property, file: &Path, problems: &mut Vec<Problem>) -> Vec<String> {
    /// A side file of more bytes than this was not written to hold keywords.
    const BYTES_MAX: u64 = 4 << 20;
    let path = property.root.join(file);
    let read = || -> Result<Vec<String>, String> {
        let bytes = std::fs::metadata(&path).map_err(|e| e.to_string())?.len();
        if bytes > BYTES_MAX {
            return Err("it is too large for a file of keywords".to_owned());
        }
        of_xmp(&std::fs::read(&path).map_err(|e| e.to_string())?)
    };
    read().unwrap_or_else(|why| {
        problems.push(Problem::file(&crate::card::shown(file), Cause::NoKeywordFile { why }));
        Vec::new()
    })
}

/// The rows of a table with other column names.
fn of_table(
    property: &Property,
    table: &TagTable,
    crawl: &Crawl,
    meanings: &Meanings,
    all: &mut Vec<ForeignTag>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    let column = |name: &str| name.trim().to_lowercase();
    let (picture, who) = (column(&table.picture), column(&table.who));
    let mut unread = Vec::new();
    // Its other columns are its own business.
    let required = [picture.as_str(), who.as_str()];
    let headings = Headings { required: &required, known: &required };
    let Some(sheet) = Sheet::read(&property.root, &table.file, &headings, &mut unread)? else {
        anyhow::bail!(
            "property.toml names the table {} in [tags], and there is no such file in the property.",
            table.file
        );
    };
    let names = every_name(crawl);
    let others = [&table.count, &table.age, &table.name];
    let [count, age, name] = others.map(|c| c.as_deref().map(column));
    sheet.for_each(problems, |row, problems| {
        let Some(index) = names.get(&picture_key(row.get(&picture))) else {
            problems.push(Problem::cell(
                &table.file,
                row.line,
                &table.picture,
                Cause::NoSuchForeignPicture { path: row.get(&picture).to_owned() },
            ));
            return;
        };
        let Some(known) = meanings.of(row.get(&who)) else {
            problems.push(Problem::cell(
                &table.file,
                row.line,
                &table.who,
                Cause::UnknownForeignWho { text: row.get(&who).to_owned() },
            ));
            return;
        };
        let cell = |column: &Option<String>| column.as_deref().and_then(|c| row.some(c));
        let cells = [cell(&count), cell(&age), cell(&name)];
        if let Some(tag) = seen_as(known, cells, row.line, &table.file, problems) {
            all.push(ForeignTag { picture: *index, origin: Origin::Table, tag });
        }
    });
    Ok(())
}
