//! The window: properties that are known, started and opened, cards, clocks and the debrief.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::desk_support::Running;
use crate::support::{Place, graylight, picture_at};

/// A home with a folder in which cards show up.
fn home() -> Place {
    let home = Place::empty();
    let reader = home.path().join("reader");
    fs::create_dir(&reader).unwrap();
    home.put(
        ".config/graylight/window.toml",
        format!("card_folders = [{:?}]\n", reader.display().to_string()),
    );
    home
}

fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> (T, Duration) {
    let start = Instant::now();
    loop {
        if let Some(found) = look() {
            return (found, start.elapsed());
        }
        assert!(start.elapsed() < Duration::from_secs(60), "{what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn insert_card(home: &Place, name: &str, pictures: u32) -> PathBuf {
    let card = home.path().join("reader").join(name);
    for i in 0..pictures {
        let time = format!("2025:11:{:02} 06:{:02}:07", 1 + i / 4, 10 * (i % 4));
        home.put(&format!("reader/{name}/DCIM/100CAM/IMG_{i:04}.JPG"), picture_at(&time));
    }
    card
}

fn start(window: &Running, within: &Path) -> PathBuf {
    let made = window.post(
        "api/start",
        &json!({
            "name": "Oak \"Bottom\" #1", "latitude": 43.1, "longitude": -90.7,
            "time_zone": "America/Chicago", "within": within, "folder": "Oak Bottom",
        }),
    );
    assert_eq!(made.status, 200, "{}", String::from_utf8_lossy(&made.body));
    PathBuf::from(made.json()["path"].as_str().unwrap())
}

fn pulled(window: &Running) -> Value {
    let done = || {
        let pull = window.get("api/cards").json()["pull"].clone();
        (pull["done"] == true).then_some(pull)
    };
    wait_for("the pull", done).0
}

#[test]
fn an_evening_from_an_empty_folder() {
    let home = home();
    let window = Running::at_home(home.path());
    let at_home = window.get("api/home").json();
    assert_eq!((&at_home["open"], &at_home["known"]), (&Value::Null, &json!([])));
    // Pages of a property say so where none is open.
    assert_eq!(window.get("api/state").status, 412);
    assert_eq!(window.post("api/tag", &json!({})).status, 412);

    // Nothing is written before "make it".
    let place = window.get("api/place?text=43%C2%B006'00%22N%2090%C2%B042'00%22W").json();
    assert_eq!(place["time_zone"], "America/Chicago");
    assert!((place["latitude"].as_f64().unwrap() - 43.1).abs() < 1e-9);
    assert_eq!(window.get("api/place?text=north%20fence").status, 422);
    assert!(!home.path().join("Oak Bottom").exists());
    let property = start(&window, home.path());
    let written = fs::read_to_string(property.join("property.toml")).unwrap();
    assert!(
        written.contains("Oak \"Bottom\" #1") && written.contains("America/Chicago"),
        "{written}"
    );
    let again = json!({
        "name": "x", "latitude": 43.1, "longitude": -90.7, "time_zone": "America/Chicago",
        "within": home.path(), "folder": "Oak Bottom",
    });
    for (field, value) in [
        ("folder", json!("Oak Bottom")),
        ("folder", json!("../x")),
        ("folder", json!("CON")),
        ("name", json!("")),
        ("latitude", json!(99)),
        ("time_zone", json!("Mars")),
        ("within", json!("/nowhere")),
    ] {
        let mut wrong = again.clone();
        if field != "folder" {
            wrong["folder"] = json!("another");
        }
        wrong[field] = value;
        assert_eq!(window.post("api/start", &wrong).status, 422, "{wrong}");
    }

    // A card shows up by itself, asks whose it is, and is pulled.
    let card = insert_card(&home, "NO NAME", 12);
    let seen =
        || window.get("api/cards").json()["cards"].as_array().filter(|c| !c.is_empty()).cloned();
    let (cards, after) = wait_for("the card", seen);
    assert!(after < Duration::from_secs(3), "{after:?}");
    assert_eq!(cards[0]["path"], json!(card));
    let asked = window.post("api/pull", &json!({ "card": card })).json();
    assert!(asked["question"].as_str().unwrap().contains("Which one"), "{asked}");
    for bad in ["../x", "a/b", ".hidden", "C:"] {
        let refused = window.post("api/pull", &json!({ "card": card, "camera": bad }));
        assert_eq!(refused.status, 422, "{bad}");
    }
    let begun = window.post("api/pull", &json!({ "card": card, "camera": "North Fence" }));
    assert_eq!(begun.status, 200);
    let pull = pulled(&window);
    assert_eq!(
        (&pull["files"], &pull["of_files"], &pull["lost"]),
        (&json!(12), &json!(12), &json!(0))
    );
    assert_eq!(pull["bytes"], pull["of_bytes"]);
    let name = pull["receipt"].as_str().unwrap();
    let receipt = window.get(&format!("api/receipt?pull={name}")).json();
    assert!(receipt["text"].as_str().unwrap().contains("North Fence"), "{receipt}");
    assert_eq!(window.get("api/receipt?pull=..%2F..%2Fproperty").status, 404);

    // The pictures are there within five seconds, are tagged, and the debrief follows.
    let (visits, after) = wait_for("pictures", || {
        let counts = window.get("api/since?version=0").json()["counts"].clone();
        (counts["pictures"] == 12).then_some(counts)
    });
    assert!(after < Duration::from_secs(5), "{after:?}");
    for id in 0..visits["visits"].as_u64().unwrap() {
        let buck = json!([{ "who": "buck", "count": 1, "age": 3.5 }]);
        assert_eq!(window.tag(id, &buck).status, 200);
    }
    let fresh = || {
        let report = window.get("api/report").json();
        (report["fresh"] == true).then_some(report)
    };
    let (first, _) = wait_for("the debrief", fresh);
    let page = window.get("report/report.html");
    let text = String::from_utf8_lossy(&page.body).into_owned();
    assert!(text.contains("Oak &quot;Bottom&quot; #1"), "the page names the property");
    let head = page.head.to_lowercase();
    assert!(
        head.contains("default-src 'none'") && head.contains("frame-ancestors 'self'"),
        "{head}"
    );
    assert!(!property.join("reports").exists(), "nothing is written before it is saved");
    assert_eq!(window.post("api/report", &json!({})).status, 200);

    // It is what the command makes, byte for byte.
    let out = home.path().join("by command");
    let debrief =
        graylight().arg("debrief").arg(&property).arg("--out").arg(&out).output().unwrap();
    assert!(debrief.status.success());
    for entry in fs::read_dir(&out).unwrap().flatten() {
        let saved = property.join("reports").join(entry.file_name());
        assert_eq!(fs::read(entry.path()).unwrap(), fs::read(&saved).unwrap(), "{saved:?}");
    }

    // A change makes it anew.
    assert_eq!(window.tag(0, &json!([{ "who": "doe", "count": 1 }])).status, 200);
    let (second, _) =
        wait_for("the debrief again", || fresh().filter(|r| r["number"] != first["number"]));
    assert!(second["number"].as_i64() > first["number"].as_i64());

    // The property is known when the window is opened again.
    drop(window);
    let window = Running::at_home(home.path());
    let known = window.get("api/home").json();
    assert_eq!(known["open"]["path"], json!(property));
    assert_eq!(known["open"]["pulls"]["all"], 1);
    fs::rename(&property, home.path().join("elsewhere")).unwrap();
    drop(window);
    let window = Running::at_home(home.path());
    let known = window.get("api/home").json();
    assert_eq!((&known["open"], &known["known"][0]["there"]), (&Value::Null, &json!(false)));
    let moved = json!({ "path": home.path().join("elsewhere") });
    assert_eq!(window.post("api/open", &moved).status, 200);
    assert_eq!(window.post("api/open", &json!({ "path": home.path() })).status, 422);
    assert_eq!(
        window.get("api/home").json()["open"]["name"],
        "Oak \"Bottom\" #1",
        "the one before stays open"
    );
    assert_eq!(
        window.post("api/forget", &json!({ "path": property })).json()["known"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}

/// A pull can be stopped, and goes on where it was.
#[test]
fn a_pull_is_stopped_and_goes_on() {
    let home = home();
    let window = Running::at_home(home.path());
    let property = start(&window, home.path());
    let card = insert_card(&home, "NO NAME", 1);
    // Large files, so that it is still at work when it is stopped.
    for n in 0..40_u8 {
        let large = vec![n; 4_000_000];
        home.put(&format!("reader/NO NAME/DCIM/100CAM/MOV_{n:04}.AVI"), large);
    }
    assert_eq!(window.post("api/pull/stop", &json!({})).status, 422, "there is none");
    let wanted = json!({ "card": card, "camera": "North Fence" });
    assert_eq!(window.post("api/pull", &wanted).status, 200);
    assert_eq!(window.post("api/pull/stop", &json!({})).status, 200);
    let stopped = pulled(&window);
    assert!(stopped["error"].as_str().unwrap().contains("stopped"), "{stopped}");
    assert!(stopped["files"].as_u64().unwrap() < 41, "{stopped}");
    assert_eq!(window.post("api/pull", &wanted).status, 200);
    let whole = pulled(&window);
    assert_eq!((&whole["error"], &whole["lost"]), (&Value::Null, &json!(0)));
    for n in 0..40_u8 {
        let there = property.join(format!("cards/North Fence/DCIM/100CAM/MOV_{n:04}.AVI"));
        assert!(fs::read(there).unwrap().iter().all(|b| *b == n));
    }
}

/// One property is let go when another is opened, so that it can be opened elsewhere.
#[test]
fn opening_another_lets_the_first_go() {
    let home = home();
    let window = Running::at_home(home.path());
    let first = start(&window, home.path());
    let opening = window.get("api/state").json()["opening"].clone();
    fs::create_dir(home.path().join("b")).unwrap();
    let second = start(&window, &home.path().join("b"));
    // A tab that still shows the first must not write into the second.
    let host = format!("Host: {}", window.host);
    let origin = format!("Origin: http://{}", window.host);
    let opened = format!("X-Opening: {opening}");
    let row = json!({ "table": "disturbances", "row": null, "check": null, "cells": { "id": "a", "start": "2025-10-01", "what": "x" } });
    let path = format!("/{}/api/log", window.secret);
    let head = [&*host, &*origin, "Content-Type: application/json", &*opened];
    let refused = window.raw("POST", &path, &head, &row.to_string()).unwrap();
    assert_eq!(refused.status, 412);
    assert!(!second.join("disturbances.csv").exists());
    assert_eq!(window.post("api/log", &row).status, 200);
    for bad in ["../x", "CON", "x."] {
        let mut wrong = row.clone();
        wrong["cells"]["id"] = json!(bad);
        assert_eq!(window.post("api/log", &wrong).status, 422, "{bad}");
    }
    // A wrong file for the land is refused by its ending and its size.
    assert_eq!(window.get("api/place?land=/dev/zero").status, 422);
    let large = fs::File::create(home.path().join("large.kml")).unwrap();
    large.set_len(5_000_000_000).unwrap();
    let asked = std::time::Instant::now();
    let query = format!("api/place?land={}", home.path().join("large.kml").display());
    assert_eq!(window.get(&query).status, 422);
    assert!(asked.elapsed() < Duration::from_secs(2));
    // A place that does not lie in the time zone is refused before anything is made.
    let odd = json!({ "name": "x", "latitude": 43.1, "longitude": -90.7, "time_zone": "UTC", "within": home.path(), "folder": "odd" });
    assert_eq!(window.post("api/start", &odd).status, 422);
    assert!(!home.path().join("odd").exists());
    let (_, _) = wait_for("the lock", || {
        let mut other = graylight();
        other
            .arg("tag")
            .arg(&first)
            .arg("--no-browser")
            .env("XDG_CONFIG_HOME", home.path().join("c"));
        let mut child = other
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(500));
        let is_open = child.try_wait().unwrap().is_none();
        let _ = child.kill();
        let _ = child.wait();
        is_open.then_some(())
    });
}

/// Clocks are put right one by one and taken back one by one, and a picture of a watch settles one.
#[test]
fn clocks_are_put_right_on_the_page() {
    let place = Place::practice(&graylight::practice::Options {
        weeks: 6,
        clock: graylight::practice::ClockFault::HalfDay,
        ..Default::default()
    });
    // With the days on which it hung written down, only one of the two ways would be left.
    let table = fs::read_to_string(place.path().join("cameras.csv")).unwrap();
    let undated = table.lines().map(|line| {
        let cells: Vec<&str> = line.split(',').collect();
        [cells[..4].join(","), cells[6..].join(",")].join(",") + "\n"
    });
    place.put("cameras.csv", undated.collect::<String>());
    let desk = Running::on(place.path());
    let judged = || {
        let clocks = desk.get("api/clocks").json();
        (clocks["report"]["fresh"] == true).then_some(clocks)
    };
    let (clocks, _) = wait_for("the clocks", judged);
    let findings: Vec<Value> = clocks["clocks"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|c| c["findings"].as_array().unwrap().clone())
        .collect();
    let with_remedy: Vec<&Value> = findings.iter().filter(|f| !f["remedy"].is_null()).collect();
    assert!(!with_remedy.is_empty(), "{clocks}");
    let plot = with_remedy[0]["plot"].as_str().unwrap();
    assert_eq!(desk.get(&format!("report/{plot}")).status, 200);
    let before = fs::read(place.path().join("clocks.csv")).ok();
    // A half-day can be put right either way; the page offers both, and takes back what it wrote.
    let half_day = with_remedy.iter().find(|f| !f["other_way"].is_null());
    let half_day = half_day.expect("a half-day offers the other way");
    let ways = [&half_day["remedy"], &half_day["other_way"]].map(|w| w.as_str().unwrap());
    assert!(ways[0].starts_with("12 hours") && ways[1].starts_with("12 hours"));
    assert_ne!(ways[0], ways[1]);
    let other = json!({ "key": half_day["key"], "other_way": true });
    assert_eq!(desk.post("api/clocks/accept", &other).status, 200);
    // The other answer to the same question, from another tab, comes too late.
    let late = desk.post("api/clocks/accept", &json!({ "key": half_day["key"] }));
    assert_eq!(late.status, 422);
    let written =
        desk.get("api/clocks").json()["rows"].as_array().unwrap().last().cloned().unwrap();
    let way = ways[1].split(" where").next().unwrap();
    let way = way.replace(" will be", "");
    assert!(written["words"].as_str().unwrap().contains(&way), "{written}");
    assert_eq!(desk.post("api/clocks/undo", &written).status, 200);
    wait_for("judged again", judged);
    let accepted = desk.post("api/clocks/accept", &json!({ "key": with_remedy[0]["key"] }));
    assert_eq!(accepted.status, 200, "{}", String::from_utf8_lossy(&accepted.body));
    let (after, _) = wait_for("judged anew", || {
        judged().filter(|c| c["rows"] != clocks["rows"] || c["clocks"] != clocks["clocks"])
    });
    let left = after["clocks"].to_string();
    assert!(!left.contains(with_remedy[0]["key"].as_str().unwrap()), "{left}");
    // Judged from what is there no longer: refused, and nothing changes.
    assert_eq!(
        desk.post("api/clocks/accept", &json!({ "key": with_remedy[0]["key"] })).status,
        422
    );
    for row in after["rows"].as_array().unwrap().iter().rev() {
        if clocks["rows"].as_array().unwrap().iter().any(|r| r["row"] == row["row"]) {
            continue;
        }
        assert_eq!(
            desk.post("api/clocks/undo", &json!({ "line": row["line"], "row": "another" })).status,
            422
        );
        assert_eq!(desk.post("api/clocks/undo", row).status, 200);
    }
    let rows = |bytes: Option<Vec<u8>>| -> Vec<String> {
        let text = String::from_utf8(bytes.unwrap_or_default()).unwrap();
        text.lines().skip(1).map(str::to_owned).collect()
    };
    assert_eq!(rows(fs::read(place.path().join("clocks.csv")).ok()), rows(before));

    let camera = clocks["clocks"][0]["camera"].as_str().unwrap().replace(' ', "%20");
    let pictures = desk.get(&format!("api/clocks/pictures?camera={camera}")).json();
    let day = pictures["days"][0].as_str().unwrap();
    let of_day = desk.get(&format!("api/clocks/pictures?camera={camera}&day={day}")).json();
    assert_eq!(of_day["day"], day);
    let picture =
        of_day["pictures"].as_array().unwrap().iter().find(|p| !p["time"].is_null()).unwrap();
    let own = format!("{day}T{}", picture["time"].as_str().unwrap());
    let own = chrono::NaiveDateTime::parse_from_str(&own, "%Y-%m-%dT%H:%M:%S").unwrap();
    let shows = (own + chrono::TimeDelta::minutes(130)).format("%Y-%m-%dT%H:%M:%S").to_string();
    // The watch is two hours and ten minutes ahead of the camera: told first, and written once it is agreed to.
    let mut watch = json!({ "picture": picture["path"], "shows": shows });
    let told = desk.post("api/clocks/watch", &watch).json();
    assert!(told["found"]["plain"].as_str().unwrap().contains("130 minutes behind"), "{told}");
    let rows_now = || desk.get("api/clocks").json()["rows"].as_array().unwrap().len();
    let before = rows_now();
    watch["agreed"] = json!(true);
    assert_eq!(desk.post("api/clocks/watch", &watch).status, 200);
    assert_eq!(rows_now(), before + 1);
    let wrong = json!({ "picture": picture["path"], "shows": "2031-01-01T00:00:00" });
    assert_eq!(desk.post("api/clocks/watch", &wrong).status, 422);
}
