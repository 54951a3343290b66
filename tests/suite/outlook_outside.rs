//! What is said for the next season, against statsmodels, scipy, astropy and pvlib (`tests/reference/outlook.py`).

use graylight::measure::{
    Exposure, Seasonal, Stretch, goes_with, log_marginal, natural_spline, shrunk,
};
use graylight::property::Position;
use graylight::sun::{Moon, bearing_deg};
use serde_json::Value;

use crate::support::reference_json;

fn column(rows: &Value, name: &str) -> Vec<f64> {
    let rows = rows.as_array().unwrap();
    rows.iter().map(|r| r[name].as_f64().unwrap()).collect()
}

#[test]
fn a_season_is_taken_out_as_statsmodels_does() {
    let reference = reference_json("outlook.json");
    let rows = &reference["seasonal"];
    let knots = reference["knots"].as_u64().unwrap() as usize;
    let columns = natural_spline(&column(rows, "day"), knots);
    let fit = Seasonal::of(&column(rows, "count"), &column(rows, "effort"), columns).unwrap();
    for (ours, theirs) in fit.expected.iter().zip(column(rows, "expected")) {
        assert!((ours - theirs).abs() < 1e-5 * (1.0 + theirs), "{ours} {theirs}");
    }
    let other: Vec<Option<f64>> = column(rows, "other").into_iter().map(Some).collect();
    let left = fit.without_season(&other).unwrap();
    for (ours, theirs) in left.iter().zip(column(rows, "residual")) {
        assert!((ours - theirs).abs() < 1e-4, "{ours} {theirs}");
    }
    let excess: Vec<f64> =
        column(rows, "count").iter().zip(&fit.expected).map(|(y, m)| y - m).collect();
    let found =
        goes_with(&[Stretch { excess: &excess, expected: &fit.expected, other: &left, units: 2 }])
            .unwrap();
    let theirs = &reference["turned"];
    for (ours, name) in [
        (found.slope, "slope"),
        (found.error, "error"),
        (found.freedom, "freedom"),
        (found.p_value, "p_value"),
    ] {
        let theirs = theirs[name].as_f64().unwrap();
        assert!((ours / theirs - 1.0).abs() < 1e-3, "{name}: {ours} {theirs}");
    }
}

/// Gaver & O'Muircheartaigh 1987: the failures of ten pumps. Our grid is coarser than the reference's.
#[test]
fn pumps_speak_for_each_other() {
    let reference = reference_json("outlook.json");
    let rows = &reference["pumps"];
    let units: Vec<Exposure> = column(rows, "events")
        .into_iter()
        .zip(column(rows, "effort"))
        .map(|(events, effort)| Exposure { events, effort })
        .collect();
    let one = log_marginal(units[0], 0.4, 0.7);
    let theirs = reference["pump_log_marginal"].as_f64().unwrap();
    assert!((one - theirs).abs() < 1e-9, "{one} {theirs}");
    for (i, believed) in shrunk(&units).iter().enumerate() {
        let ours = believed.estimate();
        for (ours, name, tolerance) in
            [(ours.value, "mean", 0.02), (ours.low, "low", 0.03), (ours.high, "high", 0.03)]
        {
            let theirs = column(rows, name)[i];
            assert!((ours / theirs - 1.0).abs() < tolerance, "pump {i}, {name}: {ours} {theirs}");
        }
    }
}

/// Efron & Morris 1975: the first 45 times at bat foretell the rest of the season better when the players speak for each
/// other.
#[test]
fn players_foretold_together_are_foretold_better() {
    let reference = reference_json("outlook.json");
    let rows = &reference["baseball"];
    let (hits, rest) = (column(rows, "hits"), column(rows, "rest"));
    let units: Vec<Exposure> = hits.iter().map(|h| Exposure { events: *h, effort: 45.0 }).collect();
    let squares = |told: &dyn Fn(usize) -> f64| -> f64 {
        (0..rest.len()).map(|i| (told(i) - rest[i]).powi(2)).sum()
    };
    let believed = shrunk(&units);
    let (ours, raw) = (squares(&|i| believed[i].mean()), squares(&|i| hits[i] / 45.0));
    println!("sum of squares together {ours:.4}, each alone {raw:.4}");
    // Theirs was 3.5 times better, by another estimator for another scale.
    assert!(ours < 0.5 * raw, "{ours} {raw}");
    let inside = (0..rest.len()).filter(|i| {
        let e = believed[*i].estimate();
        (e.low..=e.high).contains(&rest[*i])
    });
    assert!(inside.count() >= 17);
}

#[test]
fn moon_and_sun_stand_where_astropy_and_pvlib_have_them() {
    let reference = reference_json("outlook.json");
    let (mut high, mut lit, mut bearing) = (0.0_f64, 0.0_f64, 0.0_f64);
    for row in reference["sky"].as_array().unwrap() {
        let number = |name: &str| row[name].as_f64().unwrap();
        let place = Position::new(number("latitude"), number("longitude")).unwrap();
        let time: chrono::NaiveDateTime = row["time"].as_str().unwrap().parse().unwrap();
        let minute = time.and_utc().timestamp() as f64 / 60.0;
        let moon = Moon::at(minute, place);
        high = high.max((moon.elevation_deg - number("moon_elevation_deg")).abs());
        lit = lit.max((moon.lit - number("moon_lit")).abs());
        let apart = bearing_deg(minute, place) - number("sun_bearing_deg");
        bearing = bearing.max(((apart + 180.0).rem_euclid(360.0) - 180.0).abs());
    }
    println!(
        "moon within {high:.3} degrees, lit within {lit:.4}, sun's bearing within {bearing:.3} degrees"
    );
    assert!(high < 0.5 && lit < 0.01 && bearing < 0.1);
}
