//! Which file a path leads to, and what room its disk has.

use std::path::Path;

/// Whether two paths lead to one and the same file: a link shows the other's bytes and is no copy.
pub fn is_same_file(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let facts = |p: &Path| std::fs::metadata(p).map(|m| (m.dev(), m.ino())).ok();
        facts(a).is_some() && facts(a) == facts(b)
    }
    #[cfg(not(unix))]
    {
        let real = |p: &Path| p.canonicalize().ok();
        real(a).is_some() && real(a) == real(b)
    }
}

/// Bytes that can still be written on the disk of a folder; `None` where the system does not say.
pub fn free_bytes(folder: &Path) -> Option<u64> {
    #[cfg(unix)]
    return rustix::fs::statvfs(folder)
        .ok()
        .map(|s| s.f_bavail.saturating_mul(s.f_frsize));
    #[cfg(not(unix))]
    return {
        let _ = folder;
        None
    };
}
