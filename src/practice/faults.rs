//! The files that go wrong on every card sooner or later.

use std::path::Path;

use anyhow::Result;

/// How many of each were written.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Faults {
    pub unreadable: usize,
    pub duplicate: usize,
    pub cut_short: usize,
}

/// Writes broken companions of a good picture into its folder.
pub(super) fn write(folder: &Path, good: &[u8], copy_of: &[u8]) -> Result<Faults> {
    let put = |name: &str, bytes: &[u8]| std::fs::write(folder.join(name), bytes);
    put("IMG_9001.JPG", &[])?;
    put("IMG_9002.JPG", b"this card was formatted in another device\n")?;
    put("IMG_9003.JPG", &good[..40])?;
    put("IMG_9004.JPG", &good[..good.len() * 2 / 3])?;
    put("IMG_9005.JPG", copy_of)?;
    put("index.dat", &[0, 1, 2, 3])?;
    Ok(Faults { unreadable: 3, duplicate: 1, cut_short: 1 })
}
