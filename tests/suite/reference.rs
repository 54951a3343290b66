//! The reference scripts and what they make.

use std::path::{Path, PathBuf};
use std::process::Command;

/// A file beside the reference scripts, from whichever of the packages the test is in.
pub fn reference(name: &str) -> PathBuf {
    let package = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut folders = package.ancestors().map(|f| f.join("tests/reference"));
    folders.find(|f| f.is_dir()).unwrap().join(name)
}

/// The Python with the pinned libraries, made if it is not there yet.
pub fn python() -> String {
    let python = Command::new(reference("python")).output().unwrap();
    String::from_utf8(python.stdout).unwrap().trim().to_owned()
}

/// Puts pictures that cameras of several makers took into a folder, with what an independent reader says
/// of them (`reference/real_cameras.py` names the packages they are from).
pub fn real_cameras(into: &Path) {
    let made = Command::new(python()).arg(reference("real_cameras.py")).arg(into).output().unwrap();
    let said = String::from_utf8_lossy(&made.stderr);
    assert!(made.status.success(), "{said}");
}
