//! Counting: what is gone from strips, and what became of a set until the next visit. Pure.

use super::card::Side;
use crate::book::VisitKind;

/// Counted by what is gone from the strips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Strips {
    /// Strips begun.
    pub strips: u32,
    /// Extensions on a full strip.
    pub per_strip: u32,
    /// Left on them.
    pub left_over: u32,
}

impl Strips {
    /// How many were placed; none where more would be left than there were.
    ///
    /// ```
    /// use stillroom::cards::counts::Strips;
    /// assert_eq!(Strips { strips: 4, per_strip: 30, left_over: 18 }.placed(), Some(102));
    /// assert_eq!(Strips { strips: 1, per_strip: 30, left_over: 31 }.placed(), None);
    /// ```
    #[must_use]
    pub const fn placed(self) -> Option<u32> {
        (self.strips * self.per_strip).checked_sub(self.left_over)
    }
}

/// What was found on a lid at the next visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// How many were there when she left.
    pub had: u32,
    /// Still attached.
    pub attached: u32,
    /// Taken off because they had grown out.
    pub grown_out: u32,
    /// Gone.
    pub lost: u32,
}

/// Why three numbers do not go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Contradiction {
    /// Fewer than two were typed.
    TooFew,
    /// Two of them are more than there were.
    MoreThanThereWere {
        /// What two or three of them come to.
        sum: u32,
        /// What there was.
        had: u32,
    },
    /// All three were typed and come to another number.
    OtherSum {
        /// What they come to.
        sum: u32,
        /// What there was.
        had: u32,
    },
}

impl Contradiction {
    /// What to tell who typed them.
    #[must_use]
    pub fn sentence(self) -> String {
        match self {
            Self::TooFew => "Type two of the three numbers; the third is worked out.".to_owned(),
            Self::MoreThanThereWere { sum, had } => {
                format!(
                    "These come to {sum}, and only {had} were there when she left. Count again, or correct the card before."
                )
            }
            Self::OtherSum { sum, had } => {
                format!(
                    "These three come to {sum}, and {had} were there when she left. Leave one empty, or count again."
                )
            }
        }
    }
}

/// The three numbers of a lid from the two or three that were typed: attached, grown out, lost.
///
/// # Errors
/// [`Contradiction`] where they do not go together.
pub fn found(had: u32, typed: [Option<u32>; 3]) -> Result<Found, Contradiction> {
    let sum: u32 = typed.iter().flatten().sum();
    let rest = had.checked_sub(sum).ok_or(Contradiction::MoreThanThereWere { sum, had });
    let [attached, grown_out, lost] = match typed {
        [Some(a), Some(g), Some(l)] if sum == had => [a, g, l],
        [Some(_), Some(_), Some(_)] => return Err(Contradiction::OtherSum { sum, had }),
        [Some(a), Some(g), None] => [a, g, rest?],
        [Some(a), None, Some(l)] => [a, rest?, l],
        [None, Some(g), Some(l)] => [rest?, g, l],
        _ => return Err(Contradiction::TooFew),
    };
    Ok(Found { had, attached, grown_out, lost })
}

/// Whether extensions of another studio are on the lashes after a visit: they come with an infill on another's set, and stay until a
/// new full set of ours, or until they are taken off.
#[must_use]
pub const fn is_elsewhere(kind: VisitKind, before: bool) -> bool {
    match kind {
        VisitKind::OtherInfill | VisitKind::OtherRemoval => true,
        VisitKind::FullSet => false,
        _ => before,
    }
}

/// Names of the fields of a lid: attached, grown out, lost.
#[must_use]
pub const fn found_fields(side: Side) -> [&'static str; 3] {
    match side {
        Side::Left => ["left_attached", "left_grown_out", "left_lost"],
        Side::Right => ["right_attached", "right_grown_out", "right_lost"],
        Side::LeftLower => ["left_lower_attached", "left_lower_grown_out", "left_lower_lost"],
        Side::RightLower => ["right_lower_attached", "right_lower_grown_out", "right_lower_lost"],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_three_numbers_two_are_typed_and_the_third_is_worked_out() {
        let all = Found { had: 95, attached: 60, grown_out: 10, lost: 25 };
        for typed in [
            [Some(60), Some(10), None],
            [Some(60), None, Some(25)],
            [None, Some(10), Some(25)],
            [Some(60), Some(10), Some(25)],
        ] {
            assert_eq!(found(95, typed), Ok(all));
        }
    }

    #[test]
    fn numbers_that_do_not_go_together_are_told() {
        assert_eq!(found(95, [Some(60), None, None]), Err(Contradiction::TooFew));
        assert_eq!(found(95, [None, None, None]), Err(Contradiction::TooFew));
        let more = found(95, [Some(90), Some(10), None]).unwrap_err();
        assert_eq!(more, Contradiction::MoreThanThereWere { sum: 100, had: 95 });
        assert!(more.sentence().contains("only 95"));
        let other = found(95, [Some(60), Some(10), Some(24)]).unwrap_err();
        assert_eq!(other, Contradiction::OtherSum { sum: 94, had: 95 });
        assert!(other.sentence().contains("come to 94"));
    }

    #[test]
    fn anothers_set_stays_anothers_until_a_new_one_of_ours() {
        let mut elsewhere = false;
        for (kind, is) in [
            (VisitKind::FullSet, false),
            (VisitKind::Infill, false),
            (VisitKind::OtherInfill, true),
            (VisitKind::Infill, true),
            (VisitKind::MiniInfill, true),
            (VisitKind::FullSet, false),
            (VisitKind::Infill, false),
        ] {
            elsewhere = is_elsewhere(kind, elsewhere);
            assert_eq!(elsewhere, is, "{kind:?}");
        }
    }
}
