//! Many questions in an order of importance, one error rate.

/// Questions that are asked together, with the part of the error allowance they begin with and where it
/// goes when all of them are answered.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Family {
    /// P-values of its questions.
    pub p_values: Vec<f64>,
    /// Part of the allowance; those of all families add up to at most 1.
    pub weight: f64,
    /// `(family, part)`: what part of its allowance another family inherits; at most 1 together.
    pub heirs: Vec<(usize, f64)>,
}

/// Adjusted p-values, in the order of the families and their questions: the graphical procedure of Bretz,
/// Maurer, Brannath & Posch (2009, Statistics in Medicine 28:586-604), whose proof gives that the chance of
/// even one false finding stays at the level. A family is a node in which Holm's method (Holm 1979) is used;
/// its allowance goes on to its heirs only when all of its questions are answered, which is their graph with
/// edges of vanishing weight (section 3.3). A family without questions passes its allowance on at once.
pub fn graph_adjusted(families: &[Family]) -> Vec<Vec<f64>> {
    let mut nodes = Nodes::of(families);
    let mut adjusted: Vec<Vec<f64>> =
        families.iter().map(|f| vec![1.0; f.p_values.len()]).collect();
    let mut order: Vec<Vec<usize>> = families.iter().map(descending).collect();
    for (family, open) in order.iter().enumerate() {
        if open.is_empty() {
            nodes.pass_on(family);
        }
    }
    let mut running = 0.0_f64;
    loop {
        // The next to be answered is the one whose p-value is smallest for its allowance.
        let next = |f: usize| {
            let question = *order[f].last()?;
            let p = families[f].p_values[question] * order[f].len() as f64;
            Some((p / nodes.weight[f], f, question))
        };
        let open = (0..families.len()).filter(|f| nodes.weight[*f] > 0.0);
        let Some((ratio, family, question)) =
            open.filter_map(next).min_by(|a, b| a.0.total_cmp(&b.0))
        else {
            return adjusted;
        };
        running = running.max(ratio.min(1.0));
        adjusted[family][question] = running;
        order[family].pop();
        if order[family].is_empty() {
            nodes.pass_on(family);
        }
    }
}

/// Adjusted p-values of questions that are asked side by side: the step-down method of Holm (1979, Scandinavian Journal
/// of Statistics 6:65-70).
pub fn holm_adjusted(p_values: Vec<f64>) -> Vec<f64> {
    let family = Family { p_values, weight: 1.0, heirs: Vec::new() };
    graph_adjusted(&[family]).pop().unwrap_or_default()
}

/// Places of the questions, the smallest p-value last.
fn descending(family: &Family) -> Vec<usize> {
    let mut order: Vec<usize> = (0..family.p_values.len()).collect();
    order.sort_by(|a, b| family.p_values[*b].total_cmp(&family.p_values[*a]));
    order
}

struct Nodes {
    weight: Vec<f64>,
    heirs: Vec<Vec<f64>>,
}

impl Nodes {
    fn of(families: &[Family]) -> Self {
        let row = |f: &Family| {
            let mut row = vec![0.0; families.len()];
            for (heir, part) in &f.heirs {
                row[*heir] += part;
            }
            row
        };
        Self {
            weight: families.iter().map(|f| f.weight).collect(),
            heirs: families.iter().map(row).collect(),
        }
    }

    /// Takes a family out: its allowance goes to its heirs, and who would have left to it leaves to them
    /// (algorithm 1 of the paper).
    fn pass_on(&mut self, gone: usize) {
        let weight = std::mem::take(&mut self.weight[gone]);
        let theirs = std::mem::take(&mut self.heirs[gone]);
        for (heir, part) in theirs.iter().enumerate() {
            self.weight[heir] += weight * part;
        }
        for (family, row) in self.heirs.iter_mut().enumerate().filter(|(_, r)| !r.is_empty()) {
            let through = std::mem::take(&mut row[gone]);
            let back = through * theirs.get(family).copied().unwrap_or(0.0);
            for (heir, part) in row.iter_mut().enumerate() {
                *part = if heir == family || back >= 1.0 {
                    0.0
                } else {
                    (*part + through * theirs[heir]) / (1.0 - back)
                };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn family(p_values: &[f64], weight: f64, heirs: &[(usize, f64)]) -> Family {
        Family { p_values: p_values.to_vec(), weight, heirs: heirs.to_vec() }
    }

    #[test]
    fn one_family_is_holm() {
        let adjusted = graph_adjusted(&[family(&[0.01, 0.04, 0.03], 1.0, &[])]);
        assert_eq!(adjusted, [[0.03, 0.06, 0.06]]);
    }

    #[test]
    fn nothing_is_asked_behind_an_open_question() {
        let chain = [family(&[0.2], 1.0, &[(1, 1.0)]), family(&[0.001], 0.0, &[])];
        assert_eq!(graph_adjusted(&chain), [[0.2], [0.2]]);
        let unasked = [family(&[], 1.0, &[(1, 1.0)]), family(&[0.001], 0.0, &[])];
        assert_eq!(graph_adjusted(&unasked)[1], [0.001]);
        let never = [family(&[0.01], 1.0, &[]), family(&[0.001], 0.0, &[])];
        assert_eq!(graph_adjusted(&never)[1], [1.0]);
        assert!(graph_adjusted(&[]).is_empty());
    }
}
