//! What the judge answers: cleared, not yet with what is missing and until when, held, or medical advice first.

use super::facts::Overridable;
use super::rules::Rules;
use crate::base::ids::{PatchTestId, ProductId};
use crate::base::time::Instant;

/// The answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Clearance {
    /// She may have it, by these decisions of a person where there are any.
    Cleared(Vec<Overridable>),
    /// Something is missing that can still be done, or could have been.
    NotYet(NotYet),
    /// Not while these hold.
    Held(Vec<Reason>),
    /// Medical advice comes first.
    Refer(Vec<Reason>),
}

/// What is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotYet {
    /// The last instant at which a patch test can still be placed for this treatment: the wait before it.
    pub last_instant_for_a_test: Instant,
    /// The steps, the most urgent first.
    pub missing: Vec<Missing>,
}

/// A step that is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Missing {
    /// Which adhesive is planned.
    Adhesive,
    /// Her birth date.
    BirthDate,
    /// Health answers; true when there were some that stopped counting.
    Answers {
        /// They were given once.
        expired: bool,
    },
    /// Consent: she took hers back.
    Consent,
    /// Somebody has to look and ask.
    Reading {
        /// The test.
        test: PatchTestId,
        /// From when a look counts.
        from: Instant,
    },
    /// A patch test.
    Test {
        /// With which product.
        product: Option<ProductId>,
        /// Why the tests there are do not do.
        why: Why,
    },
}

/// Why the tests there are do not do, the least first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Why {
    /// Too long since the last treatment.
    Gap,
    /// Past its days.
    Lapsed,
    /// Her health has changed since.
    HealthChanged,
    /// There was a reaction since.
    AfterReaction,
    /// Nobody looked in time.
    NotRead,
    /// Made with something that is stopped.
    Stopped,
    /// Not tested with this.
    NeverTested,
}

/// Why she is held or referred.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Reason {
    /// Pain, swelling or changed vision.
    Acute,
    /// An answer asks for medical advice, and there is none.
    AdviceFirst,
    /// A recorded reaction.
    Reaction(Instant),
    /// A test with a reaction.
    TestReaction(Instant),
    /// A test with a doubtful result.
    Doubtful(Instant),
    /// A doctor's finding.
    Finding(Instant),
    /// An answer says: do not treat now.
    DoNotTreat,
    /// She did not want a test.
    Declined(Instant),
    /// Below the studio's age.
    TooYoung,
    /// A minor without guardian.
    NoGuardian,
    /// What is planned is stopped.
    Stopped(Option<ProductId>),
    /// Her file is restricted.
    Restricted,
}

impl Reason {
    /// True where medical advice comes first.
    #[must_use]
    pub const fn refers(self) -> bool {
        matches!(self, Self::Acute | Self::AdviceFirst)
    }
}

impl Clearance {
    /// True when she may be treated.
    #[must_use]
    pub const fn is_cleared(&self) -> bool {
        matches!(self, Self::Cleared(_))
    }

    /// How strict it is: cleared 0, not yet 1, refer 2, held 3.
    #[must_use]
    pub const fn strictness(&self) -> u8 {
        match self {
            Self::Cleared(_) => 0,
            Self::NotYet(_) => 1,
            Self::Refer(_) => 2,
            Self::Held(_) => 3,
        }
    }
}

impl NotYet {
    /// When the first step has to be done at the latest: a test at the last instant for one, everything else before the treatment.
    #[must_use]
    pub fn due(&self, rules: &Rules) -> Instant {
        let at = self.last_instant_for_a_test.plus(rules.wait());
        let needs_test = self.missing.iter().any(|missing| matches!(missing, Missing::Test { .. } | Missing::Adhesive));
        if needs_test { self.last_instant_for_a_test } else { at }
    }

    /// True when it can no longer be done in time: the treatment has to be moved.
    #[must_use]
    pub fn is_overdue(&self, rules: &Rules, now: Instant) -> bool {
        let at = self.last_instant_for_a_test.plus(rules.wait());
        let too_late = |missing: &Missing| match missing {
            Missing::Test { .. } => now > self.last_instant_for_a_test,
            Missing::Reading { from, .. } => *from > at || now > at,
            Missing::Adhesive | Missing::BirthDate | Missing::Consent | Missing::Answers { .. } => now > at,
        };
        self.missing.iter().any(too_late)
    }

    /// What a person may pass over, where that is all that is missing.
    #[must_use]
    pub fn overridable(&self) -> Vec<Overridable> {
        let mut all = Vec::new();
        for missing in &self.missing {
            let of = match missing {
                Missing::Test { why: Why::Gap, .. } => Overridable::Gap,
                Missing::Test { why: Why::Lapsed, .. } => Overridable::Validity,
                _ => return Vec::new(),
            };
            if !all.contains(&of) {
                all.push(of);
            }
        }
        all
    }
}
