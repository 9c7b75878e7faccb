//! May this client have this treatment at this time? The one function every page asks that leads to work.

use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::store::Db;

/// The answer, as mark and words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MayTreat {
    /// fit, near, stop or unknown.
    pub mark: &'static str,
    /// The words beside it.
    pub words: String,
}

/// What is known about whether a client may be treated. Nothing yet: nobody's clearance is kept, so the answer is never
/// that somebody is cleared.
///
/// # Errors
/// When the database cannot be read.
pub async fn may_treat(_db: &mut Db, _client: Option<ClientId>) -> Result<MayTreat, Problem> {
    Ok(MayTreat { mark: "unknown", words: "not known: clearance is not kept here yet".to_owned() })
}
