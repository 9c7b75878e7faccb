//! What stood there when a form was opened: of two who change one thing, the second is asked. An entry may have waited on a tablet for a
//! day.

use crate::store::keys::digest_of_secret;

/// A mark of what stands there, for a form to carry: where something else stands by the time it is sent, nothing is written.
#[must_use]
pub fn mark_of(standing: &str) -> String {
    digest_of_secret(standing).chars().take(16).collect()
}

/// Whether what was sent may be written: what stands there is what the form was opened over, or the same as is sent.
#[must_use]
pub fn is_still(seen: &str, standing: &str, sent: &str) -> bool {
    standing == sent || mark_of(standing) == seen || (seen.is_empty() && standing.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_changed_meanwhile_is_written_over_by_nobody_who_did_not_see_it() {
        let seen = mark_of("a");
        assert!(is_still(&seen, "a", "b"), "it stands as it was seen");
        assert!(!is_still(&seen, "c", "b"), "something else stands there");
        assert!(is_still(&seen, "b", "b"), "the same as is sent");
        assert!(is_still("", "", "b") && !is_still("", "a", "b"), "opened over nothing");
    }
}
