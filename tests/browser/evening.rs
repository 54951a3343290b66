//! A whole evening at the desk in a real browser, from the keyboard.

use std::collections::BTreeMap;
use std::fs;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};

use crate::browser::{Browser, CONTROL, ENTER, ESCAPE};
use crate::desk_support::Running;
use crate::support::{Place, graylight, picture_at, reference};

/// Tags as written: who, count, age, name of each row of a picture.
type Truth = BTreeMap<String, Vec<[String; 4]>>;

fn truth(place: &Place) -> Truth {
    let mut truth = Truth::new();
    let mut table = csv::Reader::from_path(place.path().join("tags.csv")).unwrap();
    for row in table.records().map(Result::unwrap) {
        let cells = [1, 2, 3, 4].map(|i| row[i].to_owned());
        truth.entry(row[0].to_owned()).or_default().push(cells);
    }
    for rows in truth.values_mut() {
        rows.sort();
    }
    truth
}

fn findings(place: &Place) -> Value {
    let out = place.path().join("reports");
    let mut debrief = graylight();
    debrief.arg("debrief").arg(place.path()).arg("--out").arg(&out);
    assert!(debrief.output().unwrap().status.success());
    let findings: Value =
        serde_json::from_slice(&fs::read(out.join("findings.json")).unwrap()).unwrap();
    json!([findings["pictures"], findings["daylight"], findings["shifts"]])
}

/// A visit that came up by itself must be looked at for so long before a key can pass it by.
const TO_LOOK: Duration = Duration::from_millis(600);

/// The visit on the screen.
fn on_screen(browser: &Browser, desk: &Running) -> Value {
    let id = browser.js("return Number(new URLSearchParams(location.search).get('id'))");
    desk.visit(id.as_u64().unwrap())
}

fn wait_saved(browser: &Browser) {
    browser.wait_until("return document.getElementById('said').textContent.startsWith('Saved')");
}

/// What a person types for the rows of a picture.
fn type_tags(browser: &Browser, rows: &[[String; 4]]) {
    for [who, count, age, name] in rows {
        let key = match who.as_str() {
            "buck" => "b",
            "doe" => "d",
            "fawn" => "f",
            _ => "o",
        };
        browser.press(key);
        // A digit says how many, and the letter again adds one.
        let many: u32 = count.parse().unwrap();
        if many > 1 {
            browser.press(&many.min(9).to_string());
        }
        for _ in 9..many {
            browser.press(key);
        }
        if let Some(years) = age.strip_suffix(".5") {
            browser.press(&format!("a{years}"));
        }
        if !name.is_empty() {
            browser.press("i");
            browser.press(&format!("{name}{ENTER}"));
        }
    }
    wait_saved(browser);
}

#[test]
fn a_season_is_tagged_by_keyboard_and_comes_out_as_it_was() {
    let place = Place::practice(&["--weeks", "2", "--size", "0.7"]);
    without_faulty_files(&place);
    let truth = truth(&place);
    let before = findings(&place);
    fs::remove_file(place.path().join("tags.csv")).unwrap();
    let mut desk = Running::on(place.path());
    desk.wait_until_sorted();
    let browser = Browser::open(1280, 900, false);

    sweep(&browser, &desk, &truth);
    browser.go(&desk.page("visits.html"));
    browser.wait_until("return document.getElementById('facts').textContent");
    let mut tagged = 0;
    loop {
        let visit = on_screen(&browser, &desk);
        let path = visit["pictures"][0]["path"].as_str().unwrap().to_owned();
        let rows = truth.get(&path).cloned().unwrap_or_default();
        tagged += 1;
        if tagged == 20 {
            desk = stop_and_start(&browser, desk, &place);
            continue;
        }
        if tagged == 40 {
            slip_and_undo(&browser, &desk);
        }
        let nothing = rows.iter().any(|r| r[0] == "empty");
        if nothing {
            browser.press("n");
        } else {
            if !rows.is_empty() {
                type_tags(&browser, &rows);
            }
            browser.press(&ENTER.to_string());
        }
        let id = visit["id"].as_u64().unwrap();
        // On to the next, or there is none that is not tagged yet but those that nobody knows.
        browser.wait_until(&format!(
            "return !location.search.includes('id={id}') || document.getElementById('said').textContent.includes('No other')"
        ));
        if nothing {
            std::thread::sleep(TO_LOOK);
        }
        let known_left = desk.get("api/state").json()["counts"]["untagged"].as_u64().unwrap();
        let unknown = unknown_visits(&desk, &truth);
        if known_left <= unknown {
            break;
        }
    }
    assert!(tagged > 60, "{tagged} visits");
    // A reload shows what was tagged.
    browser.go(&desk.page("visits.html?who=tagged"));
    browser.wait_until("return document.querySelectorAll('#lines li').length");
    drop(desk);

    let (got, mut wrong) = (self::truth(&place), Vec::new());
    for path in got.keys().chain(truth.keys()) {
        if got.get(path) != truth.get(path) {
            wrong.push((path, got.get(path), truth.get(path)));
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
    assert_eq!(findings(&place), before);
}

/// The practice property has some damaged files, which it does not tag and a person would.
fn without_faulty_files(place: &Place) {
    for entry in walkdir::WalkDir::new(place.path().join("cards")) {
        let entry = entry.unwrap();
        if entry.file_name().as_encoded_bytes().starts_with(b"IMG_9") {
            fs::remove_file(entry.path()).unwrap();
        }
    }
}

/// Visits that the practice property left without tags.
fn unknown_visits(desk: &Running, truth: &Truth) -> u64 {
    let sheet = desk.get("api/sheet?who=untagged&limit=200").json();
    let visits = sheet["visits"].as_array().unwrap();
    let unknown = |v: &&Value| {
        let visit = desk.visit(v["id"].as_u64().unwrap());
        !truth.contains_key(visit["pictures"][0]["path"].as_str().unwrap())
    };
    // With more left than the sheet shows there is no need to know.
    if sheet["total"].as_u64().unwrap() > 12 {
        return 0;
    }
    visits.iter().filter(unknown).count() as u64
}

/// All that probably is nothing is chosen, what the person sees something on is taken out again, and
/// the rest swept.
fn sweep(browser: &Browser, desk: &Running, truth: &Truth) {
    browser.go(&desk.page("sweep.html"));
    browser.wait_until("return document.querySelectorAll('#sheet input').length");
    browser.press_with(CONTROL, 'a');
    let shown = browser.js("return document.querySelectorAll('#sheet input:checked').length");
    let shown = shown.as_u64().unwrap();
    let sheet = desk.get("api/sheet?who=untagged&quiet=yes&limit=60").json();
    let mut chosen = shown;
    for (i, v) in sheet["visits"].as_array().unwrap().iter().enumerate() {
        let visit = desk.visit(v["id"].as_u64().unwrap());
        let path = visit["pictures"][0]["path"].as_str().unwrap();
        let nothing = truth.get(path).is_some_and(|rows| rows[0][0] == "empty");
        if !nothing {
            browser.js(&format!("document.querySelectorAll('#sheet input')[{i}].click()"));
            chosen -= 1;
        }
    }
    assert!(chosen > 3, "{chosen} of {shown}");
    browser.press("n");
    wait_saved(browser);
    assert!(
        browser.text("#said").contains(&format!("{chosen} visits")),
        "{}",
        browser.text("#said")
    );
}

/// The desk is killed; the next key must not be called saved. Started again, it goes on.
fn stop_and_start(browser: &Browser, mut desk: Running, place: &Place) -> Running {
    desk.kill();
    browser.press("d");
    browser.wait_until("return document.getElementById('alarm').textContent.includes('NOT SAVED')");
    assert!(!browser.text("#said").starts_with("Saved"));
    let desk = Running::on(place.path());
    browser.go(&desk.page("visits.html"));
    browser.wait_until("return document.getElementById('facts').textContent");
    desk
}

/// Keys of a tired person that must not put a wrong tag anywhere.
#[test]
fn a_slip_of_the_hand_tags_nothing_unseen() {
    let place = Place::new();
    for n in 1..=6 {
        let file = format!("cards/Oak/IMG_{n}.JPG");
        place.put(&file, picture_at(&format!("2025:11:0{n} 06:41:27")));
    }
    place.put(
        "tags.csv",
        "picture,who,count,age,name,note\ncards/Oak/IMG_6.JPG,buck,1,4.5,Ghost,\n",
    );
    let desk = Running::on(place.path());
    let browser = Browser::open(1280, 900, false);
    browser.go(&desk.page("visits.html"));
    browser.wait_until("return document.getElementById('facts').textContent");
    let tags = |n: u64| desk.visit(n - 1)["tags"].clone();
    let said = |words: &str| {
        browser.wait_until(&format!(
            "return document.getElementById('said').textContent.includes('{words}')"
        ));
    };

    // A key pressed twice passes no visit that has only just come up.
    browser.press("nn");
    said("only just come up");
    assert_eq!((&tags(1)[0]["who"], &tags(2)), (&json!("empty"), &json!([])));

    // An age with a point is an age, and a digit corrected is a digit.
    std::thread::sleep(TO_LOOK);
    browser.press("b3");
    browser.press("2");
    browser.press("a3.5");
    said("choose the age class again");
    assert_eq!((&tags(2)[0]["count"], &tags(2)[0]["age"]), (&json!(2), &json!(3.5)));

    // Tags go only when that is meant.
    browser.press("n");
    said("press again to replace that");
    assert_eq!(tags(2)[0]["who"], "buck");

    // Half a name is no deer, and no name takes none away.
    browser.press("1");
    said("Saved: buck, age");
    browser.press("i");
    browser.press(&format!("Gho{ENTER}"));
    browser
        .wait_until("return document.getElementById('name-doubt').textContent.includes('Ghost')");
    browser.press(&format!("st{ENTER}"));
    said("Ghost");
    browser.press("i");
    browser.press(&ENTER.to_string());
    browser.wait_until("return document.getElementById('naming').hidden");
    assert_eq!(tags(2)[0]["name"], "Ghost");

    // What was undone does not come back.
    browser.press(&ENTER.to_string());
    browser.wait_until("return location.search.includes('id=2')");
    browser.press("vz");
    said("undone: vehicle");
    browser.press("r");
    said("Saved: buck");
    assert_eq!(tags(3)[0]["name"], "Ghost");

    // The key that brings a picture closer takes it back, and keys tag in either view.
    browser.press("w");
    browser.wait_until("return document.querySelector('#stage.zoomed')");
    browser.press("d");
    said("doe");
    browser.press("z");
    said("undone: ");
    browser.press("w");
    browser.wait_until("return !document.querySelector('#stage.zoomed')");

    // Nor are tags swept away unasked.
    browser.go(&desk.page("sweep.html?who=buck"));
    browser.wait_until("return document.querySelectorAll('#sheet input').length == 3");
    browser.press_with(CONTROL, 'a');
    browser.press("n");
    said("3 of these 3 carry tags");
    assert_eq!(tags(6)[0]["name"], "Ghost");
    browser.press("n");
    said("Saved: 3 visits");
    assert_eq!(tags(6)[0]["who"], "empty");
}

fn slip_and_undo(browser: &Browser, desk: &Running) {
    let id = on_screen(browser, desk)["id"].as_u64().unwrap();
    browser.press("vv3");
    wait_saved(browser);
    assert_eq!(desk.visit(id)["tags"][0]["count"], 3);
    browser.press("zzz");
    browser.wait_until("return document.getElementById('said').textContent.includes('undone')");
    browser.wait_until("return !document.querySelectorAll('#lines li').length");
    assert_eq!(desk.visit(id)["tags"], json!([]));
}

/// axe-core (npm package, Mozilla Public Licence 2.0) finds nothing against WCAG 2.2 A and AA.
#[test]
fn no_page_shuts_anybody_out() {
    let place = Place::practice(&["--weeks", "2"]);
    let desk = Running::on(place.path());
    desk.wait_until_sorted();
    let output = Command::new(reference("axe")).output().unwrap();
    let path = String::from_utf8(output.stdout).unwrap();
    let axe = fs::read_to_string(path.trim()).unwrap_or_else(|e| panic!("axe-core at {path}: {e}"));
    for (width, height, dark) in
        [(1280, 900, false), (1280, 900, true), (500, 900, false), (500, 900, true)]
    {
        let browser = Browser::open(width, height, dark);
        for page in [
            "visits.html",
            "sweep.html?who=tagged",
            "deer.html",
            "log.html",
            "keys.html",
            "home.html",
            "cards.html",
            "clocks.html",
            "debrief.html",
            "behind.html?of=season&kind=deer",
        ] {
            browser.go(&desk.page(page));
            browser.wait_until("return document.getElementById('property').textContent && (document.querySelector('main li, main tr, main dt, main button'))");
            browser.js(&axe);
            let found = browser.js_later(
                "axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })\
                 .then(arguments[0], (e) => arguments[0]({ violations: [String(e)] }))",
            );
            let violations = found["violations"].as_array().unwrap();
            let passes = found["passes"].as_array().map_or(0, Vec::len);
            assert!(violations.is_empty(), "{page} {width} {dark}: {violations:#?}");
            assert!(passes > 15, "{page}: only {passes} rules were tried");
            let wide = browser.js("return document.documentElement.scrollWidth - document.documentElement.clientWidth");
            assert!(wide.as_i64().unwrap() <= 0, "{page} scrolls sideways at {width}");
        }
    }
}

/// Names of files, cameras and deer are text, whatever is in them.
#[test]
fn hostile_names_are_shown_as_text() {
    let place = Place::new();
    let camera = "<img src=x onerror=\"document.title='owned'\">";
    let file = format!("cards/{camera}/<b>&quot;'IMG.JPG");
    // A slash cannot be in a name, all else can.
    place.put(&file, picture_at("2025:11:08 06:41:27"));
    let name = "</script><script>document.title='owned'</script>";
    place.put(
        "tags.csv",
        format!(
            "picture,who,count,age,name,note\n\"{}\",buck,1,,\"{name}\",<i>x</i>\n",
            file.replace('"', "\"\"")
        ),
    );
    place.put(
        "disturbances.csv",
        "id,start,what\n<img src=x>,2025-11-08,<script>alert(1)</script>\n",
    );
    let desk = Running::on(place.path());
    let browser = Browser::open(1280, 900, false);
    for page in [
        "visits.html",
        "sweep.html?who=tagged",
        "deer.html",
        "log.html",
        "home.html",
        "clocks.html",
        "debrief.html",
    ] {
        browser.go(&desk.page(page));
        browser.wait_until("return document.getElementById('property').textContent && (document.querySelector('main li, main tr, main dt, main button'))");
        let injected = browser.js(
            "return document.querySelectorAll('main script, main i, main b, img[src=x]').length",
        );
        assert_eq!(injected, 0, "{page}");
        assert!(!browser.text("title").contains("owned"));
    }
    browser.go(&desk.page("visits.html"));
    browser.wait_until("return document.getElementById('heading').textContent.includes('onerror')");
    // A dialog opens and closes from the keyboard.
    browser.press("?");
    browser.wait_until("return document.querySelector('dialog[open]')");
    browser.press(&ESCAPE.to_string());
    browser.wait_until("return !document.querySelector('dialog[open]')");
}
