//! Light or dark: what tells of each picture in which sort of light it was taken.
//!
//! Three things may tell, and which of them does differs from camera to camera: whether the flash or
//! lamp fired (Exif 2.32, tag Flash, bit 0), how long the exposure was and how high the sensitivity
//! (tags ExposureTime and PhotographicSensitivity), and whether the picture is in colour or grey. The
//! first two cost nothing to read and are not fooled by fog, snow, a tint or a white flash; a camera
//! that always writes the same there says nothing by them.

use super::Glimpse;

/// What tells light from dark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LightSource {
    /// The flash or lamp fired.
    Flash,
    /// Exposure time and sensitivity.
    Exposure,
    /// Colour or grey.
    Colour,
}

impl LightSource {
    /// All, in the order in which they are believed.
    pub const ALL: [Self; 3] = [Self::Flash, Self::Exposure, Self::Colour];

    /// The two sorts of pictures in words: taken in the light, and in the dark.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Flash => ("without flash", "with flash"),
            Self::Exposure => ("with short exposure", "with long exposure"),
            Self::Colour => ("in colour", "grey"),
        }
    }
}

/// Whether each glimpse is a dark one; `None` where this source says nothing of it.
pub(super) fn dark(source: LightSource, glimpses: &[Glimpse]) -> Vec<Option<bool>> {
    match source {
        LightSource::Flash => glimpses.iter().map(|g| g.flash_fired).collect(),
        LightSource::Colour => glimpses.iter().map(|g| g.colour.map(|c| !c)).collect(),
        LightSource::Exposure => by_exposure(glimpses),
    }
}

/// Stops between the darkest and the brightest picture, below which an exposure does not tell.
const FEWEST_STOPS: f64 = 3.0;

/// Long exposures against short ones, parted where the two groups differ most (N. Otsu 1979, IEEE
/// Transactions on Systems, Man, and Cybernetics 9(1):62-66).
fn by_exposure(glimpses: &[Glimpse]) -> Vec<Option<bool>> {
    let stops: Vec<Option<f64>> = glimpses.iter().map(stops).collect();
    let mut known: Vec<f64> = stops.iter().flatten().copied().collect();
    known.sort_by(f64::total_cmp);
    let (Some(low), Some(high)) = (known.first(), known.last()) else {
        return vec![None; glimpses.len()];
    };
    if high - low < FEWEST_STOPS {
        return vec![None; glimpses.len()];
    }
    let Some(threshold) = parting(&known) else {
        return vec![None; glimpses.len()];
    };
    stops.into_iter().map(|s| s.map(|s| s > threshold)).collect()
}

/// How much light the camera had to gather, in stops: longer and more sensitive is more.
fn stops(glimpse: &Glimpse) -> Option<f64> {
    let exposure_s = glimpse.exposure_s.filter(|s| *s > 0.0 && *s < 3600.0)?;
    let iso = glimpse.iso.filter(|i| *i > 0).unwrap_or(100);
    Some((exposure_s * f64::from(iso)).log2())
}

fn parting(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len() as f64;
    let total: f64 = sorted.iter().sum();
    let mut below = 0.0;
    let mut best: Option<(f64, f64)> = None;
    for (i, pair) in sorted.windows(2).enumerate() {
        below += pair[0];
        let (k, rest) = (i as f64 + 1.0, n - i as f64 - 1.0);
        let apart = below / k - (total - below) / rest;
        let between = k * rest * apart * apart;
        if pair[1] > pair[0] && best.is_none_or(|b| between > b.0) {
            best = Some((between, f64::midpoint(pair[0], pair[1])));
        }
    }
    best.map(|b| b.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposures_part_where_they_differ_and_a_constant_says_nothing() {
        let glimpse = |exposure_s: f64, iso: u32| Glimpse {
            exposure_s: Some(exposure_s),
            iso: Some(iso),
            ..Glimpse::default()
        };
        let some =
            [glimpse(0.005, 100), glimpse(0.004, 100), glimpse(0.05, 800), glimpse(0.06, 800)];
        let dark = dark(LightSource::Exposure, &some);
        assert_eq!(dark, [Some(false), Some(false), Some(true), Some(true)]);
        let same = vec![glimpse(10.0, 1); 9];
        assert!(super::dark(LightSource::Exposure, &same).iter().all(Option::is_none));
        let zero = vec![glimpse(0.0, 0); 9];
        assert!(super::dark(LightSource::Exposure, &zero).iter().all(Option::is_none));
    }
}
