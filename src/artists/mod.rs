//! Artists and their hands. Knows placements and their seconds. Knows no adhesive, no client, no pay; never ranks people.

use serde::{Deserialize, Serialize};

pub mod hands;

/// How extensions are put on. Each has its own timings: hands differ between techniques more than between days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Technique {
    /// One extension on one natural lash.
    Classic,
    /// Classic and fans mixed.
    Hybrid,
    /// Fans of a few fine extensions.
    Volume,
    /// Fans of many very fine extensions.
    Mega,
}

impl Technique {
    /// The word as printed.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Classic => "classic",
            Self::Hybrid => "hybrid",
            Self::Volume => "volume",
            Self::Mega => "mega",
        }
    }
}
