//! How many there are, from how often each was met.

use super::Estimate;

/// The 97.5 % quantile of the normal distribution.
const Z95: f64 = 1.959_963_984_540_054;

/// How many individuals there are at least, if `once` of the `seen` were met once and `twice` twice: the bias-corrected
/// estimate of Chao (1984, Scandinavian Journal of Statistics 11:265-270), with the variance and the interval, its low
/// end never under what was seen, of Chao (1987, Biometrics 43:783-791).
pub fn chao1(seen: usize, once: usize, twice: usize) -> Estimate {
    let (n, f1, f2) = (seen as f64, once as f64, twice as f64);
    let more = f1 * (f1 - 1.0) / (2.0 * (f2 + 1.0));
    let variance = more
        + f1 * (2.0 * f1 - 1.0).powi(2) / (4.0 * (f2 + 1.0).powi(2))
        + f1 * f1 * f2 * (f1 - 1.0).powi(2) / (4.0 * (f2 + 1.0).powi(4));
    if more <= 0.0 {
        return Estimate { value: n, low: n, high: n };
    }
    let reach = (Z95 * (1.0 + variance / (more * more)).ln().sqrt()).exp();
    Estimate { value: n + more, low: n + more / reach, high: n + more * reach }
}

/// How many individuals there are, if `first` were met on one occasion, `second` on another and `both` of them on
/// both: Chapman's estimate (1951, University of California Publications in Statistics 1:131-160) with the variance
/// of Seber (1970, Biometrika 57:313-318) and a normal interval, no lower than what was seen.
pub fn chapman(first: usize, second: usize, both: usize) -> Estimate {
    let (n1, n2, m) = (first as f64, second as f64, both as f64);
    let value = (n1 + 1.0) * (n2 + 1.0) / (m + 1.0) - 1.0;
    let variance = (n1 + 1.0) * (n2 + 1.0) * (n1 - m) * (n2 - m) / ((m + 1.0).powi(2) * (m + 2.0));
    let reach = Z95 * variance.sqrt();
    Estimate { value, low: (value - reach).max(n1 + n2 - m), high: value + reach }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn worked_values() {
        assert!((chao1(12, 4, 3).value - 13.5).abs() < 1e-12);
        assert!((chapman(10, 8, 5).value - 15.5).abs() < 1e-12);
        let none_once = chao1(7, 0, 4);
        assert_eq!((none_once.low, none_once.value, none_once.high), (7.0, 7.0, 7.0));
        let estimate = chao1(12, 4, 3);
        assert!(estimate.low >= 12.0 && estimate.high > 15.0);
    }
}
