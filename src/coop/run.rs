//! All properties of a data set on this machine: as many at a time as there are cores, each held alone, and what is
//! done stays done.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::UNIX_EPOCH;

use anyhow::{Context, Result, ensure};
use indicatif::ProgressBar;

use super::question::CoopQuestion;
use super::record::Record;
use super::{Answers, from_text, read};
use crate::files::{Lasting, is_free, without_number, write_whole};

/// What a run did.
#[derive(Debug, Clone, PartialEq)]
pub struct Ran {
    /// The answers.
    pub answers: Answers,
    /// Properties that were read now.
    pub read: usize,
    /// Properties that an earlier run had read, and that have not changed since.
    pub known: usize,
}

/// Where a run keeps what is done.
const KEPT: &str = "done";

/// Answers for every property of `dataset`, and for all together. What is done is kept below `folder`, so that a run
/// that was stopped goes on where it was; a property that cannot be read is left out and told.
///
/// # Errors
/// When the data set holds no property, or the disk does not take what is done.
pub fn run(
    dataset: &Path,
    question: &CoopQuestion,
    folder: &Path,
    progress: &ProgressBar,
) -> Result<Ran> {
    let ids = read::properties(dataset)?;
    ensure_own(folder)?;
    let kept = folder.join(KEPT);
    fs::create_dir_all(&kept).with_context(|| format!("cannot write {}", kept.display()))?;
    keep_to_oneself(&kept)?;
    forget_others(&kept, &ids);
    let asked = serde_json::to_string(question)?;
    progress.set_length(ids.len() as u64);
    let all = each(&ids, |id| {
        let done = property(dataset, id, question, &asked, &kept);
        progress.inc(1);
        done
    });
    let (mut records, mut left_out) = (Vec::new(), Vec::new());
    let (mut read, mut known) = (0, 0);
    for (id, outcome) in ids.iter().zip(all) {
        match outcome? {
            Outcome::Known(record) => {
                known += 1;
                records.push(*record);
            }
            Outcome::Read(record) => {
                read += 1;
                records.push(*record);
            }
            Outcome::LeftOut(why) => left_out.push((id.clone(), why)),
        }
    }
    Ok(Ran { answers: Answers::of(records, left_out, question), read, known })
}

/// Calls something for each of a list, as many at a time as there are cores; what it returns comes back in order.
///
/// These are threads of their own: one of a pool that waits for a table to be read would begin the next property
/// meanwhile, on top of its own stack, and so on.
fn each<T: Send>(all: &[String], of: impl Fn(&String) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            match all.get(i) {
                Some(one) => done.push((i, of(one))),
                None => return done,
            }
        }
    };
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let mut done: Vec<(usize, T)> = thread::scope(|scope| {
        let threads: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let ended = threads.into_iter().flat_map(|t| match t.join() {
            Ok(done) => done,
            Err(panic) => std::panic::resume_unwind(panic),
        });
        ended.collect()
    });
    done.sort_by_key(|d| d.0);
    done.into_iter().map(|d| d.1).collect()
}

/// A folder that holds anything but answers is not written into.
pub(super) fn ensure_own(folder: &Path) -> Result<()> {
    let made_here = [KEPT, "coop.json", "plan.json"];
    let is_own = made_here.iter().any(|n| folder.join(n).exists());
    ensure!(
        is_own || is_free(folder),
        "{} holds something else than answers. Name a new folder, or that of an earlier run.",
        folder.display()
    );
    Ok(())
}

/// What is kept holds the counts that the answers hide: where the system knows of it, nobody else may look.
fn keep_to_oneself(kept: &Path) -> Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        const OWNER_ALONE: u32 = 0o700;
        let say = || format!("cannot close {} to others", kept.display());
        fs::set_permissions(kept, fs::Permissions::from_mode(OWNER_ALONE)).with_context(say)?;
    }
    let _ = kept;
    Ok(())
}

/// A property that has left the data set leaves what is kept, too.
fn forget_others(kept: &Path, ids: &[String]) {
    for entry in kept.read_dir().into_iter().flatten().flatten() {
        let path = entry.path();
        let id = path.file_stem().and_then(|n| n.to_str()).map(str::to_owned);
        let is_record = path.extension().is_some_and(|e| e == "json");
        if is_record && id.is_some_and(|id| !ids.contains(&id)) {
            // What cannot be deleted is not read either.
            let _ = fs::remove_file(&path);
        }
    }
}

enum Outcome {
    Known(Box<Record>),
    Read(Box<Record>),
    LeftOut(String),
}

/// Why a property was left out.
pub(super) fn why(error: &anyhow::Error) -> String {
    without_number(&format!("{error:#}"))
}

fn property(
    dataset: &Path,
    id: &str,
    question: &CoopQuestion,
    asked: &str,
    kept: &Path,
) -> Result<Outcome> {
    let made_from = match made_from(dataset, id, asked) {
        Ok(text) => text,
        Err(e) => return Ok(Outcome::LeftOut(why(&e))),
    };
    let file = kept.join(format!("{id}.json"));
    if let Some(record) = known(&file, &made_from) {
        return Ok(Outcome::Known(Box::new(record)));
    }
    let text = match super::record(dataset, id, question) {
        Ok(text) => text,
        Err(e) => return Ok(Outcome::LeftOut(why(&e))),
    };
    let whole = format!("{}\n{text}\n", sealed(&made_from, &text));
    write_whole(&file, Lasting::Remade, |f| f.write_all(whole.as_bytes()), || Ok(()))
        .with_context(|| format!("cannot write {}", file.display()))?;
    Ok(Outcome::Read(Box::new(from_text(&text)?)))
}

/// What an earlier run has kept, if it was made from the same.
fn known(file: &Path, made_from: &str) -> Option<Record> {
    let text = fs::read_to_string(file).ok()?;
    let (first, record) = text.split_once('\n')?;
    let record = record.strip_suffix('\n')?;
    (first == sealed(made_from, record)).then(|| from_text(record).ok())?
}

/// What a record was made from, and the record itself, in one number: one that was changed since is made anew.
fn sealed(made_from: &str, record: &str) -> String {
    let mut hash = blake3::Hasher::new();
    hash.update(made_from.as_bytes());
    hash.update(record.as_bytes());
    hash.finalize().to_hex().to_string()
}

/// The program, the question and the property's files, in one number.
fn made_from(dataset: &Path, id: &str, asked: &str) -> Result<String> {
    let mut hash = blake3::Hasher::new();
    hash.update(env!("CARGO_PKG_VERSION").as_bytes());
    hash.update(asked.as_bytes());
    let files: Vec<PathBuf> = read::files(dataset, id)?;
    for file in files {
        // What is missing is told when it is read.
        let Ok(about) = fs::metadata(dataset.join(&file)) else {
            continue;
        };
        let since = about.modified()?.duration_since(UNIX_EPOCH).unwrap_or_default();
        let line = format!("{} {} {}\n", file.display(), about.len(), since.as_nanos());
        hash.update(line.as_bytes());
    }
    Ok(hash.finalize().to_hex().to_string())
}
