//! Invented trail-camera worlds.
//!
//! Each world says what one camera at one site would have recorded: when it was
//! triggered (true time), where the sun stood, what the picture looks like
//! (colour or grey) and what the camera wrote about flash, exposure and ISO.
//! Everything follows from a small physical model: sun and moon, clear-sky
//! illuminance, clouds, canopy, a light sensor with a threshold and hysteresis,
//! an exposure programme, animal activity and wind. The worlds know nothing of
//! any method that may later be tried on them.
//!
//! Random streams are kept apart: the traits of a camera are drawn from the
//! world and the seed only, so that the same seed is the same camera at any
//! date (except that laws given in minutes, those of `Canopy` and
//! `DuskUnlikeDawn`, are turned into light by the sun's pace in the middle of the
//! period); weather and triggers depend on the start date as well.
//!
//! Numbers without a named source are "common trade practice" or plain
//! assumptions of this module, as marked.
#![allow(dead_code)]

use chrono::{DateTime, Datelike, Duration, NaiveDate, NaiveTime, Utc};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp, Gamma, LogNormal, Normal, Poisson};

/// One picture as the world has it.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// The true moment.
    pub utc: DateTime<Utc>,
    /// The sun's true elevation: geometric, of the centre of the disc, without refraction.
    pub elevation_deg: f64,
    /// What looking at the pixels says: `Some(true)` in colour, `Some(false)` grey, `None` cannot be told.
    pub colour: Option<bool>,
    /// EXIF Flash bit 0, `None` where the camera does not write it.
    pub flash_fired: Option<bool>,
    /// EXIF ExposureTime.
    pub exposure_s: Option<f64>,
    /// EXIF PhotographicSensitivity.
    pub iso: Option<u32>,
}

/// The kinds of world.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum World {
    /// Plain infrared camera in open woods.
    OrdinaryWoods,
    /// Cameras whose change-over lies anywhere from well before sunset to well after it.
    Canopy,
    /// The change-over differs by 10 to 35 minutes between morning and evening.
    DuskUnlikeDawn,
    /// Runs of days on which daytime pictures look grey or cannot be told.
    FogAndSnow,
    /// Night pictures in colour by a white flash.
    WhiteFlash,
    /// White flash, and long runs of snowy days that look grey.
    WhiteFlashSnow,
    /// Grey by day and by night.
    AlwaysGrey,
    /// The infrared filter sticks for hours now and then.
    StickyFilter,
    /// Ordinary, but without flash, exposure and ISO.
    NoMetadata,
    /// Flash always the same, exposure and ISO constant nonsense.
    LyingFlash,
    /// Leaf fall opens the canopy and the change-over drifts.
    SlowLight,
    /// A very sensitive camera that stays in colour by bright moonlight.
    Moonlit,
    /// A lamp at the site keeps some evenings in colour until late.
    YardLight,
    /// For use near and beyond the polar circle.
    HighLatitude,
}

impl World {
    pub const ALL: [World; 14] = [
        World::OrdinaryWoods,
        World::Canopy,
        World::DuskUnlikeDawn,
        World::FogAndSnow,
        World::WhiteFlash,
        World::WhiteFlashSnow,
        World::AlwaysGrey,
        World::StickyFilter,
        World::NoMetadata,
        World::LyingFlash,
        World::SlowLight,
        World::Moonlit,
        World::YardLight,
        World::HighLatitude,
    ];

    pub fn name(self) -> &'static str {
        match self {
            World::OrdinaryWoods => "ordinary woods",
            World::Canopy => "canopy",
            World::DuskUnlikeDawn => "dusk unlike dawn",
            World::FogAndSnow => "fog and snow",
            World::WhiteFlash => "white flash",
            World::WhiteFlashSnow => "white flash, snow",
            World::AlwaysGrey => "always grey",
            World::StickyFilter => "sticky filter",
            World::NoMetadata => "no metadata",
            World::LyingFlash => "lying flash",
            World::SlowLight => "slow light",
            World::Moonlit => "moonlit",
            World::YardLight => "yard light",
            World::HighLatitude => "high latitude",
        }
    }

    /// Number of the world in the random streams. Never reuse or reorder.
    fn stream_number(self) -> u64 {
        match self {
            World::OrdinaryWoods => 1,
            World::Canopy => 2,
            World::DuskUnlikeDawn => 3,
            World::FogAndSnow => 4,
            World::WhiteFlash => 5,
            World::WhiteFlashSnow => 6,
            World::AlwaysGrey => 7,
            World::StickyFilter => 8,
            World::NoMetadata => 9,
            World::LyingFlash => 10,
            World::SlowLight => 11,
            World::Moonlit => 12,
            World::YardLight => 13,
            World::HighLatitude => 14,
        }
    }
}

/// Where the camera hangs. North and east positive.
#[derive(Debug, Clone, Copy)]
pub struct Site {
    pub latitude_deg: f64,
    pub longitude_deg: f64,
}

// ---------------------------------------------------------------------------
// Sky: positions of sun and moon
// ---------------------------------------------------------------------------

/// Days since J2000.0 (2000 January 1, 12h UTC). UT and TT are not told apart:
/// the difference of about 70 s moves the sun by 0.001 deg along the ecliptic.
fn days_since_j2000(utc: DateTime<Utc>) -> f64 {
    // 2000-01-01 12:00 UTC is Unix time 946 728 000 s.
    (utc.timestamp_millis() as f64 / 1000.0 - 946_728_000.0) / 86_400.0
}

/// Greenwich mean sidereal time in degrees.
/// Source: U.S. Naval Observatory, "Approximate Sidereal Time" (from memory).
fn greenwich_sidereal_deg(days: f64) -> f64 {
    (15.0 * (18.697_374_558 + 24.065_709_824_419_08 * days)).rem_euclid(360.0)
}

/// Right ascension and declination from ecliptic longitude and latitude, all in degrees.
fn equatorial_deg(
    ecliptic_longitude_deg: f64,
    ecliptic_latitude_deg: f64,
    days: f64,
) -> (f64, f64) {
    let (sin_o, cos_o) = (23.439 - 0.000_000_4 * days).to_radians().sin_cos();
    let (sin_l, cos_l) = ecliptic_longitude_deg.to_radians().sin_cos();
    let (sin_b, cos_b) = ecliptic_latitude_deg.to_radians().sin_cos();
    let x = cos_b * cos_l;
    let y = cos_o * cos_b * sin_l - sin_o * sin_b;
    let z = sin_o * cos_b * sin_l + cos_o * sin_b;
    (y.atan2(x).to_degrees().rem_euclid(360.0), z.asin().to_degrees())
}

/// Right ascension and declination of the sun, degrees. Good to about 0.01 deg, 1950 to 2050.
/// Source: Astronomical Almanac, page C5, "Low precision formulas for the Sun" (from memory).
fn sun_equatorial_deg(days: f64) -> (f64, f64) {
    let mean_longitude_deg = 280.460 + 0.985_647_4 * days;
    let mean_anomaly = (357.528 + 0.985_600_3 * days).to_radians();
    let longitude_deg =
        mean_longitude_deg + 1.915 * mean_anomaly.sin() + 0.020 * (2.0 * mean_anomaly).sin();
    equatorial_deg(longitude_deg, 0.0, days)
}

/// Ecliptic longitude and latitude of the moon, degrees. Good to about 0.3 deg.
/// Source: Astronomical Almanac, page D46 (later D22), low precision formulas for the Moon (from memory).
fn moon_ecliptic_deg(days: f64) -> (f64, f64) {
    let t = days / 36_525.0;
    let s = |a: f64, b: f64| (a + b * t).to_radians().sin();
    let longitude = 218.32 + 481_267.881 * t + 6.29 * s(135.0, 477_198.87)
        - 1.27 * s(259.3, -413_335.36)
        + 0.66 * s(235.7, 890_534.22)
        + 0.21 * s(269.9, 954_397.74)
        - 0.19 * s(357.5, 35_999.05)
        - 0.11 * s(186.5, 966_404.03);
    let latitude = 5.13 * s(93.3, 483_202.02) + 0.28 * s(228.2, 960_400.89)
        - 0.28 * s(318.3, 6_003.15)
        - 0.17 * s(217.6, -407_332.21);
    (longitude.rem_euclid(360.0), latitude)
}

/// Hour angle in degrees within -180..180, negative in the morning.
fn hour_angle_deg(days: f64, longitude_deg: f64, right_ascension_deg: f64) -> f64 {
    (greenwich_sidereal_deg(days) + longitude_deg - right_ascension_deg + 180.0).rem_euclid(360.0)
        - 180.0
}

/// Elevation from hour angle, declination and latitude: the spherical law of cosines.
fn elevation_deg(latitude_deg: f64, declination_deg: f64, hour_angle_deg: f64) -> f64 {
    let (sin_p, cos_p) = latitude_deg.to_radians().sin_cos();
    let (sin_d, cos_d) = declination_deg.to_radians().sin_cos();
    (sin_p * sin_d + cos_p * cos_d * hour_angle_deg.to_radians().cos())
        .clamp(-1.0, 1.0)
        .asin()
        .to_degrees()
}

/// The sun as one site sees it.
#[derive(Debug, Clone, Copy)]
struct Sun {
    elevation_deg: f64,
    hour_angle_deg: f64,
}

fn sun_at(site: &Site, utc: DateTime<Utc>) -> Sun {
    let days = days_since_j2000(utc);
    let (right_ascension_deg, declination_deg) = sun_equatorial_deg(days);
    let hour_angle_deg = hour_angle_deg(days, site.longitude_deg, right_ascension_deg);
    Sun {
        elevation_deg: elevation_deg(site.latitude_deg, declination_deg, hour_angle_deg),
        hour_angle_deg,
    }
}

/// How fast the sun crosses the horizon, degrees a minute; where it does not
/// cross, the pace at hour angle 90 (with a floor, for the poles).
fn horizon_pace_deg_per_min(site: &Site, utc: DateTime<Utc>) -> f64 {
    let (_, declination_deg) = sun_equatorial_deg(days_since_j2000(utc));
    let latitude = site.latitude_deg.to_radians();
    let declination = declination_deg.to_radians();
    let cos_h = -latitude.tan() * declination.tan();
    let sin_h = if cos_h.abs() < 0.95 { (1.0 - cos_h * cos_h).sqrt() } else { 0.6 };
    (0.25 * latitude.cos() * declination.cos() * sin_h).max(0.03)
}

// ---------------------------------------------------------------------------
// Light
// ---------------------------------------------------------------------------

/// Illuminance of a level surface under a clear sky, from the sun alone, with
/// the sky of a moonless night as the floor.
/// Source: P. M. Janiczek and J. A. DeYoung, "Computer Programs for Sun and Moon
/// Illuminance", U.S. Naval Observatory Circular 171, 1987 (polynomials from
/// memory; they were compared with the table of the RCA Electro-Optics Handbook,
/// also from memory: -18 deg 6.5e-4 lux, -12 deg 8.3e-3, -6 deg 3.4, 0 deg 732,
/// 10 deg 1.09e4, 90 deg 1.24e5).
fn clear_sky_lux(sun_elevation_deg: f64) -> f64 {
    let x = sun_elevation_deg.clamp(-18.0, 90.0) / 90.0;
    let [a, b, c, d] = if sun_elevation_deg >= 20.0 {
        [3.74, 3.97, -4.07, 1.47]
    } else if sun_elevation_deg >= 5.0 {
        [3.05, 13.28, -45.98, 64.33]
    } else if sun_elevation_deg >= -0.8 {
        [2.88, 22.26, -207.64, 1034.30]
    } else if sun_elevation_deg >= -5.0 {
        [2.88, 21.81, -258.11, -858.36]
    } else if sun_elevation_deg >= -12.0 {
        [2.70, 12.17, -431.69, -1899.83]
    } else {
        [13.84, 262.72, 1447.42, 2797.93]
    };
    10f64.powf(a + x * (b + x * (c + x * d)))
}

/// Illuminance of a level surface by the moon under a clear sky.
/// Magnitude against phase angle: C. W. Allen, "Astrophysical Quantities",
/// V = -12.73 + 0.026 |a| + 4e-9 a^4 (from memory); V = -12.73 is taken as
/// 0.32 lux above the air; extinction 0.25 mag per air mass, air mass by the
/// secant with a floor (assumption).
fn moon_lux(site: &Site, utc: DateTime<Utc>) -> f64 {
    let days = days_since_j2000(utc);
    let (longitude_deg, latitude_deg) = moon_ecliptic_deg(days);
    let (right_ascension_deg, declination_deg) = equatorial_deg(longitude_deg, latitude_deg, days);
    let hour_angle = hour_angle_deg(days, site.longitude_deg, right_ascension_deg);
    let geocentric_deg = elevation_deg(site.latitude_deg, declination_deg, hour_angle);
    // Horizontal parallax of the moon is about 0.95 deg.
    let altitude_deg = geocentric_deg - 0.95 * geocentric_deg.to_radians().cos();
    if altitude_deg <= 0.0 {
        return 0.0;
    }
    let (sun_ra_deg, sun_dec_deg) = sun_equatorial_deg(days);
    let (sin_a, cos_a) = declination_deg.to_radians().sin_cos();
    let (sin_b, cos_b) = sun_dec_deg.to_radians().sin_cos();
    let elongation_deg = (sin_a * sin_b
        + cos_a * cos_b * (right_ascension_deg - sun_ra_deg).to_radians().cos())
    .clamp(-1.0, 1.0)
    .acos()
    .to_degrees();
    let phase_angle_deg = 180.0 - elongation_deg;
    let sin_altitude = altitude_deg.to_radians().sin();
    let air_mass = 1.0 / sin_altitude.max(0.05);
    let dimming_mag = 0.026 * phase_angle_deg + 4.0e-9 * phase_angle_deg.powi(4) + 0.25 * air_mass;
    0.32 * 10f64.powf(-0.4 * dimming_mag) * sin_altitude
}

/// log10 of what the clouds let through, from a cloudiness index that is 0 at
/// its median. Runs from 0 (clear) to -1.25 (thick overcast lets about 1/18
/// through), with a deeper tail for storm clouds. Orders of magnitude as in
/// common meteorological tables (overcast noon 5 000 to 20 000 lux, storm 1 000
/// to 2 000 lux against 100 000 lux clear); the curve is an assumption.
fn cloud_log10_transmission(cloudiness: f64) -> f64 {
    let cover = 1.0 / (1.0 + (-1.3 * cloudiness).exp());
    -1.25 * cover - 0.35 * (cloudiness - 2.0).max(0.0)
}

/// Transmission of the median sky.
fn median_cloud_transmission() -> f64 {
    10f64.powf(cloud_log10_transmission(0.0))
}

/// What lies over a day besides ordinary clouds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum DayKind {
    Plain,
    /// Fog; lifts at the given local solar hour (25: not that day).
    Fog {
        lifts_at_hour: u8,
    },
    Snow,
}

/// Weather of the whole period.
struct Weather {
    cloudiness_by_hour: Vec<f64>,
    kind_by_day: Vec<DayKind>,
    wind_by_day: Vec<f64>,
}

impl Weather {
    fn new(world: World, days: u32, rng: &mut ChaCha8Rng) -> Weather {
        let unit = Normal::new(0.0, 1.0).expect("valid normal");
        let hours = days as usize * 24 + 2;
        let mut cloudiness_by_hour = Vec::with_capacity(hours);
        let mut day_part: f64 = unit.sample(rng);
        let mut next_day_part = 0.6 * day_part + 0.8 * unit.sample(rng);
        let mut hour_part: f64 = unit.sample(rng);
        for hour in 0..hours {
            if hour > 0 && hour % 24 == 0 {
                day_part = next_day_part;
                next_day_part = 0.6 * day_part + 0.8 * unit.sample(rng);
            }
            let share = (hour % 24) as f64 / 24.0;
            let daily = day_part * (1.0 - share) + next_day_part * share;
            // Hourly part forgets itself over about three hours.
            hour_part = 0.72 * hour_part + 0.694 * unit.sample(rng);
            cloudiness_by_hour.push(1.3 * daily + 0.8 * hour_part);
        }
        // Chance that a run of odd days starts, mean length of a run, share of fog runs.
        let (start_chance, mean_length, fog_share) = match world {
            World::FogAndSnow => (0.10, 4.0, 0.5),
            World::WhiteFlashSnow => (0.15, 8.0, 0.0),
            _ => (0.0, 1.0, 0.0),
        };
        let mut kind_by_day = Vec::with_capacity(days as usize + 1);
        let mut run: Option<bool> = None; // Some(is_fog)
        for _ in 0..=days {
            run = match run {
                None if rng.random_bool(start_chance) => Some(rng.random_bool(fog_share)),
                Some(_) if rng.random_bool(1.0 / mean_length) => None,
                other => other,
            };
            kind_by_day.push(match run {
                None => DayKind::Plain,
                Some(true) => DayKind::Fog {
                    lifts_at_hour: if rng.random_bool(0.4) { rng.random_range(9..14) } else { 25 },
                },
                Some(false) => DayKind::Snow,
            });
        }
        // Windy days bring many empty pictures: log-normal with mean 1.
        let windiness = LogNormal::new(-0.405, 0.9).expect("valid log-normal");
        let wind_by_day = (0..=days).map(|_| windiness.sample(rng)).collect();
        Weather { cloudiness_by_hour, kind_by_day, wind_by_day }
    }

    /// Clouds, fog and snow together as a factor on the light below, at minutes from the start.
    fn transmission(&self, minutes: f64) -> f64 {
        let hours = (minutes / 60.0).max(0.0);
        let index = (hours as usize).min(self.cloudiness_by_hour.len() - 2);
        let share = (hours - index as f64).clamp(0.0, 1.0);
        let cloudiness = self.cloudiness_by_hour[index] * (1.0 - share)
            + self.cloudiness_by_hour[index + 1] * share;
        let cover = 10f64.powf(cloud_log10_transmission(cloudiness));
        match self.kind_at(minutes) {
            DayKind::Plain => cover,
            // Fog below the clouds halves the light (assumption).
            DayKind::Fog { .. } => 0.5 * cover,
            // Snow on the ground throws light back up (assumption).
            DayKind::Snow => 1.5 * cover,
        }
    }

    fn day_index(&self, minutes: f64) -> usize {
        ((minutes / 1440.0).max(0.0) as usize).min(self.kind_by_day.len() - 1)
    }

    /// The kind of day at a moment; fog that has lifted no longer counts.
    fn kind_at(&self, minutes: f64) -> DayKind {
        match self.kind_by_day[self.day_index(minutes)] {
            DayKind::Fog { lifts_at_hour }
                if minutes.rem_euclid(1440.0) / 60.0 >= f64::from(lifts_at_hour) =>
            {
                DayKind::Plain
            }
            kind => kind,
        }
    }
}

/// How bare the trees are, 0 in full leaf, 1 without leaves. North: leaves fall
/// over the two months from 15 September to 15 November and come back in the
/// ten weeks from 10 April; south: half a year later. The dates are an
/// assumption for temperate broad-leaved woods.
fn bareness(latitude_deg: f64, utc: DateTime<Utc>) -> f64 {
    let shift_days = if latitude_deg < 0.0 { 182.6 } else { 0.0 };
    let day_of_year = (f64::from(utc.ordinal0()) + shift_days).rem_euclid(365.25);
    let fallen = ((day_of_year - 257.0) / 61.0).clamp(0.0, 1.0);
    let unfolded = ((day_of_year - 99.0) / 70.0).clamp(0.0, 1.0);
    1.0 - unfolded + fallen
}

// ---------------------------------------------------------------------------
// The camera
// ---------------------------------------------------------------------------

/// Which fields the camera writes.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Writes {
    All,
    FlashOnly,
    Nothing,
    /// Constant nonsense.
    Lies {
        flash: bool,
        exposure_s: f64,
        iso: u32,
    },
}

/// How a camera of the world `AlwaysGrey` comes to be grey.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum GreyCause {
    /// The picture is made grey whatever the light; the lamp follows the light sensor.
    StuckPicture,
    /// The light sensor always says night: the lamp fires at noon too.
    DeadLightSensor,
    /// Daylight pictures have so faint a tint that they look grey; the lamp follows the light.
    FaintTint,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum NightExposure {
    Fixed { exposure_s: f64, iso: u32 },
    ByDistance,
}

/// A lamp at the site, for the world `YardLight`.
#[derive(Debug, Clone, Copy)]
struct YardLamp {
    lux: f64,
    evening_chance: f64,
    morning_lamp: bool,
    usual_off_hour: f64,
}

struct Camera {
    /// Sensor illuminance below which it turns to grey, on an evening without error.
    to_grey_lux: f64,
    /// Sensor illuminance above which it turns to colour, on a morning without error.
    to_colour_lux: f64,
    /// Natural log of the extra light on a sensor facing the morning side; the evening has the opposite.
    morning_gain_ln: f64,
    /// The sensor works on the light of this many minutes ago.
    sensor_lag_min: f64,
    /// Natural-log error of the light sensor, per reading and per day.
    reading_error_ln: f64,
    day_error_ln: f64,
    /// Share of the open sky's light that reaches the camera, trees in full leaf.
    canopy_transmission: f64,
    /// Natural-log gain of that share when the leaves are down.
    leaf_fall_gain_ln: f64,
    white_flash: bool,
    grey_cause: Option<GreyCause>,
    yard_lamp: Option<YardLamp>,
    writes: Writes,
    f_number: f64,
    shortest_exposure_s: f64,
    /// Above this the camera raises the ISO before it lengthens the exposure further.
    handover_exposure_s: f64,
    longest_exposure_s: f64,
    lowest_iso: u32,
    highest_iso: u32,
    iso_in_steps: bool,
    night_exposure: NightExposure,
    lamp_lux_at_1_m: f64,
    burst_chance: f64,
    morning_share_ln: f64,
    night_weight: f64,
    wind_weight: f64,
}

/// A stream of random numbers for one purpose.
fn stream(world: World, seed: u64, purpose: u64, date_number: u64) -> ChaCha8Rng {
    let mut key = [0u8; 32];
    key[0..8].copy_from_slice(&seed.to_le_bytes());
    key[8..16].copy_from_slice(&world.stream_number().to_le_bytes());
    key[16..24].copy_from_slice(&purpose.to_le_bytes());
    key[24..32].copy_from_slice(&date_number.to_le_bytes());
    ChaCha8Rng::from_seed(key)
}

fn pick<T: Copy>(rng: &mut ChaCha8Rng, choices: &[T]) -> T {
    choices[rng.random_range(0..choices.len())]
}

/// Shape of the light on a sideways-facing sensor: +1 in the morning, -1 in the
/// evening, smooth through noon and midnight.
fn morning_side(hour_angle_deg: f64) -> f64 {
    (-3.0 * hour_angle_deg.to_radians().sin()).tanh()
}

impl Camera {
    fn new(world: World, site: &Site, middle: DateTime<Utc>, seed: u64) -> Camera {
        let mut rng = stream(world, seed, 1, 0);
        let unit = Normal::new(0.0, 1.0).expect("valid normal");
        let pace_deg_per_min = horizon_pace_deg_per_min(site, middle);
        let median_cloud = median_cloud_transmission();

        // Fields written: 60 % all, 20 % flash only, 20 % none.
        let draw: f64 = rng.random();
        let mut writes = if draw < 0.6 {
            Writes::All
        } else if draw < 0.8 {
            Writes::FlashOnly
        } else {
            Writes::Nothing
        };

        // Ordinary camera: threshold of a few lux at the sensor, under trees that
        // let about a fifth of the light through (common trade practice).
        let mut canopy_transmission =
            (0.2f64.ln() + 0.55 * unit.sample(&mut rng)).exp().clamp(0.02, 0.9);
        let mut threshold_lux = (2.5f64.ln() + 0.5 * unit.sample(&mut rng)).exp();
        let mut hysteresis_ratio: f64 = rng.random_range(1.3..2.8);
        let mut morning_gain_ln = 0.30 * unit.sample(&mut rng);
        let mut sensor_lag_min: f64 = rng.random_range(0.2..3.0);
        let mut leaf_fall_gain_ln = 0.0;
        let mut highest_iso = pick(&mut rng, &[800, 1600, 1600, 3200]);
        let mut longest_exposure_s = pick(&mut rng, &[1.0 / 30.0, 1.0 / 20.0, 1.0 / 15.0]);
        let mut yard_lamp = None;
        let mut grey_cause = None;
        let mut night_weight: f64 = rng.random_range(0.2..0.6);

        match world {
            World::Canopy => {
                // Change-over under the median sky, from 34 min before sunset to
                // 62 min after it; denser shade for the early ones.
                let after_sunset_min: f64 = rng.random_range(-34.0..62.0);
                let change_over_deg =
                    (-0.833 - after_sunset_min * pace_deg_per_min).clamp(-9.0, 6.0);
                let lateness = (6.0 - change_over_deg) / 15.0;
                canopy_transmission = 0.012 * (0.4f64 / 0.012).powf(lateness);
                threshold_lux = clear_sky_lux(change_over_deg) * median_cloud * canopy_transmission;
                sensor_lag_min = rng.random_range(0.2..1.5);
                if change_over_deg < -6.0 {
                    // So sensitive a camera has the exposure range to go with it.
                    highest_iso = 6400;
                    longest_exposure_s = 1.0 / 8.0;
                }
            }
            World::DuskUnlikeDawn => {
                // Minutes by which the evening turns grey in brighter (positive) or
                // darker (negative) sky than the morning turns to colour. The
                // sensor's facing gives what hysteresis does not.
                let size_min: f64 = rng.random_range(12.0..32.0);
                let signed_min = if rng.random_bool(0.5) { size_min } else { -size_min };
                let centre_deg: f64 = rng.random_range(-4.2..-2.2);
                let dusk_deg = centre_deg + 0.5 * signed_min * pace_deg_per_min;
                let dawn_deg = centre_deg - 0.5 * signed_min * pace_deg_per_min;
                let dusk_ln = clear_sky_lux(dusk_deg).ln();
                let dawn_ln = clear_sky_lux(dawn_deg).ln();
                hysteresis_ratio = rng.random_range(1.3..2.0);
                morning_gain_ln = 0.5 * (hysteresis_ratio.ln() - (dawn_ln - dusk_ln));
                threshold_lux =
                    (0.5 * (dusk_ln + dawn_ln)).exp() * median_cloud * canopy_transmission;
                sensor_lag_min = 0.3;
            }
            World::AlwaysGrey => {
                grey_cause = Some(pick(
                    &mut rng,
                    &[GreyCause::StuckPicture, GreyCause::DeadLightSensor, GreyCause::FaintTint],
                ));
            }
            World::NoMetadata => writes = Writes::Nothing,
            World::LyingFlash => {
                let (exposure_s, iso) = pick(
                    &mut rng,
                    &[(1.0 / 60.0, 100), (1.0, 1), (0.0, 0), (1.0 / 1000.0, 3200), (10.0, 50)],
                );
                writes = Writes::Lies { flash: rng.random_bool(0.5), exposure_s, iso };
            }
            World::SlowLight => {
                // Change-over in full leaf, and its drift by leaf fall, both under the median sky.
                let autumn = NaiveDate::from_ymd_opt(
                    middle.year(),
                    if site.latitude_deg < 0.0 { 4 } else { 10 },
                    15,
                )
                .expect("valid date")
                .and_time(NaiveTime::MIN)
                .and_utc();
                let autumn_pace = horizon_pace_deg_per_min(site, autumn);
                let leafy_deg: f64 = rng.random_range(-2.8..-0.5);
                let drift_min: f64 = rng.random_range(15.0..25.0);
                let bare_deg = leafy_deg - drift_min * autumn_pace;
                leaf_fall_gain_ln = (clear_sky_lux(leafy_deg) / clear_sky_lux(bare_deg)).ln();
                // Bare trees let 40 to 60 % through; the leafy share follows.
                canopy_transmission = rng.random_range(0.4..0.6) * (-leaf_fall_gain_ln).exp();
                threshold_lux = clear_sky_lux(leafy_deg) * median_cloud * canopy_transmission;
                sensor_lag_min = rng.random_range(0.2..1.5);
            }
            World::Moonlit => {
                canopy_transmission = rng.random_range(0.4..0.9);
                threshold_lux = rng.random_range(0.006..0.025);
                highest_iso = 25_600;
                longest_exposure_s = 0.25;
                night_weight = rng.random_range(0.5..1.0);
            }
            World::YardLight => {
                yard_lamp = Some(YardLamp {
                    lux: threshold_lux * hysteresis_ratio * rng.random_range(2.0..12.0),
                    evening_chance: rng.random_range(0.3..0.8),
                    morning_lamp: rng.random_bool(0.25),
                    usual_off_hour: rng.random_range(21.5..25.0),
                });
                night_weight = rng.random_range(0.4..0.8);
            }
            World::HighLatitude => {
                canopy_transmission = rng.random_range(0.3..0.7);
            }
            World::OrdinaryWoods
            | World::FogAndSnow
            | World::WhiteFlash
            | World::WhiteFlashSnow
            | World::StickyFilter => {}
        }

        let night_exposure = if rng.random_bool(0.4) {
            NightExposure::Fixed {
                exposure_s: pick(&mut rng, &[1.0 / 30.0, 1.0 / 20.0, 1.0 / 15.0]),
                iso: pick(&mut rng, &[400, 800, 1600]),
            }
        } else {
            NightExposure::ByDistance
        };
        let white_flash = matches!(world, World::WhiteFlash | World::WhiteFlashSnow);
        Camera {
            to_grey_lux: threshold_lux / hysteresis_ratio.sqrt(),
            to_colour_lux: threshold_lux * hysteresis_ratio.sqrt(),
            morning_gain_ln,
            sensor_lag_min,
            reading_error_ln: rng.random_range(0.08..0.30),
            day_error_ln: rng.random_range(0.03..0.15),
            canopy_transmission,
            leaf_fall_gain_ln,
            white_flash,
            grey_cause,
            yard_lamp,
            writes,
            f_number: pick(&mut rng, &[1.8, 2.0, 2.4, 2.8]),
            shortest_exposure_s: pick(&mut rng, &[1.0 / 1000.0, 1.0 / 2000.0, 1.0 / 4000.0]),
            handover_exposure_s: pick(&mut rng, &[1.0 / 125.0, 1.0 / 60.0, 1.0 / 30.0]),
            longest_exposure_s,
            lowest_iso: pick(&mut rng, &[80, 100, 100, 200]),
            highest_iso,
            iso_in_steps: rng.random_bool(0.6),
            night_exposure,
            lamp_lux_at_1_m: if white_flash { 2500.0 } else { 600.0 },
            burst_chance: rng.random_range(0.1..0.4),
            morning_share_ln: 0.4 * unit.sample(&mut rng),
            night_weight,
            wind_weight: rng.random_range(0.1..0.7),
        }
    }

    /// Exposure time and ISO by day for a scene illuminance, and by how many
    /// stops the picture comes out too dark. Incident-light equation
    /// N^2 / t = E S / C with C = 330 lux s, within the range of ISO 2720
    /// (from memory); programme: time first, then ISO, then time again
    /// (common trade practice).
    fn expose(&self, scene_lux: f64, scene_error_stops: f64) -> (f64, u32, f64) {
        let wanted =
            330.0 * self.f_number.powi(2) / scene_lux.max(1e-6) * 2f64.powf(scene_error_stops);
        let lowest = f64::from(self.lowest_iso);
        let highest = f64::from(self.highest_iso);
        let handover_s = self.handover_exposure_s.min(self.longest_exposure_s);
        let at_lowest_s = wanted / lowest;
        let (exposure_s, iso) = if at_lowest_s <= handover_s {
            (at_lowest_s.max(self.shortest_exposure_s), lowest)
        } else if wanted / handover_s <= highest {
            (handover_s, wanted / handover_s)
        } else {
            ((wanted / highest).min(self.longest_exposure_s), highest)
        };
        let stops_too_dark = (wanted / (exposure_s * iso)).log2().max(0.0);
        (written_exposure_s(exposure_s), self.written_iso(iso), stops_too_dark)
    }

    fn written_iso(&self, iso: f64) -> u32 {
        const STEPS: [u32; 26] = [
            80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500,
            3200, 4000, 5000, 6400, 8000, 10_000, 12_800, 16_000, 20_000, 25_600,
        ];
        if !self.iso_in_steps {
            return iso.round() as u32;
        }
        let mut nearest = STEPS[0];
        for step in STEPS {
            if (f64::from(step) / iso).ln().abs() < (f64::from(nearest) / iso).ln().abs() {
                nearest = step;
            }
        }
        nearest
    }
}

/// Exposure times are written as one over a whole number below a third of a second.
fn written_exposure_s(exposure_s: f64) -> f64 {
    if exposure_s < 0.34 { 1.0 / (1.0 / exposure_s).round() } else { exposure_s }
}

// ---------------------------------------------------------------------------
// One season of one camera
// ---------------------------------------------------------------------------

/// Minutes between two looks of a waiting camera at the light.
const STEP_MIN: f64 = 5.0;

/// The lamp of one night: local solar hours counted from the midnight before the evening.
#[derive(Debug, Clone, Copy)]
struct LampNight {
    evening_on: bool,
    off_hour: f64,
    morning_on: bool,
}

struct Season<'a> {
    site: &'a Site,
    start: DateTime<Utc>,
    camera: Camera,
    weather: Weather,
    lamp_by_day: Vec<LampNight>,
    sensor_error_by_day_ln: Vec<f64>,
}

impl Season<'_> {
    fn moment(&self, minutes: f64) -> DateTime<Utc> {
        self.start + Duration::milliseconds((minutes * 60_000.0).round() as i64)
    }

    /// Light at the camera from the sky, after clouds and canopy.
    fn sky_lux(&self, minutes: f64, sun: Sun) -> f64 {
        let utc = self.moment(minutes);
        let mut open_lux = clear_sky_lux(sun.elevation_deg);
        if sun.elevation_deg < -5.0 {
            open_lux += moon_lux(self.site, utc);
        }
        let mut canopy_ln = self.camera.canopy_transmission.ln();
        if self.camera.leaf_fall_gain_ln != 0.0 {
            canopy_ln += self.camera.leaf_fall_gain_ln * bareness(self.site.latitude_deg, utc);
        }
        open_lux * self.weather.transmission(minutes) * canopy_ln.exp()
    }

    /// Light from the lamp at the site, lit from dusk (sun below 1 deg).
    fn lamp_lux(&self, minutes: f64, sun: Sun) -> f64 {
        let Some(lamp) = self.camera.yard_lamp else {
            return 0.0;
        };
        if sun.elevation_deg > 1.0 {
            return 0.0;
        }
        let hour = minutes.rem_euclid(1440.0) / 60.0;
        let day = self.weather.day_index(minutes);
        let today = self.lamp_by_day[day];
        let lit = if hour >= 12.0 {
            today.evening_on && hour < today.off_hour
        } else {
            let after_midnight = day > 0
                && self.lamp_by_day[day - 1].evening_on
                && hour + 24.0 < self.lamp_by_day[day - 1].off_hour;
            after_midnight || (today.morning_on && (5.0..7.5).contains(&hour))
        };
        if lit { lamp.lux } else { 0.0 }
    }

    /// What the light sensor reads, without the error of the single reading.
    fn sensor_lux(&self, minutes: f64) -> f64 {
        let then_min = minutes - self.camera.sensor_lag_min;
        let sun = sun_at(self.site, self.moment(then_min));
        let gain_ln = self.camera.morning_gain_ln * morning_side(sun.hour_angle_deg)
            + self.sensor_error_by_day_ln[self.weather.day_index(minutes)];
        self.sky_lux(then_min, sun) * gain_ln.exp() + self.lamp_lux(then_min, sun)
    }
}

/// How many animals and empties an instant brings, relative.
fn activity(camera: &Camera, world: World, sun: Sun, wind: f64) -> f64 {
    // Crepuscular deer: a hump while the sun is near the horizon, as is the
    // common finding for deer; widths and weights are assumptions.
    let (hump_height, hump_width_deg) =
        if world == World::HighLatitude { (0.7, 6.0) } else { (2.0, 4.5) };
    let hump = hump_height * (-0.5 * ((sun.elevation_deg + 1.5) / hump_width_deg).powi(2)).exp();
    let side = (camera.morning_share_ln * morning_side(sun.hour_angle_deg)).exp();
    let daylight = 1.0 / (1.0 + (-(sun.elevation_deg - 4.0) / 2.0).exp());
    let night = 1.0 / (1.0 + ((sun.elevation_deg + 7.0) / 2.0).exp());
    // Warm air and wind after noon move the branches.
    let noon_wind = 1.0 + 0.5 * (sun.hour_angle_deg - 25.0).to_radians().cos();
    hump * side
        + camera.night_weight * night
        + 0.2 * daylight
        + camera.wind_weight * wind * noon_wind * daylight
}

/// Every trigger of one camera over `days` days from local-solar midnight of
/// `from` (mean solar time), in order of time. `triggers_per_day` is the
/// expected number of pictures a day, those within bursts counted.
pub fn frames(
    world: World,
    site: &Site,
    from: NaiveDate,
    days: u32,
    triggers_per_day: f64,
    seed: u64,
) -> Vec<Frame> {
    if days == 0 || triggers_per_day.is_nan() || triggers_per_day <= 0.0 {
        return Vec::new();
    }
    let start = from.and_time(NaiveTime::MIN).and_utc()
        - Duration::seconds((site.longitude_deg * 240.0).round() as i64);
    let middle = start + Duration::days(i64::from(days) / 2);
    let camera = Camera::new(world, site, middle, seed);

    let date_number = from.num_days_from_ce() as u64;
    let mut weather_rng = stream(world, seed, 2, date_number);
    let weather = Weather::new(world, days, &mut weather_rng);
    let unit = Normal::new(0.0, 1.0).expect("valid normal");
    let sensor_error_by_day_ln =
        (0..=days).map(|_| camera.day_error_ln * unit.sample(&mut weather_rng)).collect();
    let lamp_by_day = (0..=days)
        .map(|_| match camera.yard_lamp {
            None => LampNight { evening_on: false, off_hour: 0.0, morning_on: false },
            Some(lamp) => LampNight {
                evening_on: weather_rng.random_bool(lamp.evening_chance),
                off_hour: lamp.usual_off_hour + 0.5 * unit.sample(&mut weather_rng),
                morning_on: lamp.morning_lamp && weather_rng.random_bool(0.5),
            },
        })
        .collect();
    let season = Season { site, start, camera, weather, lamp_by_day, sensor_error_by_day_ln };

    let mut rng = stream(world, seed, 3, date_number);
    let trigger_seconds = trigger_seconds(&season, world, days, triggers_per_day, &mut rng);
    let (night_modes, change_overs) = walk_modes(&season, days, &trigger_seconds, &mut rng);
    let mut filter_is_wrong = vec![false; trigger_seconds.len()];
    if world == World::StickyFilter {
        filter_is_wrong = stuck_filter(&trigger_seconds, &night_modes, &change_overs, &mut rng);
    }

    trigger_seconds
        .iter()
        .zip(&night_modes)
        .zip(&filter_is_wrong)
        .map(|((&second, &night_mode), &wrong)| {
            picture(&season, second, night_mode, wrong, &mut rng)
        })
        .collect()
}

/// Whole seconds from the start at which pictures are taken, rising.
fn trigger_seconds(
    season: &Season<'_>,
    world: World,
    days: u32,
    triggers_per_day: f64,
    rng: &mut ChaCha8Rng,
) -> Vec<i64> {
    let steps = days as usize * (1440.0 / STEP_MIN) as usize;
    let good_days = Gamma::new(4.0, 0.25).expect("valid gamma");
    let luck_by_day: Vec<f64> = (0..days).map(|_| good_days.sample(rng)).collect();
    let mut rates = Vec::with_capacity(steps);
    let mut sum = 0.0;
    for step in 0..steps {
        let middle_min = (step as f64 + 0.5) * STEP_MIN;
        let day = season.weather.day_index(middle_min);
        let sun = sun_at(season.site, season.moment(middle_min));
        let rate = activity(&season.camera, world, sun, season.weather.wind_by_day[day]);
        sum += rate;
        rates.push(rate * luck_by_day[day]);
    }
    // A burst is two or three pictures, so adds one and a half on average.
    let pictures_per_event = 1.0 + 1.5 * season.camera.burst_chance;
    let scale = f64::from(days) * triggers_per_day / pictures_per_event / sum;
    let last_second = i64::from(days) * 86_400 - 1;
    let mut seconds = Vec::new();
    for (step, rate) in rates.iter().enumerate() {
        let expected = rate * scale;
        if expected <= 0.0 {
            continue;
        }
        let events = Poisson::new(expected).expect("valid Poisson").sample(rng) as u32;
        for _ in 0..events {
            let mut second = ((step as f64 + rng.random::<f64>()) * STEP_MIN * 60.0).floor() as i64;
            let more = if rng.random_bool(season.camera.burst_chance) {
                rng.random_range(1..=2)
            } else {
                0
            };
            seconds.push(second);
            for _ in 0..more {
                second += rng.random_range(1..=3);
                seconds.push(second);
            }
        }
    }
    seconds.sort_unstable();
    // One camera takes one picture a second.
    let mut free = 0;
    for second in &mut seconds {
        *second = (*second).max(free);
        free = *second + 1;
    }
    seconds.retain(|&s| s <= last_second);
    seconds
}

/// Follows the camera's day and night mode through all its looks at the light.
/// Returns for every picture whether the camera was in night mode, and the
/// seconds at which the mode changed with the new mode.
fn walk_modes(
    season: &Season<'_>,
    days: u32,
    trigger_seconds: &[i64],
    rng: &mut ChaCha8Rng,
) -> (Vec<bool>, Vec<(i64, bool)>) {
    let unit = Normal::new(0.0, 1.0).expect("valid normal");
    let camera = &season.camera;
    let between = (camera.to_grey_lux * camera.to_colour_lux).sqrt();
    let mut night_mode = season.sensor_lux(0.0) < between;
    let mut night_modes = Vec::with_capacity(trigger_seconds.len());
    let mut change_overs = Vec::new();
    let step_seconds = (STEP_MIN * 60.0) as i64;
    let end = i64::from(days) * 86_400;
    let mut next_trigger = 0;
    let mut next_look = 0;
    while next_look < end || next_trigger < trigger_seconds.len() {
        let is_trigger =
            next_trigger < trigger_seconds.len() && trigger_seconds[next_trigger] <= next_look;
        let now = if is_trigger { trigger_seconds[next_trigger] } else { next_look };
        let error_ln = camera.reading_error_ln * unit.sample(rng);
        let reading = season.sensor_lux(now as f64 / 60.0) * error_ln.exp();
        let before = night_mode;
        if reading < camera.to_grey_lux {
            night_mode = true;
        } else if reading > camera.to_colour_lux {
            night_mode = false;
        }
        if night_mode != before {
            change_overs.push((now, night_mode));
        }
        if is_trigger {
            night_modes.push(night_mode);
            next_trigger += 1;
        } else {
            next_look += step_seconds;
        }
    }
    (night_modes, change_overs)
}

/// Marks the pictures during which the filter hangs in its old place: after some
/// change-overs, for one to six hours each, until 1.2 to 2.7 % of all pictures
/// are wrong.
fn stuck_filter(
    trigger_seconds: &[i64],
    night_modes: &[bool],
    change_overs: &[(i64, bool)],
    rng: &mut ChaCha8Rng,
) -> Vec<bool> {
    let total = trigger_seconds.len();
    let mut wrong = vec![false; total];
    let wanted = (rng.random_range(0.012..0.027) * total as f64).round().max(1.0) as usize;
    let most = (0.03 * total as f64).max(1.0) as usize;
    let mut moments: Vec<(i64, bool)> = if change_overs.is_empty() {
        // Polar day or night: the filter falls over by itself.
        trigger_seconds.iter().zip(night_modes).map(|(&s, &m)| (s, m)).collect()
    } else {
        change_overs.to_vec()
    };
    let mut count = 0;
    while count < wanted && !moments.is_empty() {
        let (from_second, mode) = moments.swap_remove(rng.random_range(0..moments.len()));
        let until_second = from_second + rng.random_range(3_600..21_600);
        let first = trigger_seconds.partition_point(|&s| s < from_second);
        for i in first..total {
            if trigger_seconds[i] > until_second || count >= most {
                break;
            }
            if night_modes[i] == mode && !wrong[i] {
                wrong[i] = true;
                count += 1;
            }
        }
    }
    wrong
}

/// Takes one picture.
fn picture(
    season: &Season<'_>,
    second: i64,
    night_mode: bool,
    filter_is_wrong: bool,
    rng: &mut ChaCha8Rng,
) -> Frame {
    let camera = &season.camera;
    let minutes = second as f64 / 60.0;
    let utc = season.start + Duration::seconds(second);
    let sun = sun_at(season.site, utc);
    let ambient_lux = season.sky_lux(minutes, sun) + season.lamp_lux(minutes, sun);
    let unit = Normal::new(0.0, 1.0).expect("valid normal");
    let scene_error_stops = 0.4 * unit.sample(rng);
    let lamp_fires = night_mode || camera.grey_cause == Some(GreyCause::DeadLightSensor);

    // Distance of what the lamp shows: an animal, or the trees behind.
    let beyond = Exp::new(0.25).expect("valid exponential");
    let distance_m: f64 = 1.5 + beyond.sample(rng);
    let lamp_share_lux = camera.lamp_lux_at_1_m / distance_m.powi(2);
    let (exposure_s, iso, stops_too_dark) = if lamp_fires {
        let (exposure_s, iso, dark) =
            camera.expose(ambient_lux + lamp_share_lux, scene_error_stops);
        match camera.night_exposure {
            // A fixed night exposure holds only where the daylight does not drown the lamp.
            NightExposure::Fixed { exposure_s, iso } if ambient_lux < 4.0 * lamp_share_lux => {
                (written_exposure_s(exposure_s), iso, dark)
            }
            _ => (exposure_s, iso, dark),
        }
    } else {
        camera.expose(ambient_lux, scene_error_stops)
    };

    let colour =
        look(season, minutes, ambient_lux, lamp_fires, stops_too_dark, filter_is_wrong, rng);
    let (flash_fired, exposure_s, iso) = match camera.writes {
        Writes::All => (Some(lamp_fires), Some(exposure_s), Some(iso)),
        Writes::FlashOnly => (Some(lamp_fires), None, None),
        Writes::Nothing => (None, None, None),
        Writes::Lies { flash, exposure_s, iso } => (Some(flash), Some(exposure_s), Some(iso)),
    };
    Frame { utc, elevation_deg: sun.elevation_deg, colour, flash_fired, exposure_s, iso }
}

/// Draws among colour, grey and not to be told.
fn draw_look(rng: &mut ChaCha8Rng, colour_chance: f64, grey_chance: f64) -> Option<bool> {
    let draw: f64 = rng.random();
    if draw < colour_chance {
        Some(true)
    } else if draw < colour_chance + grey_chance {
        Some(false)
    } else {
        None
    }
}

/// What looking at the pixels says. All shares are assumptions.
fn look(
    season: &Season<'_>,
    minutes: f64,
    ambient_lux: f64,
    lamp_fires: bool,
    stops_too_dark: f64,
    filter_is_wrong: bool,
    rng: &mut ChaCha8Rng,
) -> Option<bool> {
    let camera = &season.camera;
    match camera.grey_cause {
        Some(GreyCause::StuckPicture | GreyCause::DeadLightSensor) => {
            return draw_look(rng, 0.001, 0.984);
        }
        Some(GreyCause::FaintTint) if !lamp_fires => return draw_look(rng, 0.02, 0.85),
        _ => {}
    }
    if filter_is_wrong {
        // By day the infrared drowns the colours; at night the shut filter keeps
        // out the lamp, and a dark tinted picture is left.
        return if lamp_fires { draw_look(rng, 0.7, 0.0) } else { draw_look(rng, 0.0, 0.95) };
    }
    if lamp_fires {
        return if camera.white_flash {
            // Out of reach of the flash the picture is black.
            draw_look(rng, 0.93, 0.01)
        } else {
            draw_look(rng, 0.002, 0.985)
        };
    }
    match season.weather.kind_at(minutes) {
        DayKind::Fog { .. } => return draw_look(rng, 0.15, 0.50),
        DayKind::Snow => return draw_look(rng, 0.15, 0.60),
        DayKind::Plain => {}
    }
    // Too dark a picture loses its colour in noise.
    let lost_chance = ((stops_too_dark - 4.0) / 8.0).clamp(0.0, 0.5);
    if rng.random_bool(lost_chance) {
        return None;
    }
    if ambient_lux < 3.0 * camera.to_colour_lux {
        draw_look(rng, 0.91, 0.02)
    } else {
        draw_look(rng, 0.982, 0.003)
    }
}

// ---------------------------------------------------------------------------

#[cfg(test)]
mod tests {
    use super::*;

    const MIDDLE_EUROPE: Site = Site { latitude_deg: 50.0, longitude_deg: 10.0 };
    const FAR_NORTH: Site = Site { latitude_deg: 68.0, longitude_deg: 20.0 };

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    fn moment(year: i32, month: u32, day: u32, hour: u32, minute: u32) -> DateTime<Utc> {
        date(year, month, day).and_hms_opt(hour, minute, 0).unwrap().and_utc()
    }

    fn share(frames: &[Frame], which: impl Fn(&Frame) -> bool) -> f64 {
        frames.iter().filter(|f| which(f)).count() as f64 / frames.len().max(1) as f64
    }

    fn select(frames: &[Frame], which: impl Fn(&Frame) -> bool) -> Vec<Frame> {
        frames.iter().copied().filter(|f| which(f)).collect()
    }

    fn is_morning(site: &Site, frame: &Frame) -> bool {
        sun_at(site, frame.utc).hour_angle_deg < 0.0
    }

    /// The elevation that best parts colour above from grey below; the mean where several do so equally well.
    fn change_over_deg(frames: &[Frame]) -> f64 {
        let mut told: Vec<(f64, bool)> =
            frames.iter().filter_map(|f| f.colour.map(|c| (f.elevation_deg, c))).collect();
        told.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Cut below all: every grey picture is on the wrong side.
        let mut wrong = told.iter().filter(|t| !t.1).count();
        let (mut least, mut cuts, mut sum_deg) = (usize::MAX, 0.0, 0.0);
        for pair in told.windows(2) {
            wrong = if pair[0].1 { wrong + 1 } else { wrong - 1 };
            if wrong < least {
                (least, cuts, sum_deg) = (wrong, 0.0, 0.0);
            }
            if wrong == least {
                cuts += 1.0;
                sum_deg += 0.5 * (pair[0].0 + pair[1].0);
            }
        }
        sum_deg / cuts
    }

    #[test]
    fn sun_agrees_with_the_worked_example_of_1992_october_13() {
        // J. Meeus, "Astronomical Algorithms", examples 25.a and 28.a (from memory).
        let days = days_since_j2000(moment(1992, 10, 13, 0, 0));
        let (right_ascension_deg, declination_deg) = sun_equatorial_deg(days);
        assert!((right_ascension_deg - 198.381).abs() < 0.02, "{right_ascension_deg}");
        assert!((declination_deg + 7.785).abs() < 0.02, "{declination_deg}");
        // Equation of time +13 min 42.6 s: the sun is ahead of the mean sun by 3.43 deg.
        let hour_angle = hour_angle_deg(days, 0.0, right_ascension_deg);
        assert!((hour_angle - (3.427 - 180.0)).abs() < 0.02, "{hour_angle}");
    }

    #[test]
    fn moon_agrees_with_the_worked_example_of_1992_april_12() {
        // J. Meeus, "Astronomical Algorithms", example 47.a (from memory).
        let (longitude_deg, latitude_deg) =
            moon_ecliptic_deg(days_since_j2000(moment(1992, 4, 12, 0, 0)));
        assert!((longitude_deg - 133.167).abs() < 0.4, "{longitude_deg}");
        assert!((latitude_deg + 3.229).abs() < 0.3, "{latitude_deg}");
    }

    #[test]
    fn noon_height_at_solstices_and_equinox() {
        for (day, declination_deg) in [
            (date(2024, 6, 20), 23.44),
            (date(2024, 12, 21), -23.44),
            (date(2024, 3, 20), 0.15), // nine hours after the equinox of 03:06 UTC
        ] {
            for latitude_deg in [-35.0, 50.0, 68.0] {
                let site = Site { latitude_deg, longitude_deg: 0.0 };
                let highest = (0..1440)
                    .map(|m| {
                        sun_at(&site, day.and_time(NaiveTime::MIN).and_utc() + Duration::minutes(m))
                            .elevation_deg
                    })
                    .fold(f64::MIN, f64::max);
                let expected = 90.0 - (latitude_deg - declination_deg).abs();
                assert!(
                    (highest - expected).abs() < 0.1,
                    "{day} {latitude_deg}: {highest} {expected}"
                );
            }
        }
    }

    #[test]
    fn sunset_of_london_at_midsummer() {
        // Almanac sunset 21:21 to 21:22 British Summer Time, centre of the disc at -0.833 deg.
        let london = Site { latitude_deg: 51.507, longitude_deg: -0.128 };
        let sun = sun_at(&london, moment(2024, 6, 21, 20, 21));
        assert!((sun.elevation_deg + 0.833).abs() < 0.15, "{}", sun.elevation_deg);
        assert!(sun.hour_angle_deg > 0.0);
    }

    #[test]
    fn clear_sky_follows_the_table_and_rises() {
        for (sun_elevation_deg, lux) in [
            (-18.0, 6.5e-4),
            (-12.0, 8.3e-3),
            (-6.0, 3.4),
            (-5.0, 10.8),
            (-0.8, 453.0),
            (0.0, 732.0),
            (5.0, 4760.0),
            (10.0, 10_900.0),
            (20.0, 27_300.0),
            (45.0, 76_000.0),
            (90.0, 124_000.0),
        ] {
            let got: f64 = clear_sky_lux(sun_elevation_deg);
            assert!((got / lux).log10().abs() < 0.05, "{sun_elevation_deg}: {got} {lux}");
        }
        let mut before = 0.0;
        for tenth in -180..=900 {
            let now = clear_sky_lux(f64::from(tenth) * 0.1);
            assert!(now > 0.98 * before, "at {tenth}");
            before = now;
        }
    }

    #[test]
    fn clouds_spread_over_more_than_a_decade() {
        let mut rng = stream(World::OrdinaryWoods, 5, 2, 0);
        let weather = Weather::new(World::OrdinaryWoods, 200, &mut rng);
        let mut logs: Vec<f64> =
            (0..200 * 24).map(|h| weather.transmission(f64::from(h) * 60.0).log10()).collect();
        logs.sort_by(f64::total_cmp);
        let (low, middle, high) = (logs[48], logs[2400], logs[4751]);
        assert!(high - low > 1.0, "{low} {high}");
        assert!((middle - median_cloud_transmission().log10()).abs() < 0.2, "{middle}");
    }

    #[test]
    fn same_seed_same_frames_and_in_order() {
        for world in World::ALL {
            let run = |seed| frames(world, &MIDDLE_EUROPE, date(2023, 9, 1), 30, 20.0, seed);
            let (a, b, c) = (run(7), run(7), run(8));
            assert_eq!(format!("{a:?}"), format!("{b:?}"), "{}", world.name());
            assert_ne!(format!("{a:?}"), format!("{c:?}"), "{}", world.name());
            assert!(a.windows(2).all(|w| w[0].utc < w[1].utc));
            let start = moment(2023, 8, 31, 23, 20);
            assert!(a.iter().all(|f| f.utc >= start && f.utc < start + Duration::days(30)));
            assert!((300..1000).contains(&a.len()), "{} {}", world.name(), a.len());
        }
    }

    #[test]
    fn worlds_are_listed_once_with_their_own_names() {
        for (i, a) in World::ALL.iter().enumerate() {
            for b in &World::ALL[i + 1..] {
                assert_ne!(a, b);
                assert_ne!(a.name(), b.name());
                assert_ne!(a.stream_number(), b.stream_number());
            }
        }
    }

    #[test]
    fn ordinary_nights_are_grey_and_days_in_colour() {
        for seed in 0..8 {
            let all =
                frames(World::OrdinaryWoods, &MIDDLE_EUROPE, date(2023, 9, 1), 60, 40.0, seed);
            let night = select(&all, |f| f.elevation_deg < -9.0);
            let day = select(&all, |f| f.elevation_deg > 10.0);
            assert!(share(&night, |f| f.colour == Some(false)) > 0.95);
            assert!(share(&day, |f| f.colour == Some(true)) > 0.95);
            assert!(night.len() > 100 && day.len() > 100);
            assert!(night.iter().all(|f| f.flash_fired != Some(false)));
            assert!(day.iter().all(|f| f.flash_fired != Some(true)));
            let change = change_over_deg(&all);
            assert!((-7.0..0.5).contains(&change), "{change}");
            for f in &all {
                assert!(f.exposure_s.is_none_or(|s| (0.00024..=0.07).contains(&s)));
                assert!(f.iso.is_none_or(|i| (80..=3200).contains(&i)));
            }
        }
    }

    #[test]
    fn exposure_follows_the_light() {
        let seed = (0..50)
            .find(|&s| {
                Camera::new(World::OrdinaryWoods, &MIDDLE_EUROPE, moment(2023, 6, 1, 0, 0), s)
                    .writes
                    == Writes::All
            })
            .unwrap();
        let all = frames(World::OrdinaryWoods, &MIDDLE_EUROPE, date(2023, 9, 1), 60, 60.0, seed);
        let mean_ln = |low: f64, high: f64| {
            let some = select(&all, |f| {
                (low..high).contains(&f.elevation_deg) && f.flash_fired == Some(false)
            });
            some.iter()
                .map(|f| (f.exposure_s.unwrap() * f64::from(f.iso.unwrap())).ln())
                .sum::<f64>()
                / some.len() as f64
        };
        assert!(mean_ln(-2.0, 2.0) > mean_ln(5.0, 12.0) + 1.0);
        assert!(mean_ln(5.0, 12.0) > mean_ln(25.0, 60.0) + 0.5);
    }

    #[test]
    fn cameras_write_fields_in_the_asked_shares() {
        let middle = moment(2023, 6, 1, 0, 0);
        let written: Vec<Writes> = (0..1000)
            .map(|s| Camera::new(World::Canopy, &MIDDLE_EUROPE, middle, s).writes)
            .collect();
        let count = |w: Writes| written.iter().filter(|&&x| x == w).count();
        assert!((550..650).contains(&count(Writes::All)));
        assert!((160..240).contains(&count(Writes::FlashOnly)));
        assert!((160..240).contains(&count(Writes::Nothing)));
        let none = frames(World::NoMetadata, &MIDDLE_EUROPE, date(2023, 9, 1), 20, 20.0, 3);
        assert!(
            none.iter()
                .all(|f| f.flash_fired.is_none() && f.exposure_s.is_none() && f.iso.is_none())
        );
        let lies = frames(World::LyingFlash, &MIDDLE_EUROPE, date(2023, 9, 1), 20, 20.0, 3);
        assert!(lies.iter().all(|f| f.flash_fired == lies[0].flash_fired && f.iso == lies[0].iso));
        assert!(lies[0].flash_fired.is_some());
    }

    #[test]
    fn canopy_cameras_change_over_from_early_to_late() {
        let found: Vec<f64> = (0..24)
            .map(|seed| {
                change_over_deg(&frames(
                    World::Canopy,
                    &MIDDLE_EUROPE,
                    date(2023, 9, 1),
                    30,
                    150.0,
                    seed,
                ))
            })
            .collect();
        let low = found.iter().copied().fold(f64::MAX, f64::min);
        let high = found.iter().copied().fold(f64::MIN, f64::max);
        assert!(low < -7.0 && low > -10.5, "{found:?}");
        assert!(high > 3.0 && high < 8.0, "{found:?}");
    }

    #[test]
    fn dusk_differs_from_dawn_by_ten_to_thirty_five_minutes() {
        let mut signs = [0, 0];
        for seed in 0..12 {
            let all =
                frames(World::DuskUnlikeDawn, &MIDDLE_EUROPE, date(2023, 9, 10), 30, 300.0, seed);
            let dawn = change_over_deg(&select(&all, |f| is_morning(&MIDDLE_EUROPE, f)));
            let dusk = change_over_deg(&select(&all, |f| !is_morning(&MIDDLE_EUROPE, f)));
            let pace = horizon_pace_deg_per_min(&MIDDLE_EUROPE, moment(2023, 9, 25, 0, 0));
            let minutes = (dusk - dawn) / pace;
            // The weather of one month adds some scatter to the law.
            assert!((6.0..40.0).contains(&minutes.abs()), "seed {seed}: {minutes}");
            signs[usize::from(minutes > 0.0)] += 1;
        }
        assert!(signs[0] > 1 && signs[1] > 1, "{signs:?}");
    }

    #[test]
    fn leaf_fall_moves_the_change_over() {
        for seed in 0..8 {
            let leafy =
                frames(World::SlowLight, &MIDDLE_EUROPE, date(2023, 8, 15), 30, 200.0, seed);
            let bare =
                frames(World::SlowLight, &MIDDLE_EUROPE, date(2023, 11, 15), 30, 200.0, seed);
            let moved_deg = change_over_deg(&leafy) - change_over_deg(&bare);
            let minutes =
                moved_deg / horizon_pace_deg_per_min(&MIDDLE_EUROPE, moment(2023, 10, 15, 0, 0));
            assert!((10.0..31.0).contains(&minutes), "seed {seed}: {minutes}");
        }
        assert_eq!(bareness(50.0, moment(2023, 8, 1, 0, 0)), 0.0);
        assert_eq!(bareness(50.0, moment(2023, 12, 31, 0, 0)), 1.0);
        assert_eq!(bareness(-35.0, moment(2023, 1, 15, 0, 0)), 0.0);
        assert_eq!(bareness(-35.0, moment(2023, 7, 1, 0, 0)), 1.0);
    }

    #[test]
    fn fog_and_snow_come_in_runs() {
        let mut odd = 0;
        let mut repeated = 0;
        for seed in 0..10 {
            let mut rng = stream(World::FogAndSnow, seed, 2, 0);
            let kinds = Weather::new(World::FogAndSnow, 100, &mut rng).kind_by_day;
            odd += kinds.iter().filter(|&&k| k != DayKind::Plain).count();
            repeated += kinds
                .windows(2)
                .filter(|w| w[0] != DayKind::Plain && w[1] != DayKind::Plain)
                .count();
        }
        assert!((150..450).contains(&odd), "{odd}");
        assert!(repeated as f64 > 0.6 * odd as f64);
        let all = frames(World::FogAndSnow, &MIDDLE_EUROPE, date(2023, 11, 1), 90, 40.0, 2);
        let day = select(&all, |f| f.elevation_deg > 6.0);
        let told_in_colour = share(&day, |f| f.colour == Some(true));
        assert!((0.4..0.95).contains(&told_in_colour), "{told_in_colour}");
    }

    #[test]
    fn white_flash_nights_are_in_colour() {
        for world in [World::WhiteFlash, World::WhiteFlashSnow] {
            for seed in 0..5 {
                let all = frames(world, &MIDDLE_EUROPE, date(2023, 12, 1), 60, 40.0, seed);
                let night = select(&all, |f| f.elevation_deg < -9.0);
                assert!(share(&night, |f| f.colour == Some(true)) > 0.85);
                assert!(night.iter().all(|f| f.flash_fired != Some(false)));
            }
        }
        let mut grey_days = 0.0;
        for seed in 0..10 {
            let all =
                frames(World::WhiteFlashSnow, &MIDDLE_EUROPE, date(2023, 12, 1), 60, 40.0, seed);
            grey_days +=
                share(&select(&all, |f| f.elevation_deg > 6.0), |f| f.colour == Some(false)) / 10.0;
        }
        assert!((0.15..0.6).contains(&grey_days), "{grey_days}");
    }

    #[test]
    fn always_grey_is_grey() {
        for seed in 0..10 {
            let all = frames(World::AlwaysGrey, &MIDDLE_EUROPE, date(2023, 6, 1), 60, 40.0, seed);
            assert!(share(&all, |f| f.colour == Some(true)) < 0.04);
            assert!(share(&all, |f| f.colour == Some(false)) > 0.8);
        }
    }

    #[test]
    fn sticky_filter_misleads_one_to_three_percent_in_clusters() {
        for seed in 0..10 {
            let all = frames(World::StickyFilter, &MIDDLE_EUROPE, date(2023, 9, 1), 90, 40.0, seed);
            let plainly_wrong = share(&all, |f| {
                (f.elevation_deg > 2.0 && f.colour == Some(false))
                    || (f.elevation_deg < -8.0 && f.colour == Some(true))
            });
            assert!((0.003..0.04).contains(&plainly_wrong), "seed {seed}: {plainly_wrong}");
        }
    }

    #[test]
    fn moon_and_yard_lamp_keep_some_nights_in_colour() {
        for (world, least) in [(World::Moonlit, 0.03), (World::YardLight, 0.08)] {
            for seed in 0..6 {
                let all = frames(world, &MIDDLE_EUROPE, date(2023, 10, 1), 60, 60.0, seed);
                let night = select(&all, |f| f.elevation_deg < -14.0);
                let coloured = share(&night, |f| f.colour == Some(true));
                assert!(
                    (least..0.7).contains(&coloured),
                    "{} seed {seed}: {coloured}",
                    world.name()
                );
            }
        }
    }

    #[test]
    fn polar_day_and_polar_night() {
        for seed in 0..6 {
            let summer = frames(World::HighLatitude, &FAR_NORTH, date(2023, 6, 10), 20, 40.0, seed);
            assert!(summer.len() > 300);
            assert!(summer.iter().all(|f| f.elevation_deg > 0.0));
            assert!(share(&summer, |f| f.colour == Some(true)) > 0.9);
            let winter =
                frames(World::HighLatitude, &FAR_NORTH, date(2023, 12, 12), 20, 40.0, seed);
            assert!(winter.len() > 300);
            assert!(winter.iter().all(|f| f.elevation_deg < 0.0));
            assert!(share(&winter, |f| f.colour == Some(false)) > 0.5);
            assert!(
                share(&select(&winter, |f| f.elevation_deg < -9.0), |f| f.colour == Some(false))
                    > 0.95
            );
        }
        // Every world must live through both.
        for world in World::ALL {
            for from in [date(2023, 6, 10), date(2023, 12, 12)] {
                assert!(!frames(world, &FAR_NORTH, from, 10, 20.0, 1).is_empty());
                let pole = Site { latitude_deg: 89.9, longitude_deg: -170.0 };
                assert!(
                    frames(world, &pole, from, 5, 20.0, 1)
                        .iter()
                        .all(|f| f.elevation_deg.is_finite())
                );
            }
        }
    }

    #[test]
    fn deer_come_at_dusk_and_dawn_and_sometimes_in_bursts() {
        let all = frames(World::OrdinaryWoods, &MIDDLE_EUROPE, date(2023, 9, 10), 60, 40.0, 4);
        // The sun is within 6 deg of the horizon for about a tenth of the day.
        assert!(share(&all, |f| f.elevation_deg.abs() < 6.0) > 0.18);
        assert!(share(&all, |f| f.elevation_deg < -10.0) > 0.05);
        assert!(share(&all, |f| f.elevation_deg > 10.0) > 0.1);
        let close = all.windows(2).filter(|w| w[1].utc - w[0].utc <= Duration::seconds(3)).count();
        assert!(close > all.len() / 20 && close < all.len() / 2, "{close} of {}", all.len());
    }
}
