//! A table of the person's, open for changes.
//!
//! New rows are appended and synced, and nothing else is touched. Where a row must be changed or
//! taken away the file is replaced in one step, and every row that was not meant stays byte for
//! byte. Headings, separator and line ends are those that the file has.

use std::fs::{File, Metadata};
use std::io::{self, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};

use super::{Headings, Problem, Row, Sheet, read_optional};
use crate::files::{FileState, Lasting, write_whole};

/// A table, and what its file looked like when it was read.
pub struct Ledger {
    path: PathBuf,
    file: &'static str,
    sheet: Sheet,
    line_end: &'static str,
    /// The file is not there, or its bytes are not the text's, so the first change writes all of it.
    whole: bool,
    has_mark: bool,
    /// How many headings the file itself has.
    own_headings: usize,
    open_row: Option<OpenRow>,
    seen: Option<FileState>,
}

/// A row without a line end, at the end of the file.
pub struct OpenRow {
    /// Where it stands in the text.
    pub span: Range<usize>,
    /// It has a cell for each of the file's headings, and no open quotation mark. One that has not
    /// was cut short, as a kill in the middle of writing leaves it, or its writer ends no line and
    /// leaves empty cells away.
    pub is_whole: bool,
}

const CHANGED: &str = "another program has changed it just now; nothing was written";

/// UTF-8's byte-order mark, which some spreadsheets need to know the file by.
const MARK: &[u8] = b"\xef\xbb\xbf";

impl Ledger {
    /// Opens `file` in `root`. A missing file begins with the headings; headings that the file lacks
    /// are added to its first line when it is first changed.
    ///
    /// # Errors
    /// When the file cannot be read, or not as a table with the headings that it must have.
    pub fn open(root: &Path, file: &'static str, headings: &Headings) -> Result<Self> {
        // A link stays one: what it leads to is changed.
        let path = root.join(file);
        let path = path.canonicalize().unwrap_or(path);
        let seen = FileState::at(&path);
        let mut bytes = read_optional(root, file)?.unwrap_or_default();
        if is_cut_heading(&bytes, headings) {
            bytes.clear();
        }
        let mut sheet = Sheet::decode(file, &bytes)?;
        let plain = bytes.strip_prefix(MARK).unwrap_or(&bytes);
        // Text of another encoding is written as UTF-8 with the first change.
        let mut whole = bytes.is_empty() || plain != sheet.text().as_bytes();
        let own_headings = sheet.columns().len();
        if own_headings > 0 {
            sheet.require(headings)?;
        }
        whole |= sheet.add_headings(headings.known);
        let mut ledger = Self {
            own_headings,
            open_row: None,
            line_end: if sheet.text().contains("\r\n") { "\r\n" } else { "\n" },
            has_mark: sheet.has_mark(),
            path,
            file,
            sheet,
            whole,
            seen,
        };
        ledger.end_last_row();
        Ok(ledger)
    }

    /// Whether the file is still as this program last saw it.
    pub fn is_current(&self) -> bool {
        self.is_as_seen(FileState::at(&self.path))
    }

    /// Whether the file was there and is not now.
    pub fn is_absent(&self) -> bool {
        self.seen.is_some() && FileState::at(&self.path).is_none()
    }

    /// Whether whoever has saved the file is through with it.
    pub fn is_settled(&self) -> bool {
        FileState::at(&self.path).is_none_or(|now| now.is_finished())
    }

    /// Calls `each` for every row, as [`Sheet::for_each`] does.
    pub fn for_each(&self, problems: &mut Vec<Problem>, each: impl FnMut(&Row, &mut Vec<Problem>)) {
        self.sheet.for_each(problems, each);
    }

    /// The table's headings, in small letters, in the file's order.
    pub fn headings(&self) -> &[String] {
        self.sheet.columns()
    }

    /// The whole table's text, every row ended.
    pub(super) fn text(&self) -> &str {
        self.sheet.text()
    }

    /// The text of a row, by its span.
    pub fn row(&self, span: Range<usize>) -> &str {
        self.sheet.text().get(span).unwrap_or("")
    }

    /// The last row, if the file has no line end behind it.
    pub fn open_row(&self) -> Option<&OpenRow> {
        self.open_row.as_ref()
    }

    /// Ends the last row, so that all rows are alike from here on. The file gets that line end with the
    /// first change.
    fn end_last_row(&mut self) {
        let text = self.sheet.text();
        if text.is_empty() || text.ends_with('\n') {
            return;
        }
        let mut last = None;
        self.for_each(&mut Vec::new(), |row, _| {
            last = (row.span.end == text.len()).then(|| OpenRow {
                span: row.span.clone(),
                is_whole: row.cells() >= self.own_headings && !self.sheet.is_torn(),
            });
        });
        // A row with an open quotation mark is none to the reader.
        let from = text.rfind('\n').map_or(0, |n| n + 1);
        let broken = || OpenRow { span: from..text.len(), is_whole: false };
        let is_broken = from > 0 && text[from..].matches('"').count() % 2 == 1;
        self.open_row = last.or_else(|| is_broken.then(broken));
        self.sheet.text_mut().push_str(self.line_end);
        self.whole = true;
        if let Some(row) = &mut self.open_row {
            row.span.end += self.line_end.len();
        }
    }

    /// Takes a row that was cut short out of the table, and keeps its text in a file beside it, whose
    /// name is returned.
    ///
    /// # Errors
    /// When the disk does not take it.
    pub fn set_aside(&mut self, span: Range<usize>) -> Result<String> {
        let name = format!("{}-cut-short.txt", self.file.trim_end_matches(".csv"));
        let path = self.path.with_file_name(&name);
        let line = self.row(span.clone()).trim_end().to_owned() + self.line_end;
        let kept = || {
            let mut file = File::options().append(true).create(true).open(&path)?;
            file.write_all(line.as_bytes())?;
            file.sync_all()
        };
        kept().with_context(|| format!("cannot write {name}"))?;
        self.replace(&[(span, String::new())], "")?;
        Ok(name)
    }

    /// A row as the file would have it, line end and all.
    pub fn line(&self, cells: &[(&str, String)]) -> String {
        let cell = |heading: &String| cell_under(cells, heading).unwrap_or("");
        self.joined(self.headings().iter().map(cell))
    }

    /// A row's own text with some cells changed; cells under headings that are not named stay.
    pub fn changed_line(&self, row: &str, cells: &[(&str, String)]) -> String {
        let record = self.sheet.record(row);
        let cell = |(i, heading): (usize, &String)| {
            let old = record.get(i).unwrap_or("");
            cell_under(cells, heading).unwrap_or(old).to_owned()
        };
        self.joined(self.headings().iter().enumerate().map(cell))
    }

    /// The cells of a row's own text, one for each heading.
    pub fn cells(&self, row: &str) -> Vec<String> {
        let record = self.sheet.record(row);
        let cell = |i| record.get(i).unwrap_or("").to_owned();
        (0..self.headings().len()).map(cell).collect()
    }

    /// The headings as a line of their own.
    pub fn heading_line(&self) -> String {
        self.joined(self.headings().iter())
    }

    fn joined(&self, cells: impl Iterator<Item = impl AsRef<[u8]>>) -> String {
        let mut writer = csv::WriterBuilder::new()
            .delimiter(self.sheet.delimiter())
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(Vec::new());
        // Writing into memory fails only when memory does.
        let _ = writer.write_record(cells);
        let bytes = writer.into_inner().unwrap_or_default();
        let line = String::from_utf8_lossy(&bytes);
        line.trim_end_matches('\n').to_owned() + self.line_end
    }

    /// Appends lines, made by [`Ledger::line`], syncs them, and returns where in the text they begin.
    ///
    /// # Errors
    /// When the disk does not take them, or somebody else has changed the file; then it is as it was.
    pub fn append(&mut self, lines: &str) -> Result<usize> {
        if self.whole {
            return self.replace(&[], lines);
        }
        let from = self.sheet.text().len();
        let facts = self.appended(lines).with_context(|| self.cannot())?;
        let after = FileState::of(&facts);
        // Whatever else was added meanwhile is still to be read.
        let expected = self.seen.map(|s| s.bytes + lines.len() as u64);
        self.seen = (expected == Some(after.bytes)).then_some(after);
        self.sheet.text_mut().push_str(lines);
        Ok(from)
    }

    fn appended(&self, added: &str) -> io::Result<Metadata> {
        let mut file = File::options().append(true).open(&self.path)?;
        let facts = file.metadata()?;
        if !self.is_as_seen(Some(FileState::of(&facts))) {
            return Err(io::Error::other(CHANGED));
        }
        let before = facts.len();
        // One call, so that a kill leaves all of it or, at worst, a line that is cut short.
        let written = file.write_all(added.as_bytes()).and_then(|()| file.sync_data());
        if let Err(e) = written {
            // Unless somebody else has gone on behind it.
            if file.metadata()?.len() <= before + added.len() as u64 {
                file.set_len(before)?;
            }
            return Err(e);
        }
        file.metadata()
    }

    /// Takes rows away, or puts other text in their place, and appends lines, in one step. Spans are
    /// in order and apart. Returns where in the text the lines begin.
    ///
    /// # Errors
    /// When the disk does not take the new file, or somebody else has changed the old one; then that
    /// is as it was.
    pub fn replace(&mut self, changes: &[(Range<usize>, String)], lines: &str) -> Result<usize> {
        let old = self.sheet.text();
        let mut text = String::with_capacity(old.len() + lines.len() + 64);
        let mut at = 0;
        for (span, new) in changes {
            text.push_str(&old[at..span.start]);
            text.push_str(new);
            at = span.end;
        }
        text.push_str(&old[at..]);
        let from = text.len();
        text.push_str(lines);
        let state = self.written(&text).with_context(|| self.cannot())?;
        *self.sheet.text_mut() = text;
        self.whole = false;
        self.seen = Some(state);
        Ok(from)
    }

    fn written(&self, text: &str) -> io::Result<FileState> {
        let write = |file: &mut File| {
            if self.has_mark {
                file.write_all(MARK)?;
            }
            file.write_all(text.as_bytes())
        };
        let allow = || match self.is_current() {
            true => Ok(()),
            false => Err(io::Error::other(CHANGED)),
        };
        write_whole(&self.path, Lasting::Synced, write, allow)
    }

    fn is_as_seen(&self, now: Option<FileState>) -> bool {
        match (now, &self.seen) {
            (Some(now), Some(seen)) => now.is_as_written(seen),
            (now, seen) => now.is_none() && seen.is_none(),
        }
    }

    fn cannot(&self) -> String {
        let file = self.file;
        format!("cannot write {file}; close it in other programs, and check that the disk has room")
    }
}

/// Whether a file was cut within its first line, so that there is nothing in it but the beginning of the
/// headings, in whatever writing: the first change completes them.
fn is_cut_heading(bytes: &[u8], headings: &Headings) -> bool {
    // Marks of UTF-8 and UTF-16, and what UTF-16 has between Latin letters.
    let marks = |b: &u8| matches!(b, 0 | 0xef | 0xbb | 0xbf | 0xff | 0xfe);
    let plain: Vec<u8> = bytes.iter().copied().filter(|b| !marks(b)).collect();
    let Ok(text) = String::from_utf8(plain) else {
        return false;
    };
    let text = text.trim_end_matches(['\r', '\n']).to_lowercase();
    let mut cells: Vec<&str> =
        text.split([',', ';', '\t']).map(|c| c.trim().trim_matches('"')).collect();
    let last = cells.pop().unwrap_or("");
    let is_whole = headings.required.iter().all(|r| cells.contains(r) || last == *r);
    let is_known = |c: &&str| headings.known.contains(c);
    let begins_one = headings.known.iter().any(|k| k.starts_with(last));
    let is_heading = is_whole && is_known(&last);
    !bytes.is_empty() && !is_heading && cells.iter().all(is_known) && begins_one
}

/// The cell under a heading, of cells that are given with theirs.
pub fn cell_under<'a>(cells: &'a [(&str, String)], heading: &str) -> Option<&'a str> {
    let found = cells.iter().find(|(name, _)| *name == heading);
    found.map(|(_, text)| text.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADINGS: Headings =
        Headings { required: &["picture", "who"], known: &["picture", "who", "count"] };

    fn opened(before: &[u8]) -> (tempfile::TempDir, Ledger) {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("tags.csv"), before).unwrap();
        let ledger = Ledger::open(folder.path(), "tags.csv", &HEADINGS).unwrap();
        (folder, ledger)
    }

    fn after(before: &[u8]) -> Vec<u8> {
        let (folder, mut ledger) = opened(before);
        let cells = [("who", "doe, \"wet\"".to_owned()), ("picture", "b.jpg".to_owned())];
        ledger.append(&ledger.line(&cells)).unwrap();
        assert!(ledger.is_current());
        std::fs::read(folder.path().join("tags.csv")).unwrap()
    }

    #[test]
    fn rows_are_added_as_the_file_has_them() {
        let cases: [(&[u8], &[u8]); 5] = [
            (
                b"picture,who,count\na.jpg,buck,1\n",
                b"picture,who,count\na.jpg,buck,1\nb.jpg,\"doe, \"\"wet\"\"\",\n",
            ),
            (
                b"\xef\xbb\xbfwho;mine;picture;count\r\nbuck;x;a.jpg;1",
                b"\xef\xbb\xbfwho;mine;picture;count\r\nbuck;x;a.jpg;1\r\n\"doe, \"\"wet\"\"\";;b.jpg;\r\n",
            ),
            (b"", b"picture,who,count\nb.jpg,\"doe, \"\"wet\"\"\",\n"),
            (
                b"who,picture\nbuck,a.jpg\n",
                b"who,picture,count\nbuck,a.jpg\n\"doe, \"\"wet\"\"\",b.jpg,\n",
            ),
            (
                b"picture,who,count\nS\xfcd.jpg,buck,1\n",
                "picture,who,count\nSüd.jpg,buck,1\nb.jpg,\"doe, \"\"wet\"\"\",\n".as_bytes(),
            ),
        ];
        for (before, wanted) in cases {
            let got = after(before);
            assert_eq!(got, wanted, "{}", String::from_utf8_lossy(&got));
        }
    }

    #[test]
    fn rows_that_are_not_meant_stay_as_they_are() {
        let (folder, mut ledger) =
            opened(b"picture,who,count,mine\n a , buck ,1,x\n\nb,doe,2,y\nc,fawn,,z\n");
        let mut spans = Vec::new();
        ledger.for_each(&mut Vec::new(), |row, _| spans.push(row.span.clone()));
        let doe = spans[1].clone();
        let new = ledger.changed_line(ledger.row(doe.clone()), &[("count", "3".to_owned())]);
        ledger.replace(&[(doe, new)], "").unwrap();
        let got = std::fs::read_to_string(folder.path().join("tags.csv")).unwrap();
        assert_eq!(got, "picture,who,count,mine\n a , buck ,1,x\n\nb,doe,3,y\nc,fawn,,z\n");
    }

    #[test]
    fn rows_without_a_line_end() {
        let open = |text: &str| {
            let (_folder, ledger) = opened(text.as_bytes());
            let row = ledger.open_row()?;
            let text = ledger.row(row.span.clone()).trim_end();
            Some((text.to_owned(), row.is_whole))
        };
        let row = |text: &str, is_whole| Some((text.to_owned(), is_whole));
        assert!(open("picture,who,count\na,doe,1\n").is_none());
        assert!(open("picture,who").is_none());
        assert_eq!(open("picture,who\na,doe"), row("a,doe", true));
        assert_eq!(open("picture,who,count\na,doe"), row("a,doe", false));
        assert!(open("picture,who,count\na,doe,1\nb,doe,1,big").is_none());
        assert!(open("picture,who,count\na,doe,1\n,,").is_none());
        let quoted = "a,doe,\"two\nlines\"";
        assert_eq!(open(&format!("picture,who,count\n{quoted}")), row(quoted, true));
        assert_eq!(open("picture,who,count\na,do\nb,\"doe"), row("b,\"doe", false));
    }

    #[test]
    fn a_file_that_ends_within_a_letter_keeps_its_other_letters() {
        let before = b"picture,who,count\nJ\xc3\xa4ger,doe,1\nJ\xc3";
        let (folder, mut ledger) = opened(before);
        let row = ledger.open_row().unwrap();
        assert!(!row.is_whole);
        let span = row.span.clone();
        let aside = ledger.set_aside(span).unwrap();
        let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
        assert_eq!(read("tags.csv"), "picture,who,count\nJäger,doe,1\n");
        assert_eq!(read(&aside), "J\n");
    }

    #[test]
    fn what_somebody_else_writes_in_between_stays() {
        let (folder, mut ledger) = opened(b"picture,who,count\na,doe,1\n");
        let path = folder.path().join("tags.csv");
        let theirs = "picture,who,count\na,doe,1\nb,buck,1\n";
        std::fs::write(&path, theirs).unwrap();
        assert!(ledger.append("c,fawn,1\n").is_err());
        let mut rows = Vec::new();
        ledger.for_each(&mut Vec::new(), |row, _| rows.push(row.span.clone()));
        let gone = (rows[0].clone(), String::new());
        assert!(ledger.replace(&[gone], "c,fawn,1\n").is_err());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), theirs);
    }

    #[test]
    fn headings_that_were_cut_short_are_completed() {
        for cut in
            ["p", "picture", "picture,wh", "picture,who,coun", "\u{feff}pi", "\"picture\";\"w"]
        {
            let all = after(cut.as_bytes());
            let whole = b"picture,who,count\nb.jpg,\"doe, \"\"wet\"\"\",\n";
            assert_eq!(all, whole, "{cut}");
        }
    }

    #[test]
    fn a_table_without_headings_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("tags.csv"), "a.jpg,buck\n").unwrap();
        let error = Ledger::open(folder.path(), "tags.csv", &HEADINGS).err().unwrap();
        assert!(error.to_string().contains("no column"), "{error}");
    }

    #[test]
    fn a_save_by_somebody_else_is_noticed() {
        let (folder, ledger) = opened(b"picture,who,count\n");
        assert!(ledger.is_current());
        std::fs::write(folder.path().join("tags.csv"), "picture,who,count\na,doe,\n").unwrap();
        assert!(!ledger.is_current());
    }
}
