//! Keywords in pictures and beside them, written by other programs.
//!
//! Source: exiftool (Debian package `libimage-exiftool-perl`) and exiv2 (Debian package `exiv2`)
//! write XMP (ISO 16684-1) and IPTC-IIM 4.2 fields here; what is read must be what they were told to
//! write.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::support::{Place, picture_at};

fn run(program: &str, args: &[&str], file: &Path) {
    let output = Command::new(program)
        .args(args)
        .arg(file)
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e}; tests/tools installs it"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program}: {said}");
}

fn exiftool(args: &[&str], file: &Path) {
    run("exiftool", &[&["-q", "-overwrite_original"], args].concat(), file);
}

fn picture(place: &Place, n: u32) -> PathBuf {
    let time = format!("2025:11:{:02} 06:41:27", n + 1);
    place.put(&format!("cards/Oak/IMG_{n:04}.JPG"), picture_at(&time))
}

/// `buck 1 4.5 Crab`, of every sighting of a picture in order.
fn seen(place: &Place) -> Vec<String> {
    let debrief = place.debrief();
    let mut seen = Vec::new();
    for row in debrief.tagged.sightings.rows().unwrap() {
        let picture = &debrief.crawl.pictures[row.picture.unwrap() as usize].path;
        let age = row.age.map_or(String::new(), |a| format!(" {a}"));
        let name = row.name.map_or(String::new(), |n| format!(" {n}"));
        let number = picture.trim_start_matches("cards/Oak/IMG_").trim_end_matches(".JPG");
        seen.push(format!("{number}: {} {}{age}{name}", row.who.word(), row.count));
    }
    seen.sort();
    seen
}

#[test]
fn keywords_as_other_programs_write_them() {
    let place = Place::new();
    place.put(
        "keywords.csv",
        "keyword,who,count,age,name\nCrab,buck,,4.5,Crab\nWeißwedel,deer,,,\nfauna|deer|two does,doe,2,,\n",
    );
    exiftool(&["-XMP-dc:Subject=Buck", "-XMP-dc:Subject=Sunrise"], &picture(&place, 0));
    exiftool(&["-IPTC:Keywords=does"], &picture(&place, 1));
    exiftool(&["-XMP-lr:HierarchicalSubject=fauna|deer|two does"], &picture(&place, 2));
    exiftool(
        &["-XMP-dc:Subject=Crab", "-XMP-dc:Subject=buck", "-IPTC:Keywords=Crab"],
        &picture(&place, 3),
    );
    exiftool(&["-codedcharacterset=utf8", "-IPTC:Keywords=Weißwedel"], &picture(&place, 4));
    // Latin-1 without saying so, as older programs do.
    exiftool(&["-charset", "iptc=latin1", "-IPTC:Keywords=Weißwedel"], &picture(&place, 5));
    run("exiv2", &["-M", "set Xmp.dc.subject XmpBag fawn"], &picture(&place, 6));
    run("exiv2", &["-M", "add Iptc.Application2.Keywords String vehicle"], &picture(&place, 7));
    // Beside the picture, with both ways to name such a file.
    picture(&place, 8);
    exiftool(&["-XMP-dc:Subject=doe"], &place.path().join("cards/Oak/IMG_0008.xmp"));
    picture(&place, 9);
    exiftool(
        &["-XMP-dc:Subject=Crab & Co", "-XMP-dc:Subject=Crab"],
        &place.path().join("cards/Oak/IMG_0009.JPG.xmp"),
    );
    exiftool(&["-XMP-dc:Subject=Sunset"], &picture(&place, 10));
    assert_eq!(
        seen(&place),
        [
            "0000: buck 1",
            "0001: doe 1",
            "0002: doe 2",
            "0003: buck 1 4.5 Crab",
            "0004: deer 1",
            "0005: deer 1",
            "0006: fawn 1",
            "0007: vehicle 1",
            "0008: doe 1",
            "0009: buck 1 4.5 Crab",
        ]
    );
    let debrief = place.debrief();
    assert_eq!(debrief.tagged.pictures(), 10);
    assert!(debrief.problems.is_empty(), "{:?}", debrief.problems);
}

#[test]
fn of_several_sources_the_more_deliberate_counts_and_conflicts_are_told() {
    let place = Place::new();
    let path = place.path().join("property.toml");
    let with_table = fs::read_to_string(&path).unwrap()
        + "[tags]\nfile = \"export.csv\"\npicture = \"File Name\"\nwho = \"Species\"\ncount = \"Number\"\nage = \"Years\"\n";
    fs::write(path, with_table).unwrap();
    place.put("keywords.csv", "keyword,who\nEwe,doe\n");
    place.put(
        "export.csv",
        "File Name;Species;Number;Years;Operator\r\nIMG_0000.JPG;Ewe;3;2,5;J\r\nIMG_0001.JPG;buck;1;;J\r\nIMG_0002.JPG;elephant;1;;J\r\nIMG_0077.JPG;buck;1;;J\r\n",
    );
    for n in 0..3 {
        exiftool(&["-XMP-dc:Subject=doe"], &picture(&place, n));
    }
    place.put("tags.csv", "picture,who\nIMG_0001.JPG,fawn\n");
    assert_eq!(seen(&place), ["0000: doe 3 2.5", "0001: fawn 1", "0002: doe 1"]);
    let told: Vec<String> = place.debrief().problems.iter().map(ToString::to_string).collect();
    let has = |words: &[&str]| told.iter().any(|t| words.iter().all(|w| t.contains(w)));
    assert!(has(&["IMG_0001", "tags.csv says fawn", "says buck", "first counts"]), "{told:?}");
    assert!(has(&["export.csv, line 4", "elephant", "keywords.csv"]), "{told:?}");
    assert!(has(&["export.csv, line 5", "IMG_0077.JPG"]), "{told:?}");
    assert!(!told.iter().any(|t| t.contains("IMG_0000")), "{told:?}");
}

#[test]
fn side_files_that_are_none() {
    let place = Place::new();
    picture(&place, 0);
    place.put("cards/Oak/IMG_0000.xmp", "<x:xmpmeta><not closed");
    let told: Vec<String> = place.debrief().problems.iter().map(ToString::to_string).collect();
    assert!(
        told[0].contains("IMG_0000.xmp") && told[0].contains("keywords were left out"),
        "{told:?}"
    );
}
