//! Whom the answers are about.

use super::Kind;

/// The deer that a season's first answers are about, and why.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct About {
    /// The kind.
    pub kind: Kind,
    /// Why it is that kind.
    pub why: Why,
    /// Visits of all deer, of bucks, of bucks with an age, and of mature bucks.
    pub visits: Told,
}

/// What the tags tell of deer, in visits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Told {
    /// Deer of all kinds.
    pub deer: usize,
    /// Deer tagged as buck, doe or fawn.
    pub of_a_kind: usize,
    /// Bucks.
    pub bucks: usize,
    /// Bucks with an age.
    pub aged: usize,
    /// Bucks at or over the mature age.
    pub mature: usize,
}

/// Why a season is about a kind of deer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Bucks are aged, and some are mature.
    Aged,
    /// Too few bucks have an age.
    NotAged,
    /// Bucks are aged, and none is mature.
    NoneMature,
    /// Deer are told apart, and hardly one is a buck.
    FewBucks,
    /// Deer are hardly told apart.
    NotToldApart,
}

/// Bucks are aged when this part of their visits has an age: the rest would count as not mature.
const AGED: f64 = 0.8;
/// Fewer bucks than this part of all deer are none to speak of.
const FEW: f64 = 0.05;
/// Deer are told apart when at least this part of their visits has a kind.
const TOLD_APART: f64 = 0.5;

impl About {
    pub(super) fn of(visits: Told) -> Self {
        let part = |these: usize, all: usize| these as f64 / all.max(1) as f64;
        let few_bucks = part(visits.bucks, visits.deer) <= FEW && visits.deer > 0;
        let why = if few_bucks && part(visits.of_a_kind, visits.deer) < TOLD_APART {
            Why::NotToldApart
        } else if few_bucks {
            Why::FewBucks
        } else if part(visits.aged, visits.bucks) < AGED && visits.bucks > 0 {
            Why::NotAged
        } else if visits.mature == 0 && visits.bucks > 0 {
            Why::NoneMature
        } else {
            Why::Aged
        };
        let kind = match why {
            Why::Aged => Kind::MatureBuck,
            Why::NotAged | Why::NoneMature => Kind::Buck,
            Why::FewBucks | Why::NotToldApart => Kind::Deer,
        };
        Self { kind, why, visits }
    }

    /// The kinds of the first tables: whom the season is about, and all deer.
    pub fn kinds(&self) -> Vec<Kind> {
        let mut kinds = vec![self.kind, Kind::Deer];
        kinds.dedup();
        kinds
    }

    /// Whether the tags tell how many deer of a kind came: without ages nobody knows of mature bucks, and
    /// where deer are not told apart of no kind.
    pub fn tells_of(&self, kind: Kind) -> bool {
        match kind {
            Kind::Deer => true,
            Kind::MatureBuck => !matches!(self.why, Why::NotAged | Why::NotToldApart),
            Kind::Buck | Kind::Doe | Kind::Fawn => self.why != Why::NotToldApart,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whom_the_tags_allow_to_speak_of() {
        let why = |deer, of_a_kind, bucks, aged, mature| {
            let told = Told { deer, of_a_kind, bucks, aged, mature };
            About::of(told).why
        };
        assert_eq!(why(300, 300, 100, 80, 40), Why::Aged);
        assert_eq!(why(300, 300, 100, 79, 40), Why::NotAged);
        assert_eq!(why(300, 300, 100, 100, 0), Why::NoneMature);
        assert_eq!(why(300, 300, 0, 0, 0), Why::FewBucks);
        assert_eq!(why(300, 10, 4, 4, 4), Why::NotToldApart);
        assert_eq!(why(0, 0, 0, 0, 0), Why::Aged);
    }
}
