//! What a pull calls safe is on the disk: watched from outside, by the calls it makes.

use std::collections::HashMap;
use std::fs;
use std::process::Command;

use tempfile::TempDir;

use crate::support::{Place, picture_at};

/// Everything that a pull does with files, as strace (a system call tracer) has it.
fn traced(card: &TempDir, place: &Place) -> Vec<String> {
    let log = TempDir::new().unwrap();
    let log = log.path().join("calls");
    let program = &*crate::support::PROGRAM;
    let output = Command::new("strace")
        .args([
            "-f",
            "-y",
            "-qq",
            "-e",
            "trace=openat,read,fsync,fdatasync,rename,renameat,renameat2,link,linkat",
        ])
        .arg("-o")
        .arg(&log)
        .arg(program)
        .arg("pull")
        .arg(card.path())
        .arg("--to")
        .arg(place.path())
        .args(["--camera", "Oak"])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    joined(&fs::read_to_string(log).unwrap())
}

/// Calls that another thread interrupted are one line again.
fn joined(log: &str) -> Vec<String> {
    let mut begun: HashMap<&str, String> = HashMap::new();
    let mut calls = Vec::new();
    for line in log.lines() {
        let (thread, call) = line.split_once(' ').unwrap_or(("", line));
        let call = call.trim_start();
        if let Some(start) = call.strip_suffix("<unfinished ...>") {
            begun.insert(thread, start.to_owned());
        } else if let Some(at) = call.find("resumed>") {
            let start = begun.remove(thread).unwrap_or_default();
            calls.push(start + &call[at + "resumed>".len()..]);
        } else {
            calls.push(call.to_owned());
        }
    }
    calls
}

#[test]
fn every_file_is_read_twice_synced_before_it_is_named_and_its_folder_after() {
    let (place, card) = (Place::new(), TempDir::new().unwrap());
    let folder = card.path().join("DCIM/100MEDIA");
    fs::create_dir_all(&folder).unwrap();
    for n in 0..4 {
        let bytes = picture_at(&format!("2025:11:0{} 06:41:27", n + 1));
        fs::write(folder.join(format!("IMG_000{n}.JPG")), bytes).unwrap();
    }
    let there = place.path().canonicalize().unwrap().join("cards/Oak/DCIM/100MEDIA");
    let calls = traced(&card, &place);
    let named: Vec<usize> = (0..calls.len())
        .filter(|i| {
            (calls[*i].starts_with("rename") || calls[*i].starts_with("link"))
                && calls[*i].contains(".JPG")
        })
        .collect();
    assert_eq!(named.len(), 4, "{calls:#?}");
    for &at in &named {
        let from = calls[at].split('"').nth(1).unwrap();
        let synced = calls[..at].iter().any(|c| c.starts_with("fsync") && c.contains(from));
        assert!(synced, "named before it was synced: {}", calls[at]);
    }
    let last = named[3];
    let folder_synced =
        |c: &&String| c.starts_with("fsync") && c.contains(&format!("{}>", there.display()));
    assert!(calls[last..].iter().any(|c| folder_synced(&c)), "{calls:#?}");
    for n in 0..4 {
        let file = format!("DCIM/100MEDIA/IMG_000{n}.JPG>");
        let card = card.path().canonicalize().unwrap();
        let opened = calls.iter().filter(|c| {
            c.starts_with("openat") && c.contains(card.to_str().unwrap()) && c.contains(&file)
        });
        assert!(opened.count() >= 2, "the card was read once");
    }

    // What was there already is made sure of as well.
    let again = traced(&card, &place);
    for n in 0..4 {
        let file = there.join(format!("IMG_000{n}.JPG"));
        let synced = again
            .iter()
            .any(|c| c.starts_with("fsync") && c.contains(&format!("{}>", file.display())));
        assert!(synced, "{} was not synced: {again:#?}", file.display());
    }
    assert!(again.iter().any(|c| folder_synced(&c)));
}
