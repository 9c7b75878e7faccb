//! A secret on its page: a key, the address of a calendar, the link of an invitation. It can be read until its time is over or its reader
//! says that she has it; on a shared tablet by a passphrase and not by six digits.

use super::House;
use super::guard::with_passphrase;
use super::problems::way_to_prove;
use super::studio::Studio;
use super::visitor::Visitor;
use crate::base::problem::Problem;
use crate::base::time::Instant;

/// A secret that may still be shown, and until when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// The secret itself.
    pub secret: String,
    /// Until when its page shows it.
    pub until: Instant,
}

/// What a page says of it, worded.
#[derive(Debug)]
pub struct SecretView {
    /// What is to be copied; `None` where a passphrase is asked for first.
    pub text: Option<String>,
    /// "today 10:12".
    pub until: String,
    /// Where the passphrase is typed, with the way back; "" where it was.
    pub prove: String,
}

impl SecretView {
    /// What this visitor is shown of a secret, written down as `words` does.
    ///
    /// # Errors
    /// When the way to the passphrase cannot be written.
    pub fn of(
        house: &House,
        studio: &Studio,
        visitor: &Visitor,
        shown: Shown,
        words: impl FnOnce(String) -> String,
    ) -> Result<Self, Problem> {
        let until = studio.zone.date_and_clock(shown.until, visitor.now.0);
        match with_passphrase(visitor) {
            Ok(()) => Ok(Self { text: Some(words(shown.secret)), until, prove: String::new() }),
            Err(_) => Ok(Self { text: None, until, prove: way_to_prove(house, &visitor.path)? }),
        }
    }
}
