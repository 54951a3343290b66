//! The day table is the one place from which counts come: whoever adds it up gets every number of the
//! report, and the report's files stay what they are called.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use chrono::NaiveDate;
use graylight::practice::Options;
use graylight::shift::Verdict;
use serde_json::Value;

use crate::support::{Ends, Place, graylight};

fn debrief(place: &Place, out: &Path) -> Value {
    let mut command = graylight();
    command.arg("debrief").arg(place.path()).arg("--out").arg(out);
    command.succeeds();
    serde_json::from_slice(&fs::read(out.join("findings.json")).unwrap()).unwrap()
}

/// One row of `days.csv`.
#[derive(Debug)]
struct Row {
    camera: String,
    placement: u32,
    kind: String,
    date: NaiveDate,
    light_visits: u64,
    visits: u64,
    worked: bool,
}

fn rows(out: &Path) -> Vec<Row> {
    let mut table = csv::Reader::from_path(out.join("days.csv")).unwrap();
    let headings: Vec<String> = table.headers().unwrap().iter().map(str::to_owned).collect();
    let row = |record: csv::StringRecord| {
        let cell = |name: &str| {
            let at = headings.iter().position(|h| h == name).unwrap();
            record[at].to_owned()
        };
        Row {
            camera: cell("camera"),
            placement: cell("placement").parse().unwrap(),
            kind: cell("kind"),
            date: cell("date").parse().unwrap(),
            light_visits: cell("light_visits").parse().unwrap(),
            visits: cell("visits").parse().unwrap(),
            worked: cell("worked").parse().unwrap(),
        }
    };
    table.records().map(|r| row(r.unwrap())).collect()
}

/// A season in which the touched camera was moved nine days before the blind went up.
fn with_a_move() -> Place {
    let place = Place::practice(&Options { pictures: false, ..Options::default() });
    let path = place.path().join("cameras.csv");
    let table = fs::read_to_string(&path).unwrap();
    let headings: Vec<&str> = table.lines().next().unwrap().split(',').collect();
    let at = |name: &str| headings.iter().position(|h| *h == name).unwrap();
    let mut lines: Vec<String> = table.lines().map(str::to_owned).collect();
    let moved: Vec<String> = lines[1].split(',').map(str::to_owned).collect();
    let with = |cells: &[(&str, &str)]| {
        let mut row = moved.clone();
        for (name, value) in cells {
            row[at(name)] = (*value).to_owned();
        }
        row.join(",")
    };
    lines[1] = with(&[("until", "2025-10-01"), ("setting", "old oak")]);
    lines.insert(2, with(&[("from", "2025-10-02"), ("setting", "new oak")]));
    fs::write(path, lines.join("\n") + "\n").unwrap();
    place
}

#[test]
fn every_count_of_the_report_is_a_sum_of_days() {
    let place = with_a_move();
    let out = tempfile::tempdir().unwrap();
    let findings = debrief(&place, out.path());
    let rows = rows(out.path());
    let sum = |wanted: &dyn Fn(&Row) -> bool| {
        let mine = rows.iter().filter(|r| wanted(r));
        mine.fold((0, 0, 0), |(light, all, nights), r| {
            (light + r.light_visits, all + r.visits, nights + u64::from(r.worked))
        })
    };
    for answer in findings["daylight"].as_array().unwrap() {
        let (camera, who) = (answer["camera"].as_str().unwrap(), answer["who"].as_str().unwrap());
        let (light, all, _) = sum(&|r| (camera == "*" || r.camera == camera) && r.kind == who);
        assert_eq!(answer["legal_light_visits"], light, "{camera} {who}");
        assert_eq!(answer["visits"], all, "{camera} {who}");
    }
    let mut moved = 0;
    for shift in findings["shifts"].as_array().unwrap() {
        let (camera, who) = (shift["camera"].as_str().unwrap(), shift["who"].as_str().unwrap());
        let day = |side: &str, end: &str| -> NaiveDate {
            shift[side][end].as_str().unwrap().parse().unwrap()
        };
        let first_after = day("after", "from");
        // All near cameras together are the sum of each.
        let together = camera == "*";
        let all = findings["shifts"].as_array().unwrap();
        let cameras: Vec<&str> = all
            .iter()
            .filter(|s| s["disturbance"] == shift["disturbance"] && s["who"] == who)
            .filter(|s| s["role"] == "near" && s["camera"] != "*" || !together)
            .map(|s| s["camera"].as_str().unwrap())
            .filter(|c| together || *c == camera)
            .collect();
        // A camera that was moved is another camera: only days at the place of the day itself count.
        let place_of = |camera: &str| {
            let mut here = rows.iter();
            here.find(|r| r.camera == camera && r.date == first_after).map(|r| r.placement)
        };
        for side in ["before", "after"] {
            let (from, until) = (day(side, "from"), day(side, "until"));
            let within = |r: &Row| {
                let of_row = cameras.contains(&r.camera.as_str()) && r.kind == who;
                of_row && (from..=until).contains(&r.date)
            };
            let at_place = |r: &Row| Some(r.placement) == place_of(&r.camera);
            let (light, all, nights) = sum(&|r| within(r) && at_place(r));
            let told = &shift[side];
            assert_eq!(told["legal_light_visits"], light, "{camera} {who} {side}");
            assert_eq!(told["visits"], all, "{camera} {who} {side}");
            assert_eq!(told["nights"], nights, "{camera} {who} {side}");
            moved += usize::from(sum(&within).2 > nights);
        }
    }
    assert!(moved >= 5, "the moved camera loses days before: {moved}");
    // The plot beside the table says the same number of nights.
    let plot = fs::read_to_string(out.path().join("activity-box-blind--north-fence.svg")).unwrap();
    let shift = findings["shifts"].as_array().unwrap().iter().find(|s| {
        s["camera"] == "North Fence" && s["disturbance"] == "box-blind" && s["who"] == "deer"
    });
    let nights = shift.unwrap()["before"]["nights"].as_u64().unwrap();
    assert!(plot.contains(&format!("in {nights} nights")), "{nights}");
}

fn plots(out: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(out).unwrap().map(Result::unwrap);
    let plots = entries.filter(|e| e.path().extension().is_some_and(|e| e == "svg"));
    plots.map(|e| (e.file_name().into_string().unwrap(), fs::read(e.path()).unwrap())).collect()
}

#[test]
fn plots_keep_their_names_and_go_when_they_are_no_more() {
    let place = Place::practice(&Options { pictures: false, ..Options::default() });
    // Chosen by the program, the days compared would follow what is logged around them.
    let settings = fs::read_to_string(place.path().join("property.toml")).unwrap();
    place.put("property.toml", settings.replace("# days = 21 ", "days = 21 # "));
    let out = tempfile::tempdir().unwrap();
    debrief(&place, out.path());
    let before = plots(out.path());
    let log = place.path().join("disturbances.csv");
    let old = fs::read_to_string(&log).unwrap();
    let (headings, rows) = old.split_once('\n').unwrap();
    let cells = headings.split(',').map(|h| match h {
        "id" => "mowing",
        "start" => "2025-09-20",
        "near" => "North Fence",
        _ => "",
    });
    let earlier = cells.collect::<Vec<_>>().join(",");
    fs::write(&log, format!("{headings}\n{earlier}\n{rows}")).unwrap();
    // What is somebody else's stays, whatever it is called, and so does a plot that somebody has written on.
    fs::write(out.path().join("activity-mine.svg"), "<svg>mine</svg>").unwrap();
    let season = fs::read_to_string(out.path().join("season.svg")).unwrap();
    fs::write(out.path().join("my season.svg"), &season).unwrap();
    let noted = season.replace("</svg>", "<text>here</text></svg>");
    fs::write(out.path().join("season-noted.svg"), noted).unwrap();
    debrief(&place, out.path());
    let with_earlier = plots(out.path());
    for (name, plot) in &before {
        assert!(with_earlier.contains_key(name), "{name} was renamed");
        // What is about the season and not about the log is the same picture too; ranges stop at what is
        // logged.
        assert!(
            name.starts_with("placebo")
                || name.starts_with("ranking")
                || with_earlier[name] == *plot
                || name.starts_with("season"),
            "{name}"
        );
    }
    assert!(with_earlier.keys().any(|n| n.contains("mowing")));
    fs::write(&log, &old).unwrap();
    debrief(&place, out.path());
    let mut left: BTreeSet<String> = plots(out.path()).into_keys().collect();
    for mine in ["activity-mine.svg", "my season.svg", "season-noted.svg"] {
        assert!(left.remove(mine), "{mine}");
    }
    // The report does not go among the property's own tables.
    let mut into_itself = graylight();
    into_itself.arg("debrief").arg(place.path()).arg("--out").arg(place.path());
    assert_eq!(into_itself.ends(), 1);
    assert_eq!(left, before.into_keys().collect());
}

fn files(out: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(out).unwrap().map(Result::unwrap);
    let file = |e: fs::DirEntry| {
        let bytes = fs::read(e.path()).unwrap();
        (e.file_name().into_string().unwrap(), bytes)
    };
    entries.map(file).collect()
}

/// Sums have one order and draws follow from names.
#[test]
fn the_order_of_cameras_changes_nothing() {
    let place = Place::practice(&Options {
        pictures: false,
        with_last_season: true,
        with_country: true,
        ..Options::default()
    });
    let out = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    debrief(&place, out[0].path());
    let table = fs::read_to_string(place.path().join("cameras.csv")).unwrap();
    let (headings, rows) = table.split_once('\n').unwrap();
    let turned: Vec<&str> = rows.lines().rev().collect();
    place.put("cameras.csv", format!("{headings}\n{}\n", turned.join("\n")));
    debrief(&place, out[1].path());
    let [first, second] = out.map(|out| files(out.path()));
    assert!(first.contains_key("conditions.csv") && first.contains_key("herd.csv"));
    assert!(first.keys().eq(second.keys()));
    for (name, bytes) in &first {
        assert!(second[name] == *bytes, "{name} follows the order of rows");
    }
}

/// What a person has put among a report's files, or changed there, is never written over.
#[test]
fn what_no_report_left_is_kept() {
    let place =
        Place::practice(&Options { pictures: false, cameras: 2, weeks: 6, ..Options::default() });
    let out = tempfile::tempdir().unwrap();
    let out = out.path();
    fs::write(out.join("ranking.svg"), "<svg>drawn by hand</svg>").unwrap();
    fs::write(out.join("report.html"), "mine").unwrap();
    debrief(&place, out);
    let kept = |name: &str| fs::read_to_string(out.join(name)).unwrap();
    assert_eq!(kept("ranking.kept-1.svg"), "<svg>drawn by hand</svg>");
    assert_eq!(kept("report.kept-1.html"), "mine");
    let first = files(out);
    assert!(first["report.html"].len() > 1000);
    // Every file is listed as b3sum would list it.
    let listed = kept("checksums.b3");
    for (name, bytes) in &first {
        let line = format!("{}  {name}\n", blake3::hash(bytes));
        let is_own = !name.contains("kept") && name != "checksums.b3";
        assert_eq!(listed.contains(&line), is_own, "{name}");
    }
    debrief(&place, out);
    assert!(files(out) == first, "a second report changes nothing");

    let table = kept("daylight.csv");
    fs::write(out.join("daylight.csv"), table.clone() + "my own row\n").unwrap();
    fs::write(out.join("ranking.svg"), "<svg>again</svg>").unwrap();
    debrief(&place, out);
    assert_eq!(kept("daylight.csv"), table);
    assert_eq!(kept("daylight.kept-1.csv"), table + "my own row\n");
    assert_eq!(kept("ranking.kept-2.svg"), "<svg>again</svg>");
    assert_eq!(kept("ranking.kept-1.svg"), "<svg>drawn by hand</svg>");
    // Where the list has gone, a plot still says itself whether it is as it was written.
    fs::remove_file(out.join("checksums.b3")).unwrap();
    fs::write(out.join("season.svg"), "<svg>over it</svg>").unwrap();
    debrief(&place, out);
    assert_eq!(kept("season.kept-1.svg"), "<svg>over it</svg>");
    let names = files(out).into_keys().filter(|n| n.contains("kept")).count();
    assert_eq!(names, 5);
}

/// Two disturbances whose ids differ in capitals alone are one id twice.
#[test]
fn ids_are_the_same_in_any_capitals() {
    let place = Place::practice(&Options { pictures: false, ..Options::default() });
    let log = "id,start,end,by,what,latitude,longitude,near\nblind,2025-10-11,,neighbour,A blind,,,North Fence\nBlind,2025-10-20,,own,Another,,,Walnut Draw\n";
    place.put("disturbances.csv", log);
    let read = place.debrief();
    assert_eq!(read.property.disturbances.len(), 1);
    let told: Vec<String> = read.problems.iter().map(ToString::to_string).collect();
    assert!(told.iter().any(|p| p.contains("disturbances.csv") && p.contains("Blind")), "{told:?}");
}

/// One camera alone, and its deer went dark: the numbers are told, and nothing is called clear, since the
/// season itself may have done it.
#[test]
fn without_anything_to_compare_with_nothing_is_clear() {
    let place = Place::practice(&Options { size: 3.0, pictures: false, ..Options::default() });
    let verdict = || {
        let debrief = place.debrief();
        let row = debrief
            .shifts
            .rows
            .iter()
            .find(|r| r.disturbance == "box-blind" && r.kind == graylight::visits::Kind::MatureBuck)
            .unwrap();
        assert!(row.share_change.unwrap().value < -0.2);
        assert!(row.p_value.unwrap() < 0.01);
        (row.verdict, row.pattern)
    };
    assert_eq!(verdict().0, Verdict::ClearDrop);
    let sightings = fs::read_to_string(place.path().join("sightings.csv")).unwrap();
    let (headings, rows) = sightings.split_once('\n').unwrap();
    let of_one = rows.lines().filter(|l| l.contains("North Fence"));
    let text = [headings].into_iter().chain(of_one).collect::<Vec<_>>().join("\n");
    place.put("sightings.csv", text + "\n");
    let cameras = fs::read_to_string(place.path().join("cameras.csv")).unwrap();
    let of_one =
        cameras.lines().take(1).chain(cameras.lines().filter(|l| l.contains("North Fence")));
    place.put("cameras.csv", of_one.collect::<Vec<_>>().join("\n") + "\n");
    assert_eq!(verdict(), (Verdict::NoControl, None));
    assert!(place.debrief().shifts.unlogged.is_empty());
    let said = graylight().arg("shift").arg(place.path()).output().unwrap();
    assert!(String::from_utf8(said.stdout).unwrap().contains("no control"));
}

/// Most people give no ages, and some tell no bucks apart: then the page is about whom it can speak of, says so
/// once, and has no rows of nothing.
#[test]
fn the_page_is_about_whom_the_tags_tell_of() {
    let place = Place::practice(&Options { size: 2.0, pictures: false, ..Options::default() });
    // Years of birth would give ages back.
    fs::remove_file(place.path().join("deer.csv")).unwrap();
    let path = place.path().join("sightings.csv");
    let whole = fs::read_to_string(&path).unwrap();
    let headings: Vec<&str> = whole.lines().next().unwrap().split(',').collect();
    let at = |name: &str| headings.iter().position(|h| *h == name).unwrap();
    let (age, who) = (at("age"), at("who"));
    let told = |change: &dyn Fn(usize, &mut Vec<String>)| {
        let mut lines = vec![whole.lines().next().unwrap().to_owned()];
        for (n, line) in whole.lines().skip(1).enumerate() {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            change(n, &mut cells);
            lines.push(cells.join(","));
        }
        fs::write(&path, lines.join("\n") + "\n").unwrap();
        let out = tempfile::tempdir().unwrap();
        let findings = debrief(&place, out.path());
        let page = fs::read_to_string(out.path().join("report.html")).unwrap();
        (findings["about"]["who"].as_str().unwrap().to_owned(), page)
    };
    let (kind, page) = told(&|_, _| {});
    assert_eq!(kind, "mature buck");
    assert!(!page.contains("have an age"));
    // A tenth of the ages left out changes nothing; a third does.
    assert_eq!(
        told(&|n, c| if n % 10 == 0 {
            c[age].clear()
        })
        .0,
        "mature buck"
    );
    assert_eq!(
        told(&|n, c| if n % 3 == 0 {
            c[age].clear()
        })
        .0,
        "buck"
    );
    let (kind, page) = told(&|_, c| c[age].clear());
    assert_eq!(kind, "buck");
    assert!(page.contains("None of") && page.contains("Bucks came in legal light on"), "{page}");
    let lower = page.to_lowercase();
    assert_eq!(lower.matches("mature buck").count(), 1, "once, in what ages would add");
    let (kind, page) = told(&|_, c| {
        c[age].clear();
        c[who] = "deer".to_owned();
    });
    assert_eq!(kind, "deer");
    assert!(page.contains("hardly told apart"));
    assert!(!page.contains("no visits"), "no rows of nothing");
    assert!(!page.to_lowercase().contains("mature buck"));
    // Told apart, and there is none; every buck aged, and none mature.
    let (kind, page) = told(&|_, c| c[who] = "doe".to_owned());
    assert_eq!(kind, "deer");
    assert!(page.contains("None of") && page.contains("are of bucks"), "{page}");
    let (kind, page) = told(&|_, c| {
        if c[who] == "buck" {
            c[age] = "1.5".to_owned();
        }
    });
    assert_eq!(kind, "buck");
    assert!(page.contains("No buck of 3.5 years or more") && !page.contains("have an age"));
}

/// A stray visit at the only other camera is no control: it neither makes a change clear nor hides one.
#[test]
fn one_stray_visit_is_no_control() {
    let rows = |before_of_five: u32, after_of_five: u32| -> String {
        let day = |day: u64| {
            let date = NaiveDate::from_ymd_opt(2025, 9, 10).unwrap() + chrono::Days::new(day);
            let in_light = if day < 21 { before_of_five } else { after_of_five };
            let visit = |n: u64| {
                let light = (day * 2 + n) % 5 < u64::from(in_light);
                let hour = if light { 17 } else { 22 };
                format!("Solo,{date}T{:02}:00,buck,4.5\n", hour + n)
            };
            visit(0) + &visit(1)
        };
        (0..42).map(day).collect()
    };
    let verdict = |others: &str| {
        let place = Place::new();
        place.put("sightings.csv", format!("camera,time,who,age\n{}{others}", rows(5, 0)));
        place.put("disturbances.csv", "id,start,near\nblind,2025-10-01,Solo\n");
        let debrief = place.debrief();
        let mut of_blind = debrief.shifts.of("blind", graylight::visits::Kind::MatureBuck);
        let solo = of_blind.find(|r| r.role == graylight::shift::Role::Near);
        (solo.unwrap().verdict, debrief.shifts.could_be_watched)
    };
    assert_eq!(verdict(""), (Verdict::NoControl, false));
    let stray = "Ctl,2025-09-12T10:00,buck,4.5\nCtl,2025-10-05T10:00,buck,4.5\n";
    assert_eq!(verdict(stray), (Verdict::NoControl, false));
    let dark = "Ctl,2025-09-12T10:00,buck,4.5\nCtl,2025-09-13T10:00,buck,4.5\nCtl,2025-10-05T23:00,buck,4.5\n";
    assert_eq!(verdict(dark).0, Verdict::NoControl);
    // One camera that stays as it was is a control, and so are four.
    let steady = |camera: &str| -> String {
        let day = |d| {
            let date = NaiveDate::from_ymd_opt(2025, 9, 10).unwrap() + chrono::Days::new(d);
            let hour = if d % 2 == 0 { 17 } else { 22 };
            format!("{camera},{date}T{hour}:30,buck,4.5\n")
        };
        (0..42).map(day).collect()
    };
    assert_eq!(verdict(&steady("Ctl")).0, Verdict::ClearDrop);
    let four: String = ["A", "B", "C", "D"].map(steady).concat();
    assert_eq!(verdict(&four), (Verdict::ClearDrop, true));
}

/// With a tenth of the pictures tagged a share is a share of that tenth, and the first sentence says so.
#[test]
fn the_first_sentence_says_how_far_the_tagging_has_come() {
    let place = Place::practice(&Options { weeks: 4, ..Options::default() });
    let page = || {
        let out = tempfile::tempdir().unwrap();
        debrief(&place, out.path());
        fs::read_to_string(out.path().join("report.html")).unwrap()
    };
    assert!(!page().contains("tagged so far"));
    let tags = fs::read_to_string(place.path().join("tags.csv")).unwrap();
    let some = tags.lines().enumerate().filter(|(n, _)| n % 10 == 0);
    let some: Vec<&str> = some.map(|(_, line)| line).collect();
    place.put("tags.csv", some.join("\n") + "\n");
    let said = page();
    let first = said.split("<div class=\"say").nth(1).unwrap();
    assert!(first.contains("<strong>Only ") && first.contains("tagged so far"), "{first}");
}
