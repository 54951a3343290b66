//! Surveys and data sets, against the same counted elsewhere.
//!
//! Sources: rates, occupancy and ranges by pandas, overlap of daily patterns by scipy from the formulas of Ridout &
//! Linkie (2009) and Taylor (2008), Parquet read by DuckDB and pyarrow; all in `tests/reference/dataset.py`.

use std::fs;
use std::path::Path;

use chrono::NaiveDate;
use graylight::exchange::survey::{self, Survey, SurveyOptions};
use graylight::practice::Options;
use graylight::report::{self, ReportOptions};
use graylight::tags::Who;
use polars::prelude::{DataFrame, ParquetReader, SerReader};
use serde_json::Value;

use crate::scripts;
use crate::support::{Place, graylight};

fn by_script(what: &str, path: &Path) -> Value {
    scripts::by_script("dataset.py", what, path)
}

fn options(occasion_days: u32) -> SurveyOptions {
    SurveyOptions {
        season: None,
        occasion_days,
        today: NaiveDate::from_ymd_opt(2026, 2, 1).unwrap(),
    }
}

fn close(a: f64, b: f64, by: f64) -> bool {
    (a - b).abs() <= by * b.abs().max(1.0)
}

#[test]
fn a_survey_counts_what_pandas_and_scipy_count() {
    let place = Place::practice(&Options {
        seasons: 2,
        weeks: 8,
        size: 1.5,
        pixel: 2,
        ..Options::default()
    });
    let debrief = place.debrief();
    let folder = tempfile::tempdir().unwrap();
    let tables = ReportOptions { with_places: false, with_photos: false };
    for (name, bytes) in report::files(&debrief, tables).unwrap() {
        if ["days.csv", "visits.csv"].contains(&name.as_str()) {
            fs::write(folder.path().join(name), bytes).unwrap();
        }
    }
    let expected = by_script("survey", folder.path());
    let counted = Survey::of(&debrief, &options(7)).unwrap();
    assert_eq!(expected["season"], counted.season.name());
    let key = |site: usize| {
        let site = &counted.sites[site];
        format!("{} {}", site.camera, site.placement)
    };
    for (i, site) in counted.sites.iter().enumerate() {
        assert_eq!(expected["nights"][key(i)], site.nights, "{}", key(i));
    }
    let mut compared = 0;
    for (i, species) in counted.species.iter().enumerate() {
        let theirs = &expected["rates"][&species.name];
        if species.kind.is_none() {
            assert!(theirs.is_null());
            continue;
        }
        for rate in counted.rates.iter().filter(|r| r.species == i) {
            let Some(site) = rate.site else {
                let all = rate.per_100_nights.unwrap();
                assert!(close(all.value, theirs["all"].as_f64().unwrap(), 1e-9));
                let half = theirs["half"].as_f64().unwrap();
                assert!(close(all.high - all.value, half, 1e-6), "{all:?} {half}");
                continue;
            };
            let their_site = &theirs["sites"][key(site)];
            assert_eq!(their_site[0], rate.events, "{} {}", species.name, key(site));
            if let Some(told) = rate.per_100_nights {
                assert!(close(told.value, their_site[2].as_f64().unwrap(), 1e-9));
                compared += 1;
            }
        }
        let o = &counted.occupancy[i];
        let their = &expected["occupancy"][&species.name];
        assert_eq!(
            (&their[0], &their[1]),
            (&o.seen_at.into(), &o.sites.into()),
            "{}",
            species.name
        );
        for (site, row) in o.seen.iter().enumerate() {
            let cells: Vec<Value> =
                row.iter().map(|c| c.map_or(Value::Null, |s| u8::from(s).into())).collect();
            assert_eq!(
                expected["detections"][&species.name][key(site)],
                Value::Array(cells),
                "{} {}",
                species.name,
                key(site)
            );
        }
    }
    assert!(compared > 20, "{compared}");
    let mut overlaps = 0;
    for o in &counted.overlaps {
        let [a, b] = o.species.map(|s| counted.species[s].name.as_str());
        let theirs = &expected["overlaps"][format!("{a} {b}")];
        if theirs.is_null() {
            continue;
        }
        for (i, ours) in [o.estimate.delta1, o.estimate.delta4].into_iter().enumerate() {
            let theirs = theirs[i].as_f64().unwrap();
            // A curve of 128 samples and minutes to a tenth.
            assert!(close(ours, theirs, 2e-3), "{a} {b} {i}: {ours} {theirs}");
        }
        let told = o.estimate.told.unwrap();
        assert!(told.low < told.value && told.value <= told.high, "{told:?}");
        overlaps += 1;
    }
    assert!(overlaps >= 3, "{overlaps}");

    // The files say the same, and a folder that holds something is not touched.
    let to = folder.path().join("survey");
    survey::write(&counted, &to).unwrap();
    let effort = fs::read_to_string(to.join("effort.csv")).unwrap();
    assert_eq!(effort.lines().count(), counted.sites.len() + 1);
    let json: Value = serde_json::from_slice(&fs::read(to.join("survey.json")).unwrap()).unwrap();
    assert_eq!(json["species"].as_array().unwrap().len(), counted.species.len());
    assert!(survey::write(&counted, &to).is_err());
}

/// The range of an overlap holds the true one about as often as it says: two patterns whose overlap is known
/// (von Mises densities, integrated by the midpoint rule), drawn 60 times each.
#[test]
fn ranges_of_overlaps_hold_the_truth() {
    use graylight::measure::activity_overlap;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use std::f64::consts::TAU;
    let turn = |angle: f64| (angle / TAU).rem_euclid(1.0) * 1440.0;
    let weight = |x: f64, middle: f64| (2.0 * ((x - middle).cos() - 1.0)).exp();
    const STEPS: usize = 10_000;
    let grid = || (0..STEPS).map(|i| (i as f64 + 0.5) / STEPS as f64 * TAU);
    let whole: f64 = grid().map(|x| weight(x, 0.0)).sum();
    let truth =
        |apart: f64| grid().map(|x| weight(x, 0.0).min(weight(x, apart))).sum::<f64>() / whole;
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    for (n, apart) in [(30, 1.0), (80, 0.7)] {
        let mut draw = |middle: f64| -> Vec<f64> {
            let mut points = Vec::new();
            while points.len() < n {
                use rand::RngExt;
                let x = rng.random::<f64>() * TAU;
                if rng.random::<f64>() < weight(x, middle) {
                    points.push(turn(x));
                }
            }
            points
        };
        let (mut held, mut sum) = (0, 0.0);
        const WORLDS: usize = 60;
        for world in 0..WORLDS {
            let (a, b) = (draw(0.0), draw(apart));
            let found = activity_overlap(&a, &b, 1440.0, world as u64).unwrap();
            assert_eq!(found.is_delta4, n >= 50);
            let told = found.told.unwrap();
            held += usize::from((told.low..=told.high).contains(&truth(apart)));
            sum += told.value;
        }
        let mean = sum / WORLDS as f64;
        println!("n {n}: true {:.3}, mean {mean:.3}, held {held} of {WORLDS}", truth(apart));
        assert!((mean - truth(apart)).abs() < 0.05, "{n}: {mean} {}", truth(apart));
        assert!(held * 100 >= WORLDS * 88, "{n}: {held}");
    }
}

#[test]
fn a_survey_of_what_is_not_there_is_refused() {
    let place = Place::practice(&Options { weeks: 2, pixel: 2, ..Options::default() });
    let survey = |more: &[&str]| {
        let mut command = graylight();
        command.arg("survey").arg(place.path()).args(more);
        let output = command.output().unwrap();
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    let (done, said) = survey(&["--season", "1999-00"]);
    assert!(!done && said.contains("there is no season 1999-00"), "{said}");
    let (done, said) = survey(&["--occasion-days", "0"]);
    assert!(!done && said.contains("1 to 60 days"), "{said}");
}

#[test]
fn two_readers_find_one_data_set_and_a_new_season_rewrites_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let set = folder.path().join("set");
    let append = |property: &Path, more: &[&str]| {
        let mut command = graylight();
        command.arg("share").arg(property).arg("--to").arg(&set);
        command.arg("--dataset").args(more).output().unwrap()
    };
    let place = Place::practice(&Options { seasons: 2, weeks: 11, pixel: 2, ..Options::default() });
    let other = Place::practice(&Options { weeks: 4, seed: 3, pixel: 2, ..Options::default() });
    assert!(append(place.path(), &["--coordinates", "0.1"]).status.success());
    let stamps = || {
        let mut all: Vec<(String, std::time::SystemTime)> = walkdir::WalkDir::new(&set)
            .into_iter()
            .flatten()
            .filter(|e| e.file_type().is_file())
            .map(|e| (e.path().display().to_string(), e.metadata().unwrap().modified().unwrap()))
            .collect();
        all.sort();
        all
    };
    let before = stamps();
    // The same again writes nothing, and another property nothing of the first.
    assert!(append(place.path(), &["--coordinates", "0.1"]).status.success());
    assert_eq!(stamps(), before);
    let more = ["--coordinates", "none", "--as", "lower-forty"];
    assert!(append(other.path(), &more).status.success());
    assert!(before.iter().all(|file| stamps().contains(file)));

    let found = by_script("read", &set);
    assert_eq!(found["visits_without_a_day"], 0);
    assert_eq!(found["minutes_from_utc"], serde_json::json!([-360, -300]));
    let debrief = place.debrief();
    let id = "sorrel-hollow-practice";
    for sum in found["sums"].as_array().unwrap().iter().filter(|s| s[0] == id) {
        let year = debrief.season.years.iter().find(|y| sum[1] == *y.name()).unwrap();
        let kind = graylight::visits::Kind::parse(sum[2].as_str().unwrap()).unwrap();
        let visits: Vec<_> = debrief
            .season
            .cameras
            .iter()
            .flat_map(|c| c.visits_between(kind, year.first(), year.last()))
            .collect();
        let legal = visits.iter().filter(|v| v.light.is_legal()).count();
        assert_eq!((&sum[3], &sum[4]), (&visits.len().into(), &legal.into()), "{sum}");
    }
    // What is stated of the columns is what is there.
    let stated = fs::read_to_string(set.join("columns.csv")).unwrap();
    for table in ["days", "visits", "pictures", "placements", "events", "settings"] {
        let mut named: Vec<&str> = stated
            .lines()
            .filter_map(|l| l.strip_prefix(&format!("{table},"))?.split(',').next())
            .filter(|c| !c.is_empty())
            .collect();
        named.sort_unstable();
        assert_eq!(found[table]["columns"], serde_json::json!(named), "{table}");
    }
    // Another property by a name that is taken is told from it by its cameras.
    let stranger = Place::practice(&Options { weeks: 2, pixel: 2, ..Options::default() });
    let cards = stranger.path().join("cards");
    for camera in fs::read_dir(&cards).unwrap().flatten() {
        let name = format!("X {}", camera.file_name().to_string_lossy());
        fs::rename(camera.path(), cards.join(name)).unwrap();
    }
    for table in ["cameras.csv", "tags.csv"] {
        fs::remove_file(stranger.path().join(table)).unwrap();
    }
    let refused = append(stranger.path(), &["--coordinates", "none"]);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success() && said.contains("it is another one"), "{said}");
    for (wrong, words) in
        [("Ridge Farm", "no name for a property"), ("../x", "no name for a property")]
    {
        let refused = append(place.path(), &["--coordinates", "none", "--as", wrong]);
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(!refused.status.success() && said.contains(words), "{said}");
    }
    let without = append(place.path(), &[]);
    assert!(!without.status.success());
}

/// A table of one season, as its file has it.
fn part(set: &Path, table: &str, id: &str, season: &str) -> DataFrame {
    let below = format!("{table}/property={id}/season={season}/part.parquet");
    let file = fs::File::open(set.join(below)).unwrap();
    ParquetReader::new(file).finish().unwrap()
}

/// What is left out of the places must not come back by the sun: minutes from sunrise give a place away.
#[test]
fn places_are_in_a_data_set_as_exactly_as_was_chosen() {
    let place = Place::practice(&Options { weeks: 3, pixel: 2, ..Options::default() });
    let folder = tempfile::tempdir().unwrap();
    let sun = |how: &str| -> Vec<Vec<Option<f64>>> {
        let set = folder.path().join(how);
        let mut command = graylight();
        command.arg("share").arg(place.path()).arg("--to").arg(&set);
        let command = command.args(["--dataset", "--as", "here", "--coordinates", how]);
        assert!(command.output().unwrap().status.success());
        let visits = part(&set, "visits", "here", "2025-26");
        let column = |name: &str| visits.column(name).unwrap().f64().unwrap().to_vec();
        let names = ["minutes_after_sunrise", "minutes_before_sunset", "sun_minute"];
        names.map(column).to_vec()
    };
    let (exact, grid, none) = (sun("exact"), sun("0.5"), sun("none"));
    assert!(exact.iter().flatten().all(Option::is_some));
    assert!(none.iter().flatten().all(Option::is_none));
    // By the sun of the cell's middle: all cameras of a cell have one place.
    let apart = |a: &[Vec<Option<f64>>], b: &[Vec<Option<f64>>]| {
        let pairs = a.iter().flatten().zip(b.iter().flatten());
        pairs.map(|(a, b)| (a.unwrap() - b.unwrap()).abs()).fold(0.0, f64::max)
    };
    let most = apart(&exact, &grid);
    assert!((0.1..3.0).contains(&most), "{most}");
    let there = part(&folder.path().join("0.5"), "placements", "here", "2025-26");
    let latitudes = there.column("latitude").unwrap().f64().unwrap();
    assert!(latitudes.iter().flatten().all(|l| (l / 0.5).fract() == 0.5));
}

#[test]
fn what_was_taken_out_goes_and_what_is_something_else_stays() {
    let place = Place::practice(&Options { weeks: 3, pixel: 2, ..Options::default() });
    let folder = tempfile::tempdir().unwrap();
    let set = folder.path().join("set");
    let append = |to: &Path| {
        let mut command = graylight();
        command.arg("share").arg(place.path()).arg("--to").arg(to);
        let command = command.args(["--dataset", "--as", "here", "--coordinates", "none"]);
        let output = command.output().unwrap();
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    assert!(append(&set).0);
    assert!(part(&set, "events", "here", "2025-26").height() > 0);
    // A kill's leavings in one of the folders, and a log that was emptied.
    let left = set.join("events/property=here/season=2025-26/.graylight-abc");
    fs::write(&left, "places").unwrap();
    let log = place.path().join("disturbances.csv");
    let headings = fs::read_to_string(&log).unwrap().lines().next().unwrap().to_owned();
    fs::write(&log, headings + "\n").unwrap();
    assert!(append(&set).0);
    assert_eq!(part(&set, "events", "here", "2025-26").height(), 0);
    assert!(!left.exists());

    let reports = folder.path().join("reports");
    fs::create_dir(&reports).unwrap();
    fs::write(reports.join("columns.csv"), "file,column,unit,meaning\n").unwrap();
    let (done, said) = append(&reports);
    assert!(!done && said.contains("something else than a data set"), "{said}");
    assert_eq!(fs::read_dir(&reports).unwrap().count(), 1);
}

/// Two animals on one picture keep each its own note, and so do two bucks.
#[test]
fn notes_stay_with_their_animals() {
    let place = Place::new();
    let mut tags = "picture,who,count,age,note\n".to_owned();
    for day in 1..=12 {
        let file = format!("cards/Oak/IMG_{day:03}.JPG");
        place.put(&file, crate::place::picture_at(&format!("2025:10:{day:02} 08:00:00")));
        tags += &format!("{file},other,1,,coyote\n{file},other,1,,turkey\n");
        tags += &format!("{file},buck,1,4.5,left\n{file},buck,1,3.5,right\n");
    }
    place.put("tags.csv", tags);
    let debrief = place.debrief();
    let notes = |who: Who| -> Vec<String> {
        let rows = debrief.tagged.sightings.rows().unwrap().filter(|r| r.who == who);
        rows.map(|r| r.note.unwrap().to_owned()).collect()
    };
    assert_eq!(notes(Who::Other), ["coyote", "turkey"].repeat(12));
    assert_eq!(notes(Who::Buck), ["left", "right"].repeat(12));
    let survey = Survey::of(&debrief, &options(7)).unwrap();
    for animal in ["coyote", "turkey"] {
        let species = survey.species.iter().find(|s| s.name == animal).expect(animal);
        assert_eq!(species.events.iter().map(Vec::len).sum::<usize>(), 12, "{animal}");
    }
}
