//! What the file system says of a file, to tell whether it is still the one that was read.

use std::fs::Metadata;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// A file that was written so lately may not be whole yet.
const STILL_WRITING: Duration = Duration::from_secs(1);
/// Within one tick of a file system's clock a file can be changed again unseen; the coarsest ticks are those
/// of FAT.
const TICK: Duration = Duration::from_secs(2);

/// The state of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FileState {
    /// Its size.
    pub bytes: u64,
    /// When it was written, nanoseconds since 1970.
    pub written_ns: i64,
    /// When anything of it was last changed, its dates and its name included; 0 where the system does not
    /// keep that.
    pub changed_ns: i64,
    /// Its number on its disk; 0 where the system does not say.
    pub inode: u64,
}

impl FileState {
    /// From what the file system said.
    pub fn of(facts: &Metadata) -> Self {
        let (changed_ns, inode) = beyond(facts);
        Self {
            bytes: facts.len(),
            written_ns: facts.modified().map_or(0, nanoseconds),
            changed_ns,
            inode,
        }
    }

    /// `None` where there is no such file.
    pub fn at(path: &Path) -> Option<Self> {
        std::fs::metadata(path).ok().map(|facts| Self::of(&facts))
    }

    /// Of each of some files or folders.
    pub fn of_each(paths: impl IntoIterator<Item = PathBuf>) -> Vec<(PathBuf, Option<Self>)> {
        let state = |path: PathBuf| {
            let state = Self::at(&path);
            (path, state)
        };
        paths.into_iter().map(state).collect()
    }

    /// Whether nobody has written to it since, though it may have been named anew.
    pub fn is_as_written(&self, then: &Self) -> bool {
        let written = |s: &Self| (s.bytes, s.written_ns, s.inode);
        written(self) == written(then)
    }

    /// Whether it was left alone for a moment, so that its writer is through.
    pub fn is_finished(&self) -> bool {
        self.written_ns < nanoseconds(SystemTime::now() - STILL_WRITING)
    }

    /// Whether a change from now on will show.
    pub fn is_settled(&self) -> bool {
        self.written_ns.max(self.changed_ns) < nanoseconds(SystemTime::now() - TICK)
    }
}

fn nanoseconds(time: SystemTime) -> i64 {
    let since = time.duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_nanos()).unwrap_or(i64::MAX)
}

/// The moment of the last change of any kind, and the inode.
#[cfg(unix)]
fn beyond(facts: &Metadata) -> (i64, u64) {
    use std::os::unix::fs::MetadataExt;
    let changed_ns = facts.ctime().saturating_mul(1_000_000_000) + facts.ctime_nsec();
    (changed_ns, facts.ino())
}

#[cfg(not(unix))]
fn beyond(_: &Metadata) -> (i64, u64) {
    (0, 0)
}
