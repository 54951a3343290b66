//! What to do about a disk that says no.

use std::io::{self, ErrorKind};

/// What to do about a disk that does not take a file, by what it said.
pub fn disk_remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "Make room on the disk."
        }
        ErrorKind::PermissionDenied => {
            "You may not write there: check who owns the folder, and whether the disk is write-protected."
        }
        ErrorKind::ReadOnlyFilesystem => "The disk is write-protected: unlock it or use another.",
        ErrorKind::NotFound => "The disk or folder has gone: is it still connected?",
        ErrorKind::InvalidFilename => "The disk does not take this name: use letters and digits.",
        _ => "Check the disk; if it goes on failing, use another.",
    }
}
