//! How high the sun stands, and where.

use super::sky::{InSky, Sky};
use crate::property::Position;

/// Elevation of the sun's centre above the horizon in degrees, without refraction, negative below it,
/// at a moment in minutes since 1970-01-01T00:00 UTC.
///
/// Low-precision formulas of the Astronomical Almanac (section C), as given in J. J. Michalsky 1988,
/// Solar Energy 40(3):227-235: within 0.01 degrees from 1950 to 2050.
pub fn elevation_deg(minute: f64, place: Position) -> f64 {
    let sky = Sky::at(minute);
    sky.elevation_deg(sun(sky), place)
}

/// Where the sun stands, degrees clockwise from north, at the same moment and from the same formulas.
pub fn bearing_deg(minute: f64, place: Position) -> f64 {
    let sky = Sky::at(minute);
    sky.bearing_deg(sun(sky), place)
}

fn sun(sky: Sky) -> InSky {
    let days = sky.days;
    let mean_longitude = 280.460 + 0.985_647_4 * days;
    let mean_anomaly = (357.528 + 0.985_600_3 * days).to_radians();
    let ecliptic_longitude =
        (mean_longitude + 1.915 * mean_anomaly.sin() + 0.020 * (2.0 * mean_anomaly).sin())
            .to_radians();
    let obliquity = (23.439 - 0.000_000_4 * days).to_radians();
    let (sin_longitude, cos_longitude) = ecliptic_longitude.sin_cos();
    let right_ascension = (obliquity.cos() * sin_longitude).atan2(cos_longitude);
    let sin_declination = obliquity.sin() * sin_longitude;
    let cos_declination = (1.0 - sin_declination * sin_declination).sqrt();
    InSky { right_ascension, sin_declination, cos_declination }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sun::SunDay;
    use chrono::NaiveDate;

    /// At sunrise and sunset the centre stands 50 arc minutes below the horizon, at civil dusk six
    /// degrees (definitions).
    #[test]
    fn at_the_suns_events_it_stands_where_they_are_defined() {
        for (latitude_deg, longitude_deg) in
            [(25.5, -81.0), (43.1, -90.7), (-34.0, 151.0), (60.0, 25.0)]
        {
            let place = Position { latitude_deg, longitude_deg };
            for day in (0..365).step_by(13) {
                let date = NaiveDate::from_yo_opt(2025, day + 1).unwrap();
                let sun = SunDay::on(date, place).unwrap();
                let at = |t: chrono::DateTime<chrono::Utc>| {
                    elevation_deg(t.timestamp_millis() as f64 / 60_000.0, place)
                };
                for (event, want) in [
                    (Some(sun.sunrise), -0.8333),
                    (Some(sun.sunset), -0.8333),
                    (sun.civil_dusk, -6.0),
                    (sun.civil_dawn, -6.0),
                ] {
                    let Some(event) = event else { continue };
                    assert!((at(event) - want).abs() < 0.1, "{date} {place:?}: {}", at(event));
                }
            }
        }
    }
}
