//! The whole first evening in one window: from an empty folder to a printed debrief.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::browser::{Browser, ENTER, TAB};
use crate::desk_support::Running;
use crate::support::{Place, picture_at};

/// A home with a folder in which cards show up.
fn home() -> Place {
    let home = Place::empty();
    fs::create_dir_all(home.path().join("reader")).unwrap();
    let folders = home.path().join("reader").display().to_string();
    home.put(".config/graylight/window.toml", format!("card_folders = [{folders:?}]\n"));
    home
}

fn insert_card(home: &Place) {
    for i in 0..8 {
        let time = format!("2025:11:{:02} 06:{:02}:07", 1 + i / 2, 20 * (i % 2));
        home.put(&format!("reader/CARD/DCIM/100CAM/IMG_{i:04}.JPG"), picture_at(&time));
    }
}

/// A way to reach and to press a control.
trait Hand {
    fn press(&self, selector: &str);
    fn write(&self, selector: &str, text: &str);
}

/// Tab and Enter, and nothing else.
struct Keyboard<'a>(&'a Browser);

impl Keyboard<'_> {
    fn reach(&self, selector: &str) {
        let is_there = format!("return Boolean(document.activeElement?.matches({selector:?}))");
        for _ in 0..120 {
            if self.0.js(&is_there) == true {
                return;
            }
            self.0.press(&TAB.to_string());
        }
        panic!("{selector} cannot be reached by Tab: {}", self.0.text("body"));
    }
}

impl Hand for Keyboard<'_> {
    fn press(&self, selector: &str) {
        self.reach(selector);
        self.0.press(&ENTER.to_string());
    }

    fn write(&self, selector: &str, text: &str) {
        self.reach(selector);
        self.0.js("document.activeElement.select?.()");
        self.0.press(text);
    }
}

/// A finger, through the browser's own touch events; letters come from the keyboard on the screen.
struct Finger<'a>(&'a Browser);

impl Finger<'_> {
    fn touch(&self, selector: &str) {
        self.0.wait_until(&format!("const node = document.querySelector({selector:?}); node?.scrollIntoView({{ block: 'center' }}); return Boolean(node)"));
        let at = self.0.js(&format!(
            "const r = document.querySelector({selector:?}).getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]"
        ));
        self.0.tap(at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
    }
}

impl Hand for Finger<'_> {
    fn press(&self, selector: &str) {
        self.touch(selector);
    }

    fn write(&self, selector: &str, text: &str) {
        self.touch(selector);
        self.0.wait_until(&format!("return document.activeElement.matches({selector:?})"));
        self.0.js("document.activeElement.select?.()");
        self.0.press(text);
    }
}

fn evening(browser: &Browser, hand: &dyn Hand, home: &Place) {
    let window = Running::at_home(home.path());
    browser.go(&window.page("home.html"));
    browser.wait_until("return !document.getElementById('starting').hidden");

    // A property: a name and a place; the time zone is found and shown.
    hand.write("[name=name]", "Oak Bottom");
    hand.write("[name=place]", "43 06 00 N 90 42 00 W");
    hand.press("#find-place");
    browser.wait_until(
        "return document.getElementById('place-found').textContent.includes('America/Chicago')",
    );
    assert!(!home.path().join("Oak Bottom").exists());
    hand.press("#starting button.main");
    browser
        .wait_until("return document.getElementById('now-heading').textContent === 'Oak Bottom'");
    assert!(home.path().join("Oak Bottom/property.toml").is_file());

    // A card.
    hand.press("nav a[href='cards.html']");
    browser.wait_until("return document.getElementById('reader')?.textContent.includes('No card')");
    insert_card(home);
    let start = Instant::now();
    browser.wait_until("return document.querySelector('#reader button.main')");
    assert!(start.elapsed() < Duration::from_secs(3), "{:?}", start.elapsed());
    hand.press("#reader button.main");
    browser.wait_until("return !document.getElementById('question').hidden");
    hand.write("[name=camera]", "North Fence");
    hand.press("#other-camera button:not([type])");
    browser.wait_until(
        "return document.getElementById('pulling-heading').textContent.includes('is pulled')",
    );
    hand.press("#receipts button");
    browser.wait_until(
        "return document.getElementById('receipt').textContent.includes('North Fence')",
    );

    // Visits, tagged; the picture is in view before a key or a finger can tag it.
    browser.wait_until(
        "return fetch('api/since').then((r) => r.json()).then((b) => b.counts.pictures === 8)",
    );
    hand.press("nav a[href='visits.html']");
    for n in 0..8 {
        browser.wait_until(&format!(
            "return document.querySelector('#picture img')?.complete && document.getElementById('counts').textContent.startsWith('{} of 8')",
            8 - n
        ));
        let in_view = browser.js("const r = document.querySelector('#picture img').getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight && r.height > 100");
        assert_eq!(in_view, true);
        hand.press("[data-action=buck]");
        hand.press("[data-age='4.5']");
        browser.wait_until(
            "return document.getElementById('said').textContent.startsWith('Saved: buck, age 4.5')",
        );
        hand.press("[data-action=on]");
    }
    browser.wait_until("return document.getElementById('counts').textContent.startsWith('0 of 8')");

    // The log.
    hand.press("nav a[href='log.html']");
    browser.wait_until("return document.querySelector('main input, main button')");

    // The debrief, saved and printed.
    hand.press("nav a[href='debrief.html']");
    browser.wait_until("return document.getElementById('report')?.contentDocument?.querySelector('h1')?.textContent.includes('Oak Bottom')");
    hand.press("#save");
    browser.wait_until("return document.getElementById('state').textContent.startsWith('Saved')");
    assert!(home.path().join("Oak Bottom/reports/report.html").is_file());
    browser.js("window.printed = 0; document.getElementById('report').contentWindow.print = () => { window.printed += 1; }");
    hand.press("#print");
    browser.wait_until("return window.printed === 1");
    let printed = browser.print();
    assert!(printed.starts_with(b"%PDF"), "a page that prints");

    hand.press("nav a[href='home.html']");
    browser.wait_until(
        "return document.getElementById('steps')?.textContent.includes('All 8 visits tagged')",
    );
    assert!(browser.text("#steps").contains("1 card pulled on"), "{}", browser.text("#steps"));
    assert_tags(home.path());
}

fn assert_tags(home: &Path) {
    let tags = fs::read_to_string(home.join("Oak Bottom/tags.csv")).unwrap();
    assert_eq!(tags.matches(",buck,1,4.5,").count(), 8, "{tags}");
}

#[test]
fn the_first_evening_by_keyboard_only() {
    let home = home();
    let browser = Browser::open(1280, 720, false);
    evening(&browser, &Keyboard(&browser), &home);
}

#[test]
fn the_first_evening_by_touch_only() {
    let home = home();
    let browser = Browser::open(1024, 600, true);
    evening(&browser, &Finger(&browser), &home);
}

/// The picture takes most of the window, whatever its shape, and all controls lie beside it without scrolling.
#[test]
fn the_picture_is_the_room() {
    let place = Place::new();
    place.put("cards/Oak/IMG_1.JPG", picture_at("2025:11:01 06:41:27"));
    let desk = Running::on(place.path());
    for (width, height) in [(1280, 720), (1024, 600)] {
        let browser = Browser::open_inner(width, height);
        for (across, down) in [(4, 3), (16, 9)] {
            browser.go(&desk.page("visits.html"));
            browser.wait_until("return document.querySelector('#picture img')?.complete");
            browser.js(&format!(
                "const canvas = document.createElement('canvas'); canvas.width = {across} * 100; canvas.height = {down} * 100; \
                 window.drawn = false; canvas.toBlob((blob) => blob.arrayBuffer().then((bytes) => {{ window.bytes = bytes; window.drawn = true; }}), 'image/jpeg')"
            ));
            browser.wait_until("return window.drawn");
            let share = browser.js(&format!(
                "const r = document.querySelector('#picture img').getBoundingClientRect(); const k = Math.min(r.width / {across}, r.height / {down}); \
                 return (k * {across} * k * {down}) / (innerWidth * innerHeight)"
            ));
            let share = share.as_f64().unwrap();
            println!("{width}×{height}, {across}:{down}: {:.0} % of the window", share * 100.0);
            assert!(share >= 0.6, "{width}×{height} {across}:{down}: {share}");
        }
        let folded = browser.js("const rail = document.getElementById('rail'); return rail.scrollHeight - rail.clientHeight");
        assert!(
            folded.as_i64().unwrap() <= 0,
            "{width}×{height}: {folded} px of the controls lie below the fold"
        );
    }
    // On a phone the picture stays in view while the controls move below it.
    let browser = Browser::open_inner(390, 844);
    browser.go(&desk.page("visits.html"));
    browser.wait_until("return document.querySelector('#picture img')?.complete");
    browser.js("document.getElementById('rail').scrollTop = 5000; scrollTo(0, 5000)");
    let top = browser.js("const r = document.getElementById('picture').getBoundingClientRect(); return [r.top, r.bottom, innerHeight, document.documentElement.scrollWidth - innerWidth]");
    let n = |i: usize| top[i].as_f64().unwrap();
    assert!(n(0) >= 0.0 && n(1) <= n(2) && n(1) - n(0) > 300.0 && n(3) <= 0.0, "{top}");
}

/// Controls stay where they are, whatever is tagged.
#[test]
fn nothing_moves_under_the_hand() {
    let place = Place::new();
    for n in 1..=3 {
        place.put(&format!("cards/Oak/IMG_{n}.JPG"), picture_at(&format!("2025:11:0{n} 06:41:27")));
    }
    let desk = Running::on(place.path());
    let browser = Browser::open_inner(1024, 600);
    browser.go(&desk.page("visits.html"));
    browser.wait_until("return document.querySelector('#picture img')?.complete");
    let places = || -> Value {
        browser.js("return [...document.querySelectorAll('#rail button[data-action], #rail [data-age]')].map((b) => { const r = b.getBoundingClientRect(); return [b.dataset.action ?? b.dataset.age, r.left, r.top, r.width, r.height].join() })")
    };
    let before = places();
    for keys in ["b", "a", "3", "d", "f", "i"] {
        browser.press(keys);
        std::thread::sleep(Duration::from_millis(150));
        assert_eq!(places(), before, "after {keys}");
        if keys == "i" {
            browser.press(&format!("Ghost{ENTER}"));
        }
    }
    browser.wait_until("return document.getElementById('said').textContent.includes('Ghost')");
    assert_eq!(places(), before);
}

/// Twelve visits or more on a small screen's sheet.
#[test]
fn a_sweep_shows_a_dozen() {
    let place = Place::practice(&["--weeks", "2", "--size", "0.5"]);
    let desk = Running::on(place.path());
    let browser = Browser::open_inner(1280, 720);
    browser.go(&desk.page("sweep.html?who=tagged"));
    browser.wait_until("return document.querySelectorAll('#sheet img').length > 20 && [...document.querySelectorAll('#sheet img')].slice(0, 20).every((i) => i.complete)");
    let whole = browser.js("return [...document.querySelectorAll('#sheet li')].filter((l) => l.getBoundingClientRect().bottom <= innerHeight).length");
    println!("{whole} visits on the sheet at 1280×720");
    assert!(whole.as_u64().unwrap() >= 12, "{whole}");
}

/// A camera is placed by a press on the sketch, and moved by arrow keys.
#[test]
fn a_camera_is_placed_on_the_sketch() {
    let place = Place::new();
    place.put("cards/Oak/IMG_1.JPG", picture_at("2025:11:01 06:41:27"));
    let corner = "[[-90.71,43.09],[-90.69,43.09],[-90.69,43.11],[-90.71,43.11],[-90.71,43.09]]";
    place.put(
        "land.geojson",
        format!("{{\"type\":\"Feature\",\"properties\":{{\"kind\":\"boundary\"}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[{corner}]}}}}"),
    );
    let desk = Running::on(place.path());
    let browser = Browser::open(1280, 900, false);
    browser.go(&desk.page("log.html"));
    browser.wait_until("return document.getElementById('cameras-heading')");
    let hand = Keyboard(&browser);
    browser.js("document.getElementById('cameras-heading').parentElement.querySelector('.keys:last-child button').focus()");
    browser.press(&ENTER.to_string());
    browser.wait_until("return document.querySelector('svg.sketch .land')");
    hand.write("[name=camera]", "Oak");
    // A quarter of the land's width from its western edge, and as far from its northern one.
    browser.js("document.querySelector('svg.sketch').scrollIntoView({ block: 'center' })");
    let at = browser.js("const r = document.querySelector('svg.sketch .land').getBoundingClientRect(); return [r.left + r.width / 4, r.top + r.height / 4]");
    browser.tap(at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
    let read = || -> [f64; 2] {
        ["latitude", "longitude"].map(|n| {
            let text =
                browser.js(&format!("return document.querySelector('form [name={n}]').value"));
            text.as_str().unwrap().parse().unwrap_or(0.0)
        })
    };
    browser.wait_until("return document.querySelector('form [name=latitude]').value");
    let [latitude, longitude] = read();
    assert!((latitude - 43.105).abs() < 2e-4, "{latitude}");
    assert!((longitude + 90.705).abs() < 3e-4, "{longitude}");
    hand.reach("svg.sketch");
    browser.press("\u{e013}");
    let [north, _] = read();
    let moved_m = (north - latitude) * 111_195.0;
    assert!((moved_m - 5.0).abs() < 1.2, "{moved_m} m");
    hand.press("form .keys button:not([type])");
    browser.wait_until("return document.getElementById('said').textContent === 'Saved'");
    let written = fs::read_to_string(place.path().join("cameras.csv")).unwrap();
    assert!(written.contains("Oak,43.105"), "{written}");
}

/// A number of the debrief leads to its visits, and a visit to its pictures.
#[test]
fn a_number_leads_to_its_visits() {
    let place = Place::practice(&["--weeks", "5"]);
    let desk = Running::on(place.path());
    let browser = Browser::open(1280, 720, false);
    browser.go(&desk.page("debrief.html"));
    browser.wait_until("return Boolean(document.getElementById('report')?.contentDocument?.querySelector('td [data-of=season] a'))");
    let words = browser.js("const a = document.getElementById('report').contentDocument.querySelector('td [data-of=season] a'); const words = a.textContent; a.click(); return words");
    let words = words.as_str().unwrap();
    let number = |n: usize| words.split([' ', '\u{a0}']).nth(n).unwrap().replace(',', "");
    let (counted, all) = (number(0), number(2));
    browser.wait_until("return document.querySelectorAll('#behind li').length");
    let said = browser.text("#behind strong");
    assert!(said.starts_with(&format!("{counted} of {all} visits")), "{words}: {said}");
    let shown = || browser.js("return document.querySelectorAll('#behind li').length").to_string();
    assert_eq!(shown(), all);
    browser.js("document.querySelector('#behind input').click()");
    assert_eq!(shown(), counted);
    browser.js("document.querySelector('#behind li a').click()");
    browser.wait_until("return document.querySelector('#picture img')?.complete");
}
