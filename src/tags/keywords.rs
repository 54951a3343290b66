//! Keywords that a photo manager has written, and the small table that says whom they mean.

use anyhow::Result;
use roxmltree::{Document, ParsingOptions};

use super::words::{Tag, Who, seen};
use crate::property::{Cause, Headings, Problem, Property, Sheet};

const FILE: &str = "keywords.csv";
const HEADINGS: Headings = Headings {
    required: &["keyword", "who"],
    known: &["keyword", "who", "count", "age", "name", "note"],
};

/// What keywords mean: the rows of `keywords.csv`, and the words of a tag themselves, in the
/// singular and the plural.
pub(super) struct Meanings(Vec<(String, Tag)>);

impl Meanings {
    pub fn read(property: &Property, problems: &mut Vec<Problem>) -> Result<Self> {
        let mut meanings = Vec::new();
        if let Some(sheet) = Sheet::read(&property.root, FILE, &HEADINGS, problems)? {
            sheet.for_each(problems, |row, problems| match row.some("keyword") {
                Some(keyword) => {
                    let tag = seen(row, FILE, problems);
                    meanings.extend(tag.map(|t| (keyword.to_lowercase(), t)));
                }
                None => problems.push(Problem::cell(FILE, row.line, "keyword", Cause::NoKeyword)),
            });
        }
        for who in Who::ALL {
            let word = who.word();
            meanings.push((word.to_owned(), Tag::of(who)));
            meanings.push((format!("{word}s"), Tag::of(who)));
        }
        Ok(Self(meanings))
    }

    /// The tag a keyword stands for. Of a keyword in a hierarchy, `animals|deer|buck`, the whole is
    /// looked up first and then its last word.
    pub fn of(&self, keyword: &str) -> Option<&Tag> {
        let keyword = keyword.trim().to_lowercase();
        let last = keyword.rsplit(['|', '/']).next().unwrap_or("").trim();
        let find = |word: &str| self.0.iter().find(|(k, _)| k == word).map(|(_, tag)| tag);
        find(&keyword).or_else(|| find(last))
    }

    /// The tags of a picture's keywords. A keyword that says more than another of the same kind
    /// (an age, a name) takes its place: `buck` and the name of a buck are one animal.
    pub fn tags(&self, keywords: &[String]) -> Vec<Tag> {
        let mut tags: Vec<Tag> = Vec::new();
        for tag in keywords.iter().filter_map(|k| self.of(k)) {
            let more = |t: &Tag| usize::from(t.age.is_some()) + usize::from(t.name.is_some());
            if tags.contains(tag) {
                continue;
            }
            match tags.iter_mut().find(|t| t.who == tag.who) {
                None => tags.push(tag.clone()),
                Some(known) if more(known) == 0 => *known = tag.clone(),
                Some(_) if more(tag) > 0 => tags.push(tag.clone()),
                Some(_) => {}
            }
        }
        tags
    }
}

/// No picture has more keywords than that.
const KEYWORDS_MAX: usize = 1_000;

/// The keywords of an XMP packet: `dc:subject` (ISO 16684-1, 8.3) and the hierarchical subjects that
/// photo managers write beside it, whatever their namespace (common practice).
///
/// # Errors
/// Says why it is not XML.
pub(super) fn of_xmp(packet: &[u8]) -> Result<Vec<String>, String> {
    const DUBLIN_CORE: &str = "http://purl.org/dc/elements/1.1/";
    let text = std::str::from_utf8(packet).map_err(|e| e.to_string())?;
    let text = text.trim_matches(|c: char| c == '\u{feff}' || c == '\0' || c.is_whitespace());
    // What a document type could define, entities that blow up, has no place in a packet.
    let options = ParsingOptions { allow_dtd: false, ..ParsingOptions::default() };
    let document = Document::parse_with_options(text, options).map_err(|e| e.to_string())?;
    let is_list = |name: &str, namespace: Option<&str>| {
        (name == "subject" && namespace == Some(DUBLIN_CORE)) || name == "hierarchicalSubject"
    };
    let mut keywords = Vec::new();
    for list in
        document.descendants().filter(|n| is_list(n.tag_name().name(), n.tag_name().namespace()))
    {
        let items = list.children().flat_map(|array| array.children());
        let items = items.filter(|n| n.tag_name().name() == "li");
        keywords.extend(items.filter_map(|n| n.text()).map(str::to_owned));
    }
    keywords.truncate(KEYWORDS_MAX);
    Ok(keywords)
}

/// The keywords of IPTC-IIM records: dataset 2:25 (IPTC Information Interchange Model 4.2). They are
/// UTF-8 where they can be, or else Latin-1: the character set that dataset 1:90 should name is often
/// missing or wrong (common practice).
pub(super) fn of_iptc(mut records: &[u8]) -> Vec<String> {
    let mut keywords = Vec::new();
    while let [0x1c, record, number, high, low, rest @ ..] = records {
        let length = usize::from(u16::from_be_bytes([*high, *low]));
        // Datasets of over 32 kB are no keywords.
        let Some((data, after)) = rest.split_at_checked(length) else {
            break;
        };
        if (*record, *number) == (2, 25) {
            keywords.push(match std::str::from_utf8(data) {
                Ok(text) => text.to_owned(),
                Err(_) => data.iter().map(|b| char::from(*b)).collect(),
            });
        }
        records = after;
    }
    keywords
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meanings() -> Meanings {
        let crab = Tag { age: Some(4.5), name: Some("Crab".to_owned()), ..Tag::of(Who::Buck) };
        let split = Tag { name: Some("Split".to_owned()), ..Tag::of(Who::Buck) };
        let mut all = vec![("crab".to_owned(), crab), ("split".to_owned(), split)];
        all.extend(Who::ALL.map(|w| (w.word().to_owned(), Tag::of(w))));
        Meanings(all)
    }

    #[test]
    fn a_name_and_its_kind_are_one_animal() {
        let words = |w: &[&str]| w.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>();
        let tags = meanings().tags(&words(&["Buck", "Crab", "sunrise", "deer|Doe"]));
        assert_eq!(tags.len(), 2, "{tags:?}");
        assert_eq!(tags[0].name.as_deref(), Some("Crab"));
        assert_eq!(tags[1].who, Who::Doe);
        assert_eq!(meanings().tags(&words(&["Crab", "buck"])).len(), 1);
        let twice = ["Crab", "Split", "buck|Crab", "buck|Split"];
        assert_eq!(meanings().tags(&words(&twice)).len(), 2);
    }

    #[test]
    fn a_packet_that_is_not_what_it_says() {
        assert!(of_xmp(b"<x").is_err());
        let bomb = b"<!DOCTYPE a [<!ENTITY b \"c\">]><a>&b;</a>";
        assert!(of_xmp(bomb).is_err());
        assert!(of_iptc(&[0x1c, 2, 25, 0, 9, b'b']).is_empty());
        assert!(of_iptc(&[0x1c, 2, 25, 0x80, 4]).is_empty());
    }
}
