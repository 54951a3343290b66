//! The hash of a file's bytes: BLAKE3, as `b3sum` prints it.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// Large enough that a card reader streams, small enough that memory stays flat.
const CHUNK: usize = 256 * 1024;

/// The hash of everything that a reader gives.
fn hash_reader(mut file: impl Read) -> io::Result<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    let mut buffer = vec![0; CHUNK];
    loop {
        match file.read(&mut buffer) {
            Ok(0) => return Ok(hasher.finalize()),
            Ok(n) => hasher.update(&buffer[..n]),
            Err(e) if e.kind() == ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
    }
}

/// The hash of a file's bytes; `None` where it cannot be read.
pub fn hash_whole(path: &Path) -> Option<blake3::Hash> {
    File::open(path).and_then(hash_reader).ok()
}

/// The hash of a file's bytes as they lie on the disk now, and not in memory, where the system can be
/// told to read them anew (Linux).
pub fn hash_from_disk(path: &Path) -> io::Result<blake3::Hash> {
    let file = File::open(path)?;
    forget(&file);
    hash_reader(file)
}

/// Drops a synced file from memory where the system can be told to (Linux), so that reading it again
/// reads the disk.
fn forget(file: &File) {
    #[cfg(target_os = "linux")]
    let _ = rustix::fs::fadvise(file, 0, None, rustix::fs::Advice::DontNeed);
    #[cfg(not(target_os = "linux"))]
    let _ = file;
}
