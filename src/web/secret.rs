//! A secret that may still be shown: a key, the address of a calendar, the link of an invitation.

use crate::base::ids::PersonId;
use crate::base::time::Instant;

/// A secret that may still be shown, until when, and to whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// The secret itself.
    pub secret: String,
    /// Until when its page shows it.
    pub until: Instant,
    /// Who made it: it is shown to nobody else.
    pub made_by: PersonId,
}
