//! A package that comes as one file.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use anyhow::{Context, Result, bail, ensure};

/// A package's tables take no more than this; pictures in it are not taken out.
const MOST_BYTES: u64 = 1_000_000_000;
/// Far more than tables of text shrink to.
const MOST_TIMES: u64 = 100;
const MOST_FILES: usize = 2_000_000;

/// Takes the descriptor and the tables out of a ZIP archive into a folder. Names that leave the folder, and
/// archives that swell without end, are refused.
///
/// # Errors
/// When it is no archive, or one like that.
pub(super) fn take_out(archive: &Path, into: &Path) -> Result<()> {
    let shown = archive.display();
    let file = File::open(archive).with_context(|| format!("cannot read {shown}"))?;
    let held = file.metadata()?.len();
    let mut zip =
        zip::ZipArchive::new(file).with_context(|| format!("{shown} is no ZIP archive"))?;
    ensure!(zip.len() <= MOST_FILES, "{shown} holds {} files; that is no package", zip.len());
    let most = MOST_BYTES.min(held.saturating_mul(MOST_TIMES).max(1_000_000));
    let mut taken = 0;
    for i in 0..zip.len() {
        let entry = zip.by_index(i).with_context(|| format!("{shown} cannot be read"))?;
        let name = entry.name().to_owned();
        let is_absolute = name.starts_with(['/', '\\']) || name.contains(':');
        let Some(place) = entry.enclosed_name().filter(|_| !is_absolute) else {
            bail!("{shown} holds \"{name}\", a path that leaves the package. Nothing was read.");
        };
        if entry.is_symlink() {
            bail!("{shown} holds \"{name}\", a link. Nothing was read.");
        }
        if entry.is_dir() || !is_text(&place) {
            continue;
        }
        let to = into.join(place);
        if let Some(folder) = to.parent() {
            std::fs::create_dir_all(folder)?;
        }
        let written = copy_at_most(entry, &mut File::create(&to)?, most - taken)
            .with_context(|| format!("\"{name}\" in {shown} cannot be read"))?;
        let Some(written) = written else {
            bail!(
                "{shown} swells to more than {} MB; that is no package. Nothing was read.",
                most / 1_000_000
            );
        };
        taken += written;
    }
    Ok(())
}

fn is_text(place: &Path) -> bool {
    let ending = place.extension().unwrap_or_default().to_ascii_lowercase();
    ["json", "csv", "gz", "txt", "tsv"].iter().any(|e| ending == *e)
}

/// `None` where there is more; whatever the archive says of a size is not believed.
fn copy_at_most(from: impl Read, to: &mut impl Write, most: u64) -> io::Result<Option<u64>> {
    let written = io::copy(&mut from.take(most + 1), to)?;
    Ok((written <= most).then_some(written))
}

/// The bytes of a file that may be packed by gzip (RFC 1952), up to the same bounds.
///
/// # Errors
/// When it cannot be read, or swells without end.
pub(super) fn read_plain(path: &Path) -> Result<Vec<u8>> {
    let shown = path.display();
    let mut bytes = Vec::new();
    let facts = path.metadata().with_context(|| format!("{shown} is not there"))?;
    ensure!(facts.is_file(), "{shown} is no file");
    ensure!(
        facts.len() <= MOST_BYTES,
        "{shown} has {} MB; tables up to {} MB are read",
        facts.len() / 1_000_000,
        MOST_BYTES / 1_000_000
    );
    let mut file = File::open(path).with_context(|| format!("{shown} cannot be read"))?;
    file.read_to_end(&mut bytes).with_context(|| format!("{shown} cannot be read"))?;
    const GZIP: [u8; 2] = [0x1f, 0x8b];
    if !bytes.starts_with(&GZIP) {
        return Ok(bytes);
    }
    let most = MOST_BYTES.min((bytes.len() as u64).saturating_mul(MOST_TIMES).max(1_000_000));
    let mut plain = Vec::new();
    let whole = copy_at_most(flate2::read::MultiGzDecoder::new(&bytes[..]), &mut plain, most)
        .with_context(|| format!("{shown} is packed by gzip and cannot be unpacked"))?;
    ensure!(
        whole.is_some(),
        "{shown} swells to more than {} MB; that is no table",
        most / 1_000_000
    );
    Ok(plain)
}
