//! From figures to one of six words.

use serde::{Deserialize, Serialize};

use super::shares::Outcome;

/// The verdict on a class or a bottle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within both limits.
    Fits,
    /// Just past a limit: more bonds disturbed than accepted.
    NearTooQuick,
    /// Just past a limit: more holding than accepted.
    NearTooSlow,
    /// Well past the limit for disturbed bonds.
    TooQuick,
    /// Well past the limit for holding.
    TooSlow,
    /// Must not be used now, whatever its figures.
    NotForToday,
}

/// Up to this ratio of a figure to its limit, past it is still *near*.
const NEAR: f64 = 1.5;

impl Verdict {
    /// From the figures alone.
    #[must_use]
    pub fn of(outcome: &Outcome) -> Self {
        let too_quick = outcome.disturbed_ratio >= outcome.holding_ratio;
        match outcome.ratio() {
            r if r <= 1.0 => Self::Fits,
            r if r < NEAR && too_quick => Self::NearTooQuick,
            r if r < NEAR => Self::NearTooSlow,
            _ if too_quick => Self::TooQuick,
            _ => Self::TooSlow,
        }
    }

    /// The same, but no better than *near*: for air outside the maker's window, where the time may suit and the
    /// strength is not known.
    #[must_use]
    pub fn at_most_near(outcome: &Outcome) -> Self {
        match Self::of(outcome) {
            Self::Fits if outcome.disturbed_ratio >= outcome.holding_ratio => Self::NearTooQuick,
            Self::Fits => Self::NearTooSlow,
            other => other,
        }
    }

    /// Whether this is a better word than another: fits before near, near before not, all before not for today.
    #[must_use]
    pub const fn is_better_than(self, other: Self) -> bool {
        self.rank() < other.rank()
    }

    /// Place in that order.
    pub(super) const fn rank(self) -> u8 {
        match self {
            Self::Fits => 0,
            Self::NearTooQuick | Self::NearTooSlow => 1,
            Self::TooQuick | Self::TooSlow => 2,
            Self::NotForToday => 3,
        }
    }

    /// Words as printed.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Fits => "fits",
            Self::NearTooQuick => "near, too quick",
            Self::NearTooSlow => "near, too slow",
            Self::TooQuick => "does not fit, too quick",
            Self::TooSlow => "does not fit, too slow",
            Self::NotForToday => "not for today",
        }
    }

    /// Whether the trouble is that it sets before the hands are done.
    #[must_use]
    pub const fn is_too_quick(self) -> bool {
        matches!(self, Self::NearTooQuick | Self::TooQuick)
    }
}
