//! Units that weather is written in (NIST Special Publication 811, appendix B: inch of mercury, mile, knot, degree
//! Fahrenheit).

use serde::Deserialize;

/// Of temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    #[default]
    C,
    /// Degrees Fahrenheit.
    F,
}

/// Of wind speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum WindUnit {
    /// Kilometres an hour.
    #[default]
    #[serde(rename = "km/h")]
    KmPerHour,
    /// Miles an hour.
    #[serde(rename = "mph")]
    MilesPerHour,
    /// Metres a second.
    #[serde(rename = "m/s")]
    MetresPerSecond,
    /// Knots.
    #[serde(rename = "kn")]
    Knots,
}

/// Of air pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum PressureUnit {
    /// Hectopascals, which are millibars.
    #[default]
    #[serde(rename = "hPa", alias = "mb", alias = "mbar")]
    Hpa,
    /// Inches of mercury.
    #[serde(rename = "inHg")]
    InHg,
}

/// Of rain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
pub enum RainUnit {
    /// Millimetres.
    #[default]
    #[serde(rename = "mm")]
    Mm,
    /// Inches.
    #[serde(rename = "in")]
    Inches,
}

impl TemperatureUnit {
    /// The same in degrees Celsius.
    pub fn celsius(self, value: f64) -> f64 {
        match self {
            Self::C => value,
            Self::F => (value - 32.0) / 1.8,
        }
    }
}

impl WindUnit {
    /// The same in kilometres an hour.
    pub fn kmh(self, value: f64) -> f64 {
        value
            * match self {
                Self::KmPerHour => 1.0,
                Self::MilesPerHour => 1.609_344,
                Self::MetresPerSecond => 3.6,
                Self::Knots => 1.852,
            }
    }
}

impl PressureUnit {
    /// The same in hectopascals.
    pub fn hpa(self, value: f64) -> f64 {
        match self {
            Self::Hpa => value,
            Self::InHg => value * 33.863_89,
        }
    }
}

impl RainUnit {
    /// The same in millimetres.
    pub fn mm(self, value: f64) -> f64 {
        match self {
            Self::Mm => value,
            Self::Inches => value * 25.4,
        }
    }
}
