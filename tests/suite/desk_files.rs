//! The person's own files, which the desk writes into and others may be writing into as well.

use std::fs;
use std::io::Write;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::desk_support::{Running, small, tagging, tags};
use crate::support::picture_at;

/// After so long without a change, whoever saved a file is taken to be through with it.
const THROUGH: Duration = Duration::from_millis(1200);

#[test]
fn two_windows_and_a_spreadsheet_agree() {
    let place = small();
    let desk = Running::on(place.path());
    let (seen_here, seen_there) = (desk.visit(3), desk.visit(3));
    let buck = json!([{ "who": "buck", "count": 1 }]);
    let doe = json!([{ "who": "doe", "count": 1 }]);
    assert_eq!(desk.post("api/tag", &tagging(&seen_here, &buck)).status, 200);
    let late = desk.post("api/tag", &tagging(&seen_there, &doe));
    assert_eq!(late.status, 409);
    assert_eq!(late.json()["visit"]["tags"][0]["who"], "buck");
    let version = desk.get("api/since?version=0").json()["version"].clone();
    assert_eq!(version, desk.visit(3)["version"]);

    // A spreadsheet saves it with other separators and a column of its own.
    let with_mine = "\u{feff}who;picture;mine\r\ndoe;IMG_0000.JPG;left ear torn\r\nbuck;cards/Oak/IMG_0006.JPG;\r\n";
    fs::write(place.path().join("tags.csv"), with_mine).unwrap();
    std::thread::sleep(THROUGH);
    let first = desk.visit(0);
    assert_eq!(first["pictures"][0]["tags"][0]["who"], "doe");
    assert_eq!(first["state"], "partly");
    assert_eq!(desk.post("api/tag", &tagging(&seen_there, &doe)).status, 409);
    assert_eq!(desk.tag(5, &doe).status, 200);
    let now = tags(&place);
    assert!(now.starts_with("\u{feff}who;picture;mine;count;age;name;note\r\n"), "{now}");
    assert!(now.contains("\r\ndoe;IMG_0000.JPG;left ear torn\r\n"), "{now}");
    assert!(now.ends_with("doe;cards/Oak/IMG_0011.JPG;;1;;;\r\n"), "{now}");
    // A step whose pictures were changed elsewhere since is not taken back.
    let other =
        now.replace("doe;cards/Oak/IMG_0011.JPG;;1;;;", "fawn;cards/Oak/IMG_0011.JPG;;1;;;");
    fs::write(place.path().join("tags.csv"), &other).unwrap();
    let undone = desk.post("api/undo", &json!({})).json();
    assert!(undone["undone"].as_str().unwrap().contains("not undone"), "{undone}");
    assert_eq!(tags(&place), other);
}

/// A program that writes slowly is neither put right nor cut off.
#[test]
fn a_file_that_is_being_written_is_waited_for() {
    let place = small();
    let desk = Running::on(place.path());
    let doe = json!([{ "who": "doe", "count": 1 }]);
    assert_eq!(desk.tag(0, &doe).status, 200);
    let path = place.path().join("tags.csv");
    let theirs: String = (0..30).map(|n| format!("cards/Oak/IMG_{n:04}.JPG,buck,1,,,\n")).collect();
    let theirs = format!("picture,who,count,age,name,note\n{theirs}");
    let (first, second) = theirs.split_at(400);
    let mut file = fs::File::create(&path).unwrap();
    file.write_all(first.as_bytes()).unwrap();
    desk.get("api/since?version=0");
    let seen = desk.visit(5);
    std::thread::scope(|s| {
        let late = s.spawn(|| desk.post("api/tag", &tagging(&seen, &doe)).status);
        std::thread::sleep(Duration::from_millis(300));
        file.write_all(second.as_bytes()).unwrap();
        // What the page showed has other tags now.
        assert_eq!(late.join().unwrap(), 409);
    });
    assert_eq!(tags(&place), theirs);
    assert_eq!(desk.tag(5, &doe).status, 200);
    assert_eq!(tags(&place).lines().count(), theirs.lines().count());
}

/// Columns that are the person's own stay with a picture, through a change and back.
#[test]
fn a_persons_own_columns_stay() {
    let place = small();
    let before = "stand,picture,who,count,age,name,note\nladder 3,cards/Oak/IMG_0000.JPG,buck,1,,,\n,cards/Oak/IMG_0001.JPG,doe,1,,,";
    place.put("tags.csv", before);
    let desk = Running::on(place.path());
    let visit = desk.visit(0);
    let picture = |n: usize, tags: Value| {
        json!({
            "generation": visit["generation"],
            "visit": 0,
            "version": desk.visit(0)["version"],
            "pictures": [visit["pictures"][n]["id"]],
            "tags": tags,
        })
    };
    let set =
        |n: usize, tags: Value| assert_eq!(desk.post("api/tag", &picture(n, tags)).status, 200);
    set(0, json!([{ "who": "buck", "count": 1, "age": 4.5 }]));
    assert!(tags(&place).contains("ladder 3,cards/Oak/IMG_0000.JPG,buck,1,4.5,,\n"));
    set(0, json!([]));
    assert!(!tags(&place).contains("ladder"));
    desk.post("api/undo", &json!({}));
    assert!(tags(&place).contains("ladder 3,cards/Oak/IMG_0000.JPG,buck,1,4.5,,\n"));
    // So it is with several rows, though one took their place in between.
    set(0, json!([{ "who": "buck", "count": 1 }, { "who": "doe", "count": 1 }]));
    let two =
        tags(&place).replace(",cards/Oak/IMG_0000.JPG,doe", "plot,cards/Oak/IMG_0000.JPG,doe");
    fs::write(place.path().join("tags.csv"), two).unwrap();
    std::thread::sleep(THROUGH);
    set(0, json!([{ "who": "deer", "count": 1 }]));
    assert!(!tags(&place).contains("plot"));
    desk.post("api/undo", &json!({}));
    assert!(tags(&place).contains("ladder 3,cards/Oak/IMG_0000.JPG,buck,1,,,\n"));
    assert!(tags(&place).contains("plot,cards/Oak/IMG_0000.JPG,doe,1,,,\n"));
    // The last row had no line end; it is changed again and again.
    for count in 2..6 {
        set(1, json!([{ "who": "doe", "count": count }]));
        let row = format!(",cards/Oak/IMG_0001.JPG,doe,{count},,,\n");
        assert!(tags(&place).ends_with(&row), "{}", tags(&place));
    }
    assert_eq!(tags(&place).lines().count(), 4);
}

/// A picture arrives while the person tags. It is taken in, and what was done can still be undone; so it
/// can after the log has changed.
#[test]
fn what_comes_in_meanwhile_takes_nothing_away() {
    let place = small();
    let desk = Running::on(place.path());
    desk.wait_until_sorted();
    let doe = json!([{ "who": "doe", "count": 1 }]);
    assert_eq!(desk.tag(5, &doe).status, 200);
    let pictures = || desk.get("api/state").json()["counts"]["pictures"].clone();
    let known = pictures().as_u64().unwrap();
    // The watch over the folders begins once the pictures are sorted.
    std::thread::sleep(Duration::from_secs(1));
    place.put("cards/Ash/IMG_0001.JPG", picture_at("2025:11:04 12:00:00"));
    wait_for(|| pictures() == json!(known + 1));
    place.put("cameras.csv", "camera,clock\nOak,-05:00\n");
    let clock =
        || desk.get("api/log").json()["tables"]["cameras"]["rows"][0]["cells"]["clock"].clone();
    wait_for(|| {
        desk.get("api/since?version=0");
        clock() == json!("-05:00")
    });
    let since = || desk.get("api/since?version=0").json();
    wait_for(|| since()["generation"] == json!(3));
    desk.wait_until_sorted();
    let undone = desk.post("api/undo", &json!({})).json();
    assert_eq!(undone["undone"], "undone: doe");
    assert_eq!(tags(&place), "picture,who,count,age,name,note\n");
}

fn wait_for(mut is_so: impl FnMut() -> bool) {
    let start = Instant::now();
    while !is_so() {
        assert!(start.elapsed() < Duration::from_secs(20));
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_half_written_last_line_is_taken_away_and_told() {
    let whole = "picture,who,count,age,name,note\ncards/Oak/IMG_0000.JPG,buck,1,,,\n";
    for cut in ["cards/Oak/IMG_0001.JPG,bu", "cards/Oak/IMG_0001.JPG,buck,1,3", "card"] {
        let place = small();
        place.put("tags.csv", format!("{whole}{cut}"));
        let desk = Running::on(place.path());
        let notices = desk.get("api/state").json()["notices"].to_string();
        assert!(notices.contains("cut short") && notices.contains(cut), "{notices}");
        assert_eq!(tags(&place), whole);
        let aside = fs::read_to_string(place.path().join("tags-cut-short.txt")).unwrap();
        assert_eq!(aside.trim_end(), cut);
    }
    // Somebody's editor ends no line; nothing is cut short.
    let place = small();
    place.put("tags.csv", whole.trim_end());
    let desk = Running::on(place.path());
    assert_eq!(desk.get("api/state").json()["notices"], json!([]));
    assert_eq!(desk.visit(0)["pictures"][0]["tags"][0]["who"], "buck");
}

#[test]
fn the_log_is_changed_row_by_row_and_never_written_over() {
    let place = small();
    place.put(
        "disturbances.csv",
        "id;start;end;by;what;near;mine\r\nblind;2025-11-03;;neighbour;A blind;Oak;x\r\n\r\nlanes;2025-11-05;2025-11-05;own;Lanes;;y\r\n",
    );
    let desk = Running::on(place.path());
    let rows =
        |desk: &Running| desk.get("api/log").json()["tables"]["disturbances"]["rows"].clone();
    let first = rows(&desk)[0].clone();
    assert_eq!(first["cells"]["what"], "A blind");
    let mut cells = first["cells"].clone();
    cells["end"] = json!("2025-11-08");
    let end = json!({ "table": "disturbances", "row": 0, "check": first["check"], "cells": cells });
    assert_eq!(desk.post("api/log", &end).status, 200);
    let file = || fs::read_to_string(place.path().join("disturbances.csv")).unwrap();
    let after = "id;start;end;by;what;near;mine;latitude;longitude;dated_by\r\nblind;2025-11-03;2025-11-08;neighbour;A blind;Oak;x;;;\r\n\r\nlanes;2025-11-05;2025-11-05;own;Lanes;;y\r\n";
    assert_eq!(file(), after);

    // Sent again from a window that still shows the old row.
    assert_eq!(desk.post("api/log", &end).status, 409);
    assert_eq!(file(), after);
    let add = |cells: Value| json!({ "table": "disturbances", "row": null, "check": null, "cells": cells });
    let corn = json!({ "id": "corn", "start": "2025-11-06T14:00", "by": "nature", "what": "Corn cut; all of it" });
    assert_eq!(desk.post("api/log", &add(corn.clone())).status, 200);
    assert!(
        file().ends_with("corn;2025-11-06T14:00;;nature;\"Corn cut; all of it\";;;;;\r\n"),
        "{}",
        file()
    );
    assert_eq!(rows(&desk).as_array().unwrap().len(), 3);
    for (cells, column) in [
        (corn, "id"),
        (json!({ "id": "x", "start": "5/11/2025", "by": "own" }), "start"),
        (json!({ "id": "x", "start": "2025-11-06", "end": "2025-11-01", "by": "own" }), "end"),
        (json!({ "id": "x", "start": "2025-11-06", "by": "me" }), "by"),
        (json!({ "start": "2025-11-06" }), "id"),
        // Years ahead is a slip of the hand.
        (json!({ "id": "x", "start": "2052-11-06", "by": "own" }), "start"),
    ] {
        let refused = desk.post("api/log", &add(cells.clone()));
        assert_eq!(refused.status, 422, "{cells}");
        assert_eq!(refused.json()["column"], column, "{cells}");
    }
    // A camera's clock changes the times at once.
    let winter = 12;
    let before = desk.visit(winter)["time"].clone();
    let oak = json!({ "table": "cameras", "row": null, "check": null, "cells": { "camera": "Oak", "clock": "-05:00" } });
    assert_eq!(desk.post("api/log", &oak).status, 200);
    assert_eq!(
        (before, desk.visit(winter)["time"].clone()),
        (json!("06:00:00"), json!("05:00:00"))
    );

    // A name that is none is told beside its row; a row is taken out once it is still what the page showed.
    let lane = json!({ "id": "lane", "start": "2025-11-06", "by": "own", "what": "A lane", "near": "Oak; Okk" });
    assert_eq!(desk.post("api/log", &add(lane)).status, 200);
    let all = rows(&desk);
    assert_eq!(
        (&all[2]["problem"], &all[3]["problem"]),
        (&Value::Null, &json!("Okk is no camera here."))
    );
    let out = |row: usize, check: &Value| json!({ "table": "disturbances", "row": row, "check": check, "take_out": true });
    assert_eq!(desk.post("api/log", &out(1, &all[0]["check"])).status, 409);
    let before = file();
    assert_eq!(desk.post("api/log", &out(1, &all[1]["check"])).status, 200);
    let without = before.replace("lanes;2025-11-05;2025-11-05;own;Lanes;;y\r\n", "");
    assert_eq!(file(), without);
}
