//! Tables as people's spreadsheets save them.
//!
//! A byte-order mark, CRLF line ends, semicolons or tabs between the columns, a decimal comma,
//! blank lines, columns in another order and Windows-1252 text are all understood, because each is
//! what some spreadsheet writes when asked for CSV (common practice, no standard).

use std::path::Path;

use anyhow::{Result, bail};
use chrono::{Datelike, NaiveDate, NaiveDateTime};

use super::Problem;

/// The columns of a table.
pub struct Headings<'a> {
    /// Those that no row can do without.
    pub required: &'a [&'a str],
    /// All that are understood, in the order of a new file.
    pub known: &'a [&'a str],
}

/// A table, decoded but not yet parsed into rows.
pub struct Sheet {
    file: String,
    text: String,
    rows_from: usize,
    torn: bool,
    delimiter: u8,
    columns: Vec<String>,
}

/// One row of a [`Sheet`].
pub struct Row<'a> {
    /// The line in the file, header = 1.
    pub line: u64,
    /// Where the row lies in the table's text, its line end included.
    pub span: std::ops::Range<usize>,
    columns: &'a [String],
    record: &'a csv::StringRecord,
}

impl Row<'_> {
    /// The trimmed text under a heading; empty where the column or the cell is missing.
    pub fn get(&self, column: &str) -> &str {
        self.columns
            .iter()
            .position(|c| c == column)
            .and_then(|i| self.record.get(i))
            .unwrap_or("")
            .trim()
    }

    /// How many cells it has.
    pub fn cells(&self) -> usize {
        self.record.len()
    }

    /// The text under a heading, or `None` where there is none.
    pub fn some(&self, column: &str) -> Option<&str> {
        Some(self.get(column)).filter(|s| !s.is_empty())
    }
}

impl Sheet {
    /// Reads `name` in `root`; `None` where there is no such file.
    ///
    /// # Errors
    /// When the file cannot be read, or lacks one of the `required` columns.
    pub fn read(
        root: &Path,
        name: &str,
        headings: &Headings,
        problems: &mut Vec<Problem>,
    ) -> Result<Option<Self>> {
        let Some(bytes) = super::read_optional(root, name)? else {
            return Ok(None);
        };
        let sheet = Self::decode(name, &bytes)?;
        if sheet.columns.is_empty() {
            return Ok(None);
        }
        sheet.require(headings)?;
        let known = headings.known;
        for column in &sheet.columns {
            if !column.is_empty() && !known.contains(&column.as_str()) {
                problems.push(Problem::cell(
                    name,
                    1,
                    column,
                    "this column is not known and was left alone.",
                    format!("Known columns: {}.", known.join(", ")),
                ));
            }
        }
        Ok(Some(sheet))
    }

    /// # Errors
    /// When a column is missing that no row can do without.
    pub(super) fn require(&self, headings: &Headings) -> Result<()> {
        let is_missing = |c: &&&str| !self.columns.iter().any(|known| known == **c);
        if let Some(column) = headings.required.iter().find(is_missing) {
            bail!(
                "{}, line 1: there is no column \"{column}\". The first line must name the columns: {}",
                self.file,
                headings.known.join(",")
            );
        }
        Ok(())
    }

    pub(super) fn decode(name: &str, bytes: &[u8]) -> Result<Self> {
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            bail!(
                "{name} is saved as UTF-16 (\"Unicode text\"). Save it again as CSV with UTF-8 text."
            );
        }
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let (text, torn) = match std::str::from_utf8(bytes) {
            Ok(text) => (text.to_owned(), false),
            Err(e) => match torn(bytes, e) {
                Some(text) => (text.to_owned(), true),
                None => (bytes.iter().map(|&b| windows_1252(b)).collect(), false),
            },
        };
        // Old spreadsheets end lines with a carriage return alone.
        let text = if text.contains('\n') {
            text
        } else {
            text.replace('\r', "\n")
        };
        let header = text
            .lines()
            .find(|l| l.chars().any(char::is_alphanumeric))
            .unwrap_or("");
        let delimiter = [b',', b';', b'\t']
            .into_iter()
            .max_by_key(|d| (header.bytes().filter(|b| b == d).count(), *d == b','))
            .unwrap_or(b',');
        let columns = reader(header, delimiter)
            .records()
            .next()
            .transpose()
            .map_err(|e| anyhow::anyhow!("{name}: the column names cannot be read: {e}"))?
            .map(|r| r.iter().map(|c| c.trim().to_lowercase()).collect())
            .unwrap_or_default();
        let rows_from = header.as_ptr() as usize - text.as_ptr() as usize + header.len();
        Ok(Self {
            file: name.to_owned(),
            rows_from: if header.is_empty() {
                text.len()
            } else {
                rows_from
            },
            text,
            torn,
            delimiter,
            columns,
        })
    }

    /// Whether the file ends within a character, which was left away.
    pub(super) fn is_torn(&self) -> bool {
        self.torn
    }

    /// Calls `each` for every row that is not blank. A row that breaks the table's shape becomes a
    /// problem and is left out: a quotation mark that is never closed, or more cells than columns.
    pub fn for_each(
        &self,
        problems: &mut Vec<Problem>,
        mut each: impl FnMut(&Row, &mut Vec<Problem>),
    ) {
        let mut lines = LineCounter::new(&self.text);
        let mut from = self.rows_from;
        let mut record = csv::StringRecord::new();
        'restart: loop {
            let mut reader = reader(&self.text[from..], self.delimiter);
            while reader.read_record(&mut record).unwrap_or(false) {
                let start = from + record.position().map_or(0, |p| p.byte() as usize);
                let end = from + reader.position().byte() as usize;
                if record.iter().all(|c| c.trim().is_empty()) {
                    continue;
                }
                let (line, start) = lines.at(start);
                let raw = &self.text[start.min(end)..end];
                if raw.bytes().filter(|b| *b == b'"').count() % 2 == 1 {
                    problems.push(self.shape_problem(
                        line,
                        "a quotation mark is opened and never closed, so the row was left out.",
                        "Close it, or remove it.",
                    ));
                    from = start + raw.find('\n').map_or(raw.len(), |n| n + 1);
                    continue 'restart;
                }
                if self.has_surplus(&record) {
                    problems.push(self.shape_problem(
                        line,
                        "there are more cells than columns, so the row was left out.",
                        "Put quotation marks around a cell that holds a comma or semicolon, a number with a decimal comma too.",
                    ));
                    continue;
                }
                let row = Row {
                    line,
                    span: start..self.after_line_end(end),
                    columns: &self.columns,
                    record: &record,
                };
                each(&row, problems);
            }
            return;
        }
    }

    /// The byte after the line end that follows `end`, which the reader may not have passed yet.
    fn after_line_end(&self, end: usize) -> usize {
        let ended = self.text[..end].ends_with('\n');
        match self.text.as_bytes().get(end) {
            Some(b'\n') if !ended => end + 1,
            _ => end,
        }
    }

    /// The decoded text of the whole file.
    pub(super) fn text(&self) -> &str {
        &self.text
    }

    pub(super) fn text_mut(&mut self) -> &mut String {
        &mut self.text
    }

    pub(super) fn delimiter(&self) -> u8 {
        self.delimiter
    }

    /// The headings, in small letters.
    pub(super) fn columns(&self) -> &[String] {
        &self.columns
    }

    /// The cells of one row's text.
    pub(super) fn record(&self, row: &str) -> csv::StringRecord {
        let mut records = reader(row, self.delimiter).into_records();
        records.next().and_then(Result::ok).unwrap_or_default()
    }

    /// Puts headings that are missing at the end of the first line, and says whether any were.
    pub(super) fn add_headings(&mut self, wanted: &[&str]) -> bool {
        let missing: Vec<&str> = wanted
            .iter()
            .copied()
            .filter(|w| !self.columns.iter().any(|c| c == w))
            .collect();
        if missing.is_empty() {
            return false;
        }
        let delimiter = char::from(self.delimiter).to_string();
        let mut added = missing.join(&delimiter);
        if self.columns.is_empty() {
            self.rows_from = 0;
            added.push('\n');
        } else {
            added.insert_str(0, &delimiter);
        }
        self.text.insert_str(self.rows_from, &added);
        self.rows_from += added.len();
        self.columns.extend(missing.into_iter().map(str::to_owned));
        true
    }

    /// Whether a record has more cells than there are columns. Empty ones at its end are forgiven, a
    /// trailing comma is soon typed, unless a number with a decimal comma may have been torn in two.
    fn has_surplus(&self, record: &csv::StringRecord) -> bool {
        let is_number = |c: &str| !c.is_empty() && c.bytes().all(|b| b.is_ascii_digit());
        let torn = || {
            let cells: Vec<&str> = record.iter().map(str::trim).collect();
            let pair = |w: &[&str]| is_number(w[0]) && is_number(w[1]) && w[1].len() == 1;
            self.delimiter == b',' && cells.windows(2).any(pair)
        };
        let mut surplus = record.iter().skip(self.columns.len()).peekable();
        surplus.peek().is_some() && (surplus.any(|c| !c.trim().is_empty()) || torn())
    }

    fn shape_problem(&self, line: u64, what: &str, remedy: &str) -> Problem {
        Problem {
            file: self.file.clone(),
            line: Some(line),
            column: None,
            what: what.to_owned(),
            remedy: remedy.to_owned(),
        }
    }
}

/// The whole characters of UTF-8 text that ends within one, as a kill in the middle of writing leaves
/// it. Text without any other such character may as well be in another encoding.
fn torn(bytes: &[u8], error: std::str::Utf8Error) -> Option<&str> {
    let whole = std::str::from_utf8(&bytes[..error.valid_up_to()]).ok()?;
    (error.error_len().is_none() && !whole.is_ascii()).then_some(whole)
}

fn reader(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// Counts lines up to a byte, moving only forward. The csv reader's own count starts a record at
/// the line end before it when blank lines come between, so it cannot be shown to a person.
struct LineCounter<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl<'a> LineCounter<'a> {
    fn new(text: &'a str) -> Self {
        Self {
            bytes: text.as_bytes(),
            at: 0,
            line: 1,
        }
    }

    /// The line on which a record that the reader found at `start` really begins, and that byte.
    fn at(&mut self, start: usize) -> (u64, usize) {
        let mut first = start;
        while matches!(self.bytes.get(first), Some(b'\r' | b'\n')) {
            first += 1;
        }
        let passed = &self.bytes[self.at..first.max(self.at)];
        self.line += passed.iter().filter(|&&b| b == b'\n').count() as u64;
        self.at = first;
        (self.line, first)
    }
}

/// The character of a Windows-1252 byte (WHATWG Encoding Standard; the five unassigned bytes stay
/// control characters).
fn windows_1252(byte: u8) -> char {
    const HIGH: [char; 32] = [
        '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž',
        '\u{8f}', '\u{90}', '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}',
        'ž', 'Ÿ',
    ];
    match byte {
        0x80..=0x9f => HIGH[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

/// A number with a decimal point or a decimal comma.
pub fn parse_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let number = match (text.contains('.'), text.matches(',').count()) {
        (false, 1) => text.replace(',', ".").parse(),
        _ => text.parse::<f64>(),
    };
    number.ok().filter(|x| x.is_finite())
}

/// An ISO 8601 date, `2025-10-18`, from 2000 to 2100: `25-10-18` is not the year 25.
pub fn parse_date(text: &str) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d")
        .ok()
        .filter(|d| YEARS.contains(&d.year()))
}

/// Years in which a trail camera can have taken a picture.
const YEARS: std::ops::RangeInclusive<i32> = 2000..=2100;

/// An ISO 8601 date and time without an offset: `2025-10-18T06:30`, with seconds or without, with
/// a blank in place of the `T`.
pub fn parse_date_time(text: &str) -> Option<NaiveDateTime> {
    if let Some(time) = plain_date_time(text.trim()) {
        return Some(time);
    }
    const SHAPES: [&str; 4] = [
        "%Y-%m-%dT%H:%M:%S%.f",
        "%Y-%m-%d %H:%M:%S%.f",
        "%Y-%m-%dT%H:%M",
        "%Y-%m-%d %H:%M",
    ];
    SHAPES
        .iter()
        .find_map(|shape| NaiveDateTime::parse_from_str(text.trim(), shape).ok())
        .filter(|t| YEARS.contains(&t.year()))
}

/// `2025-10-18T06:30:00` or `2025-10-18T06:30`, the shapes that nearly every row has, ten times as fast
/// as by the general reader. Anything else is left to that.
fn plain_date_time(text: &str) -> Option<NaiveDateTime> {
    let bytes = text.as_bytes();
    let marks = [(4, b'-'), (7, b'-'), (10, b'T'), (13, b':')];
    let has_seconds = bytes.len() == 19 && bytes[16] == b':';
    if !(bytes.len() == 16 || has_seconds) || marks.iter().any(|(i, m)| bytes[*i] != *m) {
        return None;
    }
    let number = |from: usize, until: usize| {
        bytes[from..until].iter().try_fold(0_u32, |n, b| {
            b.is_ascii_digit().then(|| n * 10 + u32::from(b - b'0'))
        })
    };
    let seconds = if has_seconds { number(17, 19)? } else { 0 };
    let year = i32::try_from(number(0, 4)?).ok()?;
    NaiveDate::from_ymd_opt(year, number(5, 7)?, number(8, 10)?)?
        .and_hms_opt(number(11, 13)?, number(14, 16)?, seconds)
        .filter(|t| YEARS.contains(&t.year()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8]) -> (Vec<(u64, String, String)>, Vec<Problem>) {
        let sheet = Sheet::decode("t.csv", bytes).unwrap();
        let (mut out, mut problems) = (Vec::new(), Vec::new());
        sheet.for_each(&mut problems, |r, _| {
            out.push((r.line, r.get("who").to_owned(), r.get("age").to_owned()));
        });
        (out, problems)
    }

    fn rows(bytes: &[u8]) -> Vec<(u64, String, String)> {
        let (rows, problems) = read(bytes);
        assert!(problems.is_empty(), "{problems:?}");
        rows
    }

    #[test]
    fn what_spreadsheets_save() {
        let want = vec![
            (2, "buck".to_owned(), "3.5".to_owned()),
            (4, "doe".to_owned(), String::new()),
        ];
        assert_eq!(rows(b"who,age\nbuck,3.5\n\ndoe,\n"), want);
        assert_eq!(
            rows(b"\xef\xbb\xbfWho,Age\r\nbuck,3.5\r\n\r\ndoe,\r\n"),
            want
        );
        assert_eq!(rows(b"who;age\nbuck;3.5\n;\ndoe\n"), want);
        assert_eq!(rows(b"age\twho\n3.5\tbuck\n\n\tdoe"), want);
        assert_eq!(rows(b"who,age\rbuck,3.5\r\rdoe,"), want);
        let lower: Vec<u64> = rows(b",,\n \nwho,age\nbuck,3.5\n")
            .iter()
            .map(|r| r.0)
            .collect();
        assert_eq!(lower, [4]);
    }

    #[test]
    fn rows_of_a_broken_shape_are_told_and_the_rest_goes_on() {
        let (got, problems) =
            read(b"who,age,note\nbuck,1,\"big one\ndoe,2,x\nbuck,3,5,\ndoe,4,\"ok\"\n");
        assert_eq!(got.iter().map(|r| r.0).collect::<Vec<_>>(), [3, 5]);
        let lines: Vec<_> = problems.iter().map(|p| p.line).collect();
        assert_eq!(lines, [Some(2), Some(4)]);
    }

    #[test]
    fn a_line_break_in_quotes_keeps_the_line_numbers_right() {
        let got = rows(b"who,age,note\nbuck,1,\"two\nlines\"\ndoe,2,x\n");
        assert_eq!(got.iter().map(|r| r.0).collect::<Vec<_>>(), [2, 4]);
    }

    #[test]
    fn text_that_is_not_utf8_is_read_as_windows_1252() {
        assert_eq!(rows(b"who,age\nS\xfcd,\x80\n")[0].1, "Süd");
        assert_eq!(rows(b"who,age\nS\xfcd,\x80\n")[0].2, "€");
    }

    #[test]
    fn numbers_in_both_notations() {
        assert_eq!(parse_number("3.5"), Some(3.5));
        assert_eq!(parse_number(" 3,5 "), Some(3.5));
        assert_eq!(parse_number("-90.25"), Some(-90.25));
        assert_eq!(parse_number("1,234,5"), None);
        assert_eq!(parse_number("NaN"), None);
    }

    #[test]
    fn times_with_and_without_seconds() {
        let want = NaiveDate::from_ymd_opt(2024, 2, 29).and_then(|d| d.and_hms_opt(6, 30, 0));
        assert_eq!(parse_date_time("2024-02-29T06:30"), want);
        assert_eq!(parse_date_time("2024-02-29 06:30:00"), want);
        assert_eq!(parse_date_time("2025-02-29 06:30:00"), None);
        assert_eq!(parse_date_time("2025-10-18T24:00"), None);
        assert_eq!(parse_date_time("1999-10-18T06:30"), None);
        assert_eq!(parse_date("25-10-18"), None);
        assert_eq!(parse_date("+262142-12-31"), None);
    }
}
