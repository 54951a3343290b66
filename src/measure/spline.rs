//! What a season alone would lead to expect: counts along a smooth curve.

/// A season's expected counts, and the columns from which they were made.
#[derive(Debug, Clone)]
pub struct Seasonal {
    /// The expected count of every unit.
    pub expected: Vec<f64>,
    columns: Vec<Vec<f64>>,
}

/// The columns of a natural cubic spline in `x` with `knots` knots, evenly spaced from the least to the greatest
/// (Hastie, Tibshirani & Friedman 2009, The Elements of Statistical Learning, equations 5.4 and 5.5): a constant, the
/// line, and `knots - 2` curves.
pub fn natural_spline(x: &[f64], knots: usize) -> Vec<Vec<f64>> {
    let low = x.iter().copied().fold(f64::INFINITY, f64::min);
    let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let scaled: Vec<f64> =
        x.iter().map(|v| (v - low) / (high - low).max(f64::MIN_POSITIVE)).collect();
    let knots = knots.max(2);
    let last = knots - 1;
    let at = |k: usize| k as f64 / last as f64;
    let cube = |v: f64| v.max(0.0).powi(3);
    let d = |k: usize, v: f64| (cube(v - at(k)) - cube(v - at(last))) / (at(last) - at(k));
    let mut columns = vec![vec![1.0; x.len()], scaled.clone()];
    for k in 0..last.saturating_sub(1) {
        columns.push(scaled.iter().map(|v| d(k, *v) - d(last - 1, *v)).collect());
    }
    columns
}

impl Seasonal {
    /// Counts with their effort, regressed on columns by a Poisson model with the logarithm as its link, fitted by
    /// iterated weighted least squares (McCullagh & Nelder 1989, Generalized Linear Models, section 2.5). Units
    /// without effort have an expected count of 0. `None` where nothing was counted or no fit is found.
    pub fn of(counts: &[f64], effort: &[f64], columns: Vec<Vec<f64>>) -> Option<Self> {
        const ROUNDS: usize = 50;
        const CLOSE: f64 = 1e-9;
        let total: f64 = counts.iter().sum();
        let all: f64 = effort.iter().sum();
        if total <= 0.0 || all <= 0.0 {
            return None;
        }
        let mut expected: Vec<f64> = effort.iter().map(|e| e * total / all).collect();
        let mut fit = f64::INFINITY;
        for _ in 0..ROUNDS {
            let response: Vec<f64> = (0..counts.len())
                .map(|i| match expected[i] > 0.0 {
                    true => {
                        (expected[i] / effort[i]).ln() + (counts[i] - expected[i]) / expected[i]
                    }
                    false => 0.0,
                })
                .collect();
            let coefficients = least_squares(&columns, &response, &expected)?;
            let line = |i: usize| -> f64 {
                let terms = columns.iter().zip(&coefficients);
                terms.map(|(c, b)| c[i] * b).sum()
            };
            // A stretch without a single count would otherwise be expected to have none at all.
            const LEAST: f64 = -12.0;
            const MOST: f64 = 12.0;
            expected =
                (0..counts.len()).map(|i| effort[i] * line(i).clamp(LEAST, MOST).exp()).collect();
            let deviance: f64 = (0..counts.len())
                .filter(|i| expected[*i] > 0.0)
                .map(|i| expected[i] - counts[i] * expected[i].ln())
                .sum();
            if (fit - deviance).abs() < CLOSE * (1.0 + deviance.abs()) {
                break;
            }
            fit = deviance;
        }
        Some(Self { expected, columns })
    }

    /// What of some values the season does not explain: their residuals from the same columns, by least squares with
    /// the expected counts as weights; 0 where a value is not known.
    pub fn without_season(&self, values: &[Option<f64>]) -> Option<Vec<f64>> {
        let known: Vec<f64> = values.iter().map(|v| v.unwrap_or(0.0)).collect();
        let weight = |(v, w): (&Option<f64>, &f64)| if v.is_some() { *w } else { 0.0 };
        let weights: Vec<f64> = values.iter().zip(&self.expected).map(weight).collect();
        let coefficients = least_squares(&self.columns, &known, &weights)?;
        let residual = |i: usize| {
            let terms = self.columns.iter().zip(&coefficients);
            values[i].map_or(0.0, |v| v - terms.map(|(c, b)| c[i] * b).sum::<f64>())
        };
        Some((0..values.len()).map(residual).collect())
    }
}

/// Weighted least squares by the normal equations and Cholesky's method (Golub & Van Loan 2013, Matrix Computations,
/// section 5.3.1). A column that the others explain gets the coefficient 0. `None` where all weights are 0.
fn least_squares(columns: &[Vec<f64>], response: &[f64], weights: &[f64]) -> Option<Vec<f64>> {
    /// Of a column's own square that must be left.
    const SINGULAR: f64 = 1e-10;
    let p = columns.len();
    let sum = |f: &dyn Fn(usize) -> f64| (0..response.len()).map(f).sum::<f64>();
    let mut factor = vec![vec![0.0; p]; p];
    let mut right: Vec<f64> = Vec::with_capacity(p);
    let mut is_free = vec![true; p];
    for i in 0..p {
        for j in 0..=i {
            let product = sum(&|n| weights[n] * columns[i][n] * columns[j][n]);
            let before: f64 = (0..j).map(|k| factor[i][k] * factor[j][k]).sum();
            factor[i][j] = match (i == j, is_free[j]) {
                (true, _) => {
                    let left = product - before;
                    is_free[i] = left > SINGULAR * product.max(f64::MIN_POSITIVE);
                    if is_free[i] { left.sqrt() } else { 0.0 }
                }
                (false, true) => (product - before) / factor[j][j],
                (false, false) => 0.0,
            };
        }
        let product = sum(&|n| weights[n] * columns[i][n] * response[n]);
        let before: f64 = (0..i).map(|k| factor[i][k] * right[k]).sum();
        right.push(if is_free[i] { (product - before) / factor[i][i] } else { 0.0 });
    }
    if !is_free.contains(&true) {
        return None;
    }
    let mut coefficients = vec![0.0; p];
    for i in (0..p).rev().filter(|i| is_free[*i]) {
        let after: f64 = (i + 1..p).map(|k| factor[k][i] * coefficients[k]).sum();
        coefficients[i] = (right[i] - after) / factor[i][i];
    }
    Some(coefficients)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_line_is_found_again() {
        let x: Vec<f64> = (0..50).map(f64::from).collect();
        let effort = vec![2.0; 50];
        let counts: Vec<f64> = x.iter().map(|v| 2.0 * (0.5 + 0.03 * v).exp()).collect();
        let fit = Seasonal::of(&counts, &effort, natural_spline(&x, 4)).unwrap();
        for (count, expected) in counts.iter().zip(&fit.expected) {
            assert!((count / expected - 1.0).abs() < 1e-6);
        }
        let season: Vec<Option<f64>> = x.iter().map(|v| Some(3.0 - 0.2 * v)).collect();
        let left = fit.without_season(&season).unwrap();
        assert!(left.iter().all(|r| r.abs() < 1e-6));
    }

    #[test]
    fn a_column_twice_does_no_harm() {
        let x: Vec<f64> = (0..30).map(f64::from).collect();
        let mut columns = natural_spline(&x, 3);
        columns.push(columns[1].clone());
        let counts: Vec<f64> = x.iter().map(|v| 1.0 + (v * 0.7).sin().abs()).collect();
        let fit = Seasonal::of(&counts, &[1.0; 30], columns).unwrap();
        let sum: f64 = fit.expected.iter().sum();
        assert!((sum - counts.iter().sum::<f64>()).abs() < 1e-6);
        assert!(Seasonal::of(&[0.0; 30], &[1.0; 30], natural_spline(&x, 3)).is_none());
    }
}
