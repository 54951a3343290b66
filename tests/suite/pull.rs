//! Taking pictures off a card: nothing lost, nothing twice, nothing believed that was not read back.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use polars::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tempfile::TempDir;
use walkdir::WalkDir;

use crate::support::{Place, graylight, picture_at};

/// A card with `files` pictures of some tens of kilobytes, no two alike.
fn card(files: usize, seed: u64) -> TempDir {
    let card = TempDir::new().unwrap();
    let folder = card.path().join("DCIM/100MEDIA");
    fs::create_dir_all(&folder).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    for n in 0..files {
        let time = format!("2025:11:{:02} 06:{:02}:27", 1 + n / 40, n % 60);
        let mut bytes = picture_at(&time);
        let end = bytes.len() - 2;
        let filler = (0..rng.random_range(20_000..60_000)).map(|_| rng.random_range(0..=0xfe_u8));
        bytes.splice(end..end, filler);
        fs::write(folder.join(format!("IMG_{n:04}.JPG")), bytes).unwrap();
    }
    card
}

/// Every file below a folder with its hash, what a pull has not finished left out.
fn hashes(folder: &Path) -> BTreeMap<String, blake3::Hash> {
    WalkDir::new(folder)
        .into_iter()
        .filter_entry(|e| e.file_name() != graylight::card::INCOMING)
        .filter_map(Result::ok)
        .filter(|e| e.file_type().is_file())
        .map(|e| {
            let name = e.path().strip_prefix(folder).unwrap().to_str().unwrap();
            (name.to_owned(), blake3::hash(&fs::read(e.path()).unwrap()))
        })
        .collect()
}

fn pull(card: &Path, place: &Path, more: &[&str]) -> Output {
    graylight().arg("pull").arg(card).arg("--to").arg(place).args(more).output().unwrap()
}

fn receipt(output: &Output) -> serde_json::Value {
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    value["pull"].clone()
}

/// A pull that must work, as the camera "Oak".
fn pulled(card: &TempDir, place: &Place) -> serde_json::Value {
    let more = ["--camera", "Oak", "--json"];
    receipt(&pull(card.path(), place.path(), &more))
}

fn catalogue(place: &Place) -> Vec<DataFrame> {
    let mut files: Vec<_> = fs::read_dir(place.path().join("catalogue"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "parquet"))
        .collect();
    files.sort();
    let read = |p| ParquetReader::new(fs::File::open(p).unwrap()).finish();
    files.into_iter().map(|p| read(p).unwrap()).collect()
}

#[test]
fn a_card_is_copied_whole_and_once() {
    let (place, card) = (Place::new(), card(20, 1));
    fs::write(card.path().join("DCIM/notes.txt"), "my own notes").unwrap();
    fs::write(card.path().join("DCIM/100MEDIA/IMG_9001.JPG"), "").unwrap();
    let before = hashes(card.path());

    let first = pulled(&card, &place);
    assert_eq!(first["copied"], 22);
    assert_eq!(first["pictures"], 20);
    assert_eq!(first["damaged"][0]["file"], "DCIM/100MEDIA/IMG_9001.JPG");
    assert_eq!(first["safe_to_clear"], true);
    assert_eq!(first["first"], "2025-11-01 06:00:27");
    assert_eq!(hashes(&place.path().join("cards/Oak")), before);

    let again = pulled(&card, &place);
    assert_eq!((&again["copied"], &again["already_had"]), (&0.into(), &22.into()));
    assert_eq!(again["safe_to_clear"], true);
    assert_eq!(hashes(card.path()), before, "the card was written to");
    assert_eq!(catalogue(&place).len(), 1, "a pull that brings nothing adds nothing");
    assert_eq!(place.debrief().crawl.found(), 21);
}

/// The counter of a camera rolls over, so names come again with other bytes; and a file that had
/// another name is the same file.
#[test]
fn names_come_again_and_files_change_their_names() {
    let (place, card) = (Place::new(), card(3, 2));
    pull(card.path(), place.path(), &["--camera", "Oak"]);
    let folder = card.path().join("DCIM/100MEDIA");
    fs::rename(folder.join("IMG_0002.JPG"), folder.join("IMG_7777.JPG")).unwrap();
    fs::write(folder.join("IMG_0001.JPG"), picture_at("2025:12:01 06:00:00")).unwrap();

    let second = pulled(&card, &place);
    assert_eq!((&second["copied"], &second["already_had"]), (&1.into(), &2.into()));
    let there = hashes(&place.path().join("cards/Oak"));
    assert_eq!(there.len(), 4);
    assert!(there.contains_key("DCIM/100MEDIA/IMG_0001_2.JPG"));
    assert!(!there.contains_key("DCIM/100MEDIA/IMG_7777.JPG"));
}

#[test]
fn a_copy_that_has_rotted_is_not_taken_for_the_picture() {
    let (place, card) = (Place::new(), card(2, 3));
    pull(card.path(), place.path(), &["--camera", "Oak"]);
    let rotten = place.path().join("cards/Oak/DCIM/100MEDIA/IMG_0001.JPG");
    let mut bytes = fs::read(&rotten).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&rotten, bytes).unwrap();
    let second = pulled(&card, &place);
    assert_eq!((&second["copied"], &second["already_had"]), (&1.into(), &1.into()));
}

#[test]
fn a_link_on_the_card_is_told_and_the_card_is_not_safe() {
    let (place, card) = (Place::new(), card(2, 4));
    std::os::unix::fs::symlink("/nowhere", card.path().join("DCIM/IMG_0009.JPG")).unwrap();
    let output = pull(card.path(), place.path(), &["--camera", "Oak", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let receipt = receipt(&output);
    assert_eq!(receipt["copied"], 2);
    assert_eq!(receipt["safe_to_clear"], false);
    assert_eq!(receipt["failed"][0]["file"], "DCIM/IMG_0009.JPG");
}

#[test]
fn the_camera_is_recognised_questioned_or_asked_for() {
    let place = Place::new();
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-cards/cards");
    let of = |camera: &str| {
        let card = TempDir::new().unwrap();
        let from = sample.join(camera).join("DCIM/100PRACT");
        for n in 20..40 {
            let name = format!("IMG_{n:04}.JPG");
            fs::copy(from.join(&name), card.path().join(&name)).unwrap();
        }
        card
    };
    let (walnut, spring) = (of("Walnut Draw"), of("Spring Seep"));
    let unknown = pull(walnut.path(), place.path(), &[]);
    assert_eq!(unknown.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&unknown.stderr).contains("--camera NAME"));
    assert!(!place.path().join("cards").exists(), "nothing was filed");

    for (card, camera) in [(&walnut, "Draw"), (&spring, "Seep")] {
        let named = pull(card.path(), place.path(), &["--camera", camera]);
        assert!(named.status.success(), "{}", String::from_utf8_lossy(&named.stderr));
    }
    let later = receipt(&pull(walnut.path(), place.path(), &["--json"]));
    assert_eq!(later["camera"], "Draw");

    let wrong = pull(walnut.path(), place.path(), &["--camera", "Seep"]);
    let said = String::from_utf8_lossy(&wrong.stderr).into_owned();
    assert_eq!(wrong.status.code(), Some(1));
    assert!(said.contains("Draw") && said.contains("P1002"), "{said}");
    let meant = pull(walnut.path(), place.path(), &["--camera", "Seep", "--even-so"]);
    assert!(meant.status.success());

    fs::copy(spring.path().join("IMG_0020.JPG"), walnut.path().join("IMG_0900.JPG")).unwrap();
    for n in 21..40 {
        let name = format!("IMG_{n:04}.JPG");
        fs::copy(spring.path().join(&name), walnut.path().join(format!("B{name}"))).unwrap();
    }
    let mixed = pull(walnut.path(), place.path(), &[]);
    assert!(String::from_utf8_lossy(&mixed.stderr).contains("P1002 and P1004"));
}

#[test]
fn a_card_inside_the_property_and_odd_names_are_refused() {
    let (place, card) = (Place::new(), card(1, 5));
    place.put("cards/Oak/IMG_0001.JPG", "x");
    let inside = pull(&place.path().join("cards/Oak"), place.path(), &["--camera", "Elm"]);
    assert_eq!(inside.status.code(), Some(1));
    for name in ["../Elm", "", ".hidden", "a/b", "DCIM"] {
        let odd = pull(card.path(), place.path(), &["--camera", name]);
        assert_eq!(odd.status.code(), Some(1), "{name}");
    }
    let missing = pull(Path::new("/no/such/card"), place.path(), &["--camera", "Oak"]);
    assert!(String::from_utf8_lossy(&missing.stderr).contains("card in the reader"));
}

/// Killed two hundred times at random moments, and then let finish.
#[test]
fn killed_at_any_moment_nothing_is_lost() {
    let (place, card) = (Place::new(), card(30, 6));
    let source = hashes(card.path());
    let program = &*crate::support::PROGRAM;
    let mut command = Command::new(program);
    command
        .arg("pull")
        .arg(card.path())
        .arg("--to")
        .arg(place.path())
        .args(["--camera", "Oak"])
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let cards = place.path().join("cards/Oak");
    let started = Instant::now();
    command.status().unwrap();
    // How long a pull takes differs from machine to machine and from round to round, since each
    // goes on where the last was killed: the wait follows it.
    let mut longest_us = started.elapsed().as_micros() as u64;
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let (mut killed, mut round, mut finished) = (0, 0, true);
    while killed < 200 {
        round += 1;
        assert!(round <= 2_000, "only {killed} killed at work");
        if finished {
            fs::remove_dir_all(place.path().join("cards")).unwrap();
            fs::remove_dir_all(place.path().join("catalogue")).unwrap();
        }
        let mut child = command.spawn().unwrap();
        std::thread::sleep(Duration::from_micros(rng.random_range(0..longest_us)));
        finished = child.try_wait().unwrap().is_some();
        if finished {
            longest_us = (longest_us * 9 / 10).max(1_000);
        } else {
            child.kill().unwrap();
            child.wait().unwrap();
            killed += 1;
            longest_us += longest_us / 20;
        }
        for (name, hash) in hashes(&cards) {
            assert_eq!(Some(&hash), source.get(&name), "{name} in round {round}");
        }
        for table in catalogue_if_any(&place) {
            assert!(table.height() > 0);
        }
        assert!(place.try_debrief().is_ok(), "round {round}");
    }
    assert!(command.status().unwrap().success());
    assert_eq!(hashes(&cards), source);
    assert!(!place.path().join("cards").join(graylight::card::INCOMING).exists());
    let known: usize = catalogue(&place).iter().map(DataFrame::height).sum();
    assert_eq!(known, source.len(), "the catalogue has every file once");
}

fn catalogue_if_any(place: &Place) -> Vec<DataFrame> {
    if place.path().join("catalogue").exists() { catalogue(place) } else { Vec::new() }
}

/// A small disk fills up in the middle. Mounting one needs a namespace of its own.
#[test]
fn a_full_disk_is_told_and_the_pull_goes_on_when_there_is_room() {
    let (card, stage) = (card(60, 8), TempDir::new().unwrap());
    // All of one size, so that the check before the pull takes them for files it may have.
    let folder = card.path().join("DCIM/100MEDIA");
    for (n, entry) in fs::read_dir(&folder).unwrap().enumerate() {
        let path = entry.unwrap().path();
        let mut bytes = fs::read(&path).unwrap();
        bytes.resize(40_000, n as u8);
        fs::write(path, bytes).unwrap();
    }
    let script = r#"
        set -e
        mount -t tmpfs -o size=1200k none "$STAGE"
        printf 'name = "T"\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = "America/Chicago"\n' > "$STAGE/property.toml"
        mkdir -p "$STAGE/cards/Oak"; head -c 40000 /dev/zero > "$STAGE/cards/Oak/same_size.dat"
        set +e
        "$GRAYLIGHT" pull "$CARD" --to "$STAGE" --camera Oak; echo "first: $?"
        for f in "$STAGE"/cards/Oak/DCIM/100MEDIA/*.JPG; do
            cmp -s "$f" "$CARD/DCIM/100MEDIA/$(basename "$f")" || echo "WRONG $f"
        done
        ls "$STAGE"/cards/Oak/DCIM/100MEDIA | wc -l
        mount -o remount,size=20m "$STAGE"
        "$GRAYLIGHT" pull "$CARD" --to "$STAGE" --camera Oak; echo "second: $?"
        diff -r "$STAGE/cards/Oak/DCIM" "$CARD/DCIM" && echo "all there"
    "#;
    let output = Command::new("unshare")
        .args(["--map-root-user", "--mount", "sh", "-c", script])
        .env("STAGE", stage.path())
        .env("CARD", card.path())
        .env("GRAYLIGHT", &*crate::support::PROGRAM)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let warned = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.contains("first: 1"), "{said}{warned}");
    assert!(warned.contains("Make room"), "{warned}");
    assert!(!said.contains("WRONG"), "{said}");
    assert!(said.contains("second: 0") && said.contains("all there"), "{said}{warned}");
}

#[test]
fn a_second_pull_waits_for_the_first() {
    let (place, card) = (Place::new(), card(5, 9));
    fs::create_dir_all(place.path().join("catalogue")).unwrap();
    let lock = fs::File::create(place.path().join("catalogue/.lock")).unwrap();
    lock.lock().unwrap();
    let mut child = Command::new(&*crate::support::PROGRAM)
        .arg("pull")
        .arg(card.path())
        .arg("--to")
        .arg(place.path())
        .args(["--camera", "Oak"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    std::thread::sleep(Duration::from_millis(300));
    assert!(child.try_wait().unwrap().is_none(), "it did not wait");
    drop(lock);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    assert!(String::from_utf8_lossy(&output.stderr).contains("waits for it to end"));
}

/// The hashes in the catalogue against `b3sum`, and one published value.
///
/// Sources: the b3sum program (Debian package `b3sum`); the BLAKE3 specification's test vector for
/// empty input, from memory.
#[test]
fn hashes_agree_with_b3sum() {
    let (place, card) = (Place::new(), card(12, 10));
    fs::write(card.path().join("empty.dat"), "").unwrap();
    pull(card.path(), place.path(), &["--camera", "Oak"]);
    let table = &catalogue(&place)[0];
    let (paths, hashes) = (table.column("path").unwrap(), table.column("blake3").unwrap());
    for (path, hash) in paths.str().unwrap().iter().zip(hashes.str().unwrap().iter()) {
        let (path, hash) = (path.unwrap(), hash.unwrap());
        let output = Command::new("b3sum")
            .arg(place.path().join(path))
            .output()
            .expect("b3sum is missing; tests/tools installs it");
        assert!(String::from_utf8_lossy(&output.stdout).starts_with(hash), "{path}");
        if path.ends_with("empty.dat") {
            let published = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262";
            assert_eq!(hash, published);
        }
    }
    assert_eq!(table.height(), 13);
}

/// Whoever stops a pull is told what that means for the card, and the next pull goes on.
#[cfg(unix)]
#[test]
fn a_pull_that_is_stopped_says_so() {
    let (card, place) = (Place::new(), Place::new());
    std::fs::remove_file(card.path().join("property.toml")).unwrap();
    const FILES: usize = 300;
    let body = vec![0x55; 1_000_000];
    for n in 0..FILES {
        let mut picture = crate::support::good_picture();
        let end = picture.len() - 2;
        picture.splice(end..end, body.iter().copied());
        picture[end + 4..end + 8].copy_from_slice(&(n as u32 | 0x0101_0101).to_le_bytes());
        card.put(&format!("DCIM/100MEDIA/IMG_{n:04}.JPG"), picture);
    }
    let program = &*crate::support::PROGRAM;
    let child = std::process::Command::new(program)
        .arg("pull")
        .arg(card.path())
        .arg("--to")
        .arg(place.path())
        .args(["--camera", "Oak"])
        .stderr(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let first = place.path().join("cards/Oak/DCIM/100MEDIA");
    while std::fs::read_dir(&first).map_or(0, Iterator::count) == 0 {
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    let pid = child.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    let ended = child.wait_with_output().unwrap();
    let said = String::from_utf8(ended.stderr).unwrap();
    assert_eq!(ended.status.code(), Some(130), "{said}");
    assert!(said.contains("Do not clear the card"), "{said}");
    assert!(ended.stdout.is_empty(), "nothing is called safe");
    let again = graylight()
        .arg("pull")
        .arg(card.path())
        .arg("--to")
        .arg(place.path())
        .args(["--camera", "Oak"])
        .output()
        .unwrap();
    assert!(String::from_utf8(again.stdout).unwrap().contains("safe to clear"));
}
