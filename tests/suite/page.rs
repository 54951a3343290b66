//! The page as its reader gets it: every number found again elsewhere, every link leading somewhere, the land,
//! the deer, and what leaves the property with it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use graylight::practice::Options;
use serde_json::Value;

use crate::support::{Ends, Place, graylight};

/// A report in a folder of its own.
struct Report(tempfile::TempDir);

impl Report {
    fn of(property: &Path, more: &[&str]) -> Self {
        let out = tempfile::tempdir().unwrap();
        graylight().arg("debrief").arg(property).arg("--out").arg(out.path()).args(more).succeeds();
        Self(out)
    }

    fn text(&self, file: &str) -> String {
        fs::read_to_string(self.0.path().join(file)).unwrap()
    }

    fn findings(&self) -> Value {
        serde_json::from_str(&self.text("findings.json")).unwrap()
    }

    fn rows(&self, file: &str) -> Vec<BTreeMap<String, String>> {
        let mut reader = csv::Reader::from_path(self.0.path().join(file)).unwrap();
        reader.deserialize().map(Result::unwrap).collect()
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn committed() -> Report {
    Report::of(&root().join("sample-cards"), &[])
}

/// What a page says, without its tags, plots and styles.
fn plain(page: &str) -> String {
    let mut text = String::new();
    let mut rest = page;
    while let Some(at) = rest.find('<') {
        text.push_str(&rest[..at]);
        let tag = &rest[at..];
        let skipped = ["svg", "style", "title"].iter().find(|t| tag[1..].starts_with(**t));
        let end = match skipped {
            Some(skipped) => {
                let close = format!("</{skipped}>");
                tag.find(&close).unwrap() + close.len()
            }
            None => tag.find('>').unwrap() + 1,
        };
        text.push(' ');
        rest = &tag[end..];
    }
    text.push_str(rest);
    text.replace('\u{a0}', " ").replace(',', "")
}

/// Every `N of M` of a text.
fn pairs(text: &str) -> BTreeSet<(u64, u64)> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let number = |w: &str| w.trim_matches(|c: char| "().;:".contains(c)).parse::<u64>().ok();
    words
        .windows(3)
        .filter(|w| w[1] == "of")
        .filter_map(|w| Some((number(w[0])?, number(w[2])?)))
        .collect()
}

/// Every pair of a smaller count and the one that holds it, in some findings.
fn known_pairs(value: &Value, found: &mut BTreeSet<(u64, u64)>) {
    match value {
        Value::Array(all) => all.iter().for_each(|v| known_pairs(v, found)),
        Value::Object(all) => {
            let numbers: Vec<u64> = all.values().filter_map(Value::as_u64).collect();
            for a in &numbers {
                found.extend(numbers.iter().map(|b| (*a, *b)));
            }
            all.values().for_each(|v| known_pairs(v, found));
        }
        _ => {}
    }
}

#[test]
fn every_count_of_the_page_is_found_again() {
    let report = committed();
    let text = plain(&report.text("report.html"));
    let mut known = BTreeSet::new();
    let findings = report.findings();
    known_pairs(&findings, &mut known);
    // Bucks without a name: counted from the visits, less those that a name is tagged in.
    let said = pairs(&text);
    assert!(said.len() > 40, "{}", said.len());
    let of_bucks = findings["about"]["buck_visits"].as_u64().unwrap();
    // "In 8 of 10 repeats": the power that is asked for.
    let unknown: Vec<_> = said
        .iter()
        .filter(|p| !known.contains(p) && **p != (8, 10))
        .filter(|p| p.1 != of_bucks)
        .collect();
    assert!(unknown.is_empty(), "{unknown:?}");
    // And the headline is that of the findings.
    let about = findings["about"]["who"].as_str().unwrap();
    let all = findings["daylight"].as_array().unwrap();
    let whole = all.iter().find(|a| a["camera"] == "*" && a["who"] == about).unwrap();
    let headline = format!("{} of {} visits", whole["legal_light_visits"], whole["visits"]);
    assert!(text.contains(&headline), "{headline}");
}

#[test]
fn the_first_page_answers_without_unfolding() {
    let page = committed().text("report.html");
    let start = page.find("id=\"in-short\"").unwrap();
    let first = &page[start..start + page[start..].find("<section id=\"light\"").unwrap()];
    // What is folded is left out.
    let mut open = String::new();
    let mut rest = first;
    while let Some(at) = rest.find("<details") {
        open.push_str(&rest[..at]);
        rest = &rest[at + rest[at..].find("</details>").unwrap()..];
    }
    open.push_str(rest);
    let text = plain(&open);
    for answer in [
        "mature bucks came in legal light on",
        "Compared with 2024-25",
        "A box blind went up across the fence",
        "North Fence",
        "11 October",
        "luck would still do this",
        "The 6 other cameras went from",
        "can't tell whether it changed",
        "The real loss could be anything up to",
        "Cannot be known",
        "local regulations",
    ] {
        assert!(text.contains(answer), "{answer} in {text}");
    }
    assert!(!text.contains("p ="), "statistics stand behind the sentence");
    assert_eq!(first.matches("data:image/jpeg;base64,").count(), 3);
}

#[test]
fn every_link_leads_somewhere() {
    let page = committed().text("report.html");
    let mut links = 0;
    for link in page.split("href=\"").skip(1) {
        let link = &link[..link.find('"').unwrap()];
        let part = link.strip_prefix('#').expect("a part of the same page");
        assert!(page.contains(&format!("id=\"{part}\"")), "{part}");
        links += 1;
    }
    assert!(links > 10);
    for document in ["README.md", "DEVELOPERS.md"] {
        let text = fs::read_to_string(root().join(document)).unwrap();
        let mut checked = 0;
        for link in text.split("](").skip(1) {
            let link = &link[..link.find(')').unwrap()];
            if link.starts_with("http") {
                continue;
            }
            let (file, part) = link.split_once('#').unwrap_or((link, ""));
            let target = match file {
                "" => document,
                file => file,
            };
            assert!(root().join(target).exists(), "{document}: {link}");
            if !part.is_empty() {
                let text = fs::read_to_string(root().join(target)).unwrap();
                let anchor = |h: &str| {
                    let words = h.trim_start_matches('#').trim().to_lowercase();
                    let kept = words.chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
                    kept.collect::<String>().replace(' ', "-")
                };
                let mut headings = text.lines().filter(|l| l.starts_with('#'));
                assert!(headings.any(|h| anchor(h) == part), "{document}: {link}");
            }
            checked += 1;
        }
        for image in text.split("src=\"").skip(1) {
            let image = &image[..image.find('"').unwrap()];
            assert!(root().join(image).exists(), "{document}: {image}");
        }
        assert!(checked > 0, "{document}");
    }
}

#[test]
fn every_column_is_explained_and_nothing_is_a_formula() {
    let place = Place::new();
    place.put(
        "sightings.csv",
        "camera,time,who,count,age,name\n=1+1,2025-10-01T06:30:00,buck,1,4.5,@Ghost\nNorth,2025-11-20T06:30:00,doe,1,,\n",
    );
    for report in [Report::of(place.path(), &[]), committed()] {
        let explained: BTreeSet<(String, String)> = report
            .rows("columns.csv")
            .into_iter()
            .map(|r| (r["file"].clone(), r["column"].clone()))
            .collect();
        let mut there = BTreeSet::new();
        for entry in fs::read_dir(report.0.path()).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            if !name.ends_with(".csv") {
                continue;
            }
            let mut reader = csv::Reader::from_path(report.0.path().join(&name)).unwrap();
            for column in reader.headers().unwrap() {
                there.insert((name.clone(), column.to_owned()));
            }
            for row in reader.records().map(Result::unwrap) {
                let is_number = |t: &str| t.parse::<f64>().is_ok();
                let runs = |t: &&str| t.starts_with(['=', '+', '-', '@']) && !is_number(t);
                assert!(row.iter().find(runs).is_none(), "{name}: {row:?}");
            }
        }
        assert_eq!(explained, there);
    }
}

/// A mature buck stands in three rows; one who takes the kinds apart counts him once.
#[test]
fn visits_say_which_rows_hold_the_same_deer() {
    let report = committed();
    let rows = report.rows("visits.csv");
    let alone = rows.iter().filter(|r| r["counted_in_too"].is_empty()).count();
    let findings = report.findings();
    let all = findings["daylight"].as_array().unwrap().iter();
    let deer = all.filter(|a| a["camera"] == "*" && a["who"] == "deer");
    let visits: u64 = deer.map(|a| a["visits"].as_u64().unwrap()).sum();
    assert_eq!(alone as u64, visits);
    for row in &rows {
        let local = chrono::DateTime::parse_from_rfc3339(&row["local_time"]).unwrap();
        let utc = chrono::DateTime::parse_from_rfc3339(&row["utc"]).unwrap();
        assert_eq!(local, utc);
        assert_ne!(local.offset().local_minus_utc(), 0);
    }
}

const GEOJSON: &str = r#"{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"kind":"boundary"},"geometry":{"type":"Polygon","coordinates":[[[-90.705,43.095,310],[-90.695,43.095,310],[-90.695,43.104,310],[-90.705,43.095,310]]]}},
{"type":"Feature","properties":{"Name":"Pond <b>"},"geometry":{"type":"Point","coordinates":[-90.70,43.10]}},
{"type":"Feature","properties":null,"geometry":null},
{"type":"Feature","properties":{"name":"Two fields"},"geometry":{"type":"GeometryCollection","geometries":[{"type":"LineString","coordinates":[[-90.70,43.10],[-90.69,43.10]]}]}}]}"#;
const KML: &str = r#"<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>Food plots</name>
<Placemark><name>East</name><Polygon><outerBoundaryIs><LinearRing><coordinates>-90.701,43.099,0 -90.699,43.099,0 -90.699,43.101,0 -90.701,43.099,0</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Folder></Document></kml>"#;
const GPX: &str = r#"<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="43.1" lon="-90.702"><name>Oak stand</name></wpt>
<trk><name>Creek</name><trkseg><trkpt lat="43.1" lon="-90.7"/><trkpt lat="43.101" lon="-90.7"/></trkseg></trk></gpx>"#;

fn with_cameras() -> Place {
    let place = Place::new();
    place.put(
        "property.toml",
        "name = \"Here\"\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = \"America/Chicago\"\n",
    );
    place.put("cameras.csv", "camera,latitude,longitude\nA,43.0991,-90.7013\nB,43.1017,-90.6987\n");
    place.put(
        "sightings.csv",
        "camera,time,who\nA,2025-10-01T06:30:00,doe\nB,2025-10-02T06:30:00,doe\n",
    );
    place
}

fn drawing(page: &str) -> &str {
    let start = page.find("<figure class=\"land\">").expect("a drawing");
    &page[start..start + page[start..].find("</figure>").unwrap()]
}

#[test]
fn the_land_is_drawn_from_all_three_formats() {
    for (file, text, wanted) in [
        (
            "land.geojson",
            GEOJSON,
            vec!["class=\"boundary\"", "class=\"water\"", "Pond &lt;b&gt;", "class=\"field\""],
        ),
        ("land.kml", KML, vec!["class=\"plot\"", "East"]),
        ("land.gpx", GPX, vec!["class=\"stand\"", "class=\"water\"", "Creek"]),
    ] {
        let place = with_cameras();
        place.put(file, format!("\u{feff}{text}"));
        let report = Report::of(place.path(), &[]);
        let page = report.text("report.html");
        let drawing = drawing(&page);
        for mark in wanted {
            assert!(drawing.contains(mark), "{file}: {mark} in {drawing}");
        }
        assert_eq!(report.findings()["problems"], serde_json::json!([]), "{file}");
        assert!(!page.contains("43.09") && !page.contains("90.70"), "{file}");
    }
}

#[test]
fn a_land_that_cannot_be_used_is_told_and_the_rest_goes_on() {
    let far = GEOJSON.replace("-90.70,43.10]}}", "-80.70,33.10]}}");
    for (file, text, told) in [
        ("land.geojson", "{\"type\": \"Feature", "cannot be read"),
        ("land.geojson", "{\"type\":\"FeatureCollection\",\"features\":[]}", "no shape"),
        ("land.geojson", far.as_str(), "Check the place"),
        (
            "land.geojson",
            &GEOJSON.replace("-90.705,43.095,310", "707000,4774000,310"),
            "not degrees",
        ),
        ("land.kml", "<kml", "cannot be read"),
        (
            "land.gpx",
            "<gpx version=\"1.1\" creator=\"x\"><wpt lat=\"x\" lon=\"1\"/></gpx>",
            "cannot be read",
        ),
        ("land.gpx", "\u{1}\u{2}", "cannot be read"),
        ("land.gpx", &"<gpx>".repeat(100_000), "deep in each other"),
        ("land.kml", &"<a>".repeat(100_000), "deep in each other"),
    ] {
        let place = with_cameras();
        place.put(file, text);
        let report = Report::of(place.path(), &[]);
        let problems = report.findings()["problems"].to_string();
        assert!(problems.contains(file) && problems.contains(told), "{text}: {problems}");
        assert!(report.text("report.html").contains("<figure class=\"land\">"));
    }
}

#[test]
fn a_deer_is_known_by_its_year_of_birth_in_any_capitals() {
    let place = with_cameras();
    let rows: String = (1..=20)
        .map(|d| {
            format!("A,2025-10-{d:02}T06:30:00,buck,{}\n", if d % 2 == 0 { "crab" } else { "Crab" })
        })
        .collect();
    place.put("sightings.csv", format!("camera,time,who,name\n{rows}B,2025-10-02T06:30:00,doe,\n"));
    let of_deer = |place: &Place| {
        let findings = Report::of(place.path(), &[]).findings();
        let deer = findings["deer"].as_array().unwrap().clone();
        (findings["about"]["who"].clone(), deer)
    };
    let (about, deer) = of_deer(&place);
    assert_eq!(about, "buck");
    assert_eq!((deer.len(), &deer[0]["visits"]), (1, &Value::from(20)));
    place.put("deer.csv", "name;born;note\r\nCRAB;2021;split brow\r\n");
    let (about, deer) = of_deer(&place);
    assert_eq!(about, "mature buck");
    assert_eq!((&deer[0]["name"], &deer[0]["age"]), (&Value::from("CRAB"), &Value::from(4.5)));
    place.put("deer.csv", "name,born\nCrab,twenty\n,2020\ncrab,2019\n");
    let report = Report::of(place.path(), &[]);
    let problems = report.findings()["problems"].to_string();
    for told in ["not a year of birth", "names no deer", "has a row already"] {
        assert!(problems.contains(told), "{problems}");
    }
    assert_eq!(report.findings()["about"]["who"], "buck");
}

#[test]
fn photographs_carry_nothing_but_pixels_and_can_be_left_out() {
    use base64::Engine;
    let page = committed().text("report.html");
    let mut bytes = 0;
    for photo in page.split("data:image/jpeg;base64,").skip(1) {
        let text = &photo[..photo.find('"').unwrap()];
        bytes += text.len();
        let jpeg = base64::engine::general_purpose::STANDARD.decode(text).unwrap();
        assert!(jpeg.starts_with(&[0xff, 0xd8]));
        assert!(!jpeg.windows(4).any(|w| w == b"Exif"));
    }
    assert!(bytes > 10_000 && bytes <= 6_000_000, "{bytes}");
    let sample = root().join("sample-cards");
    let without = Report::of(&sample, &["--no-photos"]).text("report.html");
    assert!(!without.contains("data:image"));
}

#[test]
fn a_page_for_others_gives_no_place_away() {
    let sample = root().join("sample-cards");
    let out = tempfile::tempdir().unwrap();
    let page = |more: &[&str]| {
        let to = out.path().join("page.html");
        graylight().arg("share").arg(&sample).arg("--to").arg(&to).args(more).succeeds();
        fs::read_to_string(to).unwrap()
    };
    let open = page(&[]);
    assert!(open.contains("North Fence") && open.contains("Not to any scale."));
    let closed = page(&["--no-names", "--no-neighbours"]);
    for text in [&open, &closed] {
        for secret in ["43.10", "43.09", "-90.7", "-90.6", " yd)", "href="] {
            assert!(!text.contains(secret), "{secret}");
        }
    }
    let cameras = fs::read_to_string(sample.join("cameras.csv")).unwrap();
    let names = cameras.lines().skip(1).map(|l| l.split(',').next().unwrap());
    let words =
        ["Ghost", "Left Kicker", "Sorrel", "beans", "box blind", "shooting lanes", "data:image"];
    for name in names.chain(words) {
        assert!(!closed.contains(name), "{name}");
    }
    assert!(closed.contains("Camera A") && closed.contains("Something of the owner's"));
    assert!(closed.contains("left out of this page"));
    let mut wrong = graylight();
    wrong.arg("share").arg(&sample).arg("--to").arg(out.path().join("page.docx"));
    assert_eq!(wrong.ends(), 1);
}

/// One change at one camera, two events within the same days: neither may be told as the one that did it.
#[test]
fn two_events_of_one_camera_are_told_together_or_not_at_all() {
    let place = Place::practice(&Options { pictures: false, ..Options::default() });
    let log = fs::read_to_string(place.path().join("disturbances.csv")).unwrap();
    let own = "lane,2025-10-14,,own,Cut a lane,,,North Fence\n";
    place.put("disturbances.csv", log + own);
    let page = Report::of(place.path(), &[]).text("report.html");
    let first = plain(&page[..page.find("<section id=\"light\"").unwrap()]);
    assert!(first.contains("It cannot be told apart from &quot;Cut a lane&quot;"), "{first}");
    let to = place.path().join("page.html");
    graylight()
        .arg("share")
        .arg(place.path())
        .arg("--to")
        .arg(&to)
        .arg("--no-neighbours")
        .succeeds();
    let shared = fs::read_to_string(to).unwrap();
    assert!(!shared.contains("Cut a lane"), "{}", plain(&shared));
    assert!(shared.contains("2 logged events"), "{}", plain(&shared));
}

#[test]
fn the_page_is_printed_by_an_installed_browser_or_a_word_is_said() {
    let sample = root().join("sample-cards");
    let report = Report::of(&sample, &["--pdf", "--no-photos"]);
    let pdf = fs::read(report.0.path().join("report.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF-") && pdf.len() > 50_000);
    // Another page beside it: the print is old. A print is written over, a person's own file is not.
    let folder = report.0.path();
    let again = |options: &[&str]| {
        let mut command = graylight();
        command.arg("debrief").arg(&sample).arg("--out").arg(folder);
        let ran = command.args(options).output().unwrap();
        assert!(ran.status.success());
        String::from_utf8_lossy(&ran.stderr).into_owned()
    };
    assert!(
        again(&["--with-places", "--no-photos"]).contains("report.pdf beside it is of an earlier")
    );
    assert!(!again(&["--pdf", "--no-photos"]).contains("kept"));
    fs::write(folder.join("report.pdf"), "mine").unwrap();
    assert!(again(&["--pdf", "--no-photos"]).contains("report.kept-1.pdf"));
    assert_eq!(fs::read(folder.join("report.kept-1.pdf")).unwrap(), b"mine");
    let list = fs::read_to_string(folder.join("checksums.b3")).unwrap();
    assert_eq!(list.matches("  report.pdf\n").count(), 1);
    let out = tempfile::tempdir().unwrap();
    let without = graylight()
        .env("PATH", out.path())
        .arg("debrief")
        .arg(&sample)
        .arg("--out")
        .arg(out.path())
        .arg("--pdf")
        .output()
        .unwrap();
    assert_eq!(without.status.code(), Some(1));
    let said = String::from_utf8_lossy(&without.stderr).into_owned();
    assert!(said.contains("no browser") && said.contains("report.html"), "{said}");
    assert!(out.path().join("report.html").exists());
}

#[test]
fn three_seasons_of_eight_cameras_stay_a_small_page() {
    let place = Place::practice(&Options { seasons: 3, cameras: 8, ..Options::default() });
    let report = Report::of(place.path(), &["--no-photos"]);
    let page = report.text("report.html");
    assert!(page.len() <= 3_000_000, "{}", page.len());
    let seasons = report.findings()["deer"][0]["seasons"].as_array().unwrap().len();
    assert!(seasons > 1);
}
