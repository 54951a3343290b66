//! How much of the moon is lit, and how high it stands.

use super::sky::{InSky, Sky};
use crate::property::Position;

/// The moon at a moment and a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moon {
    /// The lit part of its disc, 0 to 1.
    pub lit: f64,
    /// Degrees above the horizon as it is seen from the ground, without refraction; negative below it.
    pub elevation_deg: f64,
}

/// A term of the moon's orbit: its size and the angle it goes with, in degrees at the epoch and per century.
type Term = (f64, f64, f64);

/// Low-precision formulas of the Astronomical Almanac (section D, "Low-precision formulae for geocentric coordinates
/// of the Moon"; coefficients from memory): longitude within 0.3 degrees, latitude within 0.2.
const LONGITUDE: [Term; 6] = [
    (6.29, 135.0, 477_198.87),
    (-1.27, 259.3, -413_335.36),
    (0.66, 235.7, 890_534.22),
    (0.21, 269.9, 954_397.74),
    (-0.19, 357.5, 35_999.05),
    (-0.11, 186.5, 966_404.03),
];
const LATITUDE: [Term; 4] = [
    (5.13, 93.3, 483_202.02),
    (0.28, 228.2, 960_400.89),
    (-0.28, 318.3, 6_003.15),
    (-0.17, 217.6, -407_332.21),
];
/// Of its horizontal parallax, with cosines.
const PARALLAX: [Term; 4] = [
    (0.0518, 135.0, 477_198.87),
    (0.0095, 259.3, -413_335.36),
    (0.0078, 235.7, 890_534.22),
    (0.0028, 269.9, 954_397.74),
];
const DAYS_PER_CENTURY: f64 = 36_525.0;

impl Moon {
    /// At a moment in minutes since 1970-01-01T00:00 UTC.
    pub fn at(minute: f64, place: Position) -> Self {
        let sky = Sky::at(minute);
        let centuries = sky.days / DAYS_PER_CENTURY;
        let angle = |t: &Term| (t.1 + t.2 * centuries).to_radians();
        let sines = |terms: &[Term]| terms.iter().map(|t| t.0 * angle(t).sin()).sum::<f64>();
        let longitude_deg = 218.32 + 481_267.881 * centuries + sines(&LONGITUDE);
        let latitude = sines(&LATITUDE).to_radians();
        let cosines = PARALLAX.iter().map(|t| t.0 * angle(t).cos()).sum::<f64>();
        let parallax = (0.9508 + cosines).to_radians();

        let from_centre = sky.elevation_deg(body(sky, longitude_deg.to_radians(), latitude), place);
        // Seen from the ground it stands lower than from the centre of the earth.
        let lower_deg = parallax.to_degrees() * from_centre.to_radians().cos();
        Self {
            lit: lit(sky, longitude_deg.to_radians(), latitude),
            elevation_deg: from_centre - lower_deg,
        }
    }
}

fn body(sky: Sky, longitude: f64, latitude: f64) -> InSky {
    let obliquity = (23.439 - 0.000_000_4 * sky.days).to_radians();
    let x = latitude.cos() * longitude.cos();
    let y = obliquity.cos() * latitude.cos() * longitude.sin() - obliquity.sin() * latitude.sin();
    let z = obliquity.sin() * latitude.cos() * longitude.sin() + obliquity.cos() * latitude.sin();
    InSky {
        right_ascension: y.atan2(x),
        sin_declination: z,
        cos_declination: (1.0 - z * z).max(0.0).sqrt(),
    }
}

/// The lit part from the angle between moon and sun (Meeus 1998, Astronomical Algorithms, chapter 48, the sun taken
/// as infinitely far away).
fn lit(sky: Sky, longitude: f64, latitude: f64) -> f64 {
    let mean_anomaly = (357.528 + 0.985_600_3 * sky.days).to_radians();
    let sun = (280.460
        + 0.985_647_4 * sky.days
        + 1.915 * mean_anomaly.sin()
        + 0.020 * (2.0 * mean_anomaly).sin())
    .to_radians();
    let apart = (latitude.cos() * (longitude - sun).cos()).clamp(-1.0, 1.0);
    (1.0 - apart) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minute(text: &str) -> f64 {
        let time: chrono::NaiveDateTime = text.parse().unwrap();
        time.and_utc().timestamp() as f64 / 60.0
    }

    /// Meeus 1998, Astronomical Algorithms, example 48.a: 1992 April 12 at 0 h, 68 % lit (from memory).
    #[test]
    fn a_worked_example() {
        let place = Position::new(43.1, -90.7).unwrap();
        let moon = Moon::at(minute("1992-04-12T00:00:00"), place);
        assert!((moon.lit - 0.6786).abs() < 0.01, "{}", moon.lit);
    }
}
