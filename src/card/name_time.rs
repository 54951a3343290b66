//! Times in the names of files, as cameras and programs write them (common practice).

use std::collections::BTreeMap;
use std::path::Path;

use chrono::{Datelike, NaiveDate, NaiveDateTime};

use super::stamp::plausible;
use super::{CameraTime, Picture, Stamp, TimeOrigin, Untimed};
use crate::property::DateOrder;

/// Fourteen digits with the year first: whole, as 8 + 6, or with one mark between the groups.
const YEAR_FIRST: &[&[usize]] = &[&[14], &[8, 6], &[4, 2, 2, 2, 2, 2], &[4, 2, 2, 6]];
/// The same with the year behind day and month.
const YEAR_LAST: &[&[usize]] = &[&[14], &[8, 6], &[2, 2, 4, 2, 2, 2], &[2, 2, 4, 6]];

/// The time in a file's name, where the name can be read in one way only: year first, then month,
/// day, hour, minute and second, with or without marks between them, as in
/// `CAM2_20251108_064127.jpg` or `2025-11-08 06.41.27.jpg`.
pub(super) fn from_name(path: &Path, today: NaiveDate) -> Option<Result<Stamp, Untimed>> {
    let time = only(path, YEAR_FIRST, "%Y%m%d%H%M%S")?;
    Some(stamped(time, today))
}

/// Gives pictures that carry no time the one in their names where these put the day or the month first.
/// Such a name may fit two dates; the camera's other names settle it (a number over 12 is no month), or
/// else what the property says of its dates.
pub(super) fn settle(pictures: &mut [Picture], said: Option<DateOrder>, today: NaiveDate) {
    let mut cameras: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (i, picture) in pictures.iter().enumerate() {
        let without = matches!(picture.time, Err(Untimed::Absent | Untimed::Damaged));
        if without && ORDERS.iter().any(|o| read(picture.file(), *o).is_some()) {
            cameras.entry(picture.camera.to_string()).or_default().push(i);
        }
    }
    for of_camera in cameras.values() {
        let fits = |order: &DateOrder| {
            let mut all = of_camera.iter().map(|i| pictures[*i].file());
            all.all(|file| read(file, *order).is_some())
        };
        let fitting: Vec<DateOrder> = ORDERS.into_iter().filter(fits).collect();
        let order = match fitting[..] {
            [one] => Some(one),
            [] => None,
            _ => said,
        };
        for i in of_camera {
            let picture = &mut pictures[*i];
            if let Some(time) = order.and_then(|o| read(picture.file(), o)) {
                picture.time = stamped(time, today);
            }
        }
    }
}

const ORDERS: [DateOrder; 2] = [DateOrder::DayFirst, DateOrder::MonthFirst];

fn read(path: &Path, order: DateOrder) -> Option<NaiveDateTime> {
    let form = match order {
        DateOrder::DayFirst => "%d%m%Y%H%M%S",
        DateOrder::MonthFirst => "%m%d%Y%H%M%S",
    };
    only(path, YEAR_LAST, form)
}

fn stamped(time: NaiveDateTime, today: NaiveDate) -> Result<Stamp, Untimed> {
    plausible(CameraTime::new(time), today).map(|time| Stamp {
        time,
        origin: TimeOrigin::Name,
        offset: None,
    })
}

/// The one time that a name gives in one form.
fn only(path: &Path, shapes: &[&[usize]], form: &str) -> Option<NaiveDateTime> {
    let name = path.file_stem()?.to_string_lossy().into_owned();
    let mut found: Vec<NaiveDateTime> = runs(&name, shapes)
        .iter()
        .filter_map(|digits| NaiveDateTime::parse_from_str(digits, form).ok())
        .filter(|t| (2000..2100).contains(&t.year()))
        .collect();
    found.dedup();
    let [time] = found[..] else { return None };
    Some(time)
}

/// Every run of fourteen digits in one of the shapes, with one mark at most between its groups.
fn runs(name: &str, shapes: &[&[usize]]) -> Vec<String> {
    let groups: Vec<(usize, &str)> = name
        .split(|c: char| !c.is_ascii_digit())
        .map(|g| (g.as_ptr() as usize - name.as_ptr() as usize, g))
        .collect();
    let mut found = Vec::new();
    for start in 0..groups.len() {
        for shape in shapes {
            let Some(run) = groups.get(start..start + shape.len()) else {
                continue;
            };
            let lengths = run.iter().zip(*shape).all(|((_, g), l)| g.len() == *l);
            let close = run.windows(2).all(|w| w[1].0 - (w[0].0 + w[0].1.len()) <= 1);
            if lengths && close {
                found.push(run.iter().map(|(_, g)| *g).collect());
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn today() -> NaiveDate {
        NaiveDate::from_ymd_opt(2025, 12, 1).unwrap()
    }

    fn times(names: &[&str], said: Option<DateOrder>) -> Vec<Option<String>> {
        let picture = |name: &&str| {
            Picture::plain(format!("cards/Oak/{name}"), "Oak".into(), 1000, Err(Untimed::Absent))
        };
        let mut pictures: Vec<Picture> = names.iter().map(picture).collect();
        settle(&mut pictures, said, today());
        let shown = |p: &Picture| p.time.as_ref().ok().map(|s| s.time.to_string());
        pictures.iter().map(shown).collect()
    }

    #[test]
    fn day_and_month_first_are_settled_by_the_other_names() {
        let eighth = Some("2025-11-08 06:41:27".to_owned());
        let both = ["11082025_064127.JPG", "10252025_190000.JPG"];
        assert_eq!(times(&both, None)[0], eighth);
        assert_eq!(times(&["08112025064127.JPG", "25102025190000.JPG"], None)[0], eighth);
        // Alone it fits two dates, and what the property says of its dates settles it.
        let alone = ["11082025_064127.JPG"];
        assert_eq!(times(&alone, None), [None]);
        assert_eq!(times(&alone, Some(DateOrder::MonthFirst)), [eighth]);
        // Two orders on one camera settle nothing.
        let mixed = ["10252025_190000.JPG", "25102025_190000.JPG"];
        assert_eq!(times(&mixed, Some(DateOrder::DayFirst)), [None, None]);
    }

    #[test]
    fn names_that_carry_a_time_and_names_that_only_look_so() {
        let time = |name: &str| {
            from_name(Path::new(name), today()).and_then(Result::ok).map(|s| s.time.to_string())
        };
        for name in [
            "20251108064127.jpg",
            "CAM2_20251108_064127.jpg",
            "2025-11-08 06.41.27.jpg",
            "PICT-2025_11_08_06_41_27-3.JPG",
            "2025-11-08_064127.mp4",
        ] {
            assert_eq!(time(name).as_deref(), Some("2025-11-08 06:41:27"), "{name}");
        }
        for name in [
            "11082025064127.jpg",
            "08-11-2025 06.41.27.jpg",
            "IMG_0001.JPG",
            "120251108064127.jpg",
            "20251308_064127.jpg",
            "20251108.jpg",
        ] {
            assert_eq!(time(name), None, "{name}");
        }
    }
}
