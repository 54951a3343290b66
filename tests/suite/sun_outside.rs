//! Sunrise, sunset and civil twilight against the NREL Solar Position Algorithm (Reda & Andreas
//! 2004, by way of pvlib: `reference/sun.py`) and against published tables
//! (`reference/sun_published.json` names each).

use chrono::{DateTime, NaiveDate, Utc};
use graylight::property::Position;
use graylight::sun::SunDay;

use crate::support::{reference, reference_json};

fn number(record: &csv::StringRecord, i: usize) -> f64 {
    record[i].parse().unwrap()
}

fn unix_s(t: DateTime<Utc>) -> f64 {
    t.timestamp_millis() as f64 / 1000.0
}

#[test]
fn every_day_of_a_year_at_five_latitudes() {
    let mut table = csv::Reader::from_path(reference("sun.csv")).unwrap();
    let mut errors_s: Vec<f64> = Vec::new();
    let mut rows = 0;
    for record in table.records() {
        let record = record.unwrap();
        let place = Position::new(number(&record, 0), number(&record, 1)).unwrap();
        let date: NaiveDate = record[2].parse().unwrap();
        let day = SunDay::on(date, place).unwrap();
        let ours = [day.sunrise, day.sunset, day.civil_dawn.unwrap(), day.civil_dusk.unwrap()];
        for (i, ours) in ours.into_iter().enumerate() {
            let error_s = (unix_s(ours) - number(&record, 3 + i)).abs();
            assert!(error_s < 75.0, "{place:?} {date} event {i}: {error_s} s");
            errors_s.push(error_s);
        }
        rows += 1;
    }
    assert_eq!(rows, 5 * 365);
    errors_s.sort_by(f64::total_cmp);
    let median_s = errors_s[errors_s.len() / 2];
    let worst_s = errors_s[errors_s.len() - 1];
    println!("sun against SPA: median {median_s:.1} s, worst {worst_s:.1} s");
    assert!(median_s < 15.0, "median {median_s} s");
}

#[test]
fn published_tables() {
    let published = reference_json("sun_published.json");
    let times = published["times"].as_array().unwrap();
    assert!(times.len() >= 30);
    for entry in times {
        let place = Position::new(
            entry["latitude"].as_f64().unwrap(),
            entry["longitude"].as_f64().unwrap(),
        )
        .unwrap();
        let date: NaiveDate = entry["date"].as_str().unwrap().parse().unwrap();
        let day = SunDay::on(date, place).unwrap();
        let ours = match entry["event"].as_str().unwrap() {
            "sunrise" => day.sunrise,
            "sunset" => day.sunset,
            "civil_dawn" => day.civil_dawn.unwrap(),
            "civil_dusk" => day.civil_dusk.unwrap(),
            other => panic!("unknown event {other}"),
        };
        let error_s = (unix_s(ours) - entry["unix"].as_f64().unwrap()).abs();
        // A table to the minute is up to 30 s from its own event.
        assert!(error_s < 75.0, "{entry}: {error_s} s");
    }
}
