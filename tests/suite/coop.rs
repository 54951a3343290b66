//! Many properties, against the same counted elsewhere, in worlds without an effect, and with one of them broken.
//!
//! Sources: counts by DuckDB, changes and means by statsmodels and scipy, all in `tests/reference/coop.py`.

#[path = "../bench/coop_worlds.rs"]
mod coop_worlds;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use coop_worlds::{CoopWorld, STILL, play, without_an_effect};
use graylight::coop::{CoopVerdict, Happened, Record, from_text, happened};
use graylight::exchange::{Coordinates, dataset};
use graylight::measure::{Counts, Effect, critical, pooled, stratified_shares};
use graylight::practice::Options;
use graylight::shift::Question;
use graylight::visits::Kind;
use polars::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use serde_json::{Value, json};

use crate::scripts;
use crate::support::{Ends, Place, graylight};

fn by_script(what: &str, path: &Path) -> Value {
    scripts::by_script("coop.py", what, path)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * b.abs().max(1.0)
}

/// A data set of small practice properties, `farm-00` and so on, in a new folder.
fn data_set(properties: u64) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let made: Vec<Place> = (0..properties)
        .into_par_iter()
        .map(|seed| {
            Place::practice(&Options {
                seed,
                weeks: 12,
                size: 0.7,
                pictures: false,
                ..Options::default()
            })
        })
        .collect();
    for (i, place) in made.iter().enumerate() {
        let id = format!("farm-{i:02}");
        let set = folder.path().join("set");
        dataset::append(&place.debrief(), Coordinates::LeftOut, Some(&id), &set).unwrap();
    }
    folder
}

/// The event on 1 October at every second one, but the last two.
fn event(folder: &Path, properties: u64) -> PathBuf {
    let mut table = String::from("property,date\n");
    for i in 0..properties - 2 {
        let date = if i % 2 == 0 { "2025-10-01" } else { "" };
        table.push_str(&format!("farm-{i:02},{date}\n"));
    }
    let path = folder.join("event.csv");
    fs::write(&path, table).unwrap();
    path
}

fn coop(folder: &Path, to: &str) -> PathBuf {
    let to = folder.join(to);
    graylight()
        .args(["coop", "--event"])
        .arg(folder.join("event.csv"))
        .arg(folder.join("set"))
        .arg("--to")
        .arg(&to)
        .succeeds();
    to
}

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = folder.read_dir().unwrap().map(|e| e.unwrap().path());
    files
        .filter(|f| f.is_file())
        .map(|f| {
            let name = f.file_name().unwrap().to_str().unwrap().to_owned();
            (name, fs::read(&f).unwrap())
        })
        .collect()
}

fn rows(folder: &Path, table: &str) -> Vec<BTreeMap<String, String>> {
    let mut csv = csv::Reader::from_path(folder.join(table)).unwrap();
    let names = csv.headers().unwrap().clone();
    csv.records()
        .map(|row| {
            let row = row.unwrap();
            let named = names.iter().zip(row.iter());
            named.map(|(n, v)| (n.to_owned(), v.to_owned())).collect()
        })
        .collect()
}

fn kept(to: &Path) -> Vec<Record> {
    let mut files: Vec<PathBuf> =
        to.join("done").read_dir().unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let record = |f: &PathBuf| {
        let text = fs::read_to_string(f).unwrap();
        from_text(text.lines().nth(1).unwrap()).unwrap()
    };
    files.iter().map(record).collect()
}

#[test]
fn every_property_counts_what_duckdb_counts() {
    let folder = data_set(12);
    event(folder.path(), 12);
    let to = coop(folder.path(), "out");
    let theirs = by_script("counts", &folder.path().join("set"));
    let mut compared = 0;
    for record in kept(&to) {
        for season in &record.seasons {
            for (kind, ours) in Kind::ALL.iter().zip(&season.kinds) {
                let of = theirs.as_array().unwrap().iter().find(|row| {
                    row[0] == record.property && row[1] == season.season && row[2] == kind.word()
                });
                let expected = json!([
                    record.property,
                    season.season,
                    kind.word(),
                    season.nights,
                    ours.visits,
                    ours.light
                ]);
                assert_eq!(of.unwrap(), &expected);
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 12 * Kind::ALL.len());

    // Who took part, and what is told: nothing of fewer than five visits, no camera and no deer by name.
    let joined = rows(&to, "joined.csv");
    let part = |part: &str| joined.iter().filter(|r| r["part"] == part).count();
    assert_eq!((part("happened"), part("did not happen"), part("not named")), (5, 5, 2));
    for row in rows(&to, "properties.csv") {
        let count = |name: &str| row[name].parse::<i64>().ok();
        match row["hidden"].as_str() {
            "true" => assert!(count("visits").is_none() && row["share"].is_empty()),
            _ => {
                let (all, light) = (count("visits").unwrap(), count("light_visits").unwrap());
                assert!(light >= 5 && all - light >= 5, "{row:?}");
            }
        }
    }
    let told = files(&to).into_values().map(|b| String::from_utf8(b).unwrap());
    let told: String = told.chain(kept(&to).iter().map(|r| format!("{r:?}"))).collect();
    for name in ["North Fence", "Walnut Draw", "latitude", "A box blind"] {
        assert!(!told.contains(name), "{name}");
    }

    // A property's own change is told only where no count behind it is small.
    for (row, record) in joined.iter().zip(kept(&to)) {
        if row["part"] == "happened" {
            let date = row["date"].parse().unwrap();
            let change = record.change(date).unwrap().as_ref().unwrap();
            let sides = [change.before, change.after];
            let is_small = sides.iter().any(|s| s.light < 5);
            let dark_is_small = sides.iter().any(|s| s.visits - s.light < 5);
            assert_eq!(row["light_visits_change"].is_empty(), is_small, "{row:?}");
            assert_eq!(row["share_change"].is_empty(), is_small || dark_is_small);
        }
    }

    // Another run reads nothing and says the same, on one core too; a property that changed is read again.
    let before = files(&to);
    assert_eq!(files(&coop(folder.path(), "out")), before);
    fs::remove_file(to.join("done/farm-03.json")).unwrap();
    fs::write(to.join("done/farm-04.json"), "cut sho").unwrap();
    assert_eq!(files(&coop(folder.path(), "out")), before);
    assert_eq!(files(&coop(folder.path(), "again")), before);
}

/// A file that is cut short, one that is missing, one of another version, days that tell of other visits, and one that
/// is no Parquet: each left out with what is wrong, and the others the same as without them.
#[test]
fn a_broken_property_is_left_out_and_told() {
    let folder = data_set(7);
    event(folder.path(), 7);
    let sound = coop(folder.path(), "sound");
    let set = folder.path().join("set");
    let file = |table: &str, id: &str| {
        let below = set.join(format!("{table}/property={id}/season=2025-26"));
        below.join("part.parquet")
    };
    let copy = |id: &str| {
        for table in ["days", "visits"] {
            fs::create_dir_all(file(table, id).parent().unwrap()).unwrap();
            fs::copy(file(table, "farm-00"), file(table, id)).unwrap();
        }
    };
    for id in ["x-copy", "x-cut", "x-gone", "x-less", "x-other", "x-text", "x-version", "x-type"] {
        copy(id);
    }
    let bytes = fs::read(file("visits", "x-cut")).unwrap();
    fs::write(file("visits", "x-cut"), &bytes[..bytes.len() / 2]).unwrap();
    fs::remove_file(file("visits", "x-gone")).unwrap();
    fs::copy(file("visits", "farm-01"), file("visits", "x-other")).unwrap();
    fs::write(file("days", "x-text"), "camera,date\n").unwrap();
    let read = |path: &Path| ParquetReader::new(fs::File::open(path).unwrap()).finish().unwrap();
    let mut days = read(&file("days", "x-less"));
    let visits = days.column("visits").unwrap().u32().unwrap().clone();
    let is_told: BooleanChunked = visits.iter().map(|n| Some(n == Some(0))).collect();
    let mut fewer = days.filter(&is_told).unwrap();
    write_with_version(&mut fewer, &file("days", "x-less"));
    ParquetWriter::new(fs::File::create(file("days", "x-version")).unwrap())
        .finish(&mut days)
        .unwrap();
    let text = days.column("visits").unwrap().cast(&DataType::String).unwrap();
    days.with_column(text).unwrap();
    write_with_version(&mut days, &file("days", "x-type"));
    let to = coop(folder.path(), "out");
    let left_out: Vec<(String, String)> = rows(&to, "left-out.csv")
        .into_iter()
        .map(|r| (r["property"].clone(), r["why"].clone()))
        .collect();
    let expected = [
        ("x-copy", "it says the same as farm-00 to the last visit"),
        ("x-cut", "visits/property=x-cut/season=2025-26/part.parquet cannot be read"),
        ("x-gone", "visits/property=x-gone/season=2025-26/part.parquet is missing"),
        ("x-less", "there are visits on days that days do not tell of"),
        ("x-other", "days and visits do not agree"),
        ("x-text", "days/property=x-text/season=2025-26/part.parquet cannot be read"),
        ("x-type", "column visits is not a whole number"),
        ("x-version", "says no version of the data set, and this program reads version 2"),
    ];
    assert_eq!(left_out.len(), expected.len(), "{left_out:?}");
    for ((id, why), (expected_id, words)) in left_out.iter().zip(expected) {
        assert_eq!(id, expected_id);
        assert!(why.contains(words), "{id}: {why}");
        assert!(!why.contains(folder.path().to_str().unwrap()), "{why}");
    }
    let (sound, broken) = (files(&sound), files(&to));
    for table in ["seasons.csv", "properties.csv", "event.csv", "joined.csv", "other-dates.csv"] {
        assert_eq!(sound[table], broken[table], "{table}");
    }
}

fn write_with_version(table: &mut DataFrame, path: &Path) {
    use polars::io::parquet::write::KeyValueMetadata;
    let version = (dataset::VERSION_KEY.to_owned(), dataset::DATASET_VERSION.to_owned());
    ParquetWriter::new(fs::File::create(path).unwrap())
        .with_key_value_metadata(Some(KeyValueMetadata::from_static(vec![version])))
        .finish(table)
        .unwrap();
}

#[test]
fn changes_and_means_are_those_of_statsmodels() {
    let folder = tempfile::tempdir().unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let units: Vec<Vec<[u32; 4]>> = (0..40)
        .map(|_| {
            let strata = rng.random_range(1..=6);
            let one = |rng: &mut ChaCha8Rng| {
                let [n1, n2] = [(); 2].map(|()| rng.random_range(1..=30));
                [rng.random_range(0..=n1), n1, rng.random_range(0..=n2), n2]
            };
            (0..strata).map(|_| one(&mut rng)).collect()
        })
        .collect();
    let path = folder.path().join("units.json");
    fs::write(&path, json!(units).to_string()).unwrap();
    let theirs = by_script("change", &path);
    let mut compared = 0;
    for (unit, theirs) in units.iter().zip(theirs.as_array().unwrap()) {
        let of = |[b, n1, a, n2]: &[u32; 4]| {
            let counts = |hits: u32, trials: u32| Counts::new(hits as usize, trials as usize);
            (counts(*b, *n1), counts(*a, *n2))
        };
        let strata: Vec<_> = unit.iter().map(of).collect();
        let Some(ours) = stratified_shares(&strata) else {
            assert_eq!(theirs[1], 0.0);
            continue;
        };
        assert!(close(ours.log_ratio, theirs[0].as_f64().unwrap()), "{unit:?}");
        assert!(close(ours.information, theirs[1].as_f64().unwrap()), "{unit:?}");
        compared += 1;
    }
    assert!(compared > 30, "{compared}");

    let groups: Vec<Vec<[f64; 2]>> = (0..30)
        .map(|i| {
            let one = |rng: &mut ChaCha8Rng| {
                let wide = f64::from(i % 5) / 4.0;
                [rng.random_range(-1.0..1.0) * wide, rng.random_range(0.01..0.3)]
            };
            (0..rng.random_range(2..=40)).map(|_| one(&mut rng)).collect()
        })
        .collect();
    let path = folder.path().join("effects.json");
    fs::write(&path, json!(groups).to_string()).unwrap();
    let theirs = by_script("pooled", &path);
    let mut differ = 0;
    for (group, theirs) in groups.iter().zip(theirs.as_array().unwrap()) {
        let effects: Vec<Effect> = group
            .iter()
            .map(|[value, variance]| Effect { value: *value, variance: *variance })
            .collect();
        let ours = pooled(&effects).unwrap();
        let half = critical(ours.freedom) * ours.error;
        let new = ours.of_a_new_one(effects.len()).map(|e| e.high - e.value);
        for (name, ours) in [
            ("mean", Some(ours.mean)),
            ("error", Some(ours.error)),
            ("between", Some(ours.between)),
            ("half", Some(half)),
            ("new_half", new),
        ] {
            let theirs = theirs[name].as_f64();
            assert_eq!(ours.is_some(), theirs.is_some(), "{name}");
            if let (Some(ours), Some(theirs)) = (ours, theirs) {
                // Their between variance is solved to five digits.
                assert!((ours - theirs).abs() < 1e-4, "{name}: {ours} {theirs}");
            }
        }
        differ += usize::from(ours.between > 0.0);
    }
    assert!(differ > 10 && differ < 30, "{differ}");
}

fn clear(world: &CoopWorld, worlds: u64) -> usize {
    let is_clear = |seed: u64| {
        let played = play(world, seed);
        let answers = &played.answers.event.as_ref().unwrap().answers;
        answers.iter().any(|a| matches!(a.verdict, CoopVerdict::ClearDrop | CoopVerdict::ClearRise))
    };
    (0..worlds).into_par_iter().filter(|s| is_clear(*s)).count()
}

/// Forty each of the worlds of `cargo bench --bench coop`: of a truth of 5 %, 7 or more would be seen once in 200 times.
#[test]
fn worlds_without_an_effect_are_seldom_called_clear() {
    for world in without_an_effect() {
        let found = clear(&world, 40);
        println!("{}: {found}", world.name);
        assert!(found < 7, "{}: {found}", world.name);
    }
}

#[test]
fn an_effect_is_found_and_what_all_share_is_no_verdict() {
    let effect = CoopWorld { change: (-0.8, 0.2), ..STILL };
    let (mut found, mut held) = (0, 0);
    for seed in 0..20 {
        let played = play(&effect, seed);
        let share = &played.answers.event.unwrap().answers[Question::Share as usize];
        found += usize::from(share.verdict == CoopVerdict::ClearDrop);
        let new = share.new_property.unwrap();
        held += usize::from((new.low.ln()..=new.high.ln()).contains(&played.new));
    }
    assert!(found >= 16 && held >= 17, "{found} {held}");
    // At every property on one date: the rut alone would be called a change.
    let everywhere = CoopWorld { controls: 0, ..effect };
    let played = play(&everywhere, 1);
    for answer in played.answers.event.unwrap().answers {
        assert_eq!(answer.verdict, CoopVerdict::NoControl);
        assert!(answer.own.is_some() && answer.against.is_none());
        assert!(answer.other_dates.len() >= 3);
    }
    let few = CoopWorld { exposed: 4, ..effect };
    let played = play(&few, 1);
    for answer in played.answers.event.unwrap().answers {
        assert_eq!(answer.verdict, CoopVerdict::TooFewProperties);
        assert!(answer.own.is_none() && answer.p_value.is_none());
    }
}

/// Where it happened, every sixth visit in the dark has no tag from then on: it looks like more in light.
#[test]
fn pictures_that_nobody_tagged_after_it_happened_make_no_rise() {
    let untagged = CoopWorld { untagged_in_the_dark: 0.15, ..STILL };
    let played: Vec<_> = (0..20).map(|seed| play(&untagged, seed)).collect();
    let of = |verdict: CoopVerdict| {
        let share = |p: &&coop_worlds::Played| {
            p.answers.event.as_ref().unwrap().answers[Question::Share as usize].verdict == verdict
        };
        played.iter().filter(share).count()
    };
    assert_eq!(of(CoopVerdict::ClearRise), 0);
    assert!(of(CoopVerdict::NotTagged) > 0, "the world is no trap");
}

#[test]
fn the_table_of_an_event_is_read_as_people_save_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("event.csv");
    let read = |text: &str| {
        fs::write(&path, text).unwrap();
        happened(path.to_str().unwrap()).map_err(|e| format!("{e:#}"))
    };
    let Ok(Happened::Here(all)) = read("\u{feff}Property;Date\r\nfarm-1;15.11.2025\r\nfarm-2;\r\n")
    else {
        panic!("a table with a mark, semicolons and CRLF is one");
    };
    assert_eq!(all["farm-1"].unwrap().0.to_string(), "2025-11-15");
    assert_eq!(all["farm-2"], None);
    for (text, words) in [
        ("property,when\nfarm-1,2025-11-15\n", "line 1: there is no column \"date\""),
        ("property,date\nfarm-1,soon\n", "line 2"),
        (
            "property,date\nfarm-1,2025-11-15\nfarm-1,\n",
            "line 3: farm-1 stands there a second time",
        ),
        ("property,date\n,2025-11-15\n", "line 2: no property is named"),
        ("property,date\nfarm-1,2025-11-15\nfarm-2\n", "line 3: the row ends before the date"),
        ("property,date\nfarm-1,3/4/2025\n", "line 2: \"3/4/2025\" is no date, or could be two"),
        ("property,date\nfarm-1,\n", "nothing happened anywhere"),
    ] {
        let told = read(text).unwrap_err();
        assert!(told.contains(words), "{told}");
    }
    assert!(matches!(happened("2025-11-15"), Ok(Happened::Everywhere(_))));
    for text in ["15-11-25-1", "2025-13-01", "2999-01-01"] {
        let told = happened(text).unwrap_err().to_string();
        assert!(told.contains("no date"), "{told}");
    }
}
