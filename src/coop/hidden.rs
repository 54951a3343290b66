//! Small cells: what a neighbour could be recognised by is not told.
//!
//! A number of a property that rests on fewer than five visits, or lets one be reckoned, is hidden; and where fewer than
//! five properties of a table's group would be hidden, those with the fewest visits are hidden with them, or the
//! group's sum would tell them (complementary suppression, common practice of statistical offices).

use super::event::FEWEST_PROPERTIES;
use super::record::KindOf;

/// Fewer visits than this are not told.
pub(super) const FEWEST_TOLD: u32 = 5;

/// Whether a property's counts of a kind are too small to be told: all of its visits, those in light or the others.
pub(super) fn is_small(counts: &KindOf) -> bool {
    let dark = counts.visits - counts.light;
    counts.visits.min(counts.light).min(dark) < FEWEST_TOLD
}

/// Whether what one kind has more than another that belongs to it is small: it can be taken away.
pub(super) fn is_small_apart(all: &KindOf, part: &KindOf) -> bool {
    let apart = KindOf {
        visits: all.visits.saturating_sub(part.visits),
        light: all.light.saturating_sub(part.light).min(all.visits.saturating_sub(part.visits)),
        share: None,
        per_100_nights: None,
    };
    is_small(&apart)
}

/// Which of a group's properties are hidden, of those that are too small and the others with their visits.
pub(super) fn hidden(group: &[(bool, u32)]) -> Vec<bool> {
    let mut hidden: Vec<bool> = group.iter().map(|g| g.0).collect();
    let mut shown: Vec<usize> = (0..group.len()).filter(|i| !hidden[*i]).collect();
    shown.sort_by_key(|i| (group[*i].1, *i));
    let number = group.len() - shown.len();
    if number > 0 {
        for i in shown.into_iter().take(FEWEST_PROPERTIES.saturating_sub(number)) {
            hidden[i] = true;
        }
    }
    hidden
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(visits: u32, light: u32) -> KindOf {
        KindOf { visits, light, share: None, per_100_nights: None }
    }

    #[test]
    fn one_hidden_property_hides_the_next_smallest() {
        assert!(is_small(&counts(30, 4)) && is_small(&counts(30, 26)) && !is_small(&counts(10, 5)));
        assert!(is_small_apart(&counts(83, 41), &counts(80, 40)));
        assert!(!is_small_apart(&counts(91, 46), &counts(80, 40)));
        let group: Vec<(bool, u32)> = (0..9).map(|i| (false, 20 + i)).chain([(true, 40)]).collect();
        let expected: Vec<bool> = (0..10).map(|i| i < 4 || i == 9).collect();
        assert_eq!(hidden(&group), expected);
        assert_eq!(hidden(&group[..9]), [false; 9]);
    }
}
