//! Directions of the compass, as winds are named: by where they come from.

/// One of the sixteen points of the compass (common practice, no source): N, NNE, NE and so on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct CompassPoint(u8);

const NAMES: [&str; 16] = [
    "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW",
    "NNW",
];
const STEP_DEG: f64 = 22.5;

impl CompassPoint {
    /// Reads `NW` or `nnw`.
    pub fn parse(text: &str) -> Option<Self> {
        let name = text.trim().to_uppercase();
        let at = NAMES.iter().position(|n| *n == name)?;
        Some(Self(at as u8))
    }

    /// The point nearest to a direction in degrees, clockwise from north.
    pub fn nearest(deg: f64) -> Self {
        Self((deg / STEP_DEG).round().rem_euclid(16.0) as u8)
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        NAMES[usize::from(self.0)]
    }

    /// Degrees clockwise from north.
    pub fn deg(self) -> f64 {
        f64::from(self.0) * STEP_DEG
    }

    /// Whether a direction belongs to this point as people mean it: halfway to the next of the eight points for N,
    /// NE and the like, of the sixteen for those between.
    pub fn holds(self, deg: f64) -> bool {
        let half = if self.0.is_multiple_of(2) { STEP_DEG } else { STEP_DEG / 2.0 };
        let apart = (deg - self.deg() + 180.0).rem_euclid(360.0) - 180.0;
        apart.abs() <= half
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn directions_belong_to_their_points() {
        let point = |name| CompassPoint::parse(name).unwrap();
        assert_eq!(CompassPoint::nearest(359.0), point("N"));
        assert_eq!(CompassPoint::nearest(247.0).name(), "WSW");
        assert!(point("N").holds(340.0) && point("N").holds(20.0) && !point("N").holds(30.0));
        assert!(point("NNW").holds(330.0) && !point("NNW").holds(355.0));
        assert_eq!(CompassPoint::parse("north"), None);
    }
}
