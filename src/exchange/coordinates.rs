//! Where things are, as exactly as the sender wants it known.

use std::str::FromStr;

use crate::property::Position;

/// What a package says of places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Coordinates {
    /// As they are written down.
    Exact,
    /// The middle of the cell of a grid of so many degrees, in which a place lies.
    Grid(f64),
    /// Nothing.
    LeftOut,
}

/// The finest and the coarsest grid, in degrees.
const GRID_DEG: (f64, f64) = (0.001, 10.0);

impl FromStr for Coordinates {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "exact" => Ok(Self::Exact),
            "none" => Ok(Self::LeftOut),
            degrees => degrees
                .parse()
                .ok()
                .filter(|d| (GRID_DEG.0..=GRID_DEG.1).contains(d))
                .map(Self::Grid)
                .ok_or_else(|| {
                    format!(
                        "write exact, none, or the width of a grid in degrees, {} to {}, such as 0.1",
                        GRID_DEG.0, GRID_DEG.1
                    )
                }),
        }
    }
}

/// A place as it is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Told {
    pub latitude_deg: f64,
    pub longitude_deg: f64,
    /// Metres within which the true place lies; `None` where it is told exactly.
    pub uncertainty_m: Option<u32>,
}

impl Coordinates {
    /// A place as it is told; `None` where nothing is said.
    pub(super) fn tell(self, place: Position) -> Option<Told> {
        let Self::Grid(width) = self else {
            return (self == Self::Exact).then_some(Told {
                latitude_deg: place.latitude_deg,
                longitude_deg: place.longitude_deg,
                uncertainty_m: None,
            });
        };
        let middle = |deg: f64| ((deg / width).floor() + 0.5) * width;
        let latitude_deg = middle(place.latitude_deg).clamp(-90.0, 90.0);
        let longitude_deg = middle(place.longitude_deg).clamp(-180.0, 180.0);
        let corner = Position {
            latitude_deg: (latitude_deg.abs() - width / 2.0).max(0.0),
            longitude_deg: width / 2.0,
        };
        let told = Position { latitude_deg: latitude_deg.abs(), longitude_deg: 0.0 };
        Some(Told {
            latitude_deg,
            longitude_deg,
            uncertainty_m: Some(told.distance_m(corner).ceil() as u32),
        })
    }

    /// Degrees to which places are told.
    pub(super) fn precision_deg(self) -> Option<f64> {
        match self {
            Self::Grid(width) => Some(width),
            _ => None,
        }
    }
}

/// Degrees with six decimals, a tenth of a metre.
pub(super) fn degrees(value: f64) -> String {
    format!("{value:.6}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grid_tells_its_cell_and_how_far_off_it_may_be() {
        let place = Position::new(43.1234, -90.7069).unwrap();
        let told = Coordinates::Grid(0.1).tell(place).unwrap();
        assert!(
            (told.latitude_deg - 43.15).abs() < 1e-9 && (told.longitude_deg + 90.75).abs() < 1e-9
        );
        let shown = Position::new(told.latitude_deg, told.longitude_deg).unwrap();
        let uncertainty = f64::from(told.uncertainty_m.unwrap());
        assert!(place.distance_m(shown) <= uncertainty && uncertainty < 7000.0);
        // Every corner of a cell lies within, also where meridians come together.
        for (latitude, longitude) in
            [(43.0, -90.8), (43.0999, -90.7001), (-43.0999, 10.0), (-43.0001, 10.0999)]
        {
            let place = Position::new(latitude, longitude).unwrap();
            let told = Coordinates::Grid(0.1).tell(place).unwrap();
            let shown = Position::new(told.latitude_deg, told.longitude_deg).unwrap();
            assert!(place.distance_m(shown) <= f64::from(told.uncertainty_m.unwrap()) + 1.0);
        }
        assert!(Coordinates::LeftOut.tell(place).is_none());
        assert_eq!("0.1".parse(), Ok(Coordinates::Grid(0.1)));
        for bad in ["", "0", "-1", "near", "20", "nan"] {
            assert!(bad.parse::<Coordinates>().is_err(), "{bad}");
        }
    }
}
