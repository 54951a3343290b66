//! The program as it is called: what it prints where, and its exit status.

use std::path::Path;

use crate::support::{Ends, Place, graylight};

#[test]
fn exit_status_says_what_happened() {
    assert_eq!(graylight().arg("--help").ends(), 0);
    assert_eq!(graylight().arg("dance").ends(), 2);
    assert_eq!(graylight().arg("debrief").ends(), 2);
    let output = graylight().args(["debrief", "/nowhere"]).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("/nowhere") && said.contains("property.toml"), "{said}");
    assert!(output.stdout.is_empty());
}

#[test]
fn practice_does_not_write_over_anything() {
    let place = Place::new();
    assert_eq!(graylight().arg("practice").arg(place.path()).ends(), 1);
    assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 1);
}

#[test]
fn a_settings_mistake_is_told_with_its_line() {
    let place = Place::new();
    place.put("property.toml", "name = \"x\"\nlatitude = north\n");
    let output = graylight().arg("debrief").arg(place.path()).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("line 2"), "{said}");
}

/// The committed practice property, as a visitor runs it.
#[test]
fn the_sample_cards_give_their_known_answer() {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-cards");
    let out = tempfile::tempdir().unwrap();
    // Other tests keep the cores busy meanwhile, so processor time is what is measured, and of one thread: several wait
    // for each other with the processor running.
    let output = std::process::Command::new("bash")
        .envs([("RAYON_NUM_THREADS", "1"), ("POLARS_MAX_THREADS", "1")])
        .args(["-c", "TIMEFORMAT='%U %S'; time \"$0\" debrief \"$1\" --out \"$2\" >/dev/null"])
        .arg(&*crate::support::PROGRAM)
        .arg(&sample)
        .arg(out.path())
        .output()
        .unwrap();
    assert!(output.status.success());
    let told = String::from_utf8(output.stderr).unwrap();
    let times = told.lines().last().unwrap().split(' ');
    let seconds: f64 = times.map(|t| t.parse::<f64>().unwrap()).sum();

    let read = |path: &Path| -> serde_json::Value {
        serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
    };
    let findings = read(&out.path().join("findings.json"));
    let answer = read(&sample.join("answer.json"));
    // Nothing is remembered of its pictures, so each is read, and some are looked at.
    const MOST_S_A_PICTURE: f64 = 0.0015;
    let found = findings["pictures"]["found"].as_f64().unwrap();
    println!("debrief of sample-cards: {seconds:.2} s, {found} pictures");
    assert!(seconds < MOST_S_A_PICTURE * found, "{seconds} s");
    for key in ["found", "unreadable", "duplicate", "tagged", "cut_short", "not_timed"] {
        assert_eq!(findings["pictures"][key], answer["files"][key], "{key}");
    }
    for known in answer["disturbances"].as_array().unwrap() {
        for row in findings["shifts"].as_array().unwrap() {
            if row["disturbance"] != known["disturbance"] || row["who"] != known["who"] {
                continue;
            }
            // One camera is near, so its row and that of all near cameras together say the same.
            let is_here = row["camera"] == known["camera"] || row["camera"] == "*";
            let here = is_here && known["effect"] == true;
            for key in ["verdict", "light_visits_verdict"] {
                let verdict = row[key].as_str().unwrap();
                assert_eq!(verdict == "clear drop", here, "{key} in {row}");
                assert_ne!(verdict, "clear rise", "{row}");
            }
        }
    }
}

/// What a visitor sees in the repository is what the program makes today.
#[test]
fn the_committed_season_and_report_are_current() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let fresh = tempfile::tempdir().unwrap();
    let season = fresh.path().join("season");
    graylight()
        .arg("practice")
        .arg(&season)
        .args(["--with-last-season", "--with-country"])
        .succeeds();
    same_files(&season, &root.join("sample-cards"));

    let report = fresh.path().join("report");
    graylight().arg("debrief").arg(root.join("sample-cards")).arg("--out").arg(&report).succeeds();
    same_files(&report, &root.join("reports"));
}

/// Every file below one folder is below the other, with the same bytes. Pictures are compared by
/// their header only: the last digits of drawing may differ between processors.
fn same_files(fresh: &Path, committed: &Path) {
    let files: Vec<_> = walkdir::WalkDir::new(fresh)
        .sort_by_file_name()
        .into_iter()
        .map(|e| e.unwrap())
        .filter(|e| e.file_type().is_file())
        .collect();
    assert!(files.len() > 5);
    for file in files {
        let below = file.path().strip_prefix(fresh).unwrap();
        let (new, old) = (
            std::fs::read(file.path()).unwrap(),
            std::fs::read(committed.join(below)).unwrap_or_default(),
        );
        let picture = below.extension().is_some_and(|e| e == "JPG");
        let compared = if picture { new.len().min(300) } else { new.len() };
        assert!(
            old.get(..compared) == Some(&new[..compared]),
            "{} is not what the program makes now; see DEVELOPERS.md, \"The committed season\"",
            below.display()
        );
    }
}
