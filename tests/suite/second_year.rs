//! A property in its second season: names come again, cards are not what they seem, and a picture is
//! its content.

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::Output;

use graylight::debrief::Debrief;
use serde_json::Value;
use tempfile::TempDir;

use crate::support::{Place, graylight, picture_at};

/// A card with a picture for each time, `IMG_0001.JPG` and on, no two alike.
fn card(times: &[&str]) -> TempDir {
    let card = TempDir::new().unwrap();
    for (i, time) in times.iter().enumerate() {
        put(card.path(), &format!("DCIM/100MEDIA/IMG_{:04}.JPG", i + 1), &picture(time));
    }
    card
}

/// A picture whose compressed part follows from its time.
fn picture(time: &str) -> Vec<u8> {
    let mut bytes = picture_at(time);
    let end = bytes.len() - 2;
    let mut seed = blake3::hash(time.as_bytes());
    let mut filler = Vec::new();
    while filler.len() < 40_000 {
        filler.extend(seed.as_bytes().iter().map(|b| if *b == 0xff { 0x7f } else { *b }));
        seed = blake3::hash(seed.as_bytes());
    }
    bytes.splice(end..end, filler);
    bytes
}

fn put(root: &Path, name: &str, bytes: &[u8]) {
    let path = root.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

fn run(arguments: &[&str]) -> Output {
    graylight().args(arguments).output().unwrap()
}

fn pull(card: &Path, place: &Place, more: &[&str]) -> Output {
    let fixed = ["pull", card.to_str().unwrap(), "--to", place.path().to_str().unwrap()];
    run(&[&fixed[..], more].concat())
}

/// A pull as the camera Oak, and its receipt.
fn receipt(card: &Path, place: &Place) -> Value {
    let output = pull(card, place, &["--camera", "Oak", "--json"]);
    let receipt: Value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&output.stderr)));
    receipt["pull"].clone()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned()
}

const YEAR_ONE: [&str; 3] = ["2024:11:08 06:41:27", "2024:11:09 06:41:27", "2024:11:10 06:41:27"];
const YEAR_TWO: [&str; 3] = ["2025:11:08 07:11:27", "2025:11:09 07:11:27", "2025:11:10 07:11:27"];
const THIRD: &str = "cards/Oak/DCIM/100MEDIA/IMG_0003.JPG";

fn tagged_paths(debrief: &Debrief) -> Vec<&str> {
    let pictures = debrief.crawl.pictures.iter().zip(&debrief.tagged.tagged);
    pictures.filter(|(_, t)| **t).map(|(p, _)| p.path.as_str()).collect()
}

fn problem(debrief: &Debrief, file: &str, words: &str) -> bool {
    debrief.problems.iter().any(|p| p.file == file && p.to_string().contains(words))
}

#[test]
fn a_name_that_comes_again_takes_no_tag_over() {
    for content in [String::new(), blake3::hash(&picture(YEAR_ONE[2])).to_hex().to_string()] {
        let place = Place::new();
        receipt(card(&YEAR_ONE).path(), &place);
        place.put(
            "tags.csv",
            format!("picture,who,count,age,name,note,content\n{THIRD},buck,1,4.5,,,{content}\ncards/Oak/DCIM/100MEDIA/IMG_0001.JPG,doe,1,,,,\n"),
        );
        assert_eq!(place.debrief().tagged.pictures(), 2);
        fs::remove_file(place.path().join(THIRD)).unwrap();
        let second = receipt(card(&YEAR_TWO).path(), &place);
        assert_eq!(second["copied"], 3);
        assert!(!place.path().join(THIRD).exists(), "a known name was given again");
        let debrief = place.debrief();
        assert_eq!(tagged_paths(&debrief), ["cards/Oak/DCIM/100MEDIA/IMG_0001.JPG"]);
        assert!(
            problem(&debrief, "tags.csv", "not on the cards any more"),
            "{:?}",
            debrief.problems
        );

        // Even where somebody gives the name away by hand.
        place.put(THIRD, picture("2025:10:01 06:00:00"));
        let debrief = place.debrief();
        assert_eq!(debrief.tagged.pictures(), 1);
        assert!(
            problem(&debrief, "tags.csv", "another picture is called"),
            "{:?}",
            debrief.problems
        );
    }
}

#[test]
fn a_name_that_only_tags_know_is_not_given_again() {
    let place = Place::new();
    place.put("tags.csv", "picture,who\nOak/IMG_0002.JPG,buck\n");
    receipt(card(&YEAR_TWO).path(), &place);
    let there = |name: &str| place.path().join("cards/Oak/DCIM/100MEDIA").join(name).exists();
    assert!(there("IMG_0001.JPG") && there("IMG_0002_2.JPG") && !there("IMG_0002.JPG"));
}

#[test]
fn a_moved_or_renamed_picture_keeps_its_tag() {
    // With its content remembered by the tag alone, and by the pull alone.
    for pulled in [false, true] {
        let place = Place::new();
        let bytes = picture(YEAR_ONE[2]);
        if pulled {
            receipt(card(&YEAR_ONE).path(), &place);
        } else {
            place.put(THIRD, &bytes);
            place.put("cards/Oak/DCIM/100MEDIA/IMG_0001.JPG", picture(YEAR_ONE[0]));
        }
        let content = if pulled { String::new() } else { blake3::hash(&bytes).to_string() };
        place.put("tags.csv", format!("picture,who,content\n{THIRD},buck,{content}\n"));
        assert_eq!(tagged_paths(&place.debrief()), [THIRD]);
        let there = "cards/Oak/kept/the big one.jpg";
        fs::create_dir_all(place.path().join("cards/Oak/kept")).unwrap();
        fs::rename(place.path().join(THIRD), place.path().join(there)).unwrap();
        assert_eq!(tagged_paths(&place.debrief()), [there], "pulled: {pulled}");
    }
}

#[test]
fn a_hash_that_is_none_is_told() {
    let place = Place::new();
    place.put(THIRD, picture(YEAR_ONE[2]));
    place.put("tags.csv", format!("picture,who,content\n{THIRD},buck,abc\n{THIRD},doe,\n"));
    let debrief = place.debrief();
    assert!(problem(&debrief, "tags.csv", "line 2, column content"), "{:?}", debrief.problems);
}

/// One bad reading beside a good one: kept both, counted once, asked about.
#[test]
fn a_second_reading_with_other_bytes_counts_once() {
    type Spoil = fn(&mut Vec<u8>);
    let ways: [Spoil; 3] =
        [|b| b[30_000] ^= 0x10, |b| b.truncate(30_000), |b| b[24_000..36_000].fill(0)];
    for spoil in ways {
        let (place, card) = (Place::new(), card(&YEAR_ONE));
        receipt(card.path(), &place);
        let rotten = card.path().join("DCIM/100MEDIA/IMG_0002.JPG");
        let mut bytes = fs::read(&rotten).unwrap();
        spoil(&mut bytes);
        fs::write(&rotten, bytes).unwrap();
        let second = receipt(card.path(), &place);
        assert_eq!(second["twins"][0]["file"], "DCIM/100MEDIA/IMG_0002.JPG");
        let debrief = place.debrief();
        assert_eq!(debrief.crawl.pictures.len(), 3);
        assert_eq!(debrief.crawl.twins.len(), 1);
        assert!(debrief.problems.iter().any(|p| p.what().contains("one of the two is damaged")));
        assert_eq!(debrief.crawl.found(), 4);
    }
}

/// A camera that numbers its bursts writes two pictures of one second, and both count.
#[test]
fn a_burst_is_no_second_reading() {
    let place = Place::new();
    let time = "2025:11:08 06:41:27";
    let mut other = picture("2025:11:08 06:41:28");
    let at = other.windows(19).position(|w| w == b"2025:11:08 06:41:28").unwrap();
    other[at..at + 19].copy_from_slice(time.as_bytes());
    place.put("cards/Oak/PICT0001.JPG", picture(time));
    place.put("cards/Oak/PICT0001_2.JPG", other);
    assert_eq!(place.debrief().crawl.pictures.len(), 2);
}

#[test]
fn check_tells_what_is_lost_rotten_moved_and_new() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    receipt(card.path(), &place);
    let property = place.path().to_str().unwrap();
    assert!(run(&["check", property]).status.success());
    let folder = place.path().join("cards/Oak/DCIM/100MEDIA");
    let mut bytes = fs::read(folder.join("IMG_0001.JPG")).unwrap();
    fs::write(folder.join("copy of 1.JPG"), &bytes).unwrap();
    bytes[20_000] ^= 1;
    fs::write(folder.join("IMG_0001.JPG"), bytes).unwrap();
    fs::rename(folder.join("IMG_0002.JPG"), folder.join("two.JPG")).unwrap();
    fs::remove_file(folder.join("IMG_0003.JPG")).unwrap();
    place.put("cards/Elm/a.jpg", &picture(YEAR_TWO[0])[..20_000]);
    let output = run(&["check", property, "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    let found = &found["check"];
    assert_eq!(found["rotten"][0]["file"], "cards/Oak/DCIM/100MEDIA/IMG_0001.JPG");
    assert_eq!(found["rotten"][0]["good_copy"], "cards/Oak/DCIM/100MEDIA/copy of 1.JPG");
    assert_eq!(found["moved"][0][1], "cards/Oak/DCIM/100MEDIA/two.JPG");
    assert_eq!(found["lost"][0]["file"], THIRD);
    assert_eq!(found["lost"][0]["good_copy"], Value::Null);
    assert_eq!(found["damaged"][0][0], "cards/Elm/a.jpg");
    let words = said(&run(&["check", property]));
    assert!(words.contains("lost:") && words.contains("a good copy is"), "{words}");
}

#[test]
fn an_empty_card_and_a_folder_that_is_none_are_never_safe() {
    let place = Place::new();
    let empty = TempDir::new().unwrap();
    let output = pull(empty.path(), &place, &["--camera", "Oak", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(!said(&output).contains("\"safe_to_clear\": true"), "{}", said(&output));
    let papers = TempDir::new().unwrap();
    for n in 0..25 {
        put(papers.path(), &format!("letter {n}.txt"), b"Dear neighbour");
    }
    let output = pull(papers.path(), &place, &["--camera", "Oak"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(said(&output).contains("not a camera's card"), "{}", said(&output));
    assert!(!place.path().join("cards/Oak").exists());
    let output = pull(&empty.path().join("gone"), &place, &[]);
    assert!(said(&output).contains("there is no folder"), "{}", said(&output));
}

#[test]
fn kinds_that_are_not_read_are_copied_counted_and_not_called_safe_alone() {
    let (place, phone) = (Place::new(), TempDir::new().unwrap());
    for n in 0..3 {
        put(phone.path(), &format!("DCIM/IMG_{n}.HEIC"), &[n; 900]);
    }
    let alone = receipt(phone.path(), &place);
    assert_eq!((&alone["copied"], &alone["safe_to_clear"]), (&3.into(), &false.into()));
    assert_eq!(alone["not_read"]["heic"], 3);
    put(phone.path(), "DCIM/IMG_9.JPG", &picture(YEAR_ONE[0]));
    let mixed = receipt(phone.path(), &place);
    assert_eq!((&mixed["already_had"], &mixed["safe_to_clear"]), (&3.into(), &true.into()));
    assert_eq!(mixed["places"]["cards/Oak/DCIM"], 4);
    let debrief = place.debrief();
    assert_eq!((debrief.crawl.pictures.len(), debrief.crawl.not_read["heic"]), (1, 3));
    assert!(debrief.problems.iter().any(|p| p.what().contains("3 heic")), "{:?}", debrief.problems);
}

#[test]
fn a_link_to_the_card_is_no_copy() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    fs::create_dir_all(place.path().join("cards")).unwrap();
    symlink(card.path(), place.path().join("cards/Oak")).unwrap();
    let output = pull(card.path(), &place, &["--camera", "Oak", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(said(&output).contains("link to the card itself"), "{}", said(&output));

    // Hard links into the property.
    let place = Place::new();
    let folder = place.path().join("cards/Oak/DCIM/100MEDIA");
    fs::create_dir_all(&folder).unwrap();
    for n in 1..=3 {
        let name = format!("IMG_{n:04}.JPG");
        fs::hard_link(card.path().join("DCIM/100MEDIA").join(&name), folder.join(&name)).unwrap();
    }
    let linked = receipt(card.path(), &place);
    assert_eq!(linked["safe_to_clear"], false);
    assert_eq!(linked["failed"].as_array().unwrap().len(), 3);
}

#[test]
fn where_the_pictures_lie_is_named_and_the_receipt_kept() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    pull(card.path(), &place, &["--camera", "Elm"]);
    let again = pull(card.path(), &place, &["--camera", "Oak", "--even-so"]);
    assert!(said(&again).contains("3 lie in cards/Elm/DCIM/100MEDIA"), "{}", said(&again));
    let receipts: Vec<String> = fs::read_dir(place.path().join("catalogue/receipts"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(receipts.iter().filter(|n| n.ends_with(".txt")).count(), 2, "{receipts:?}");
}

#[test]
fn damage_shows_while_the_card_is_in_hand() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    let folder = card.path().join("DCIM/100MEDIA");
    let bytes = picture("2025:11:11 06:00:00");
    put(&folder, "IMG_0004.JPG", &bytes[..25_000]);
    let mut zeroed = picture("2025:11:12 06:00:00");
    zeroed[20_000..30_000].fill(0);
    put(&folder, "IMG_0005.JPG", &zeroed);
    let mut padded = picture("2025:11:13 06:00:00");
    padded.extend([0; 20_000]);
    put(&folder, "IMG_0006.JPG", &padded);
    let receipt = receipt(card.path(), &place);
    let files: Vec<&str> = receipt["damaged"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["file"].as_str().unwrap())
        .collect();
    assert_eq!(files, ["DCIM/100MEDIA/IMG_0004.JPG", "DCIM/100MEDIA/IMG_0005.JPG"]);
    assert_eq!(receipt["safe_to_clear"], true, "what is damaged is copied as it is");
    let cut: Vec<bool> = place.debrief().crawl.pictures.iter().map(|p| p.cut_short).collect();
    assert_eq!(cut, [false, false, false, true, false, false]);
}

#[test]
fn the_computers_own_folders_are_left_alone() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    put(card.path(), "System Volume Information/IndexerVolumeGuid", b"x");
    put(card.path(), ".Trash-1000/files/IMG_0001.JPG", &picture(YEAR_TWO[0]));
    let receipt = receipt(card.path(), &place);
    assert_eq!((&receipt["copied"], &receipt["safe_to_clear"]), (&3.into(), &true.into()));
    assert_eq!(receipt["left_alone"].as_array().unwrap().len(), 2);
    place.put("cards/Oak/.Trash-1000/IMG_0007.JPG", picture(YEAR_TWO[1]));
    place.put("cards/Oak/IMG_0001.JPG_original", picture(YEAR_TWO[2]));
    place.put("cards/Oak/MOV_0001.THM", picture(YEAR_TWO[2]));
    assert_eq!(place.debrief().crawl.found(), 3);
}

#[test]
fn a_camera_that_is_nearly_named_is_asked_about() {
    let place = Place::new();
    place.put("cameras.csv", "camera\nOak\nCamera 1\n");
    let output = pull(card(&YEAR_ONE).path(), &place, &["--camera", "Oka"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(said(&output).contains("did you mean Oak?"), "{}", said(&output));
    let output = pull(card(&YEAR_ONE).path(), &place, &["--camera", "Camera 2"]);
    assert!(output.status.success(), "{}", said(&output));
    let output = pull(card(&YEAR_TWO).path(), &place, &["--camera", "Oka", "--even-so"]);
    assert!(output.status.success(), "{}", said(&output));
}

/// Two cameras of one maker, whose label is the maker's: the second card is not filed under the first.
#[test]
fn a_makers_constant_identifies_no_camera() {
    let labelled = |folder: &Path, from: u32| {
        for n in from..from + 20 {
            let time = format!("2025-11-{:02}T06:00:{:02}", 1 + n % 28, n % 60);
            let imprint = graylight::practice::Imprint {
                time: Some(time.parse().unwrap()),
                label: "DIGITAL CAMERA",
                serial: "",
                position: None,
            };
            let tone = image::Rgb([(n % 200) as u8, 90, 60]);
            let bytes =
                graylight::practice::jpeg(&image::RgbImage::from_pixel(32, 24, tone), &imprint);
            put(folder, &format!("DCIM/IMG_{:04}.JPG", n % 20 + 1), &bytes.unwrap());
        }
    };
    let place = Place::new();
    let (first, second) = (TempDir::new().unwrap(), TempDir::new().unwrap());
    labelled(first.path(), 0);
    labelled(second.path(), 100);
    assert!(pull(first.path(), &place, &["--camera", "Oak"]).status.success());
    let output = pull(second.path(), &place, &[]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("--camera NAME"), "{}", said(&output));
}

#[test]
fn a_card_that_was_filed_wrongly_is_filed_anew_with_its_tags() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    let filed = receipt(card.path(), &place);
    place.put("tags.csv", format!("picture,who,age\n{THIRD},buck,4.5\n"));
    let property = place.path().to_str().unwrap();
    let output = run(&["refile", property, filed["pull"].as_str().unwrap(), "--to", "Elm"]);
    assert!(output.status.success(), "{}", said(&output));
    let there = THIRD.replace("Oak", "Elm");
    let debrief = place.debrief();
    assert_eq!(tagged_paths(&debrief), [there.as_str()]);
    assert!(debrief.crawl.pictures.iter().all(|p| &*p.camera == "Elm"));
    assert!(fs::read_to_string(place.path().join("tags.csv")).unwrap().contains(&there));
    let output = run(&["refile", property, "cards/Elm/DCIM", "--to", "Oak"]);
    assert!(output.status.success(), "{}", said(&output));
    assert!(place.debrief().crawl.pictures.iter().all(|p| &*p.camera == "Oak"));
    let output = run(&["refile", property, "cards/../../etc", "--to", "Oak"]);
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn a_year_folder_is_no_camera() {
    let place = Place::new();
    place.put("cards/2024/South/IMG_0001.JPG", picture(YEAR_ONE[0]));
    place.put("cards/2025-26/South/DCIM/IMG_0001.JPG", picture(YEAR_TWO[0]));
    place.put("cards/2025/IMG_0009.JPG", picture(YEAR_TWO[1]));
    let debrief = place.debrief();
    let cameras: Vec<&str> = debrief.crawl.pictures.iter().map(|p| &*p.camera).collect();
    assert_eq!(cameras.iter().filter(|c| **c == "South").count(), 2, "{cameras:?}");
}

/// The same name in another year is another picture, however dark and alike the two are.
#[test]
fn two_years_of_a_covered_lens_are_no_twins() {
    let dark = |year: i32, n: u32| {
        let imprint = graylight::practice::Imprint {
            time: Some(format!("{year}-11-0{n}T06:00:00").parse().unwrap()),
            label: "Oak",
            serial: "1",
            position: None,
        };
        graylight::practice::jpeg(&image::RgbImage::new(640, 480), &imprint).unwrap()
    };
    let place = Place::new();
    for year in [2024, 2025] {
        let card = TempDir::new().unwrap();
        for n in 1..5 {
            put(card.path(), &format!("DCIM/IMG_000{n}.JPG"), &dark(year, n));
        }
        let told = receipt(card.path(), &place);
        assert_eq!(told["twins"].as_array().unwrap().len(), 0, "{told}");
        assert_eq!(told["damaged"].as_array().unwrap().len(), 0, "{told}");
    }
    assert_eq!(place.debrief().crawl.pictures.len(), 8);
}

#[test]
fn a_card_of_which_much_is_damaged_is_not_called_safe() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    for n in 4..9 {
        put(card.path(), &format!("DCIM/100MEDIA/IMG_000{n}.JPG"), &[0; 9000]);
    }
    let told = receipt(card.path(), &place);
    assert_eq!((&told["copied"], &told["safe_to_clear"]), (&8.into(), &false.into()));
    assert!(told["why_not"].as_str().unwrap().contains("another reader"), "{told}");
}

#[test]
fn what_a_mac_leaves_on_a_card_is_not_called_lost() {
    let (place, card) = (Place::new(), card(&YEAR_ONE));
    put(card.path(), "DCIM/100MEDIA/._IMG_0001.JPG", b"x");
    receipt(card.path(), &place);
    let output = run(&["check", place.path().to_str().unwrap()]);
    assert!(output.status.success(), "{}", said(&output));
}

/// Both cameras count from IMG_0001, so a card filed wrongly comes home beside the right ones.
#[test]
fn a_card_comes_home_though_its_names_are_taken() {
    let place = Place::new();
    let property = place.path().to_str().unwrap();
    receipt(card(&YEAR_ONE).path(), &place);
    let other = card(&YEAR_TWO);
    assert!(pull(other.path(), &place, &["--camera", "Elm", "--even-so"]).status.success());
    let misspelt = run(&["refile", property, "cards/Elm", "--to", "Oka"]);
    assert!(said(&misspelt).contains("did you mean Oak?"), "{}", said(&misspelt));
    assert_eq!(run(&["refile", property, "cards", "--to", "Elm"]).status.code(), Some(1));
    let home = run(&["refile", property, "cards/Elm", "--to", "Oak"]);
    assert!(home.status.success(), "{}", said(&home));
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.pictures.iter().filter(|p| &*p.camera == "Oak").count(), 6);
}
