//! Tables as people's spreadsheets save them.
//!
//! A byte-order mark, CRLF line ends, semicolons or tabs between the columns, a decimal comma,
//! blank lines, columns in another order and Windows-1252 text are all understood, because each is
//! what some spreadsheet writes when asked for CSV (common practice, no standard).

mod rows;

use std::collections::HashMap;
use std::ops::Range;
use std::path::Path;
use std::sync::{Mutex, OnceLock, PoisonError};

use anyhow::{Result, bail};
use chrono::{NaiveDate, NaiveDateTime, NaiveTime};

use super::dates::{self, DateOrder, NoDate};
use super::{Cause, Problem, text};

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
    has_mark: bool,
    delimiter: u8,
    columns: Vec<String>,
    /// What the property says of the order of day and month.
    date_order: Option<DateOrder>,
    /// What each column was found to say of it.
    orders: Mutex<HashMap<String, Option<DateOrder>>>,
    /// The question that the first date which could be read in two ways has raised.
    asked: OnceLock<Problem>,
}

/// One row of a [`Sheet`].
pub struct Row<'a> {
    /// The line in the file, header = 1.
    pub line: u64,
    /// Where the row lies in the table's text, its line end included.
    pub span: Range<usize>,
    sheet: &'a Sheet,
    record: &'a csv::StringRecord,
}

impl Row<'_> {
    /// The trimmed text under a heading; empty where the column or the cell is missing.
    pub fn get(&self, column: &str) -> &str {
        self.sheet
            .columns
            .iter()
            .position(|c| c == column)
            .and_then(|i| self.record.get(i))
            .unwrap_or("")
            .trim()
    }

    /// The cells under the first headings, as they stand there.
    pub fn texts(&self, headings: usize) -> Vec<String> {
        let cell = |i| self.record.get(i).unwrap_or("").to_owned();
        (0..headings).map(cell).collect()
    }

    /// How many cells it has.
    pub fn cells(&self) -> usize {
        self.record.len()
    }

    /// The text under a heading, or `None` where there is none.
    pub fn some(&self, column: &str) -> Option<&str> {
        Some(self.get(column)).filter(|s| !s.is_empty())
    }

    /// The date under a heading, with its time of day where it has one; an empty cell is `None`.
    ///
    /// # Errors
    /// When the cell is no date, with `remedy`, or could be two.
    pub fn date(
        &self,
        column: &str,
        remedy: &str,
    ) -> Result<Option<(NaiveDate, Option<NaiveTime>)>, Problem> {
        let Some(text) = self.some(column) else {
            return Ok(None);
        };
        let sheet = self.sheet;
        let read = dates::read(text, None).or_else(|e| match e {
            NoDate::Never => Err(e),
            NoDate::Either(..) => match sheet.order_of(column) {
                None => Err(e),
                order => dates::read(text, order),
            },
        });
        read.map(Some).map_err(|e| match e {
            NoDate::Either(..) => sheet.ask_for_order(self.line, column, text),
            NoDate::Never => Problem::cell(
                &sheet.file,
                self.line,
                column,
                Cause::NotADate { text: text.to_owned(), remedy: remedy.to_owned() },
            ),
        })
    }

    /// The moment under a heading; `of_date` says which moment a date alone stands for.
    ///
    /// # Errors
    /// As [`Row::date`].
    pub fn moment(
        &self,
        column: &str,
        of_date: NaiveTime,
        remedy: &str,
    ) -> Result<Option<NaiveDateTime>, Problem> {
        let found = self.date(column, remedy)?;
        Ok(found.map(|(date, time)| date.and_time(time.unwrap_or(of_date))))
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
        Self::decode(name, &bytes)?.checked(headings, problems)
    }

    /// The same table, what is odd about its headings told; `None` of an empty one.
    ///
    /// # Errors
    /// When it lacks one of the `required` columns.
    pub(super) fn checked(
        self,
        headings: &Headings,
        problems: &mut Vec<Problem>,
    ) -> Result<Option<Self>> {
        if self.columns.is_empty() {
            return Ok(None);
        }
        self.require(headings)?;
        let known = headings.known;
        for column in &self.columns {
            if !column.is_empty() && !known.contains(&column.as_str()) {
                problems.push(Problem::cell(
                    &self.file,
                    1,
                    column,
                    Cause::UnknownColumn { known: known.join(", ") },
                ));
            }
        }
        Ok(Some(self))
    }

    /// # Errors
    /// When a column is missing that no row can do without.
    pub fn require(&self, headings: &Headings) -> Result<()> {
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

    /// Reads the bytes of a table, in whatever writing; `name` is what messages call it.
    ///
    /// # Errors
    /// When they are no table.
    pub fn decode(name: &str, bytes: &[u8]) -> Result<Self> {
        let text::Text { text, torn, has_mark } = text::decode(bytes);
        // Old spreadsheets end lines with a carriage return alone.
        let text = if text.contains('\n') { text } else { text.replace('\r', "\n") };
        let header = text.lines().find(|l| l.chars().any(char::is_alphanumeric)).unwrap_or("");
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
            rows_from: if header.is_empty() { text.len() } else { rows_from },
            text,
            torn,
            has_mark,
            delimiter,
            columns,
            date_order: None,
            orders: Mutex::default(),
            asked: OnceLock::new(),
        })
    }

    /// The same table, read with what the property says of day and month.
    pub fn with_order(mut self, order: Option<DateOrder>) -> Self {
        self.date_order = order;
        self
    }

    /// The file's name.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// Whether it has a column, by its heading in small letters.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|c| c == column)
    }

    /// Whether the file began with a byte-order mark.
    pub(super) fn has_mark(&self) -> bool {
        self.has_mark
    }

    /// The order of day and month in a column: what a cell of it with a number over twelve says, else
    /// what another column of the table says, else what the property says.
    fn order_of(&self, column: &str) -> Option<DateOrder> {
        // Held until the column is known: the rows of a large table are read side by side.
        let mut orders = self.orders.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(order) = orders.get(column) {
            return *order;
        }
        let mut said: HashMap<&str, [bool; 2]> = HashMap::new();
        for record in reader(&self.text[self.rows_from..], self.delimiter).records() {
            for (name, cell) in self.columns.iter().zip(record.iter().flat_map(|r| r.iter())) {
                if let Some(order) = dates::order_of(cell) {
                    said.entry(name).or_default()[usize::from(order == DateOrder::MonthFirst)] =
                        true;
                }
            }
        }
        // A column in which both stand says nothing, and the person must.
        let one = |s: &[bool; 2]| match s {
            [true, false] => Some(DateOrder::DayFirst),
            [false, true] => Some(DateOrder::MonthFirst),
            _ => None,
        };
        let of_table = said.values().fold([false; 2], |a, s| [a[0] | s[0], a[1] | s[1]]);
        let order = match said.get(column) {
            Some(own) => one(own),
            None => one(&of_table),
        };
        let order = order.or(self.date_order);
        orders.insert(column.to_owned(), order);
        order
    }

    /// One question for the whole table, however many of its dates could be read in two ways.
    fn ask_for_order(&self, line: u64, column: &str, text: &str) -> Problem {
        let question =
            || Problem::cell(&self.file, line, column, Cause::EitherDate { text: text.to_owned() });
        self.asked.get_or_init(question).clone()
    }

    /// Whether the file ends within a character, which was left away.
    pub(super) fn is_torn(&self) -> bool {
        self.torn
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
        let missing: Vec<&str> =
            wanted.iter().copied().filter(|w| !self.columns.iter().any(|c| c == w)).collect();
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
}

fn reader(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
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
        let want =
            vec![(2, "buck".to_owned(), "3.5".to_owned()), (4, "doe".to_owned(), String::new())];
        assert_eq!(rows(b"who,age\nbuck,3.5\n\ndoe,\n"), want);
        assert_eq!(rows(b"\xef\xbb\xbfWho,Age\r\nbuck,3.5\r\n\r\ndoe,\r\n"), want);
        assert_eq!(rows(b"who;age\nbuck;3.5\n;\ndoe\n"), want);
        assert_eq!(rows(b"age\twho\n3.5\tbuck\n\n\tdoe"), want);
        assert_eq!(rows(b"who,age\rbuck,3.5\r\rdoe,"), want);
        let lower: Vec<u64> = rows(b",,\n \nwho,age\nbuck,3.5\n").iter().map(|r| r.0).collect();
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
    fn two_rows_that_unclosed_marks_have_joined_are_told() {
        let (got, problems) =
            read(b"who,age,note\nbuck,1,\"big one\ndoe,2,\"small\nfawn,,ok\nbuck,2,\"a\nb\"\n");
        assert_eq!(got.iter().map(|r| r.0).collect::<Vec<_>>(), [4, 5]);
        let lines: Vec<_> = problems.iter().map(|p| p.line).collect();
        assert_eq!(lines, [Some(2), Some(3)]);
    }

    fn dates(bytes: &[u8], order: Option<DateOrder>) -> (Vec<String>, Vec<Problem>) {
        let sheet = Sheet::decode("t.csv", bytes).unwrap().with_order(order);
        let (mut out, mut problems) = (Vec::new(), Vec::new());
        sheet.for_each(&mut problems, |r, problems| match r.date("from", "") {
            Ok(Some((date, _))) => out.push(date.to_string()),
            Ok(None) => {}
            Err(problem) => problems.push(problem),
        });
        (out, problems)
    }

    #[test]
    fn one_date_over_twelve_settles_its_column() {
        let (got, problems) = dates(b"from\n10/11/2025\n10/25/2025\n", None);
        assert_eq!((got.join(" "), problems.len()), ("2025-10-11 2025-10-25".into(), 0));
        let (got, _) = dates(b"from,until\n10/11/2025,25/10/2025\n", None);
        assert_eq!(got, ["2025-11-10"]);
        let (got, _) = dates(b"from\n10/11/2025\n25/10/2025\n", Some(DateOrder::MonthFirst));
        assert_eq!(got.join(" "), "2025-11-10 2025-10-25");
    }

    #[test]
    fn an_order_that_nothing_settles_is_asked_for_once() {
        let table = b"from\n10/11/2025\n2025-10-18\n09/08/2025\nsoon\n";
        let (got, problems) = dates(table, None);
        assert_eq!(got, ["2025-10-18"]);
        assert_eq!(problems.len(), 2, "{problems:?}");
        assert!(problems[0].remedy().contains("date_order"), "{problems:?}");
        let (got, problems) = dates(table, Some(DateOrder::DayFirst));
        assert_eq!((got.len(), problems.len()), (3, 1));
        let (got, problems) = dates(b"from\n10/25/2025\n25/10/2025\n10/11/2025\n", None);
        assert_eq!((got.len(), problems.len()), (2, 1));
    }
}
