//! May this client have this treatment at this time? The line that stands on every page that leads to work.

use crate::base::problem::Problem;
use crate::clearance::ForHer;

/// The answer, as mark and words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MayTreat {
    /// fit, near, stop or unknown.
    pub mark: &'static str,
    /// The words beside it.
    pub words: String,
}

/// What is known about whether the client on the page may be treated. Without a client it is never that somebody is cleared.
#[must_use]
pub fn may_treat(her: Option<&ForHer>) -> MayTreat {
    match her {
        None => MayTreat {
            mark: "unknown",
            words: "no client chosen: whether she may be treated is not known here".to_owned(),
        },
        Some(her) => MayTreat { mark: her.mark, words: format!("{}: {}", her.short, her.words) },
    }
}

/// Whether work may begin: for nobody in particular, or for a client who is cleared.
///
/// # Errors
/// [`Problem::Clash`] with the missing step for a client who is not.
pub fn may_begin(her: Option<&ForHer>) -> Result<(), Problem> {
    match her {
        Some(her) if !her.cleared => Err(Problem::Clash(
            format!("{}: {}. No bottle was taken for her.", her.short, her.words),
            "See what is missing first; a recommendation on speed never overrides that.".to_owned(),
        )),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::ClientId;

    #[test]
    fn without_a_client_nobody_is_cleared() {
        let told = may_treat(None);
        assert_eq!(told.mark, "unknown");
        assert!(!told.words.contains("cleared"), "{}", told.words);
    }

    #[test]
    fn with_a_client_it_is_what_clearance_says_under_her_short_name() {
        let her = ForHer {
            client: ClientId::new(),
            short: "Alva L.".to_owned(),
            mark: "near",
            words: "not yet: place a patch test".to_owned(),
            cleared: false,
            bottles: Vec::new(),
            liquids: Vec::new(),
        };
        let told = may_treat(Some(&her));
        assert_eq!((told.mark, told.words.as_str()), ("near", "Alva L.: not yet: place a patch test"));
        assert!(may_begin(Some(&her)).is_err() && may_begin(None).is_ok());
        assert!(may_begin(Some(&ForHer { cleared: true, ..her })).is_ok());
    }
}
