//! Whom the answers are about.

use super::Kind;

/// The deer that a season's first answers are about, and why.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct About {
    /// The kind.
    pub kind: Kind,
    /// Visits of bucks, and those with an age.
    pub bucks: usize,
    /// See `bucks`.
    pub aged: usize,
}

/// Bucks are aged when this part of their visits has an age: the rest would count as not mature.
const AGED: f64 = 0.8;
/// Bucks are told from other deer when they are at least this part of all visits of deer; where nobody
/// tags them apart they are none or a handful.
const TOLD_APART: f64 = 0.05;

impl About {
    pub(super) fn of(bucks: usize, aged: usize, deer: usize) -> Self {
        let kind = if bucks as f64 <= TOLD_APART * deer as f64 && deer > 0 {
            Kind::Deer
        } else if (aged as f64) < AGED * bucks as f64 {
            Kind::Buck
        } else {
            Kind::MatureBuck
        };
        Self { kind, bucks, aged }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whom_the_tags_allow_to_speak_of() {
        let kind = |bucks, aged, deer| About::of(bucks, aged, deer).kind;
        assert_eq!(kind(100, 80, 300), Kind::MatureBuck);
        assert_eq!(kind(100, 79, 300), Kind::Buck);
        assert_eq!(kind(0, 0, 300), Kind::Deer);
        assert_eq!(kind(4, 4, 300), Kind::Deer);
        assert_eq!(kind(0, 0, 0), Kind::MatureBuck);
    }
}
