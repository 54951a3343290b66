//! From the numbers of a debrief to the visits behind them.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use graylight::debrief::{Behind, Debrief};
use graylight::practice::Options;
use graylight::report::{self, ReportOptions};
use serde_json::Value;

use crate::desk_support::Running;
use crate::support::Place;

/// A number in a page: its words, and what it carries to ask for its visits.
struct Number {
    words: String,
    carried: BTreeMap<String, String>,
}

impl Number {
    fn is_hidden_way(&self) -> bool {
        self.words.starts_with("The visits") || self.words.starts_with("Those at")
    }
}

fn numbers(page: &str) -> Vec<Number> {
    let mut numbers = Vec::new();
    for part in page.split("<span").skip(1) {
        let (head, rest) = part.split_once('>').unwrap();
        if !head.contains("data-of=") {
            continue;
        }
        let words = rest.split_once("</span>").unwrap().0;
        let carried = head.split(" data-").skip(1).map(|pair| {
            let (name, value) = pair.split_once('=').unwrap();
            let value = value.trim().trim_matches('"');
            let plain = value.replace("&quot;", "\"").replace("&amp;", "&");
            (name.to_owned(), plain)
        });
        numbers.push(Number { words: words.to_owned(), carried: carried.collect() });
    }
    numbers
}

fn page(debrief: &Debrief) -> String {
    let options = ReportOptions { with_places: false, with_photos: false };
    let files = report::files(debrief, options).unwrap();
    let page = files.iter().find(|(name, _)| name == "report.html");
    String::from_utf8(page.unwrap().1.clone()).unwrap()
}

/// What words say of visits: `11 of 34 visits, 32 % …` how many in light and how many, `of 34 visits, half …` and
/// `3 visits` how many; a rate says neither.
fn told(words: &str) -> (Option<usize>, Option<usize>) {
    let words = words.replace('\u{a0}', " ");
    let words: Vec<&str> = words.split(' ').collect();
    let number = |word: &str| word.replace(',', "").parse().ok();
    match words[..] {
        [all] => (None, number(all)),
        ["of", all, ..] => (None, number(all)),
        [counted, "of", all, ..] => (number(counted), number(all)),
        [all, visits, ..] if visits.starts_with("visit") => (None, number(all)),
        _ => (None, None),
    }
}

#[test]
fn behind_every_number_lie_as_many_visits() {
    let three_seasons =
        Options { seasons: 3, weeks: 8, size: 2.0, pictures: false, ..Options::default() };
    let one_disturbance = Options {
        with_last_season: true,
        with_country: true,
        pictures: false,
        ..Options::default()
    };
    let mut of = BTreeMap::new();
    let (mut told_of, mut of_one_deer, mut only_light) = (0, 0, 0);
    for options in [three_seasons, one_disturbance] {
        let place = Place::practice(&options);
        let debrief = place.debrief();
        let page = page(&debrief);
        for number in numbers(&page) {
            let asked = serde_json::to_value(&number.carried).unwrap();
            let asked: Behind = serde_json::from_value(asked).unwrap();
            let visits = debrief.visits_behind(&asked);
            let visits = visits.unwrap_or_else(|| panic!("{} {asked:?}", number.words));
            let counted = visits.iter().filter(|(_, v)| v.counted).count();
            assert!(!visits.is_empty(), "{asked:?}");
            if !number.is_hidden_way() {
                let (light, all) = told(&number.words);
                let expected = (light.unwrap_or(counted), all.unwrap_or(visits.len()));
                told_of += usize::from(all.is_some());
                assert_eq!((counted, visits.len()), expected, "{} {asked:?}", number.words);
            }
            of_one_deer += usize::from(number.carried.contains_key("deer"));
            only_light += usize::from(number.carried.contains_key("only"));
            *of.entry(number.carried["of"].clone()).or_insert(0) += 1;
        }
    }
    assert!(told_of > 100, "{told_of}");
    let enough = |what: &str| of.get(what).is_some_and(|n| *n > 10);
    for what in ["season", "change", "years", "deer", "stand", "weather"] {
        assert!(enough(what), "{of:?}");
    }
    let few = (of.get("again"), of_one_deer, only_light);
    assert!(few.0.is_some() && few.1 > 0 && few.2 > 0, "{few:?}");
}

#[test]
fn a_number_leads_to_pictures_of_its_visits() {
    let place = Place::practice(&Options { weeks: 5, pixel: 2, ..Options::default() });
    let debrief = place.debrief();
    let number = numbers(&page(&debrief)).into_iter().find(|n| {
        n.carried["of"] == "change" && n.carried.contains_key("camera") && !n.is_hidden_way()
    });
    let number = number.unwrap();
    let desk = Running::on(place.path());
    let mut query = url(&number.carried);

    // Before there is a debrief the page asks for one.
    assert_eq!(desk.get(&query).status, 404);
    let start = Instant::now();
    while desk.get("api/report").json()["made"].is_null() {
        assert!(start.elapsed() < Duration::from_secs(60));
        std::thread::sleep(Duration::from_millis(50));
    }
    let answer = desk.get(&query).json();
    let visits = answer["visits"].as_array().unwrap();
    let (counted, all) = told(&number.words);
    assert_eq!(
        (answer["counted"].as_u64(), visits.len()),
        (counted.map(|n| n as u64), all.unwrap())
    );
    let camera = &number.carried["camera"];
    for visit in visits {
        assert_eq!(visit["camera"], **camera);
        let screen = desk.visit(visit["picture"]["visit"].as_u64().unwrap());
        let shown = screen["pictures"].as_array().unwrap();
        let first = shown.iter().find(|p| p["id"] == visit["picture"]["id"]);
        let tags = &first.unwrap()["tags"];
        let is_of_kind = |tag: &Value| tag["who"] == "buck" && tag["age"].as_f64() >= Some(3.5);
        assert!(tags.as_array().unwrap().iter().any(is_of_kind), "{screen}");
        let time = visit["time"].as_str().unwrap();
        assert_eq!(first.unwrap()["time"], time);
    }

    query = query.replace("of=change", "of=years");
    assert_eq!(desk.get(&query).status, 404, "no such number");
    assert_eq!(desk.get("api/behind?of=nothing").status, 400);
}

fn url(carried: &BTreeMap<String, String>) -> String {
    let safe = |text: &str| text.replace('%', "%25").replace(' ', "%20").replace('&', "%26");
    let pairs: Vec<String> = carried.iter().map(|(k, v)| format!("{k}={}", safe(v))).collect();
    format!("api/behind?{}", pairs.join("&"))
}
