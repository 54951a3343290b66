//! Many questions, one error rate.

/// Holm's step-down adjustment with weights (Holm 1979, Scandinavian Journal of Statistics 6:65-70,
/// section 5). The chance of even one false finding stays at the level of a single test; a question
/// with a larger weight keeps more of its power. With equal weights it is the usual Holm method.
///
/// `tests` holds `(p_value, weight)`, weights positive; the result is in the same order.
pub fn weighted_holm(tests: &[(f64, f64)]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..tests.len()).collect();
    let ranked = |i: usize| tests[i].0 / tests[i].1;
    order.sort_by(|&a, &b| ranked(a).total_cmp(&ranked(b)));
    let mut remaining: f64 = tests.iter().map(|t| t.1).sum();
    let mut adjusted = vec![1.0; tests.len()];
    let mut running = 0.0_f64;
    for i in order {
        running = running.max((ranked(i) * remaining).min(1.0));
        adjusted[i] = running;
        remaining -= tests[i].1;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_heavier_question_pays_less() {
        let adjusted = weighted_holm(&[(0.02, 0.5), (0.02, 0.25), (0.5, 0.25)]);
        assert!((adjusted[0] - 0.04).abs() < 1e-12);
        assert!((adjusted[1] - 0.04).abs() < 1e-12);
        assert!((adjusted[2] - 0.5).abs() < 1e-12);
        let even = weighted_holm(&[(0.02, 1.0), (0.02, 1.0), (0.5, 1.0)]);
        assert!((even[0] - 0.06).abs() < 1e-12);
    }

    #[test]
    fn nothing_asked_nothing_answered() {
        assert!(weighted_holm(&[]).is_empty());
    }
}
