//! From a place among the stars to a place above the horizon.

use crate::property::Position;

/// The sky at a moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sky {
    /// Days since 2000-01-01T12:00 UTC.
    pub days: f64,
    hours: f64,
}

/// A body among the stars: equatorial coordinates of date.
#[derive(Debug, Clone, Copy)]
pub(super) struct InSky {
    /// Radians.
    pub right_ascension: f64,
    pub sin_declination: f64,
    pub cos_declination: f64,
}

impl Sky {
    /// At a moment in minutes since 1970-01-01T00:00 UTC.
    pub fn at(minute: f64) -> Self {
        const TO_J2000_DAYS: f64 = 10_957.5;
        Self { days: minute / 1440.0 - TO_J2000_DAYS, hours: (minute / 60.0).rem_euclid(24.0) }
    }

    /// Radians since the body stood in the south (Michalsky 1988, Solar Energy 40(3):227-235).
    fn hour_angle(self, body: InSky, place: Position) -> f64 {
        let Self { days, hours } = self;
        let greenwich_h =
            6.697_375 + 0.065_709_824_2 * (days - hours / 24.0) + 1.002_737_909 * hours;
        (greenwich_h * 15.0 + place.longitude_deg).to_radians() - body.right_ascension
    }

    /// Degrees above the horizon, seen from the centre of the earth, without refraction.
    pub fn elevation_deg(self, body: InSky, place: Position) -> f64 {
        let hour_angle = self.hour_angle(body, place);
        let (sin_latitude, cos_latitude) = place.latitude_deg.to_radians().sin_cos();
        let sine = body.sin_declination * sin_latitude
            + body.cos_declination * cos_latitude * hour_angle.cos();
        sine.clamp(-1.0, 1.0).asin().to_degrees()
    }

    /// Degrees clockwise from north.
    pub fn bearing_deg(self, body: InSky, place: Position) -> f64 {
        let hour_angle = self.hour_angle(body, place);
        let (sin_latitude, cos_latitude) = place.latitude_deg.to_radians().sin_cos();
        let east = -body.cos_declination * hour_angle.sin();
        let north = body.sin_declination * cos_latitude
            - body.cos_declination * sin_latitude * hour_angle.cos();
        east.atan2(north).to_degrees().rem_euclid(360.0)
    }
}
