//! A file in the making, beside the one it will become.

use std::io;
use std::path::Path;

use tempfile::NamedTempFile;

/// Opens a temporary file in a folder, readable as a file made in the ordinary way would be;
/// temporary files are private by default. Unless it is given its name it goes away.
pub fn new_file_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".graylight-");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
    builder.tempfile_in(folder)
}
