//! Sun-anchored time: day and night each stretched to their season's mean length.
//!
//! Average anchoring after Nouvellet, Rasmussen, Macdonald & Courchamp (2012), "Noisy clocks and
//! silent sunrises", Journal of Zoology 286:179-184: sunrise and sunset are moved to their means,
//! and time between them is stretched evenly.

/// Minutes in a day of sun-anchored time.
pub const SUN_DAY_MIN: f64 = 1440.0;

/// A season's mean sunrise and sunset, in minutes after local midnight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanDay {
    /// Mean sunrise.
    pub sunrise_min: f64,
    /// Mean sunset.
    pub sunset_min: f64,
}

impl MeanDay {
    /// The mean of sunrise and sunset minutes; `None` for no days.
    pub fn of(days: &[(f64, f64)]) -> Option<Self> {
        if days.is_empty() {
            return None;
        }
        let n = days.len() as f64;
        Some(Self {
            sunrise_min: days.iter().map(|d| d.0).sum::<f64>() / n,
            sunset_min: days.iter().map(|d| d.1).sum::<f64>() / n,
        })
    }

    /// Sun-anchored minute of day, from 0 up to 1440.
    ///
    /// `after_sunrise_min` is the time since sunrise of the same date (negative before it) and
    /// `day_length_min` the time from that sunrise to that sunset.
    pub fn anchor(&self, after_sunrise_min: f64, day_length_min: f64) -> f64 {
        let since = after_sunrise_min.rem_euclid(SUN_DAY_MIN);
        let mean_day_min = self.sunset_min - self.sunrise_min;
        let stretched = if day_length_min > 0.0 && since <= day_length_min {
            since / day_length_min * mean_day_min
        } else {
            let night = (since - day_length_min) / (SUN_DAY_MIN - day_length_min);
            mean_day_min + night * (SUN_DAY_MIN - mean_day_min)
        };
        (self.sunrise_min + stretched).rem_euclid(SUN_DAY_MIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sunrise_noon_sunset_and_midnight_fall_where_they_should() {
        let mean = MeanDay { sunrise_min: 420.0, sunset_min: 1080.0 };
        let short_day = 600.0;
        assert!((mean.anchor(0.0, short_day) - 420.0).abs() < 1e-9);
        assert!((mean.anchor(short_day, short_day) - 1080.0).abs() < 1e-9);
        assert!((mean.anchor(300.0, short_day) - 750.0).abs() < 1e-9);
        let middle_of_night = short_day + (1440.0 - short_day) / 2.0;
        assert!((mean.anchor(middle_of_night, short_day) - 30.0).abs() < 1e-9);
        assert!((mean.anchor(-420.0, short_day) - 30.0).abs() < 1e-9);
    }
}
