//! What in a report's folder is the program's own: a file that is as it was written there. All others are somebody
//! else's, whatever they are called, and are neither written over nor taken away.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context, Result, bail};

use super::plots;
use crate::files::{self, Lasting};

/// The files of the report with their BLAKE3 hashes, as `b3sum` prints and checks them.
const CHECKSUMS: &str = "checksums.b3";

/// The page, printed.
pub(super) const PDF: &str = "report.pdf";

/// What another command may still be making is not older.
const OLD: Duration = Duration::from_secs(3600);

/// A folder with the files that a report has left in it.
pub(super) struct ReportFolder {
    folder: PathBuf,
    /// Name and hash.
    listed: BTreeSet<(String, String)>,
}

/// A file that was in the way: its name, and the name that it has now.
pub type Kept = (PathBuf, PathBuf);

impl ReportFolder {
    /// As it is, once what a kill has left in the making is gone.
    pub fn of(folder: &Path) -> Self {
        files::clear_away(folder, OLD);
        let list = std::fs::read(folder.join(CHECKSUMS)).unwrap_or_default();
        // A line that is none is passed over.
        let entry = |line: &[u8]| {
            let line = std::str::from_utf8(line).ok()?;
            let (hash, name) = line.trim_end().split_once("  ")?;
            Some((name.to_owned(), hash.to_owned()))
        };
        Self {
            listed: list.split(|b| *b == b'\n').filter_map(entry).collect(),
            folder: folder.to_path_buf(),
        }
    }

    /// Makes room for the list too, where something else has its name.
    ///
    /// # Errors
    /// When it cannot be renamed.
    pub fn make_room_for_list(&self) -> Result<Option<Kept>> {
        let is_list = self.folder.join(CHECKSUMS).symlink_metadata();
        match is_list.is_ok_and(|facts| facts.is_file()) {
            true => Ok(None),
            false => self.make_room(CHECKSUMS, None),
        }
    }

    /// Makes room for a file of the report, whose bytes may be known already. What is in its place and was changed since a report left it, or was never
    /// a report's, gets another name.
    ///
    /// # Errors
    /// When it cannot be renamed.
    pub fn make_room(&self, name: &str, bytes: Option<&[u8]>) -> Result<Option<Kept>> {
        let path = self.folder.join(name);
        let is_link = path.is_symlink();
        if !is_link && (!path.exists() || self.is_ours(name, bytes)) {
            return Ok(None);
        }
        let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
        for number in 1..1000 {
            let kept = self.folder.join(format!("{stem}.kept-{number}.{ending}"));
            if kept.symlink_metadata().is_err() {
                std::fs::rename(&path, &kept)
                    .with_context(|| format!("cannot rename {}", path.display()))?;
                return Ok(Some((path, kept)));
            }
        }
        bail!("{} was not left by a report and is in its way. Move it elsewhere.", path.display())
    }

    /// Whether a print of the page is there that an earlier report left, and the page is another now.
    pub fn has_old_print(&self, page: &str, now: &[u8]) -> bool {
        let same = (page.to_owned(), blake3::hash(now).to_string());
        self.is_ours(PDF, None) && !self.listed.contains(&same)
    }

    fn is_ours(&self, name: &str, bytes: Option<&[u8]>) -> bool {
        let path = self.folder.join(name);
        let Some(hash) = files::hash_whole(&path) else {
            return false;
        };
        bytes.is_some_and(|b| blake3::hash(b) == hash)
            || self.listed.contains(&(name.to_owned(), hash.to_string()))
            || (is_plot(&path) && is_named_by_us(name) && is_as_written(&path))
    }

    /// Lists files before they are written, so that whatever of them is there after a kill is known.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn announce<'b>(
        &mut self,
        report: impl IntoIterator<Item = (&'b str, &'b [u8])>,
    ) -> Result<()> {
        let hashed = report.into_iter();
        let hashed = hashed.map(|(name, b)| (name.to_owned(), blake3::hash(b).to_string()));
        self.listed.extend(hashed);
        self.write()
    }

    /// Takes away plots that an earlier report left and this one does not have, and lists what is left.
    ///
    /// # Errors
    /// When a plot cannot be removed or the list not be written.
    pub fn tidy(&mut self, written: &BTreeSet<&str>) -> Result<()> {
        for entry in self.folder.read_dir().into_iter().flatten().flatten() {
            let (path, name) = (entry.path(), entry.file_name());
            let is_old =
                |name: &str| !written.contains(name) && is_plot(&path) && self.is_ours(name, None);
            if name.to_str().is_some_and(is_old) {
                std::fs::remove_file(&path)
                    .with_context(|| format!("cannot remove {}", path.display()))?;
            }
        }
        self.settle()
    }

    /// Lists what is there as it was written, and nothing else.
    ///
    /// # Errors
    /// When the list cannot be written.
    pub fn settle(&mut self) -> Result<()> {
        let folder = &self.folder;
        self.listed.retain(|(name, hash)| {
            let now = files::hash_whole(&folder.join(name));
            now.is_some_and(|h| h.to_string() == *hash)
        });
        self.write()
    }

    fn write(&self) -> Result<()> {
        let lines = self.listed.iter().map(|(name, hash)| format!("{hash}  {name}\n"));
        write_whole(&self.folder.join(CHECKSUMS), lines.collect::<String>().as_bytes())
    }
}

fn is_plot(path: &Path) -> bool {
    path.extension().is_some_and(|e| e == "svg")
}

fn is_as_written(plot: &Path) -> bool {
    std::fs::read_to_string(plot).is_ok_and(|svg| plots::is_as_written(&svg))
}

/// Whether a plot's name is one that the program gives, and not that of a person's copy: a plot says itself whether it
/// is as it was written, with no list.
fn is_named_by_us(name: &str) -> bool {
    const KINDS: [&str; 7] =
        ["activity-", "changes-", "clock-", "placebo-", "ranking", "season", "sketch-"];
    let letter = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let stem = name.trim_end_matches(".svg");
    KINDS.iter().any(|k| stem.starts_with(k)) && stem.chars().all(letter)
}

/// A reader never meets half a file.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    let fail = || {
        format!("cannot write {}. Is the disk full, or the file open elsewhere?", path.display())
    };
    files::write_whole(path, Lasting::Remade, |f| f.write_all(bytes), || Ok(()))
        .with_context(fail)?;
    Ok(())
}
