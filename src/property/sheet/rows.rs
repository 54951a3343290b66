//! Going through a table's rows, one after the other or in parts side by side.

use std::ops::Range;

use rayon::prelude::*;

use super::{Row, Sheet, reader};
use crate::property::{Cause, Problem};

impl Sheet {
    /// Calls `each` for every row that is not blank. A row that breaks the table's shape becomes a
    /// problem and is left out: a quotation mark that is never closed, or more cells than columns.
    pub fn for_each(
        &self,
        problems: &mut Vec<Problem>,
        mut each: impl FnMut(&Row, &mut Vec<Problem>),
    ) {
        let first = problems.len();
        self.every_row(self.rows_from..self.text.len(), problems, &mut each);
        self.ask_once(problems, first);
    }

    /// The same for a table of any length: its rows are read in parts, side by side, each part with a state
    /// of its own. The parts come back in order.
    pub fn in_parts<S: Send>(
        &self,
        problems: &mut Vec<Problem>,
        begin: impl Fn() -> S + Sync,
        each: impl Fn(&mut S, &Row, &mut Vec<Problem>) + Sync,
    ) -> Vec<S> {
        let part = |range: Range<usize>| {
            let (mut state, mut problems) = (begin(), Vec::new());
            self.every_row(range, &mut problems, &mut |row: &Row, told: &mut Vec<_>| {
                each(&mut state, row, told);
            });
            (state, problems)
        };
        let first = problems.len();
        let mut states = Vec::new();
        let read: Vec<(S, Vec<Problem>)> = self.parts().into_par_iter().map(part).collect();
        for (state, mut told) in read {
            states.push(state);
            problems.append(&mut told);
        }
        self.ask_once(problems, first);
        states
    }

    /// Pieces of the text that begin and end with a row. A quotation mark may hold a line end, and then the
    /// text is one piece.
    fn parts(&self) -> Vec<Range<usize>> {
        const PART: usize = 4 << 20;
        let (bytes, end) = (self.text.as_bytes(), self.text.len());
        if end - self.rows_from <= PART || memchr::memchr(b'"', bytes).is_some() {
            let whole = self.rows_from..end;
            return Vec::from([whole]);
        }
        let mut parts = Vec::new();
        let mut from = self.rows_from;
        while from < end {
            let wanted = (from + PART).min(end);
            let until = memchr::memchr(b'\n', &bytes[wanted..]).map_or(end, |n| wanted + n + 1);
            parts.push(from..until);
            from = until;
        }
        parts
    }

    /// The same question again tells nothing new.
    fn ask_once(&self, problems: &mut Vec<Problem>, first: usize) {
        let Some(question) = self.asked.get() else {
            return;
        };
        let (mut at, mut asked) = (0, false);
        problems.retain(|p| {
            at += 1;
            let asks = at > first && p == question;
            !(asks && std::mem::replace(&mut asked, true))
        });
    }

    fn every_row(
        &self,
        part: Range<usize>,
        problems: &mut Vec<Problem>,
        each: &mut impl FnMut(&Row, &mut Vec<Problem>),
    ) {
        let mut lines = LineCounter::new(&self.text, part.start);
        let mut from = part.start;
        let mut record = csv::StringRecord::new();
        'restart: loop {
            let mut reader = reader(&self.text[from..part.end], self.delimiter);
            while reader.read_record(&mut record).unwrap_or(false) {
                let start = from + record.position().map_or(0, |p| p.byte() as usize);
                let end = from + reader.position().byte() as usize;
                if record.iter().all(|c| c.trim().is_empty()) {
                    continue;
                }
                let (line, start) = lines.at(start);
                let raw = &self.text[start.min(end)..end];
                if has_stray_quote(raw, self.delimiter) {
                    problems.push(self.shape_problem(line, Cause::OpenQuote));
                    from = start + raw.find('\n').map_or(raw.len(), |n| n + 1);
                    continue 'restart;
                }
                if self.has_surplus(&record) {
                    problems.push(self.shape_problem(line, Cause::SurplusCells));
                    continue;
                }
                let row = Row {
                    line,
                    span: start..self.after_line_end(end),
                    sheet: self,
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

    fn shape_problem(&self, line: u64, cause: Cause) -> Problem {
        Problem { file: self.file.clone(), line: Some(line), column: None, cause }
    }
}

/// Whether the quotation marks that open a cell do not pair up: one is open at the row's end, or over a line's end
/// two rows have become one, so that something stands behind a mark that should close its cell.
fn has_stray_quote(raw: &str, delimiter: u8) -> bool {
    if memchr::memchr(b'"', raw.as_bytes()).is_none() {
        return false;
    }
    let has_two_lines = raw.trim_end().contains('\n');
    let bytes = raw.as_bytes();
    let (mut quoted, mut cell_begins, mut at) = (false, true, 0);
    while let Some(&byte) = bytes.get(at) {
        let next = bytes.get(at + 1).copied();
        match (quoted, byte) {
            (true, b'"') if next == Some(b'"') => at += 1,
            (true, b'"') => {
                quoted = false;
                let ends = next.is_none_or(|n| n == delimiter || n == b'\r' || n == b'\n');
                if !ends && has_two_lines {
                    return true;
                }
            }
            (false, b'"') if cell_begins => quoted = true,
            _ => {}
        }
        cell_begins = !quoted && byte == delimiter;
        at += 1;
    }
    quoted
}

/// Counts lines up to a byte, moving only forward. The csv reader's own count starts a record at
/// the line end before it when blank lines come between, so it cannot be shown to a person.
struct LineCounter<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl<'a> LineCounter<'a> {
    /// Counts on from a byte.
    fn new(text: &'a str, from: usize) -> Self {
        let bytes = text.as_bytes();
        let passed = memchr::memchr_iter(b'\n', &bytes[..from]).count();
        Self { bytes, at: from, line: 1 + passed as u64 }
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
