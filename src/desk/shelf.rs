//! What the last crawl found, kept as a table, so that the desk opens before the cards are read
//! again. It can always be made anew, and what is in it is checked as soon as the desk is open.

use std::fs::File;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use polars::prelude::{ParquetReader, ParquetWriter, SerReader};

use crate::card::Crawl;
use crate::property::new_file_in;

/// Below `catalogue/`, apart from the tables that pulls write.
const FOLDER: &str = "catalogue/desk";
const FILE: &str = "pictures.parquet";

/// The pictures as they were; `None` where nothing was kept, or it cannot be used.
pub(super) fn take(root: &Path) -> Option<Crawl> {
    let file = File::open(root.join(FOLDER).join(FILE)).ok()?;
    let table = ParquetReader::new(file).finish().ok()?;
    Crawl::kept(&table).ok()
}

/// Keeps the pictures. A crawl with names that are no text is not kept: it could not be told from
/// another.
pub(super) fn put(root: &Path, crawl: &Crawl) -> Result<()> {
    let plain = |p: &crate::card::Picture| p.file.as_path() == Path::new(&p.path);
    let folder: PathBuf = root.join(FOLDER);
    let fail = || format!("cannot write into {}", folder.display());
    std::fs::create_dir_all(&folder).with_context(fail)?;
    if !crawl.pictures.iter().all(plain) {
        let _ = std::fs::remove_file(folder.join(FILE));
        return Ok(());
    }
    let mut table = crawl.keep()?;
    let mut file = new_file_in(&folder).with_context(fail)?;
    let written = ParquetWriter::new(file.as_file_mut()).finish(&mut table);
    anyhow::Context::with_context(written, fail)?;
    file.persist(folder.join(FILE)).with_context(fail)?;
    Ok(())
}
