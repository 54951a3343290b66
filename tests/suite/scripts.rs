//! What the reference scripts say of files that the program wrote.

use std::path::Path;
use std::process::Command;

use crate::reference::{python, reference};

/// What a script says of something at a path, as JSON; null where it says nothing.
pub fn by_script(script: &str, what: &str, path: &Path) -> serde_json::Value {
    let made = Command::new(python()).arg(reference(script)).arg(what).arg(path).output().unwrap();
    let [said, wrong] = [&made.stdout, &made.stderr].map(|s| String::from_utf8_lossy(s));
    assert!(made.status.success(), "{said}{wrong}");
    match said.trim() {
        "" => serde_json::Value::Null,
        said => serde_json::from_str(said).unwrap(),
    }
}
