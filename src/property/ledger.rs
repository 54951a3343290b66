//! A table of the person's, open for changes.
//!
//! New rows are appended and synced, and nothing else is touched. Where a row must be changed or
//! taken away the file is replaced in one step, and every row that was not meant stays byte for
//! byte. Headings, separator and line ends are those that the file has.

use std::fs::{File, Metadata};
use std::io::{self, Write};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use anyhow::{Context, Result};

use super::{Problem, Row, Sheet, new_file_in, read_optional};

/// A table, and what its file looked like when it was read.
pub struct Ledger {
    path: PathBuf,
    file: &'static str,
    sheet: Sheet,
    line_end: &'static str,
    /// The file is not there, or its bytes are not the text's, so the first change writes all of it.
    whole: bool,
    has_mark: bool,
    seen: Option<Seen>,
}

/// What tells whether somebody else has saved the file meanwhile.
#[derive(PartialEq, Eq)]
struct Seen {
    bytes: u64,
    modified: Option<SystemTime>,
    #[cfg(unix)]
    inode: u64,
}

impl Seen {
    fn of(facts: &Metadata) -> Self {
        Self {
            bytes: facts.len(),
            modified: facts.modified().ok(),
            #[cfg(unix)]
            inode: std::os::unix::fs::MetadataExt::ino(facts),
        }
    }
}

/// UTF-8's byte-order mark, which some spreadsheets need to know the file by.
const MARK: &[u8] = b"\xef\xbb\xbf";

impl Ledger {
    /// Opens `file` in `root`. A missing file begins with the headings; headings that the file lacks
    /// are added to its first line when it is first changed.
    ///
    /// # Errors
    /// When the file cannot be read, or not as a table.
    pub fn open(root: &Path, file: &'static str, headings: &[&str]) -> Result<Self> {
        let path = root.join(file);
        let seen = std::fs::metadata(&path).ok().map(|facts| Seen::of(&facts));
        let bytes = read_optional(root, file)?.unwrap_or_default();
        let mut sheet = Sheet::decode(file, &bytes)?;
        let plain = bytes.strip_prefix(MARK).unwrap_or(&bytes);
        let mut whole = seen.is_none() || plain != sheet.text().as_bytes();
        whole |= sheet.add_headings(headings);
        Ok(Self {
            line_end: if sheet.text().contains("\r\n") {
                "\r\n"
            } else {
                "\n"
            },
            has_mark: bytes.starts_with(MARK),
            path,
            file,
            sheet,
            whole,
            seen,
        })
    }

    /// Whether the file is still as this program last saw it.
    pub fn is_current(&self) -> bool {
        let now = std::fs::metadata(&self.path).ok();
        now.as_ref().map(Seen::of) == self.seen
    }

    /// Calls `each` for every row, as [`Sheet::for_each`] does.
    pub fn for_each(&self, problems: &mut Vec<Problem>, each: impl FnMut(&Row, &mut Vec<Problem>)) {
        self.sheet.for_each(problems, each);
    }

    /// The table's headings, in small letters, in the file's order.
    pub fn headings(&self) -> &[String] {
        self.sheet.columns()
    }

    /// The text of a row, by its span.
    pub fn row(&self, span: Range<usize>) -> &str {
        self.sheet.text().get(span).unwrap_or("")
    }

    /// Where the text ends, and the next row will begin.
    pub fn end(&self) -> usize {
        let text = self.sheet.text();
        let open = !text.is_empty() && !text.ends_with('\n');
        text.len() + if open { self.line_end.len() } else { 0 }
    }

    /// What stands after the last line end: a row that was cut short, or one whose writer ends no
    /// line.
    pub fn open_line(&self) -> Option<Range<usize>> {
        let text = self.sheet.text();
        let from = text.rfind('\n').map_or(0, |n| n + 1);
        (from > 0 && from < text.len()).then_some(from..text.len())
    }

    /// A row as the file would have it, line end and all.
    pub fn line(&self, cells: &[(&str, String)]) -> String {
        let cell = |heading: &String| {
            let found = cells.iter().find(|(name, _)| name == heading);
            found.map_or("", |(_, value)| value.as_str())
        };
        self.joined(self.headings().iter().map(cell))
    }

    /// A row's own text with some cells changed; cells under headings that are not named stay.
    pub fn changed_line(&self, span: Range<usize>, cells: &[(&str, String)]) -> String {
        let record = self.sheet.record(self.row(span));
        let cell = |(i, heading): (usize, &String)| {
            let found = cells.iter().find(|(name, _)| name == heading);
            let old = record.get(i).unwrap_or("");
            found.map_or(old, |(_, value)| value.as_str()).to_owned()
        };
        self.joined(self.headings().iter().enumerate().map(cell))
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

    /// Appends lines, made by [`Ledger::line`], and syncs them before it returns.
    ///
    /// # Errors
    /// When the disk does not take them; then the file is as it was.
    pub fn append(&mut self, lines: &str) -> Result<()> {
        if self.whole {
            return self.replace(&[], lines);
        }
        let gap = self.end() - self.sheet.text().len();
        let added = self.line_end[self.line_end.len() - gap..].to_owned() + lines;
        let facts = self.appended(&added).with_context(|| self.cannot())?;
        self.sheet.text_mut().push_str(&added);
        self.seen = Some(Seen::of(&facts));
        Ok(())
    }

    fn appended(&self, added: &str) -> io::Result<Metadata> {
        let mut file = File::options().append(true).open(&self.path)?;
        let before = file.metadata()?.len();
        // One call, so that a kill leaves all of it or, at worst, a line that is cut short.
        let written = file
            .write_all(added.as_bytes())
            .and_then(|()| file.sync_data());
        if let Err(e) = written {
            file.set_len(before)?;
            return Err(e);
        }
        file.metadata()
    }

    /// Takes rows away, or puts other text in their place, and appends lines, in one step. Spans are
    /// in order and apart.
    ///
    /// # Errors
    /// When the disk does not take the new file; then the old one is as it was.
    pub fn replace(&mut self, changes: &[(Range<usize>, String)], lines: &str) -> Result<()> {
        let old = self.sheet.text();
        let mut text = String::with_capacity(old.len() + lines.len() + 64);
        let mut at = 0;
        for (span, new) in changes {
            text.push_str(&old[at..span.start]);
            text.push_str(new);
            at = span.end;
        }
        text.push_str(&old[at..]);
        if !lines.is_empty() && !text.is_empty() && !text.ends_with('\n') {
            text.push_str(self.line_end);
        }
        text.push_str(lines);
        let facts = self.written(&text).with_context(|| self.cannot())?;
        *self.sheet.text_mut() = text;
        self.whole = false;
        self.seen = Some(Seen::of(&facts));
        Ok(())
    }

    fn written(&self, text: &str) -> io::Result<Metadata> {
        let folder = self.path.parent().unwrap_or(Path::new("."));
        let mut file = new_file_in(folder)?;
        if self.has_mark {
            file.write_all(MARK)?;
        }
        file.write_all(text.as_bytes())?;
        file.as_file().sync_all()?;
        let facts = file.as_file().metadata()?;
        file.persist(&self.path)?;
        #[cfg(unix)]
        File::open(folder)?.sync_all()?;
        Ok(facts)
    }

    fn cannot(&self) -> String {
        let file = self.file;
        format!(
            "cannot write {file}. Close it in other programs, and check that the disk has room."
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADINGS: [&str; 3] = ["picture", "who", "count"];

    fn opened(before: &[u8]) -> (tempfile::TempDir, Ledger) {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("tags.csv"), before).unwrap();
        let ledger = Ledger::open(folder.path(), "tags.csv", &HEADINGS).unwrap();
        (folder, ledger)
    }

    fn after(before: &[u8]) -> Vec<u8> {
        let (folder, mut ledger) = opened(before);
        let cells = [
            ("who", "doe, \"wet\"".to_owned()),
            ("picture", "b.jpg".to_owned()),
        ];
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
        let new = ledger.changed_line(doe.clone(), &[("count", "3".to_owned())]);
        ledger.replace(&[(doe, new)], "").unwrap();
        let got = std::fs::read_to_string(folder.path().join("tags.csv")).unwrap();
        assert_eq!(
            got,
            "picture,who,count,mine\n a , buck ,1,x\n\nb,doe,3,y\nc,fawn,,z\n"
        );
    }

    #[test]
    fn a_save_by_somebody_else_is_noticed() {
        let (folder, ledger) = opened(b"picture,who,count\n");
        assert!(ledger.is_current());
        std::fs::write(
            folder.path().join("tags.csv"),
            "picture,who,count\na,doe,\n",
        )
        .unwrap();
        assert!(!ledger.is_current());
    }
}
